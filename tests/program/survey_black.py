# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# labels: python
"""survey: where shadows and their noise are cut off at black, beside what NumPy counts in the files; and what is as black as it
should be: the surroundings of the set, elements on black, the lights-off pass, and pictures that keep their noise about black."""

import json
import os
import re
import shutil

import numpy as np

import film
import takes
from survey_faults import change, crush

SIZE = (384, 216)
LAMPS = ("moon", "lamp", "windows")
ONLY = LAMPS + ("lights-off", "rain-left", "beam", "screen-green", "screen-blue", "empty-green", "empty-blue")


def survey(folder, *words):
    return json.loads(takes.passel("survey", folder, "--json", *words, code=None).out)


def findings(said):
    return [(one["kind"], one["pass"].split(".")[0]) for one in said["findings"]]


def blocks(values):
    return values.reshape(SIZE[1] // 4, 4, SIZE[0] // 4, 4, -1).mean((1, 3))


def light(name, folder="set"):
    """Of all frames together, in blocks."""
    files = film.passes(folder)[name]
    return blocks(np.mean([takes.read(folder + "/" + file, "RGB").astype(float) for file in files], 0)) @ [0.2126, 0.7152, 0.0722]


def check_crushed(layout):
    shutil.copytree("set", "faulty")
    crush("faulty")
    lit = np.max([light(name, "faulty") for name in LAMPS], 0) > 0.008
    files = film.passes("faulty")["moon"]
    pixels = takes.read("faulty/" + files[len(files) // 2], "RGB").astype(float)
    low = blocks((pixels == pixels.min((0, 1))).astype(float)) > 0.5
    wanted = max(low[lit].mean(0))
    said = survey("faulty", "--html", "page.html")
    takes.equal(findings(said), [("crushed", "moon")], "layout %d" % layout)
    takes.near(said["findings"][0]["value"], 100 * wanted, "crushed in layout %d" % layout, absolute=1)
    moon = next(one for one in said["passes"] if one["pass"].startswith("moon"))
    takes.near(moon["crushed_set"], wanted, "share", absolute=0.01)
    worst = int(np.argmax(low[lit].mean(0)))
    assert said["findings"][0]["where"].startswith(("red", "green", "blue")[worst]), said["findings"]
    with open("page.html", encoding="utf-8") as file:
        page = file.read()
    cells = re.search(r'aria-label="Crushed black.*?</svg>', page, re.DOTALL).group(0)
    figures = [None if text == "\u00b7" else int(text) for text in re.findall(r"<text[^>]*>([^<]*)</text>", cells)]
    assert len(figures) == 40 and max(one for one in figures if one is not None) >= 100 * wanted, figures
    rows, columns = np.nonzero(lit)
    for part in (one for one in range(40) if figures[one] is not None):
        here = (rows * 5 // lit.shape[0] == part // 8) & (columns * 8 // lit.shape[1] == part % 8)
        takes.near(figures[part], 100 * low[rows[here], columns[here], worst].mean(), "part %d" % part, absolute=3)
    shutil.rmtree("faulty")


def encoded(folder, level):
    """The same passes as a display has them, in 8 bits, `level` higher than they are."""
    os.makedirs(folder)
    for file in sorted(os.listdir("set")):
        value = np.clip(takes.read("set/" + file, "RGB").astype(float) * 0.3 + level, 0, 1)
        code = np.where(value < 0.0031308, 12.92 * value, 1.055 * value ** (1 / 2.4) - 0.055)
        takes.png("%s/%s" % (folder, file.replace(".exr", ".png")), np.round(255 * code))


def check_black():
    """Black as it should be."""
    takes.equal(survey("set")["findings"], [], "clean")
    encoded("display", 0.002)
    takes.equal([one for one in findings(survey("display")) if one[0] == "crushed"], [], "in 8 bits, noise kept")
    shutil.rmtree("display")
    shutil.copytree("set", "black")
    for name in ("rain-left", "beam", "lights-off"):
        change("black", name, lambda pixels, _: np.where(pixels < 0.02, 0, pixels))
    outside = np.max([light(name) for name in LAMPS], 0) < 0.007
    outside = outside.repeat(4, 0).repeat(4, 1)[:, :, None]
    change("black", "moon", lambda pixels, _: np.where(outside, 0, pixels))
    takes.equal(findings(survey("black")), [], "black where nothing stands")
    shutil.rmtree("black")
    print("black as it should be raises nothing")


for number in (1, 2, 3):
    film.skerry("set", number, seed=30 + number, size=SIZE, last=film.FIRST + 4, only=ONLY)
    check_crushed(number)
    if number == 2:
        check_black()
    shutil.rmtree("set")
os.remove("page.html")
print("crushed black is found, and where")
