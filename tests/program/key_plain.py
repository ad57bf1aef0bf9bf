# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""`key two-screen`: with `trust empties` it is plain least squares (against numpy in double); a damaged or missing frame
among those that a key learns its screens from stops that frame alone."""

import os

import numpy as np

import takes

WIDTH, HEIGHT = 96, 54
GREEN, BLUE, COAT = np.array([0.05, 0.4, 0.1]), np.array([0.05, 0.1, 0.45]), np.array([0.5, 0.3, 0.2])
TEXT = """
green = pass green.####.exr
blue = pass blue.####.exr
green-empty = pass green-empty.exr
blue-empty = pass blue-empty.exr
cut = key two-screen
  on green empty green-empty
  on blue empty blue-empty%s
output cut
  file renders/cut.####.exr
  pixels float
"""


def film():
    rng = np.random.default_rng(5)

    def grainy(light):
        return light + rng.normal(0, 0.004, (HEIGHT, WIDTH, 3))

    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    alpha = np.clip(18 - np.hypot(x - 48, y - 27), 0, 1)[..., None]
    for name, screen in (("green", GREEN), ("blue", BLUE)):
        takes.exr(name + "-empty.exr", grainy(screen))
        for frame in range(1, 7):
            takes.exr("%s.%04d.exr" % (name, frame), grainy(alpha * COAT + (1 - alpha) * screen))


def plain(frame):
    green, blue = (takes.read("%s.%04d.exr" % (n, frame)).astype(float) for n in ("green", "blue"))
    green_empty, blue_empty = (takes.read(n + "-empty.exr").astype(float) for n in ("green", "blue"))
    apart = green_empty - blue_empty
    left = ((green - blue) * apart).sum(-1, keepdims=True) / (apart * apart).sum(-1, keepdims=True)
    return np.concatenate([(green + blue - left * (green_empty + blue_empty)) / 2, 1 - left], -1)


film()
print("-- trust empties: plain least squares")
takes.recipe(TEXT % "\n  trust empties", size="%dx%d" % (WIDTH, HEIGHT), frames="1-6")
takes.render()
for number in (1, 6):
    takes.near(takes.read("renders/cut.%04d.exr" % number), plain(number), "cut %d" % number, absolute=3e-6)

print("-- a looked-at frame is damaged, another is missing: the others are made")
takes.recipe(TEXT % "", size="%dx%d" % (WIDTH, HEIGHT), frames="1-6")
with open("green.0004.exr", "r+b") as damaged:
    damaged.seek(os.path.getsize("green.0004.exr") // 2)
    damaged.write(bytes(4000))
os.remove("blue.0002.exr")
run = takes.render(code=1)
takes.equal(run.end(), (4, 0, 2), "made, up to date, failed")
takes.equal(sorted(run.frames("failed")), [2, 4], "failed")

print("-- none of the looked-at frames can be read: nothing is made")
for number in (2, 4, 6):
    with open("green.%04d.exr" % number, "r+b") as damaged:
        damaged.seek(os.path.getsize("green.%04d.exr" % number) // 2)
        damaged.write(bytes(4000))
run = takes.render("shot.passel", "--again", code=4)
takes.equal(run.end(), (0, 0, 6), "made, up to date, failed")
