# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Lights of several sizes, ranges without frames, keys out of order, speeds that run off a pass: `check` and `render` say the
same, with the line that is wrong, and nothing is written. (retime.py has more of what is wrong with a clip.)"""

import os
import re

import takes

for number in range(1, 9):
    takes.exr("passes/moon.%04d.exr" % number, takes.noise(number))
    takes.exr("passes/lamp.%04d.exr" % number, takes.noise(10 + number))
    takes.exr("passes/other.%04d.exr" % number, takes.noise(20 + number, 12, 15))

PASSES = "".join("%s = pass passes/%s.####.exr\n" % (name, name) for name in ("moon", "lamp", "other"))
OUTPUT = "output final\n  file renders/storm/final.####.exr\n"


def refused(text, wrong, frames="1-8"):
    """`wrong` is the line that must be named."""
    takes.recipe(PASSES + text + OUTPUT, frames=frames)
    with open("shot.passel", encoding="utf-8") as file:
        lines = file.read().split("\n")
    takes.equal(sum(wrong in line for line in lines), 1, "lines with " + wrong)
    line = next(number for number, line in enumerate(lines, 1) if wrong in line)
    for verb in ("check", "render"):
        before = takes.contents(".")
        run = takes.passel(verb, "shot.passel", code=3)
        said = re.findall(r"shot\.passel:(\d+):\d+: error: (.*)", run.out + run.err)
        assert said and all(int(number) == line for number, _ in said), (verb, line, run.out, run.err)
        takes.equal(len({message for _, message in said}), 1, "one thing is said")
        takes.equal(takes.contents("."), before, "what is on the disk after " + verb)
        takes.equal(os.path.exists("renders"), False, "the folder of the output after " + verb)
    print("%s: %s" % (wrong.strip(), said[0][1]))


print("-- lights of several sizes")
refused("final = lights\n  light moon\n  light other\n", "light other")
refused("final = lights\n  ambient other\n  light moon -1 stops\n", "ambient other")
refused("final = lights\n  light lamp\n  light moon minus other\n", "minus other")
refused("half = shape\n  ellipse 4 4 4 4 px\nsmall = place other\n  move 1 0 px\n"
        "final = lights\n  light moon\n  light lamp matte small\n", "matte small")

print("-- ranges without frames")
refused("final = lights\n  light moon\n", "frames 8-1", frames="8-1")
refused("bolt = pass passes/moon.####.exr\n  use 5-3\nfinal = lights\n  light bolt\n", "use 5-3")
refused("bolt = pass passes/moon.####.exr\n  use 1-2 then 30-40\nfinal = lights\n  light bolt\n", "use 1-2 then 30-40")
refused("bolt = pass passes/moon.####.exr\n  use 30-40\nfinal = lights\n  light bolt\n", "use 30-40")
refused("final = time moon\n  use 5-3\n", "use 5-3")
takes.recipe(PASSES + OUTPUT.replace("final\n", "moon\n", 1), frames="1-8")
takes.show(takes.passel("render", "shot.passel", "--frames", "9-12", code=2))
takes.equal(os.path.exists("renders"), False, "the folder of the output")

print("-- keys out of order")
refused("level = curve\n  1 0\n  5 1 smooth\n  3 0.5\nfinal = lights\n  light moon gain level\n", "  3 0.5")
refused("level = curve\n  1 0\n  5 1\n  5 0.5\nfinal = lights\n  light moon gain level\n", "  5 0.5")
refused("final = lights\n  light moon gain [1 1, 6 0.5, 4 0]\n", "light moon gain")

print("-- speeds that run off")
refused("pace = curve\n  1 1\n  4 4\nfinal = time moon\n  use 1-8\n  start 1\n  speed pace\n", "speed pace", frames="1-6")
refused("final = time moon\n  use 1-8\n  start 1\n  speed [1 100, 8 -100]%\n", "speed [", frames="1-12")

# A clip without `use` has no ends: frames of it are lost where the pass has none, the others are made.
takes.recipe(PASSES + "final = time moon\n  start 1\n  speed [1 100, 4 400]%\n" + OUTPUT, frames="1-6")
run = takes.render(code=1)
takes.equal((run.frames("done"), run.frames("failed")), ([1, 2, 3, 4], [5, 6]), "made, failed")
for event in run.events("failed"):
    assert event["text"].startswith("shot.passel:4:13: error: the pass covers shot frames 1 to 8 and is asked for "), event
takes.equal(sorted(takes.contents("renders")), ["storm/final.%04d.exr" % frame for frame in (1, 2, 3, 4)], "files")
