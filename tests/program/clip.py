# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Which file serves which frame: use, then, start, beyond, missing, stills and movies."""

import numpy as np

import takes

# File N of the pass is N / 64 everywhere, which half and float hold exactly.
for number in (12, 13, 14, 17, 18):
    takes.exr("passes/bolt.%04d.exr" % number, np.full((12, 16, 3), number / 64))


def shown(settings, frames="1001-1008"):
    """What each frame of the shot shows: the file's number, 0 for an empty picture, None for a frame that failed."""
    takes.recipe("bolt = pass passes/bolt.####.exr\n%soutput bolt\n  file r/####.exr\n  pixels float\n" % settings,
                 frames=frames)
    run = takes.render("shot.passel", "--again", code=None)
    first, last = (int(word) for word in frames.split("-"))
    found = []
    for frame in range(first, last + 1):
        if frame in run.frames("failed"):
            found.append(None)
            continue
        pixels = takes.read("r/%04d.exr" % frame, "RGB")
        takes.equal((pixels.min(), pixels.max()), (pixels[0, 0, 0],) * 2, "an even frame")
        found.append(float(pixels[0, 0, 0]) * 64)
    takes.equal(run.code, 0 if None not in found else 1 if any(x is not None for x in found) else 4, "exit code")
    return found


def case(settings, wanted, frames="1001-1008"):
    takes.equal(shown(settings, frames), wanted, settings or "nothing set")


X = None
case("", [X, X, 12, 13, 14, X, X, 17, 18, X], frames="10-19")
case("  missing freeze\n", [12, 13, 14, 14, 14, 17, 18], frames="12-18")
case("  missing nothing\n", [12, 13, 14, 0, 0, 17, 18], frames="12-18")
case("  missing blend\n", [12, 13, 14, 15, 16, 17, 18], frames="12-18")
case("  use 12-14\n", [12, 13, 14, X, X, X, X, X])
case("  use 12-14\n  beyond freeze\n", [12, 13, 14, 14, 14, 14, 14, 14])
case("  use 12-14\n  start 1003\n  beyond freeze\n", [12, 12, 12, 13, 14, 14, 14, 14])
case("  use 12-14\n  start 1003\n  beyond nothing\n", [0, 0, 12, 13, 14, 0, 0, 0])
case("  use 12-14\n  start 1003\n  beyond error\n", [X, X, 12, 13, 14, X, X, X])
case("  use 12-14\n  start 1003\n  beyond repeat\n", [13, 14, 12, 13, 14, 12, 13, 14])
case("  use 12-14\n  start 1003\n  beyond to-and-fro\n", [14, 13, 12, 13, 14, 13, 12, 13])
case("  use 17-18 then 12-13\n  beyond repeat\n", [17, 18, 12, 13, 17, 18, 12, 13])
case("  use 17-18 then 12-13 then 18-18\n  beyond nothing\n", [17, 18, 12, 13, 18, 0, 0, 0])
case("  use 13-17\n  missing blend\n  beyond to-and-fro\n", [13, 14, 15, 16, 17, 16, 15, 14])
case("  use 13-13\n  beyond to-and-fro\n", [13] * 8)
case("  use 13-13\n  beyond repeat\n", [13] * 8)
case("  start 1006\n  beyond nothing\n  missing nothing\n", [0, 0, 0, 0, 0, 12, 13, 14])

# An empty frame has no alpha either.
takes.recipe("bolt = pass passes/bolt.####.exr\n  use 12-12\n  beyond nothing\n"
             "sea = flat\n  colour 0.25 0.5 0.75\nfinal = stack\n  layer sea\n  layer bolt\n"
             "output final\n  file r/over.####.exr\n  pixels float\n", frames="1001-1002")
takes.equal(takes.render().code, 0, "exit code")
takes.near(takes.read("r/over.1001.exr", "RGB"), np.full((12, 16, 3), 12 / 64), "covered")
takes.near(takes.read("r/over.1002.exr", "RGB"), np.broadcast_to([0.25, 0.5, 0.75], (12, 16, 3)), "nothing there")

# A still serves every frame; a single # is itself; %04d is a frame number too.
takes.exr("passes/still#.exr", np.full((12, 16, 3), 0.5))
takes.recipe("still = pass passes/still#.exr\nbolt = pass passes/bolt.%04d.exr\n  use 17-18\n"
             "night = lights\n  light still\n  light bolt\n"
             "output night\n  file r/night.%04d.exr\n  pixels float\n", frames="7-8")
takes.equal(takes.render().frames("done"), [7, 8], "made")
takes.near(takes.read("r/night.0008.exr", "RGB"), np.full((12, 16, 3), 0.5 + 18 / 64), "a still and a clip")

# A movie: 8-bit studio range without colour, frames counted from 1.
with open("passes/sign.y4m", "wb") as movie:
    movie.write(b"YUV4MPEG2 W16 H12 F24:1 Ip A1:1 C444\n")
    for level in (16, 126, 235):
        movie.write(b"FRAME\n" + bytes([level]) * 192 + bytes([128]) * 384)
takes.recipe("sign = pass passes/sign.y4m\n  encoding linear\n  use 2-3\n  beyond to-and-fro\n"
             "output sign\n  file r/sign.####.exr\n  pixels float\n", frames="1001-1003")
takes.render()
for frame, level in ((1001, 126), (1002, 235), (1003, 126)):
    takes.near(takes.read("r/sign.%d.exr" % frame, "RGB"), np.full((12, 16, 3), (level - 16) / 219), "movie",
               absolute=1e-6)

# Missing frames are blended in linear light, by their distance from those that are there: of sRGB numbers their light counts.
def light(values):
    share = values / 255
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


coded = {n: np.random.RandomState(n).randint(0, 256, (12, 16, 3)) for n in (1, 3, 4, 8)}
for number, values in coded.items():
    takes.png("passes/coded.%04d.png" % number, values)
takes.recipe("coded = pass passes/coded.####.png\n  missing blend\n"
             "output coded\n  file r/coded.####.exr\n  pixels float\n", frames="1-8")
takes.equal(takes.render().frames("done"), list(range(1, 9)), "made")
for frame, before, after in ((2, 1, 3), (5, 4, 8), (6, 4, 8), (7, 4, 8)):
    share = (frame - before) / (after - before)
    takes.near(takes.read("r/coded.%04d.exr" % frame, "RGB"), (1 - share) * light(coded[before]) + share * light(coded[after]),
               "frame %d, which is missing" % frame, relative=2e-6, absolute=1e-7)
for frame in coded:
    takes.near(takes.read("r/coded.%04d.exr" % frame, "RGB"), light(coded[frame]), "frame %d" % frame, relative=2e-6, absolute=1e-7)
print("clip: fine")
