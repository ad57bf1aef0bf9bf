# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# labels: python
"""survey --html: one page that needs nothing else, well-formed, with every pass, the numbers of --json, and pictures and maps
that show what the files hold (worked out again with NumPy). Faults and awkward names are in the folder."""

import base64
import html.parser
import json
import os
import re
import shutil

import numpy as np

import film
import takes

VOID = ("meta", "img", "input")
AWKWARD = 'a <b> & "q" \'s\' \u00fcber \u706f\u53f0 ' + "very-long-" * 12 + "end"


def film_passes(folder):
    """A few passes of the demo; one gap, one damaged frame, one clipped pass, all lamps together with a seventh too much of one."""
    film.skerry(folder, 2, seed=3, only=("moon", "lamp", "windows", "flash", "lights-off", "screen-green", "screen-blue",
                                         "empty-green", "dusk"))
    frames = {name: takes.read("%s/%s.exr" % (folder, name), "RGB").astype(float)
              for name in ("moon.1001", "lamp.1001", "windows", "lights-off")}
    dark = frames["lights-off"]
    total = frames["moon.1001"] * 1.07 - 0.07 * dark + frames["lamp.1001"] + frames["windows"] - 2 * dark
    takes.exr(folder + "/all.exr", total, half=True)
    os.remove(folder + "/moon.1003.exr")
    with open(folder + "/lamp.1002.exr", "r+b") as file:
        file.truncate(900)
    for path in film.passes(folder)["flash"]:
        takes.exr(folder + "/" + path, np.minimum(takes.read(folder + "/" + path, "RGB"), 0.4), half=True)
    shutil.move(folder + "/screen-blue.exr", "%s/%s.exr" % (folder, AWKWARD))


