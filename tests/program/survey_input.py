# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# labels: python
"""survey of folders that are not as they should be, and limits that a recipe sets: each is said, nothing is left out
silently."""

import json
import os
import shutil

import numpy as np

import takes


def survey(*words, code=None):
    run = takes.passel("survey", *words, "--json", code=code)
    return json.loads(run.out), run


def findings(said):
    return [(one["pass"], one["kind"]) for one in said["findings"]]


def set_lit(seed, height=72, width=128, light=1.0):
    """Something lit on black: boxes of random brightness in the middle, grain on everything."""
    boxes = np.random.RandomState(7).uniform(0.02, 0.4, (12, 20, 3)).repeat(4, 0).repeat(4, 1)
    pixels = np.full((height, width, 3), 0.001)
    top, left = (height - 48) // 2, (width - 80) // 2
    pixels[top:top + 48, left:left + 80] = light * boxes[:min(48, height), :min(80, width)]
    return np.maximum(pixels + np.random.RandomState(seed).normal(size=pixels.shape) * 0.0007, 0.0001)


def film(folder, name, count, **more):
    for i in range(count):
        takes.exr("%s/%s.%04d.exr" % (folder, name, 1001 + i), set_lit(i, **more), half=True)


# Nothing there; nothing that is a picture.
os.mkdir("empty")
run = takes.passel("survey", "empty", code=4)
assert "no pictures in this folder" in run.err, run.err
os.mkdir("words")
open("words/notes.txt", "w").close()
assert "no pictures in this folder" in takes.passel("survey", "words", code=4).err
assert "nowhere" in takes.passel("survey", "nowhere", code=4).err

# Names with spaces and letters of other alphabets; a name that is no UTF-8 is said, not looked at.
film("Nächte am Meer", "Möwe nah – zwei", 4)
with open(os.fsencode("Nächte am Meer/") + b"bad\xff.exr", "wb") as file:
    file.write(b"x")
said, run = survey("Nächte am Meer")
takes.equal([one["pass"] for one in said["passes"]], ["Möwe nah – zwei.####.exr"], "a name in UTF-8")
takes.equal((said["passes"][0]["frames"], said["passes"][0]["readable"]), (4, 4), "its frames")
assert "bad" in run.err, run.err

# One file that cannot be read: named with its pass and its frame; the others are measured all the same.
film("torn", "moon", 6)
film("torn", "lamp", 6, light=0.3)
with open("torn/moon.1003.exr", "r+b") as file:
    file.truncate(os.path.getsize("torn/moon.1003.exr") // 2)
with open("torn/lamp.1001.exr", "wb") as file:
    file.write(b"not a picture at all")
said, run = survey("torn", code=5)
takes.equal(sorted(one for one in findings(said) if one[1] == "unreadable"),
            [("lamp.####.exr", "unreadable"), ("moon.####.exr", "unreadable")], "torn files")
takes.equal(sorted(one["where"] for one in said["findings"] if one["kind"] == "unreadable"), ["frame 1001", "frame 1003"],
            "where they are")
takes.equal([one["readable"] for one in said["passes"]], [5, 5], "the others are read")
assert "moon.1003.exr" in takes.passel("survey", "torn", code=5).out

# A folder in which nothing can be read.
os.mkdir("ruins")
for name in ("a.0001.exr", "a.0002.exr", "b.png"):
    with open("ruins/" + name, "wb") as file:
        file.write(b"\0" * 100)
said, run = survey("ruins", code=5)
takes.equal(sorted(set(findings(said))), [("a.####.exr", "unreadable"), ("b.png", "unreadable")], "ruins")

# Sizes that differ, between frames and between passes.
film("sizes", "moon", 5)
film("sizes", "lamp", 5, light=0.5)
takes.exr("sizes/moon.1003.exr", set_lit(9, height=64, width=112), half=True)
said, run = survey("sizes")
assert ("moon.####.exr", "size") in findings(said), said["findings"]
takes.equal([one["where"] for one in said["findings"] if one["kind"] == "size"], ["frame 1003"], "the frame of another size")
# Much too small to measure anything in is no reason to stop.
takes.exr("sizes/dot.exr", np.full((1, 1, 3), 0.3), half=True)
said, run = survey("sizes")
takes.equal(len(said["passes"]), 3, "a picture of one pixel")

# Forty thousand files.
takes.exr("crowd/a.00000.exr", set_lit(1, height=48, width=80)[::6, ::8], half=True)
for i in range(1, 40000):
    os.link("crowd/a.00000.exr", "crowd/%s.%05d.exr" % ("abcd"[i % 4], i // 4 + (i % 4 > 0)))
said, run = survey("crowd")
takes.equal(sum(one["frames"] for one in said["passes"]), 40000, "all files are counted")
takes.equal(sum(one["readable"] for one in said["passes"]), 40000, "all files are read")
shutil.rmtree("crowd")

# Limits of the shot block; those of the command line go before them.
takes.recipe("  limit short 9 20\n  limit size 9 20\nmoon = pass sizes/moon.####.exr\nlamp = pass sizes/lamp.####.exr\noutput moon\n"
             "  file out.####.exr\n", frames="1001-1005", size="128x72")
said, run = survey("shot.passel")
assert ("moon", "size") not in findings(said), said["findings"]
said, run = survey("shot.passel", "--limit", "size=0,0", code=5)
assert ("moon", "size") in findings(said), said["findings"]
said, run = survey("shot.passel", "--set", "shot: limit size 0 3", code=1)
takes.equal([(one["care"], one["reshoot"]) for one in said["findings"] if one["kind"] == "size"], [(0, 3)], "care and re-shoot")
for line, words in (("limit bmup 1 2", "did you mean 'bump'"), ("limit bump 1", "expects 2 numbers"),
                    ("limit bump -1 2", "-1")):
    run = takes.passel("survey", "shot.passel", "--set", "shot: " + line, code=3)
    assert words in run.err, run.err
print("said, not skipped")
