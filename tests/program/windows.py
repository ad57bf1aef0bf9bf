# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Data windows inside of, larger than and apart from the display window."""

import numpy as np

import takes

sea = takes.noise(1, 12, 16)
takes.exr("sea.exr", sea)


def final(name, data, size, rest=""):
    """A layer whose file has this data window, over the sea; with the place of the layer in the shot."""
    pixels = takes.noise(7, size[1], size[0])
    takes.exr(name, pixels, data=data, display=(0, 0, 16, 12))
    takes.recipe("sea = pass sea.exr\nsmall = pass %s\nmoved = place small\n%sfinal = stack\n  layer sea\n"
                 "  layer moved\noutput final\n  file out.exr\n  pixels float\n" % (name, rest or "  move 0 0 px\n"),
                 frames="1")
    takes.render()
    return pixels, takes.read("out.exr", "RGB")


def pasted(pixels, x, y):
    wanted = sea.copy()
    for row in range(pixels.shape[0]):
        for column in range(pixels.shape[1]):
            if 0 <= y + row < 12 and 0 <= x + column < 16:
                wanted[y + row, x + column] = pixels[row, column]
    return wanted


pixels, got = final("inside.exr", (3, 2), (5, 6))
takes.near(got, pasted(pixels, 3, 2), "inside")
pixels, got = final("larger.exr", (-4, -3), (24, 18))
takes.near(got, pasted(pixels, -4, -3), "larger")
pixels, got = final("apart.exr", (20, 15), (5, 6))
takes.near(got, sea, "apart")
pixels, got = final("apart.exr", (20, 15), (5, 6), "  move -18 -14 px\n")
takes.near(got, pasted(pixels, 2, 1), "apart, then moved into the picture")
pixels, got = final("across.exr", (-3, 8), (9, 9))
takes.near(got, pasted(pixels, -3, 8), "across the corner")

# A display window that does not begin at 0 0.
shifted = takes.noise(9, 12, 16)
takes.exr("shifted.exr", shifted, data=(100, 50), display=(100, 50, 16, 12))
takes.recipe("shifted = pass shifted.exr\noutput shifted\n  file out.exr\n  pixels float\n", frames="1")
takes.render()
takes.near(takes.read("out.exr", "RGB"), shifted, "a display window elsewhere")
# Many strips, so that the memory of one serves the next: nothing of it may show where an input has no pixels.
tall = takes.noise(11, 90, 20)
takes.exr("tall.exr", tall)
part = takes.noise(12, 30, 9)
takes.exr("part.exr", part, data=(6, 40), display=(0, 0, 20, 90))
takes.recipe("tall = pass tall.exr\npart = pass part.exr\nnight = lights\n  light tall\n  light part\n"
             "turned = place part\n  turn 0.001 deg\n  filter linear\n"
             "final = stack\n  layer night\n  layer turned opacity 0%\n  layer part add opacity 50%\n"
             "output final\n  file out.exr\n  pixels float\n", frames="1", size="20x90")
takes.render("shot.passel", "--threads", "1")
wanted = tall.astype(np.float64)
wanted[40:70, 6:15] += 1.5 * part
takes.near(takes.read("out.exr", "RGB"), wanted, "many strips", 1e-6, 1e-6)
print("windows: fine")
