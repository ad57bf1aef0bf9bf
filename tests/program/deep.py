# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Graphs that are deep: a diamond on a diamond, sixty high, costs as many steps as it has blocks, not two to the
sixtieth; chains of thousands render or are refused by name; a cycle names its way."""

import time

import numpy as np

import takes

SIZE = "64x48"


def diamond(depth, step):
    text = "b0 = flat\n  colour 0.25 0.5 0.125\n"
    for i in range(1, depth + 1):
        text += step.replace("THIS", "b%d" % i).replace("BELOW", "b%d" % (i - 1))
    return text + "output b%d\n  file deep.exr\n  pixels float\n" % depth


STACKED = "THIS = stack\n  layer BELOW\n  layer BELOW opacity 50%\n"
PLACED = "THIS-a = place BELOW\n  move 1 0 px\nTHIS-b = place BELOW\n  move 0 1 px\nTHIS = stack\n  layer THIS-a\n  layer THIS-b lighten\n"
SOFT = "THIS-a = matte BELOW\n  soften 1 px\nTHIS-b = matte BELOW\n  spread 1 px\nTHIS = matte THIS-a\n  union THIS-b\n"


def seconds(depth, step):
    takes.recipe(diamond(depth, step), frames="1", size=SIZE)
    best = 1e9
    for _ in range(3):
        begin = time.monotonic()
        takes.render("shot.passel", "--again", "--threads", "1")
        best = min(best, time.monotonic() - begin)
    return best


for name, step in (("stacked", STACKED), ("placed", PLACED)):
    short, long = seconds(15, step), seconds(60, step)
    assert long < 8 * short + 0.5, "%s: %.2f s for 15 levels, %.2f s for 60" % (name, short, long)
    if name == "stacked":
        takes.near(takes.read("deep.exr", "RGB"), np.broadcast_to([0.25, 0.5, 0.125], (48, 64, 3)), "60 levels", 1e-5)
# Each level reaches further up and down, so that its inputs are kept whole.
takes.recipe(diamond(60, SOFT).replace("colour 0.25", "alpha 0.01\n  colour 0.25"), frames="1", size=SIZE)
takes.render()

chain = "THIS = stack\n  layer BELOW\n"
takes.recipe(diamond(3000, chain), frames="1", size="8x8")
takes.render()
takes.near(takes.read("deep.exr", "RGB"), np.broadcast_to([0.25, 0.5, 0.125], (8, 8, 3)), "3000 blocks")
takes.recipe(diamond(6000, chain), frames="1", size="8x8")
run = takes.passel("render", "shot.passel", code=None)
assert run.code in (0, 3, 4), run.code
print(run.err if run.code else "6000 blocks: fine")

takes.recipe("a = stack\n  layer b\nb = matte a\n  minus c\nc = matte b\noutput a\n  file a.exr\n", frames="1")
takes.show(takes.passel("render", "shot.passel", code=3))
