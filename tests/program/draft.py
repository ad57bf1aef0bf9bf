# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# labels: python slow
"""draft: every filmed pass is known by what it shows, under a camera's numbers, in three arrangements of the set; what
is drafted renders, and as a recipe written by hand does. Then folders that are not as they should be."""

import math
import os
import re
import shutil
import sys
import time

import numpy as np

import film
import takes
from survey_faults import grain

LAMPS = {"moon", "lamp", "windows", "flash"}
ELEMENTS = {"beam", "rain-left", "rain-middle", "rain-right"}


class Drafted:
    """A drafted recipe, its blocks by name, and which pass each pass block reads."""

    def __init__(self, path, meaning):
        self.heads, self.lines, self.reads = {}, {}, {}
        with open(path, encoding="utf-8") as file:
            self.text = file.read()
        for line in self.text.splitlines():
            line = line.split(" #")[0] if not line.lstrip().startswith("#") else ""
            head = re.match(r"(\S+) = (.+)", line)
            if head:
                name = head[1]
                self.heads[name], self.lines[name] = head[2].split(), []
            elif line.startswith("  ") and self.heads:
                self.lines[name].append(line.split())
        for name, head in self.heads.items():
            if head[0] == "pass":
                self.reads[name] = meaning[os.path.basename(head[1]).split(".")[0]]

    def lit(self, block):
        return {self.reads[line[1]] for line in self.lines[block] if line[0] == "light" and "off" not in line}

    def ambient(self, block):
        return [self.reads[line[1]] for line in self.lines[block] if line[0] == "ambient"]

    def screens(self, block):
        return {(self.reads[line[1]], self.reads[line[3]]) for line in self.lines[block] if line[0] == "on"}

    def apart(self):
        """What is cut out by itself: pass → what goes with it."""
        found = {}
        for name, head in self.heads.items():
            if name.endswith("-cut") and head[0] == "lights":
                found |= {one: self.ambient(name)[0] for one in self.lit(name)}
            elif name.endswith("-cut"):
                found[self.reads[head[2]]] = self.reads[head[4]]
        return found


# Two shots of one screen, with nothing before it, differ by noise alone.
def same_screen(pairs):
    return {(screen, "empty-green" if empty == "keeper-empty" else empty) for screen, empty in pairs}


def check_roles(drafted, where):
    takes.equal(drafted.lit("night"), LAMPS, where + "lamps")
    takes.equal(drafted.ambient("night"), ["lights-off"], where + "lights off")
    takes.equal(drafted.lit("weather"), ELEMENTS, where + "elements")
    takes.equal(same_screen(drafted.screens("cut")),
                {("screen-green", "empty-green"), ("screen-blue", "empty-blue")}, where + "screens")
    apart = drafted.apart()
    assert apart.pop("keeper-green") in ("keeper-empty", "empty-green"), apart
    takes.equal(apart, {"sign": "sign-off", "burst": "burst-off"}, where + "filmed by themselves")
    takes.equal(drafted.reads[drafted.heads["sky"][1]], "dusk", where + "background")
    takes.equal(sorted(drafted.reads.values()), sorted(film.passes("skerry")), where + "passes used")


def check_layouts():
    for layout in (1, 2, 3):
        film.skerry("skerry", layout, seed=layout)
        for order in (None, 7, 8):
            meaning = film.numbered("skerry", "camera", order)
            takes.passel("draft", "camera", "-o", "shot.passel", "--force")
            check_roles(Drafted("shot.passel", meaning), "layout %d, order %s, " % (layout, order))
            shutil.rmtree("camera")
        check_underexposed("layout %d, " % layout)
        check_too_dark("layout %d, " % layout)
        check_lost_rate("layout %d, " % layout)
        check_hot_pixel("layout %d, " % layout)
        check_render("layout %d, " % layout)
        if layout < 3:
            shutil.rmtree("skerry")
    print("recognised")
    print("rendered")


# Stops under (over, when negative), and whether the camera's noise is that of the darker picture, too. The bounds were chosen
# on the first two arrangements; the third is as it came.
UNDER = (("moon", 4, False), ("windows", 5, False), ("flash", 3, False), ("screen-blue", 4, False), ("empty-green", 3, False),
         ("moon", 5, True), ("lamp", 3, True), ("windows", 5, True), ("beam", 5, True), ("rain-left", 3, True),
         ("screen-green", 5, True), ("keeper-empty", 5, True), ("dusk", 3, False), ("dusk", 5, True),
         ("lights-off", 3, True), ("lights-off", 5, False), ("windows", -2, False), ("rain-left", -2, False))


def rewrite(folder, names, how):
    """Every file of these passes: `how` gets and gives pixels."""
    for name in names:
        for count, file in enumerate(film.passes(folder)[name]):
            path = os.path.join(folder, file)
            takes.write(path, takes.header(path), how(takes.read(path), count).astype(np.float32))


