# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
# labels: slow
"""Flicker taken out of passes whose true light is known: of the whole frame, of its parts, rolling bands; what moves
and what really changes stays as it is. Sensor noise is in all of them."""

import numpy as np

import takes

HEIGHT, WIDTH, FRAMES = 160, 240, 40
y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
noise = np.random.RandomState(11)
WALL = (0.15 + 0.5 * noise.uniform(0, 1, (HEIGHT // 8, WIDTH // 8, 3)).repeat(8, 0).repeat(8, 1)
        + 0.1 * np.sin(x * 0.2 + y * 0.13)[:, :, None])


def subject(frame):
    """A bright disc and a dark one on their ways: about a seventh of the frame."""
    light = WALL.copy()
    light[np.hypot(x - 30 - 4.5 * frame, y - 60) < 34] = (0.9, 0.7, 0.4)
    light[np.hypot(x - 200 + 3 * frame, y - 120) < 26] = (0.03, 0.04, 0.05)
    return light


def sensor(light):
    return light + noise.normal(0, 0.004, light.shape) + noise.normal(0, 1, light.shape) * 0.02 * np.sqrt(light)


def film(name, truth, flicker):
    for n in range(FRAMES):
        takes.exr("%s/%04d.exr" % (name, n + 1), sensor(truth(n) * flicker(n)), half=True)


def made(name, setting):
    takes.recipe("lamp = pass %s/####.exr\neven = time lamp\n  use 1-%d\n  even-light %s\n"
                 "output even\n  file %s-even/####.exr\n  pixels float\n" % (name, FRAMES, setting, name),
                 frames="1-%d" % FRAMES, size="%dx%d" % (WIDTH, HEIGHT))
    takes.render("shot.passel", "--again")
    return [takes.read("%s-even/%04d.exr" % (name, n + 1), "RGB").astype(float) for n in range(FRAMES)]


def still(n):
    """Where neither disc is in any frame near."""
    return (np.hypot(x - 30 - 4.5 * n, y - 60) > 36) & (np.hypot(x - 200 + 3 * n, y - 120) > 28)


def levels(pictures, truth, where):
    """How bright each frame is, as a part of its true light, there."""
    return np.array([(p[where(n)]).sum() / truth(n)[where(n)].sum() for n, p in enumerate(pictures)])


def spread(values):
    return float(np.std(values) / np.mean(values))


def report(what, before, after, limit):
    """Figures are rounded up, so that the expected output does not hang on the last digit of numpy."""
    assert after < limit, "%s: %.3f %% instead of less than %.2f %%" % (what, 100 * after, 100 * limit)
    print("%s: %.0f %% brought under %.1f %%" % (what, 100 * before, 100 * limit))


# One lamp: 6 % (rms) of seeded flicker.
gains = 1 + 0.06 * noise.normal(0, 1, FRAMES)
film("lamp", subject, lambda n: gains[n])
even = made("lamp", "")
report("flicker", spread(gains), spread(levels(even, subject, still)), 0.005)
# The discs get the wall's gain and no other: their light is in step with the wall's to within noise.
discs = levels(even, subject, lambda n: np.hypot(x - 30 - 4.5 * n, y - 60) < 32)
report("what moves", spread(gains), spread(discs / levels(even, subject, still)), 0.005)

# Without flicker nothing is done: what moves does not count as flicker.
film("calm", subject, lambda n: 1.0)
calm = made("calm", "")
report("no flicker", 0, spread(levels(calm, subject, still)), 0.001)

# A window of 9 frames keeps a slow fade, and takes what is quicker than that.
fade = lambda n: 0.6 + 0.4 * n / FRAMES
film("fade", subject, lambda n: gains[n] * fade(n))
faded = levels(made("fade", "over 9 frames"), lambda n: subject(n) * fade(n), still)[4:-4]
steps = np.abs(np.diff(np.log(faded)))
assert np.abs(np.log(faded / faded.mean())).max() < 0.06, faded
assert steps.mean() < 0.2 * np.abs(np.diff(np.log(gains))).mean(), steps

# Two lamps that flicker apart, each brighter on its side.
side = x[:, :, None] / WIDTH
other = 1 + 0.06 * noise.normal(0, 1, FRAMES)
film("sides", subject, lambda n: gains[n] * (1 - side) + other[n] * side)
even = made("sides", "areas")
for name, part in (("left", x < 80), ("middle", (x >= 80) & (x < 160)), ("right", x >= 160)):
    report("areas, " + name, spread(gains), spread(levels(even, subject, lambda n: still(n) & part)), 0.005)

# A filmed display: bands of 6 % that roll.
band = lambda n: 1 + 0.06 * np.sin(2 * np.pi * (y[:, :, None] / 70 + 0.137 * n))
film("display", subject, band)
even = made("display", "bands")
rows = np.array([(p * still(n)[:, :, None]).sum((1, 2)) / (subject(n) * still(n)[:, :, None]).sum((1, 2))
                 for n, p in enumerate(even)])
rows = rows.reshape(FRAMES, -1, 8).mean(2)
report("bands", float(np.std(band(0)) * np.sqrt(2)), spread(rows), 0.005)
print("even-light: fine")
