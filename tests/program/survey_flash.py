# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# labels: python
"""survey warns of passes that flash beyond the limits (WCAG 2.2, success criterion 2.3.1; Recommendation ITU-R BT.1702): each limit
from either side, and of the two sequences only one is warned of. Rates, encodings, primaries, part of a picture, text and page."""

import json
import os
import shutil

import numpy as np

import takes

WIDTH, HEIGHT, FIRST = 128, 144, 1001
WHITE, RED = (0.9, 0.9, 0.9), (0.4, 0, 0)
DARK = 0.02


def film(folder, apart, colour=WHITE, count=48, begin=0, part=(WIDTH, HEIGHT), dark=(DARK,) * 3, **more):
    """A pass that is dark, and from frame `begin` on lit every other time for `apart` frames, in its upper left part."""
    shutil.rmtree(folder, ignore_errors=True)
    for i in range(count):
        pixels = np.empty((HEIGHT, WIDTH, 3))
        pixels[:] = dark
        if i >= begin and (i - begin) // apart % 2 == 1:
            pixels[:part[1], :part[0]] = colour
        # Noise, so that no frame repeats another and nothing is a plateau.
        pixels += np.random.RandomState(i).normal(size=pixels.shape) * 0.002
        takes.exr("%s/lamp.%04d.exr" % (folder, FIRST + i), pixels, **more)
    recipe(folder)


def recipe(folder, rate="", file="lamp.####.exr", more=""):
    """A recipe of the pass: in a folder, frames that differ so much and say no time code are taken for stills."""
    takes.recipe("lamp = pass %s/%s\n%s" % (folder, file, more), frames="1001-1048",
                 size="%dx%d\n%s" % (WIDTH, HEIGHT, rate), path=folder + ".passel")


def survey(place, *words):
    """The only pass, and the finding of flashes, or None."""
    run = takes.passel("survey", place, "--json", *words, code=None)
    said = json.loads(run.out)
    found = [one for one in said["findings"] if one["kind"] == "flash"]
    assert len(found) < 2 and len(said["passes"]) == 1, run.out
    takes.equal([one["severity"] for one in found], ["usable with care"] * len(found), "severity")
    one = said["passes"][0]
    takes.equal(bool(found), bool(one["flashes"]), "a finding for the flashes of the pass")
    return one, found[0] if found else None


def spans(one, red=False):
    return [(flash["first"], flash["last"]) for flash in one["flashes"] if flash["red"] == red]


def warned(place, wanted, share, what, *words):
    one, finding = survey(place + ".passel", *words)
    takes.near(one["flash"], share, what + ": share", absolute=1e-6)
    takes.equal(finding is not None, wanted, what)
    if finding:
        takes.near(finding["value"], 100 * share, what + ": value", absolute=1e-4)
        assert "docs/flashing.md" in finding["advice"], finding
    return one, finding


def check_number():
    film("four", 3)
    one, finding = warned("four", True, 1, "four a second")
    takes.equal(spans(one), [(1004, 1048)], "frames of four a second")
    takes.equal(finding["where"], "at the shot's 24 frames a second; frames 1004 to 1048", "words")
    film("three", 4)
    one, _ = warned("three", False, 0, "three a second")
    takes.equal(one["flashes"], [], "three a second")
    # Seven changes are three flashes and a half; the eighth makes the fourth.
    for changes in (7, 8):
        film("few", 2, count=2 * changes + 1)
        one, _ = warned("few", changes == 8, changes == 8, "%d changes" % changes)
    takes.equal(spans(one), [(1003, 1017)], "frames of eight changes")


