# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""`key two-screen` when its input is bad: every message says what was measured and what to do. And what moved between
the takes: the frame tells where, and what is cut out there is whole."""

import numpy as np

import takes

WIDTH, HEIGHT = 240, 160
GREEN, BLUE = np.array([0.06, 0.5, 0.1]), np.array([0.05, 0.12, 0.48])
HEAD = """
green = pass green.####.exr
blue = pass blue.exr
green-empty = pass green-empty.exr
blue-empty = pass blue-empty.exr
small = pass small.exr
"""
TAIL = """
output cut
  file renders/cut.####.exr
  pixels float
"""


def noisy(light, seed):
    rng = np.random.default_rng(seed)
    return light + np.sqrt(2e-5 * light + 1e-6) * rng.standard_normal(light.shape)


def screen(colour):
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    return (1 - 0.2 * ((x / WIDTH - 0.5) ** 2 + (y / HEIGHT - 0.5) ** 2))[..., None] * colour


def take(colour, ball, seed):
    """A block that stands still, and a ball of 20 pixels at `ball`."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    light = screen(colour)
    light[90:, 40:120] = (0.3, 0.2, 0.12)
    light[np.hypot(x - ball, y - 40) < 20] = (0.4, 0.38, 0.35)
    return noisy(light, seed)


def key(*lines, frames="1001"):
    takes.recipe(HEAD + "cut = key two-screen\n" + "".join("  on %s\n" % line for line in lines) + TAIL, frames=frames,
                 size="%dx%d" % (WIDTH, HEIGHT))


takes.exr("green.1001.exr", take(GREEN, 180, 1))
takes.exr("green.1002.exr", take(GREEN, 60, 2))
takes.exr("blue.exr", take(BLUE, 180, 3))
takes.exr("green-empty.exr", noisy(screen(GREEN), 4))
takes.exr("blue-empty.exr", noisy(screen(BLUE), 5))
takes.exr("small.exr", noisy(screen(GREEN)[:80], 6))

print("-- one screen only")
key("green empty green-empty")
takes.show(takes.passel("render", "shot.passel", code=3))

print("-- an empty of another size")
key("green empty small", "blue empty blue-empty")
takes.show(takes.passel("render", "shot.passel", "--quiet", code=None))

print("-- an empty that is not there")
key("green empty none", "blue empty blue-empty")
takes.show(takes.passel("render", "shot.passel", code=3))

print("-- no bare screen: a chequered wall")
rng = np.random.default_rng(9)
for name in ("green.1001.exr", "blue.exr"):
    takes.exr("rough-" + name, np.kron(rng.random((HEIGHT // 8, WIDTH // 8, 3)), np.ones((8, 8, 1))))
takes.recipe(HEAD.replace("pass green.", "pass rough-green.").replace("pass blue.exr", "pass rough-blue.exr") +
             "cut = key two-screen\n  on green\n  on blue\n" + TAIL, frames="1001",
             size="%dx%d" % (WIDTH, HEIGHT))
takes.show(takes.passel("render", "shot.passel", "--quiet", code=None))

print("-- a ball that is in another place before the second screen, in frame 1002")
key("green empty green-empty", "blue empty blue-empty", frames="1001-1002")
run = takes.passel("render", "shot.passel", "--again", "--quiet", code=None)
takes.show(run)
for frame, here in ((1001, {180: 1, 60: 0}), (1002, {60: 1, 180: 0})):
    alpha = takes.read("renders/cut.%d.exr" % frame, "A")[..., 0]
    for x, truth in here.items():
        off = abs(float(alpha[30:50, x - 10:x + 10].mean()) - truth)
        assert off < 0.01, (frame, x, off)
    assert abs(float(alpha[100:, 50:110].mean()) - 1) < 0.005

print("-- the lamp before the green screen was a little brighter than for its empty")
takes.exr("green.1001.exr", noisy(1.04 * take(GREEN, 180, 1), 7))
key("green empty green-empty", "blue empty blue-empty")
takes.show(takes.passel("render", "shot.passel", "--again", "--quiet"))

print("-- the green screen is clipped")
takes.exr("green.1001.exr", np.minimum(take(GREEN, 180, 1), 0.44))
takes.exr("green-empty.exr", np.minimum(noisy(screen(GREEN), 4), 0.44))
key("green empty green-empty", "blue empty blue-empty")
takes.show(takes.passel("render", "shot.passel", "--again", "--quiet"))
