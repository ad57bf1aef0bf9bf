# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
# labels: threads
"""Clips re-timed through the program: which frame is seen with which weight, errors, and the same bits whatever the
threads and the frames asked for."""

import numpy as np

import takes

# File N of the pass is N / 64 everywhere, which half and float hold exactly.
for number in range(1, 41):
    takes.exr("passes/count.%04d.exr" % number, np.full((12, 16, 3), number / 64))

COUNT = "count = pass passes/count.####.exr\n  rate 60\nsea = flat\n  colour 1 1 1\nslow = pass passes/count.####.exr\n"
OUTPUT = "output clip\n  file r/####.exr\n  pixels float\n"


def shown(settings, frames):
    """What each frame of the shot shows: the file's number, mixed by weight."""
    takes.recipe(COUNT + "clip = time count\n" + settings + OUTPUT, frames=frames)
    takes.render("shot.passel", "--again")
    first, last = (int(word) for word in frames.split("-"))
    found = []
    for frame in range(first, last + 1):
        pixels = takes.read("r/%04d.exr" % frame, "RGB")
        takes.equal((pixels.min(), pixels.max()), (pixels[0, 0, 0],) * 2, "an even frame")
        found.append(float(pixels[0, 0, 0]) * 64)
    return found


def case(settings, wanted, frames="1001-1008"):
    """Whole frames are exact, mixed ones within rounding to float."""
    found = shown(settings, frames)
    takes.near(found, wanted, settings, relative=2.0**-23)
    whole = [i for i, number in enumerate(wanted) if number == int(number)]
    takes.equal([found[i] for i in whole], [float(wanted[i]) for i in whole], settings)


# Constant speeds. `nearest` is what is meant when nothing is said; a half goes down.
case("  use 1-12\n", range(1, 9))
case("  use 5-12\n  speed 20%\n", [5, 5, 5, 6, 6, 6, 6, 6])
case("  use 5-12\n  speed 50%\n", [5, 5, 6, 6, 7, 7, 8, 8])
case("  use 1-12\n  speed 150%\n", [1, 2, 4, 5, 7, 8, 10, 11])
case("  use 5-12\n  speed 20%\n  between blend\n", [5, 5.2, 5.4, 5.6, 5.8, 6, 6.2, 6.4])
case("  use 5-12\n  speed 50%\n  between blend\n", [5, 5.5, 6, 6.5, 7, 7.5, 8, 8.5])
case("  use 1-12\n  speed 150%\n  between blend\n", [1, 2.5, 4, 5.5, 7, 8.5, 10, 11.5])
case("  use 5-12\n  speed 20%\n  between flow\n", [5, 5.2, 5.4, 5.6, 5.8, 6, 6.2, 6.4])
# 60 frames a second in a shot of 24.
case("  use 1-30\n  speed real\n  between blend\n", [1, 3.5, 6, 8.5, 11, 13.5, 16, 18.5])

# Reverse, splice, start, what lies beyond.
case("  use 1-8\n  reverse\n", range(8, 0, -1))
case("  use 1-8\n  reverse\n  speed 50%\n  between blend\n", [8, 7.5, 7, 6.5, 6, 5.5, 5, 4.5])
case("  use 1-3 then 31-33\n  beyond repeat\n", [1, 2, 3, 31, 32, 33, 1, 2])
case("  use 1-3 then 31-33\n  reverse\n  beyond freeze\n", [33, 32, 31, 3, 2, 1, 1, 1])
case("  use 1-2 then 31-32\n  speed 50%\n  between blend\n", [1, 1.5, 2, 2, 31, 31.5, 32, 32])
case("  use 1-3\n  start 1004\n  beyond nothing\n", [0, 0, 0, 1, 2, 3, 0, 0])
case("  use 1-3\n  start 1004\n  beyond to-and-fro\n", [2, 3, 2, 1, 2, 3, 2, 1])
case("  use 1-3\n  speed 50%\n  between blend\n  beyond to-and-fro\n", [1, 1.5, 2, 2.5, 3, 2.5, 2, 1.5])
case("  use 1-3\n  start 1003\n  speed 50%\n  between blend\n  beyond repeat\n", [3, 3, 1, 1.5, 2, 2.5, 3, 3])
case("  use 1-5 then 31-35\n  dissolve 2 frames\n", [1, 2, 3, 4 * 2 / 3 + 31 / 3, 5 / 3 + 32 * 2 / 3, 33, 34, 35])