def check_underexposed(where):
    """A lamp or an element that is not mistaken for lights off, a screen and its empty not for light on black, however dark;
    with the lights off underexposed, lamps are lamps still."""
    for name, stops, noise in UNDER:
        meaning = film.numbered("skerry", "camera", 7)
        camera = next(number for number, meant in meaning.items() if meant == name)
        rewrite("camera", [camera], lambda pixels, i: grain(pixels / 2**stops, i) if noise else pixels / 2**stops)
        takes.passel("draft", "camera", "-o", "under.passel", "--force")
        drafted = Drafted("under.passel", meaning)
        check_roles(drafted, where + "%s %d stops under, " % (name, stops))
        if name == "lights-off":
            assert "it may be underexposed itself" in drafted.text, drafted.text
        shutil.rmtree("camera")


def check_too_dark(where):
    """Noise alone is nothing that a role could be told from: that is said."""
    meaning = film.numbered("skerry", "camera", 7)
    camera = next(number for number, meant in meaning.items() if meant == "windows")
    rewrite("camera", [camera], lambda pixels, i: grain(pixels / 2**11, i))
    takes.passel("draft", "camera", "-o", "under.passel", "--force")
    drafted = Drafted("under.passel", meaning)
    assert re.search("# Not certain: .*too dark to tell.\n# \\S+ = pass camera/" + camera, drafted.text), drafted.text
    takes.equal(drafted.ambient("night"), ["lights-off"], where + "lights off")
    takes.equal(drafted.lit("night"), LAMPS - {"windows"}, where + "lamps")
    shutil.rmtree("camera")


def check_lost_rate(where):
    """Files that were written anew say neither rate nor time code: what moves is a sequence still, and finds its dark."""
    for name in ("rain-middle", "beam", "moon", "sign", "burst-off", "sign-off"):
        for lost in (("framesPerSecond",), ("framesPerSecond", "smpte:TimeCode")):
            meaning = film.numbered("skerry", "camera", 7)
            camera = next(number for number, meant in meaning.items() if meant == name)
            for file in film.passes("camera")[camera]:
                spec = takes.header("camera/" + file)
                for one in lost:
                    spec.erase_attribute(one)
                takes.write("camera/" + file, spec, takes.read("camera/" + file))
            takes.passel("draft", "camera", "-o", "lost.passel", "--force")
            check_roles(Drafted("lost.passel", meaning), where + "%s without %s, " % (name, lost))
            shutil.rmtree("camera")


