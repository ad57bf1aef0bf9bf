# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Quick pictures show what the finished frames will: every kind that makes pictures, at half and quarter size, against
the full render reduced by means of n x n pixels and seen through the same curve.

A limit is in code values of 255: the mean difference, and that of the worst hundredth of the pixels. All settings in
pixels are wide, so that one that is not made smaller along with the picture goes far beyond.
"""

import os
import re
import shutil
import sys

import takes

np = takes.np
WIDTH, HEIGHT, FRAME = 400, 264, 1003

# mean and worst hundredth at half, then at quarter size
USUAL = (0.6, 6, 1.0, 14)
LIMITS = {
    "come-in": (0.6, 26, 1.0, 40),  # takes an edge for three pixels wide at any size
    "clouds": (0.6, 6, 3.0, 40),  # other pieces of the plate fit best
}


def soft(seed, cell, height=HEIGHT, width=WIDTH):
    """Smooth noise 0 to 1, `cell` pixels to a hill."""
    small = np.random.RandomState(seed).uniform(0, 1, (height // cell + 3, width // cell + 3, 3))
    y, x = np.mgrid[0:height, 0:width] / cell
    y0, x0 = y.astype(int), x.astype(int)
    v, u = [(3 - 2 * t) * t * t for t in (y - y0, x - x0)]
    v, u = v[:, :, None], u[:, :, None]
    return ((small[y0, x0] * (1 - u) + small[y0, x0 + 1] * u) * (1 - v)
            + (small[y0 + 1, x0] * (1 - u) + small[y0 + 1, x0 + 1] * u) * v)


def screen(colour, seed):
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    alpha = np.clip((60 - np.hypot(x - 200, y - 132)) / 8, 0, 1)[:, :, None]
    empty = np.array(colour) * (0.9 + 0.1 * x[:, :, None] / WIDTH)
    front = np.array([0.7, 0.3, 0.2]) * (0.5 + 0.5 * soft(9, 40))
    grain = 0.002 * (takes.noise(seed, HEIGHT, WIDTH) - 0.5)
    return alpha * front + (1 - alpha) * empty + grain, empty + 0.002 * (takes.noise(seed + 50, HEIGHT, WIDTH) - 0.5)


for number, (name, colour) in enumerate((("gs", (0.1, 0.7, 0.15)), ("bs", (0.1, 0.15, 0.8)))):
    take, empty = screen(colour, number)
    takes.exr("passes/%s.exr" % name, take)
    takes.exr("passes/%s-empty.exr" % name, empty)
    takes.exr("passes/%s-moved.exr" % name, np.roll(take, (4, -6), (0, 1)))
for frame in range(1001, 1007):
    takes.exr("passes/moon.%d.exr" % frame, np.roll(soft(1, 24), 4 * (frame - 1001), 1))
takes.exr("passes/dark.exr", 0.05 * soft(2, 30))
takes.exr("passes/dusk.exr", 0.1 * soft(3, 160, 360, 800) + np.linspace(0.2, 1, 360)[:, None, None])
disc = np.clip((40 - np.hypot(*np.mgrid[-60:60, -80:80])) / 20, 0, 1)[:, :, None]
takes.exr("passes/cut.exr", np.concatenate([disc * soft(4, 30, 120, 160), disc], 2), names="RGBA")
takes.png("passes/odd.png", (255 * soft(5, 30, HEIGHT + 1, WIDTH + 2)).astype(int))

RECIPE = """
moon = pass passes/moon.####.exr
dark = pass passes/dark.exr
gs = pass passes/gs.exr
gs-empty = pass passes/gs-empty.exr
gs-moved = pass passes/gs-moved.exr
bs = pass passes/bs.exr
bs-empty = pass passes/bs-empty.exr
dusk = pass passes/dusk.exr
odd = pass passes/odd.png
cut-out = pass passes/cut.exr
fade = curve
  1001 0.2
  1003 1 smooth
  1006 0.4
night = lights
  ambient dark
  light moon gain fade tint 0.8 0.9 1
two = key two-screen
  on gs empty gs-empty
  on bs empty bs-empty
one = key screen gs
come-in = key difference gs empty gs-empty
bright = key luma moon
edge = matte two
  floor 2% ceiling 97%
  choke 12 px
  soften 9 px
wide = matte two
  spread 14 px
rigging = shape
  polygon 20 0 120 20 100 160 18 150 px
  ellipse 200 90 65 40 px turn 20 deg
  feather 24 px outside
sky = extend dusk
  to 960x540
  keep 60 100 px
  seam 60 px
lawn = extend dusk
  to 960x540
  keep bottom
  by mirror
clouds = extend dusk
  to 960x540
  keep left
  by texture
glow = ramp
  from 80 20 px colour 1 0.6 0.3
  to 240 150 px colour 0.1 0.1 0.3
grey = flat
  colour [1001 0.1 0.1 0.1, 1006 0.4 0.3 0.2]
sign = place cut-out
  size 80%
  turn 25 deg
  move -42.5 24.25 px
far = place moon
  crop 20 10 40 30 px soft 16 px
  pin 30 15 270 35 280 160 20 170 px
bent = lens moon
  radial -0.2 0.05