# A speed that changes is summed up: 1, then 0.25 (references: the ramp from 1 to 0.25 over 24 frames ends at 15).
case("  use 1-20\n  speed [1 100, 25 25]%\n  between blend\n",
     [1 + n - 0.75 * n * n / 48 for n in range(25)], frames="1-25")
case("  use 1-20\n  speed [1 100 hold, 4 50]%\n  between blend\n", [1, 2, 3, 4, 4.5, 5, 5.5, 6], frames="1-8")
takes.recipe(COUNT + "pace = curve\n  1 1 hold\n  4 0.5\nclip = time count\n  use 1-20\n  speed pace\n  between blend\n" +
             OUTPUT, frames="1-8")
takes.render("shot.passel", "--again")
takes.equal([takes.read("r/%04d.exr" % n, "R").max() * 64 for n in range(1, 9)], [1, 2, 3, 4, 4.5, 5, 5.5, 6], "a curve")

# Without `use` the clip begins with what is read at the shot's first frame and has no ends.
case("  speed 50%\n  between blend\n", [3, 3.5, 4, 4.5, 5, 5.5], frames="3-8")

# A take is one picture until a frame, then another, and reads only that.
takes.recipe(COUNT + "lit = time count\n  use 1-30\nout = pass passes/count.0040.exr\ngone = pass passes/count.####.exr\n"
             "  use 39-40\n  beyond error\nclip = take lit until 1003 then out until 1005 then lit\n" + OUTPUT,
             frames="1001-1007")
takes.render("shot.passel", "--again")
takes.equal([takes.read("r/%04d.exr" % n, "R").max() * 64 for n in range(1001, 1008)], [1, 2, 3, 40, 40, 6, 7], "a take")


# What is wrong is said with its line, and nothing is written.
def refused(settings, kind="time count"):
    takes.recipe(COUNT + "clip = " + kind + "\n" + settings + OUTPUT.replace("r/", "none/"), frames="1001-1008")
    run = takes.passel("render", "shot.passel", "--quiet", code=None)
    print(run.err, end="")
    takes.equal(run.code, 3, "exit code")
    takes.equal([name for name in takes.contents(".") if name.startswith("none")], [], "written")


refused("  use 12-5\n")
refused("  use 1-4\n")
refused("  use 1-8\n  speed [1001 100, 1008 150]%\n")
refused("  use 1-8\n  speed [1008 100, 1001 150]%\n")
refused("  reverse\n")
refused("  use 1-8\n  dissolve 2 frames\n")
refused("  use 1-8 then 11-12\n  dissolve 3 frames\n")
refused("  use 1-8 then 11-14 then 21-30\n  dissolve 2 frames\n")
refused("  speed real\n", "time sea")
refused("  speed real\n", "time slow")
refused("", "take count until 1003")
refused("", "take count then count until 1003")
refused("", "take count until 1003 then count until 1002 then count")

# The same bits, whatever the threads, the memory and the frames asked for.
noise = np.random.RandomState(5)
wall = noise.uniform(0, 1, (60, 80, 3))
y, x = np.mgrid[0:60, 0:80]
for number in range(1, 5):
    disc = np.clip(14 - np.hypot(x - 15 - 7 * number, y - 30), 0, 1)[:, :, None]
    light = 1 + 0.1 * np.sin(2.4 * number) + 0.05 * np.sin(y[:, :, None] * 0.3 + number)
    takes.exr("passes/disc.%04d.exr" % number, light * (wall * (1 - disc) + disc * (0.4 + 0.4 * np.sin(x * y))[:, :, None]))
takes.recipe("disc = pass passes/disc.####.exr\n"
             "clip = time disc\n  use 1-4 then 2-4\n  dissolve 2 frames\n  speed 40%\n  between flow\n  even-light bands\n" +
             OUTPUT, frames="1-12", size="80x60")
takes.render("shot.passel", "--again", "--threads", "1")
whole = takes.contents("r")
for words in (("--threads", "4"), ("--threads", "3", "--memory", "1"), ("--frames", "4-9"), ("--frames", "8")):
    takes.render("shot.passel", "--again", *words)
    takes.equal(takes.contents("r") == whole, True, "the same bytes with " + " ".join(words))
print("retime: fine")