def check_begin_and_end():
    film("late", 3, begin=23)
    one, _ = warned("late", True, 1, "late")
    takes.equal(spans(one), [(1027, 1048)], "frames of a late one")
    # Twice, with a calm between them.
    film("twice", 3, count=96)
    for number in range(1031, 1067):
        shutil.copy("twice/lamp.1001.exr", "twice/lamp.%d.exr" % number)
    one, _ = warned("twice", True, 1, "twice")
    takes.equal([first for first, _ in spans(one)], [1004, 1070], "frames of two")
    assert 1028 <= spans(one)[0][1] <= 1034 and spans(one)[1][1] == 1096, one["flashes"]
    # Too short for four flashes: nothing is measured.
    film("short", 1, count=8)
    one, _ = survey("short.passel")
    takes.equal(one["flash"], None, "a short pass")
    film("short", 1, count=9)
    warned("short", True, 1, "nine frames, each another")


def check_area():
    film("part", 3, part=(WIDTH // 2, HEIGHT // 2))
    warned("part", False, 0.25, "a quarter")
    one, _ = warned("part", True, 0.25, "a quarter, of which no more than a fifth may", "--limit", "flash=20,100")
    takes.equal(spans(one), [(1004, 1048)], "frames of a fifth")
    film("part", 3, part=(WIDTH // 2 + 2, HEIGHT // 2))
    warned("part", True, 33 * 18 / 2304, "a column of cells more")
    warned("part", False, 33 * 18 / 2304, "another limit", "--limit", "flash=26,100")


def check_light():
    film("swing", 3, (0.115,) * 3)
    warned("swing", False, 0, "less than a tenth of white")
    film("swing", 3, (0.125,) * 3)
    warned("swing", True, 1, "more than a tenth of white")
    film("swing", 3, (3,) * 3, dark=(0.81,) * 3)
    warned("swing", False, 0, "nothing but brightness")
    film("swing", 3, (3,) * 3, dark=(0.77,) * 3)
    warned("swing", True, 1, "up to white and beyond")


def check_red():
    film("red", 3, RED, dark=(0, 0, 0))
    one, finding = warned("red", True, 1, "red")
    takes.equal((spans(one), spans(one, True)), ([], [(1004, 1048)]), "a dark red")
    takes.equal(finding["where"], "at the shot's 24 frames a second; in saturated red, frames 1004 to 1048", "words of red")
    film("red", 4, RED, dark=(0, 0, 0))
    warned("red", False, 0, "three reds a second")
    # Not saturated, and no tenth of white: by the primaries of BT.2020 the same numbers are a saturated red.
    film("red", 3, (0.3, 0.046, 0.04), dark=(0, 0, 0))
    warned("red", False, 0, "no saturated red")
    recipe("red", more="  primaries rec2020\n")
    one, _ = survey("red.passel")
    takes.equal(spans(one, True), [(1004, 1048)], "primaries of the recipe")


def check_rate():
    film("rate", 4)
    recipe("rate", "  rate 50\n")
    one, finding = warned("rate", True, 1, "rate of the shot")
    takes.equal((one["flash_rate"], one["flash_rate_from"]), (50, "shot"), "rate of the shot")
    assert finding["where"].startswith("at the shot's 50 frames a second; frames 1005 to"), finding
    recipe("rate", "  rate 50\n", more="  rate 23.976\n")
    one, _ = warned("rate", False, 0, "rate of the pass")
    takes.near(one["flash_rate"], 24000 / 1001, "rate of the pass", absolute=1e-3)
    takes.equal(one["flash_rate_from"], "pass", "rate of the pass")

    def fast(spec):
        spec.attribute("framesPerSecond", takes.oiio.TypeDesc("rational"), [60, 1])

    film("rate", 4, more=fast)
    one, finding = warned("rate", True, 1, "rate of the file")
    assert finding["where"].startswith("at its own 60 frames a second"), finding
    film("rate", 3, count=72)
    one, finding = survey("rate")
    takes.equal((one["flash_rate"], one["flash_rate_from"]), (24, "assumed"), "a folder without rates")
    takes.equal(finding["where"], "at 24 frames a second, assumed; frames 1004 to 1072", "a folder without rates")


def check_files():
    # Numbers of sRGB that differ by a third differ by less than a tenth in light.
    for i in range(48):
        values = np.full((HEIGHT, WIDTH, 3), 84 if i // 3 % 2 else 2) + np.random.RandomState(i).randint(-2, 3, (HEIGHT, WIDTH, 3))
        takes.png("coded/lamp.%04d.png" % (FIRST + i), np.maximum(values, 0))
    recipe("coded", file="lamp.####.png")
    warned("coded", False, 0, "sRGB")
    recipe("coded", file="lamp.####.png", more="  encoding linear\n")
    warned("coded", True, 1, "the same numbers as light")
    # The file holds only a part of the frame; the rest is black.
    film("window", 3, data=(WIDTH, 0), display=(0, 0, 2 * WIDTH, HEIGHT))
    warned("window", True, 0.5, "half of the frame")
    # A frame that is not there ends a sequence; one that cannot be read is no better.
    film("hole", 2, count=20)
    warned("hole", True, 1, "whole")
    os.truncate("hole/lamp.1010.exr", 2000)
    warned("hole", False, 0, "unreadable")
    os.remove("hole/lamp.1010.exr")
    warned("hole", False, 0, "missing")


def check_movie():
    with open("strobe.y4m", "wb") as movie:
        movie.write(b"YUV4MPEG2 W%d H%d F25:1 Ip A1:1 C444\n" % (WIDTH, HEIGHT))
        for i in range(50):
            level = np.random.RandomState(i).randint(-2, 3, WIDTH * HEIGHT) + (200 if i // 3 % 2 else 20)
            movie.write(b"FRAME\n" + bytes(level.astype(np.uint8)) + bytes([128]) * (2 * WIDTH * HEIGHT))
    takes.recipe("lamp = pass strobe.y4m\n", frames="1-50", path="strobe.passel")
    one, _ = warned("strobe", True, 1, "a movie")
    takes.equal((spans(one), one["flash_rate"], one["flash_rate_from"]), ([(4, 50)], 25, "pass"), "a movie")


def check_render():
    """A pass is judged as a render of nothing but this pass is."""
    for colour, part, words in ((WHITE, (WIDTH, 81), ""), (RED, (77, HEIGHT), " in saturated red"), ((9, 0.2, 0.4), (90, 100), "")):
        film("shown", 3, colour, begin=7, part=part, dark=(0.01, 0, 0))
        with open("shown.passel", "a", encoding="utf-8") as file:
            file.write("output lamp\n  file renders/lamp.####.exr\n")
        one, _ = survey("shown.passel")
        warnings = takes.render("shown.passel", "--again").events("warning")
        takes.equal([event["text"] for event in warnings],
                    ["lamp flashes%s more than three times in a second over %.0f %% of the picture, frames %d to %d; that can harm "
                     "sensitive viewers, see docs/flashing.md"
                     % (" in saturated red" if flash["red"] else "", 100 * flash["share"], flash["first"], flash["last"])
                     for flash in one["flashes"]], "render and survey")
        assert warnings and words in warnings[-1]["text"], warnings


def check_reports():
    film("said", 3, (1, 0.05, 0.05), dark=(0, 0, 0))
    ways = [takes.passel("survey", "said.passel", "--json", "--threads", threads, code=1).out for threads in "1234"]
    takes.equal(ways, ways[:1] * 4, "whatever the threads")
    run = takes.passel("survey", "said.passel", "--html", "page.html", code=1)
    print("".join(run.out.split("\n\n")[1:2]))
    with open("page.html", encoding="utf-8") as file:
        page = file.read()
    finding = page[page.index('data-kind="flash"'):]
    finding = finding[:finding.index("</li>")]
    for words in ("flashes more than three times in a second over <data value=\"100\">100.0</data>%", "the limit is 25",
                  "the shot&#39;s 24 frames a second; frames 1004 to 1048; in saturated red, frames 1004 to 1048", "decide"):
        assert words in finding, finding
    assert '<data data-of="flash" value="1">100.0</data>% <small>limit 25</small>' in page, "figure of the pass"


check_number()
check_begin_and_end()
check_area()
check_light()
check_red()
check_rate()
check_files()
check_movie()
check_render()
check_reports()
