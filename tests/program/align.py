# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
# labels: threads
"""What `align` finds, as numbers in the recipe: `passel fit RECIPE BLOCK --write`, for one answer and for each frame;
the pictures are the same with the numbers as with the search, and the numbers are the truth."""

import re

import numpy as np

import takes

WIDTH, HEIGHT = 160, 120
rng = np.random.RandomState(3)


def field(slope):
    fy, fx = np.fft.fftfreq(HEIGHT)[:, None], np.fft.fftfreq(WIDTH)[None]
    size = np.hypot(fx, fy)
    size[0, 0] = 1
    spectrum = np.fft.fft2(rng.standard_normal((HEIGHT, WIDTH))) * size ** -slope * np.exp(-(size / 0.3) ** 8)
    spectrum[0, 0] = 0
    found = np.fft.ifft2(spectrum).real
    return found / found.std()


def moved(picture, dx, dy):
    fy, fx = np.fft.fftfreq(HEIGHT)[:, None], np.fft.fftfreq(WIDTH)[None]
    return np.fft.ifft2(np.fft.fft2(picture) * np.exp(-2j * np.pi * (fx * dx + fy * dy))).real


PAINT, RELIEF = 0.4 * np.exp(0.35 * field(1.0)), 0.1 * field(1.0)


def film(path, lamp, dx, dy):
    light = moved(PAINT * (1 + lamp * RELIEF), dx, dy) + 0.004 * rng.standard_normal((HEIGHT, WIDTH))
    takes.exr(path, np.repeat(light[:, :, None], 3, 2))


SHAKE = [(0.3, -0.2), (-0.8, 0.6), (1.1, 0.4), (-0.4, -0.9)]
film("green.exr", 1, 0, 0)
film("blue.exr", -1, 0.6, -0.4)
for number, (across, down) in enumerate(SHAKE):
    film("take.%d.exr" % (1001 + number), -1, across, down)

ONE = ("# The blue take was bumped.\ngreen = pass green.exr\nblue = pass blue.exr\nfound = align blue   # by hand?\n"
       "  to    green\n  find  move  # no turn\n")
EACH = "green = pass green.exr\ntake = pass take.####.exr\nfound = align take\n  to green\n  find move\n  each frame\n"
OUTPUT = "output found as out\n  file r/####.exr\n  pixels float\n"


def pictures():
    takes.render("shot.passel", "--again")
    return np.stack([takes.read("r/%d.exr" % frame, "RGB") for frame in range(1001, 1005)])


def told(line):
    return np.array([float(word) for word in re.findall(r"-?\d+\.\d+", line)]).reshape(-1, 4, 2)


corners = np.array([(0, 0), (WIDTH, 0), (WIDTH, HEIGHT), (0, HEIGHT)])
for text, shifts in ((ONE, [(0.6, -0.4)]), (EACH, SHAKE)):
    takes.recipe(text + OUTPUT, size="%dx%d" % (WIDTH, HEIGHT))
    with open("shot.passel", encoding="utf-8") as file:
        before = file.read()
    found = pictures()
    run = takes.passel("fit", "shot.passel", "found", "--write")
    line = run.out.splitlines()[0].strip()
    takes.near(told(line) - corners, np.repeat(np.array(shifts)[:, None], 4, 1), "what was found", absolute=0.1)
    with open("shot.passel", encoding="utf-8") as file:
        after = file.read()
    takes.equal([part for part in after.splitlines() if part.split() != line.split()], before.splitlines(), "all other lines")
    takes.near(pictures(), found, "the pictures by the numbers", absolute=2e-4)
    run = takes.passel("fit", "shot.passel", "found", code=2)
    print(run.err, end="")

# `measure`: two halves of the picture moved by their own ways; each is found where it is looked for.
left, right = (0.6, -0.4), (-2.3, 1.2)
halves = [moved(PAINT * (1 - RELIEF), *way) + 0.004 * rng.standard_normal((HEIGHT, WIDTH)) for way in (left, right)]
joined = np.where(np.arange(WIDTH) < WIDTH // 2, *halves)
takes.exr("blue.exr", np.repeat(joined[:, :, None], 3, 2))
for way, first in ((left, 0), (right, WIDTH // 2)):
    last = first + WIDTH // 2
    takes.recipe(ONE + "  measure half\nhalf = shape\n  polygon %d 0 %d 0 %d 120 %d 120 px\n" %
                 (first + 4 * (first > 0), last - 4 * (first == 0), last - 4 * (first == 0), first + 4 * (first > 0)) +
                 OUTPUT, size="%dx%d" % (WIDTH, HEIGHT))
    line = takes.passel("fit", "shot.passel", "found").out
    takes.near(told(line)[0] - corners, np.repeat([way], 4, 0), "what was found in one half", absolute=0.15)

# Nothing is looked for: without the picture to lie on there is nothing wrong but its name.
takes.recipe(ONE + "  corners 3 2 163 2 163 122 3 122 px\n" + OUTPUT, size="%dx%d" % (WIDTH, HEIGHT))
takes.near(pictures()[0][:HEIGHT - 2, :WIDTH - 3], takes.read("blue.exr", "RGB")[2:, 3:], "three right, two down")
takes.recipe(ONE + "  corners 0 0 9 9 1 1 0 9 px\n" + OUTPUT.replace("found", "green"), size="%dx%d" % (WIDTH, HEIGHT))
print(takes.passel("fit", "shot.passel", "green", code=2).err, end="")
print("align: fine")