soft = look moon
  blur 8 px
  vignette 1 stops
driven = streak moon
  along 30 deg
  longer 24 px
  thinner 4 px
slow = time moon
  use 1001-1003 then 1004-1006
  dissolve 1 frames
  speed 60%
  between flow
  even-light areas
shown = take slow until 1002 then glow
steady = align gs-moved
  to gs
  find move
proof = view cut-out
  over checker
  squares 24 px
final = stack
  layer grey
  layer sign over wrap 20 px
  layer night add opacity 30%
  layer one over opacity 50%
"""

SHOWN = "moon night two one come-in bright edge wide rigging glow grey sign far bent soft driven slow shown steady proof final odd".split()
LARGE = "sky lawn clouds".split()  # plates are looked at in cells of 16 pixels and want some of them


def recipe(shown, path, size):
    takes.recipe(RECIPE + "".join("output %s as %s\n  file out/%s.####.exr\n  pixels float\n" % (n, n, n) for n in shown),
                 frames="1001-1006", size="%dx%d" % size, path=path)


recipe(SHOWN, "shot.passel", (WIDTH, HEIGHT))
recipe(LARGE, "large.passel", (960, 540))
used = set(re.findall(r"^\S+ = (key [a-z-]+|[a-z]+)", open("shot.passel", encoding="utf-8").read(), re.MULTILINE))
known = {line.split("  ")[0] for line in takes.passel("explain").out.split("\n\n")[0].splitlines()}
takes.equal(known - used - {"shot", "output"}, set(), "kinds that this test leaves out")


def seen(light):
    """The view curve and sRGB (IEC 61966-2-1), in code values of 255."""
    light = np.maximum(light, 0)
    over = np.maximum(light - 0.6, 0)
    light = np.where(over > 0, 0.6 + 0.4 * over / (0.4 + over), light)
    return 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def reduced(pixels, n):
    """Means of n x n pixels; at the right and bottom of as many as there are."""
    height, width = pixels.shape[:2]
    rows, columns = -(-height // n), -(-width // n)
    sums, counts = np.zeros((rows, columns, pixels.shape[2])), np.zeros((rows, columns, 1))
    for y in range(n):
        for x in range(n):
            part = pixels[y::n, x::n]
            sums[: part.shape[0], : part.shape[1]] += part
            counts[: part.shape[0], : part.shape[1]] += 1
    return sums / counts


def four(pixels, channels):
    """R, G, B, A of a file that may lack some of them: a matte stands for white, cut out."""
    if len(channels) == 1:
        return np.repeat(pixels, 4, 2)
    return pixels if len(channels) == 4 else np.concatenate([pixels, np.ones_like(pixels[:, :, :1])], 2)


def wanted_codes(name, n):
    """The finished frame reduced, straight as a PNG has it, and its alpha."""
    path = "out/%s.%d.exr" % (name, FRAME)
    channels = [c for c in "RGBA" if c in takes.header(path).channelnames]
    small = reduced(four(takes.read(path, channels).astype(float), channels), n)
    alpha = np.clip(small[:, :, 3:], 0, 1)
    if channels == ["A"]:
        return 255 * np.repeat(alpha, 4, 2), alpha
    return np.concatenate([seen(small[:, :, :3] / np.maximum(alpha, 1e-6)), 255 * alpha], 2), alpha


def compare(name, n):
    """The mean difference and that of the worst hundredth; colour counts as much as it is there."""
    wanted, alpha = wanted_codes(name, n)
    path = "out/quick/%s.%d.png" % (name, FRAME)
    got = 255 * four(takes.read(path).astype(float), takes.header(path).channelnames)
    takes.equal(got.shape, wanted.shape, "%s at 1/%d: size" % (name, n))
    off = np.abs(got - wanted) * np.concatenate([np.repeat(alpha, 3, 2), np.ones_like(alpha)], 2)
    return off.mean(), np.quantile(off.max(2), 0.99)


def measure(path, shown):
    """name: mean and worst hundredth at half size, then at quarter size."""
    shutil.rmtree("out", ignore_errors=True)
    takes.render(path, "--frames", str(FRAME))
    finished = takes.contents("out")
    figures = {name: () for name in shown}
    for n, size in ((2, "half"), (4, "quarter")):
        shutil.rmtree("out/quick", ignore_errors=True)
        takes.render(path, "--frames", str(FRAME), "--quick", "--size", size)
        now = takes.contents("out")
        takes.equal([k for k in finished if now.get(k) != finished[k]], [], "finished frames that quick ones changed")
        for name in shown:
            figures[name] += compare(name, n)
    return figures


figures = {**measure("shot.passel", SHOWN), **measure("large.passel", LARGE)}
failed = []
for name, got in figures.items():
    line = "%s: %.2f %.2f at half, %.2f %.2f at quarter; limits %s" % ((name,) + got + (LIMITS.get(name, USUAL),))
    if os.environ.get("PASSEL_KEEP") == "1":
        print(line, file=sys.stderr)
    if any(a > b for a, b in zip(got, LIMITS.get(name, USUAL))):
        failed.append(line)
takes.equal(failed, [], "pictures that are not what the finished ones show")
print("quick scale: fine")