class Page(html.parser.HTMLParser):
    """Elements in their order: (name, attributes, text in it). Complains about what is not well-formed."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.open, self.all = [], []
        self.feed(text)
        self.close()
        takes.equal(self.open, [], "elements left open")

    def handle_starttag(self, tag, attrs):
        takes.equal(len(attrs), len(dict(attrs)), "attributes given twice in " + tag)
        element = [tag, dict(attrs), "", [one[0] for one in self.open]]
        self.all.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag, attrs):
        self.all.append([tag, dict(attrs), "", [one[0] for one in self.open]])

    def handle_endtag(self, tag):
        takes.equal(self.open.pop()[0], tag, "closing tag")

    def handle_data(self, data):
        for element in self.open:
            element[2] += data

    def every(self, tag, **wanted):
        return [one for one in self.all if one[0] == tag and all(one[1].get(k) == v for k, v in wanted.items())]


def part_of(text, index):
    """The text of one pass, and it parsed."""
    part = re.search(r'<article class="pass \w+" id="p%d">.*?</article>' % index, text, re.DOTALL).group(0)
    return part, Page(part)


def check_alone(text, page):
    """Nothing is fetched, nothing runs, every link leads somewhere inside."""
    assert "http" not in text and "//" not in re.sub(r"base64,[A-Za-z0-9+/=]*", "", text), "an address"
    assert not re.search(r"url\((?!#)|@import|<script|<link|<iframe|\son\w+=", text), "something from outside"
    names = [one[1]["id"] for one in page.all if "id" in one[1]]
    takes.equal(len(names), len(set(names)), "ids are unique")
    for _, attributes, _, _ in page.all:
        assert attributes.get("src", "data:image/png;base64,").startswith("data:image/png;base64,")
        for key in ("href", "aria-labelledby", "for"):
            if key in attributes:
                assert attributes[key].lstrip("#") in names, attributes
    print("nothing from outside")


def check_readable(page):
    """Headings in their order, words for every picture and plot, a language, a width for phones."""
    levels = [int(one[0][1]) for one in page.all if re.fullmatch(r"h\d", one[0])]
    takes.equal((levels[0], levels.count(1)), (1, 1), "one first heading")
    assert all(b - a <= 1 for a, b in zip(levels, levels[1:])), levels
    assert all(one[1]["alt"] for one in page.every("img"))
    assert all(one[1].get("role") == "img" and one[1]["aria-label"] for one in page.every("svg"))
    takes.equal(page.every("html")[0][1], {"lang": "en"}, "language")
    assert "width=device-width" in page.every("meta", name="viewport")[0][1]["content"]
    for element in page.every("li") + page.every("article"):
        if element[1].get("class", "").split()[-1] in ("care", "shoot"):
            assert "re-shoot" in element[2] or "usable with care" in element[2], "a colour alone: %r" % element[2]
    print("readable by all")


def check_numbers(text, page, said):
    """All findings, all passes, and each number that the page says is that of --json and rounded as it should."""
    findings = [one for one in page.every("li") if "data-kind" in one[1]]
    takes.equal([one[1]["data-kind"] for one in findings], [one["kind"] for one in said["findings"]], "findings")
    for element, finding in zip(findings, said["findings"]):
        for words in (finding["pass"] or "All passes", finding["severity"], finding["where"], finding["advice"].replace("`", "")):
            assert words in element[2], (words, element[2])
        numbers = [one for one in page.every("data", value="%.6g" % finding["value"]) if one[2] in element[2]]
        assert numbers or finding["kind"] == "odd", finding
    takes.equal(sorted(int(one[1]["id"][1:]) for one in page.every("article")), list(range(len(said["passes"]))), "passes")
    count = 0
    for index, one in enumerate(said["passes"]):
        _, part = part_of(text, index)
        takes.equal(part.every("h3")[0][2], one["pass"], "name of a pass")
        shown = {number[1]["data-of"]: number for number in part.every("data") if "data-of" in number[1]}
        keys = ("bump", "screens", "shake", "flicker", "focus", "light_over_noise", "evenness", "sum", "dark_wander", "clipped",
                "crushed", "crushed_set", "hue", "spill")
        takes.equal(sorted(shown), sorted(key for key in keys if one[key] is not None), "figures of " + one["pass"])
        for key, number in shown.items():
            takes.equal(float(number[1]["value"]), one[key], key)
            scale = 100 if key in ("flicker", "sum", "dark_wander", "clipped", "crushed", "crushed_set",
                                     "spill") else 1
            decimals = len(number[2].partition(".")[2])
            assert abs(float(number[2]) - scale * one[key]) <= 0.5001 * 10**-decimals, (key, number)
            count += 1
    assert count > 30, count
    print("numbers are those of --json")


def srgb(light):
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def check_picture(part, path):
    """The picture of a single frame, so many stops brighter as it says."""
    with open("thumb.png", "wb") as file:
        file.write(base64.b64decode(part.every("img")[0][1]["src"].partition(",")[2]))
    got = takes.read("thumb.png", whole=8)[:, :, :3].astype(int)
    words = part.every("figcaption")[0][2]
    stops = 0 if words.startswith("As it is") else int(words.split()[1]) * (-1 if "darker" in words else 1)
    wanted = srgb(takes.read(path, "RGB").astype(float) * 2.0**stops)
    takes.equal(got.shape, wanted.shape, "size of " + path)
    takes.near(got, 255 * wanted, path, absolute=0.75)


def cells(values):
    """Means of the 8 by 5 parts of a picture of blocks of 3 pixels."""
    across, down = film.SIZE[0] // 3, film.SIZE[1] // 3
    values = values[:3 * down, :3 * across].reshape(down, 3, across, 3).mean((1, 3))
    return values.reshape(5, down // 5, 8, across // 8).mean((1, 3))


def figures_in(part, start):
    """The figures of the one map whose label begins so, row by row."""
    svgs = re.findall(r'aria-label="%s.*?</svg>' % start, part, re.DOTALL)
    takes.equal(len(svgs), 1, start)
    return [None if text == "\u00b7" else float(text) for text in re.findall(r"<text[^>]*>([^<]*)</text>", svgs[0])]


def check_maps(text, said):
    by_name = {one["pass"]: index for index, one in enumerate(said["passes"])}
    part = part_of(text, by_name["empty-green.exr"])[0]
    wanted = cells(takes.read("set/empty-green.exr", "RGB")[:, :, 1].astype(float))
    got = np.array(figures_in(part, "Evenness")).reshape(5, 8)
    takes.near(got, np.log2(wanted / np.sort(wanted.ravel())[20]), "evenness", absolute=0.0151)
    part = part_of(text, by_name["all.exr"])[0]

    def light(name):
        return takes.read("set/%s.exr" % name, "RGB").astype(float) @ [0.2126, 0.7152, 0.0722]

    dark = light("lights-off")
    moon = np.mean([light("moon.%d" % n) for n in (1001, 1002, 1004)], 0)
    lamp = np.mean([light("lamp.%d" % n) for n in (1001, 1003, 1004)], 0)
    own = cells(light("all") - dark)
    rest = own - cells(moon + lamp + light("windows") - 3 * dark)
    got = figures_in(part, "What the single lamps")
    takes.equal([one is None for one in got], list((own < 0.1 * own.mean()).ravel()), "parts without light")
    lit = [i for i, one in enumerate(got) if one is not None]
    takes.near(np.array(got, object)[lit].astype(float), 100 * (rest / own).ravel()[lit], "what lamps leave", absolute=0.6)
    assert max(one for one in got if one is not None) >= 4, got
    print("maps show what is there")


def check_plots(text, said):
    """The exposure band of each pass: as many columns as frames can be read, the first as high as its levels; a gap is marked."""
    for index, one in enumerate(said["passes"]):
        raw, _ = part_of(text, index)
        band = re.search(r'class="band" d="([^"]*)"', raw).group(1)
        columns = re.findall(r"M([\d.]+) ([\d.]+)h([\d.]+)v([\d.]+)", band)
        takes.equal(len(columns), len(one["levels"]), "columns of " + one["pass"])
        low, high = (np.clip(np.log2(max(one["levels"][0][k], 1e-6) / 0.18), -10, 4) for k in (1, 3))
        takes.near(float(columns[0][1]), 110 - 102 * (high + 10) / 14, "top of " + one["pass"], absolute=0.11)
        takes.near(float(columns[0][3]), max(102 * (high - low) / 14, 1), "height of " + one["pass"], absolute=0.11)
        numbers = [frame[0] for frame in one["levels"]]
        takes.equal(raw.count('class="gap"') > 0, numbers[-1] - numbers[0] + 1 > len(numbers), "gap in " + one["pass"])
    print("plots show the levels")


def main():
    film_passes("set")
    run = takes.passel("survey", "set", "--json", "--threads", "1", "--html", "page.html", code=None)
    said = json.loads(run.out)
    takes.equal(run.code, 5, "exit code")
    again = takes.passel("survey", "set", "--threads", "2", "--html", "again.html", code=None)
    takes.equal(again.code, 5, "exit code of text")
    with open("page.html", encoding="utf-8") as file, open("again.html", encoding="utf-8") as other:
        text = file.read()
        assert text == other.read(), "another page the second time"
    page = Page(text)
    kinds = sorted({one["kind"] for one in said["findings"]})
    print("found: " + ", ".join(kinds))
    check_alone(text, page)
    check_readable(page)
    check_numbers(text, page, said)
    for index, one in enumerate(said["passes"]):
        if one["frames"] == 1 and (one["width"], one["height"]) == film.SIZE:
            check_picture(part_of(text, index)[1], "set/" + one["pass"])
    print("pictures show what is there")
    check_maps(text, said)
    check_plots(text, said)
    raw, _ = part_of(text, [one["pass"].split(".")[0] for one in said["passes"]].index("flash"))
    assert "url(#h" in raw, "clipped places are hatched"
    assert AWKWARD + ".exr" in [one[2] for one in page.every("h3")], "awkward name"
    nowhere = takes.passel("survey", "set", "--html", "no/such/page.html", code=None)
    print(nowhere.err, end="")
    takes.equal(nowhere.code, 4, "exit code when the page cannot be written")
    takes.show(takes.passel("survey", "--html", code=None))


main()