def check_hot_pixel(where):
    """One pixel that shines in every pass lights no set."""
    meaning = film.numbered("skerry", "camera", 7)

    def heat(pixels, _):
        pixels[pixels.shape[0] // 3, pixels.shape[1] // 5] = 1
        return pixels

    rewrite("camera", film.passes("camera"), heat)
    takes.passel("draft", "camera", "-o", "hot.passel", "--force")
    check_roles(Drafted("hot.passel", meaning), where + "hot pixel, ")
    shutil.rmtree("camera")


BY_HAND = """
moon = pass skerry/moon.####.exr
lamp = pass skerry/lamp.####.exr
windows = pass skerry/windows.exr
bolt = pass skerry/flash.####.exr
  use 1-24
  start 1001
dark = pass skerry/lights-off.exr
night = lights
  ambient dark
  light moon
  light lamp
  light windows
  light bolt
green = pass skerry/screen-green.exr
green-empty = pass skerry/empty-green.exr
blue = pass skerry/screen-blue.exr
blue-empty = pass skerry/empty-blue.exr
cut = key two-screen
  on green empty green-empty
  on blue empty blue-empty
edge = matte cut
  floor 3% ceiling 97%
dusk = pass skerry/dusk.exr
sky = extend dusk
  to {0}x{1}
  keep bottom
  by gradient
beam = pass skerry/beam.####.exr
rain-left = pass skerry/rain-left.####.exr
rain-middle = pass skerry/rain-middle.####.exr
rain-right = pass skerry/rain-right.####.exr
weather = lights
  ambient dark off
  light beam
  light rain-left
  light rain-middle
  light rain-right
final = stack
  layer sky holdout edge
  layer night add
  layer weather add
output final
  file hand/hand.####.exr
"""


def check_render(where):
    """As a recipe written by hand, with every lamp at its filmed level."""
    film.numbered("skerry", "camera", 9)
    takes.passel("draft", "camera", "-o", "shot.passel", "--force")
    takes.passel("check", "shot.passel")
    takes.passel("render", "shot.passel", "--frames", "1003", "--again")
    takes.recipe(BY_HAND.format(*film.SIZE), "1001-1004", "%dx%d" % film.SIZE, "hand.passel")
    takes.passel("render", "hand.passel", "--frames", "1003", "--again")
    # Either shot of the bare green screen serves, so noise may differ.
    wanted = takes.read("hand/hand.1003.exr", "RGB").astype(float)
    got = takes.read("renders/shot.1003.exr", "RGB").astype(float)
    psnr = 10 * math.log10(1 / max(1e-12, np.mean((got - wanted) ** 2)))
    if os.environ.get("PASSEL_KEEP") == "1":
        print("%sdrafted against written by hand: %.1f dB of 1.0, linear" % (where, psnr), file=sys.stderr)
    assert psnr > 80, where + str(psnr)
    # With all layers shown it renders, too.
    with open("shot.passel", encoding="utf-8") as file:
        text = file.read().replace("  # layer", "  layer")
    with open("all.passel", "w", encoding="utf-8") as file:
        file.write(text.replace("renders/", "all/"))
    takes.passel("render", "all.passel", "--frames", "1003")
    shutil.rmtree("camera")


def check_all_lamps():
    """All lamps at once are their sum, less the lights-off pass that each has in it."""
    read = lambda name: takes.read("skerry/" + name, "RGB").astype(float)
    dark = read("lights-off.exr")
    total = read("moon.1003.exr") + read("windows.exr") + read("flash.0012.exr") - 2 * dark
    takes.exr("lamps/C0009.exr", total, half=True)
    for name, file in (("C0001", "moon.1003"), ("C0002", "windows"), ("C0003", "flash.0012"), ("C0004", "lights-off")):
        shutil.copy("skerry/" + file + ".exr", "lamps/" + name + ".exr")
    run = takes.passel("draft", "lamps")
    assert "all-lamps = pass lamps/C0009.exr" in run.out and "light    all-lamps  off" in run.out, run.out
    assert run.out.count("  +0.0 stops") == 3, run.out
    print("all lamps")


def check_many_files():
    """Forty thousand files of two sequences, and as many sizes as there may be by mistake: a few are looked at."""
    os.mkdir("many")
    for name in ("moon", "lights-off"):
        file = "skerry/moon.1003.exr" if name == "moon" else "skerry/lights-off.exr"
        shutil.copy(file, "many/%s.00001.exr" % name)
        for frame in range(2, 20001):
            os.link("many/%s.00001.exr" % name, "many/%s.%05d.exr" % (name, frame))
    takes.exr("many/wide.exr", np.full((40, 300, 3), 0.3))
    before = time.monotonic()
    takes.passel("draft", "many", "-o", "many.passel")
    assert time.monotonic() - before < 60
    with open("many.passel", encoding="utf-8") as recipe:
        text = recipe.read()
    assert "frames  1-20000" in text and "size    240x136" in text and "300x40" in text, text
    takes.passel("check", "many.passel")
    shutil.rmtree("many")


def check_odd_folders():
    os.mkdir("empty")
    takes.show(takes.passel("draft", "empty", code=4))
    takes.show(takes.passel("draft", "nowhere", code=4))
    # Names with spaces, signs and letters of other scripts; one damaged file, one that is no picture.
    os.makedirs("Tür 5/auf nahme")
    folder = "Tür 5/auf nahme/"
    for frame in (1, 2, 3):
        shutil.copy("skerry/moon.%d.exr" % (1000 + frame), folder + "mond nr %d.exr" % frame)
    shutil.copy("skerry/lights-off.exr", folder + "#dunkel\"x.exr")
    with open(folder + "kaputt.exr", "wb") as file:
        file.write(b"no picture")
    with open(folder + "notes.txt", "w", encoding="utf-8") as file:
        file.write("take 5 is the good one")
    run = takes.passel("draft", "Tür 5/auf nahme", "-o", "Tür 5/shot.passel")
    takes.show(run)
    with open("Tür 5/shot.passel", encoding="utf-8") as file:
        print(file.read(), end="")
    takes.passel("render", "Tür 5/shot.passel", "--frames", "2")
    takes.show(takes.passel("draft", folder, "-o", "Tür 5/shot.passel", code=2))
    takes.passel("draft", folder, "-o", "Tür 5/shot.passel", "--force")
    check_many_files()
    # A single screen, without its empty.
    os.mkdir("single")
    shutil.copy("skerry/screen-green.exr", "single/a.exr")
    shutil.copy("skerry/dusk.exr", "single/b.exr")
    takes.passel("draft", "single", "-o", "single.passel")
    takes.passel("render", "single.passel")
    # Nothing to stack.
    os.mkdir("darks")
    shutil.copy("skerry/lights-off.exr", "darks/a.exr")
    takes.show(takes.passel("draft", "darks", code=5))


check_layouts()
check_all_lamps()
check_odd_folders()
