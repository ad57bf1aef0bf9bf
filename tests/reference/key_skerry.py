# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Keys on the miniature's passes, against their true alpha.

key two-screen: at most the squared error of plain least-squares triangulation in numpy on the same files, and at most
twice the bound that no pixel-wise estimate can beat even with the screens known. key screen: far below the textbook's
difference key, solid parts solid, the bare screen empty.

Usage: key_skerry.py PASSEL SKERRY
"""

import os
import subprocess
import sys
import tempfile
import unittest

import numpy as np
import OpenImageIO

SKERRY = os.path.abspath(sys.argv.pop(2))
PASSEL = os.path.abspath(sys.argv.pop(1))

# Variance a·y + b that fixtures/film.c gives red, green, blue.
NOISE = np.array(((1.6e-4, 2.5e-6), (1.1e-4, 1.6e-6), (2.2e-4, 4.0e-6)))

RECIPE = """passel 1
shot test
  frames 1001
  size 480x270
gs = pass screen-green.exr
bs = pass screen-blue.exr
gs-empty = pass empty-green.exr
bs-empty = pass empty-blue.exr
keeper = pass keeper-green.####.exr
keeper-empty = pass keeper-empty.exr
two = key two-screen
  on gs empty gs-empty
  on bs empty bs-empty
two-bare = key two-screen
  on gs
  on bs
one = key screen keeper empty keeper-empty
one-bare = key screen keeper
output two as two
  file out/two.exr
output two.quality as quality
  file out/quality.exr
output two-bare as two-bare
  file out/two-bare.exr
output one as one
  file out/one.exr
output one-bare as one-bare
  file out/one-bare.exr
"""


def film(folder, seed, layout, *names):
    words = [word for name in names for word in ("--only", name)]
    subprocess.run([SKERRY, folder, "--size", "480x270", "--frames", "1001-1001", "--seed", str(seed), "--layout",
                    str(layout), *words], check=True)


def read(folder, name):
    """Height × width × channels, double."""
    opened = OpenImageIO.ImageInput.open(os.path.join(folder, name + ".exr"))
    if opened is None:
        raise RuntimeError(OpenImageIO.geterror())
    pixels = opened.read_image(OpenImageIO.FLOAT)
    opened.close()
    return np.asarray(pixels, dtype=np.float64)


def smooth(pixels, sigma):
    """Gaussian, edges mirrored: the screens of the miniature are smooth, so this is the screen without its noise."""
    reach = int(4 * sigma)
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    weights /= weights.sum()
    for axis in (0, 1):
        padded = np.pad(pixels, [(reach, reach) if a == axis else (0, 0) for a in range(3)], "reflect",
                        reflect_type="odd")
        count = pixels.shape[axis]
        pixels = sum(w * np.take(padded, range(k, k + count), axis) for k, w in enumerate(weights))
    return pixels


class Layout:
    """One arrangement of the table, filmed and keyed."""

    def __init__(self, folder, seed, layout):
        self.folder = folder
        film(folder, seed, layout, "screen-green", "screen-blue", "empty-green", "empty-blue", "keeper-green",
             "keeper-empty", "truth/alpha", "truth/set", "truth/keeper-alpha", "truth/keeper")
        with open(os.path.join(folder, "test.passel"), "w", encoding="utf-8") as recipe:
            recipe.write(RECIPE)
        subprocess.run([PASSEL, "render", os.path.join(folder, "test.passel"), "--quiet"], check=True)
        self.alpha = self.read("truth/alpha")[..., 0]
        self.keeper_alpha = self.read("truth/keeper-alpha")[..., 0]

    def read(self, name):
        return read(self.folder, name)

    def takes(self):
        return [self.read("screen-" + hue)[..., :3] for hue in ("green", "blue")]

    def empties(self):
        return [self.read("empty-" + hue)[..., :3] for hue in ("green", "blue")]

    def plain(self):
        (green, blue), (green_empty, blue_empty) = self.takes(), self.empties()
        arm = green_empty - blue_empty
        return 1 - ((green - blue) * arm).sum(-1) / (arm * arm).sum(-1)

    def bound(self):
        """1 / Σ dK² / (v1 + v2): Cramér and Rao, at the true light of each take."""
        screens = [smooth(empty, 8) for empty in self.empties()]
        front = self.read("truth/set")[..., :3]
        light = sum(front + (1 - self.alpha[..., None]) * screen for screen in screens)
        variance = NOISE[:, 0] * light + 2 * NOISE[:, 1]
        return 1 / ((screens[0] - screens[1]) ** 2 / variance).sum(-1)


class Keys(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.scratch = tempfile.TemporaryDirectory()
        cls.layouts = [Layout(os.path.join(cls.scratch.name, str(n)), seed=n + 3, layout=n) for n in (1, 2)]

    @classmethod
    def tearDownClass(cls):
        cls.scratch.cleanup()

    def test_two_screen(self):
        for n, layout in enumerate(self.layouts, 1):
            plain = np.mean((layout.plain() - layout.alpha) ** 2)
            bound = np.mean(layout.bound())
            for name in ("two", "two-bare"):
                error = np.mean((layout.read("out/" + name)[..., 3] - layout.alpha) ** 2)
                print(f"layout {n}, {name}: alpha mse {error:.4g} = {error / plain:.3f} of plain triangulation "
                      f"({plain:.4g}), {error / bound:.3f} of the bound ({bound:.4g})")
                self.assertLessEqual(error, plain)
                self.assertLessEqual(error, 2 * bound)

    def test_colours_of_the_screens(self):
        """The green roof and the blue door are as solid as the rest."""
        for layout in self.layouts:
            front, alpha = layout.read("truth/set")[..., :3], layout.read("out/two")[..., 3]
            solid = layout.alpha > 0.999
            for mine, others in ((1, (0, 2)), (2, (0, 1))):
                like = solid & (front[..., mine] > 1.5 * front[..., others].max(-1)) & (front[..., mine] > 0.03)
                self.assertGreater(like.sum(), 10)
                self.assertLess(abs(alpha[like].mean() - 1), 0.01)

    def test_foreground(self):
        """Laid over the blue screen, the cut-out of both takes is the blue take."""
        for layout in self.layouts:
            cut = layout.read("out/two")
            screen = smooth(layout.empties()[1], 8)
            over = cut[..., :3] + (1 - cut[..., 3:]) * screen
            sigma = np.sqrt(NOISE[:, 0] * np.maximum(over, 0) + NOISE[:, 1])
            miss = (over - layout.takes()[1]) / sigma
            self.assertLess(np.sqrt(np.mean(miss**2)), 1.1)

    def test_quality(self):
        for layout in self.layouts:
            quality = layout.read("out/quality")
            self.assertGreater(np.median(quality), 0.85)
            self.assertLess(np.mean(quality < 0.4), 0.01)

    def test_screen(self):
        for n, layout in enumerate(self.layouts, 1):
            take, empty = layout.read("keeper-green.1001")[..., :3], smooth(layout.read("keeper-empty")[..., :3], 8)
            share = [picture[..., 1] - np.maximum(picture[..., 0], picture[..., 2]) for picture in (take, empty)]
            textbook = np.clip(1 - share[0] / share[1], 0, 1)
            truth = layout.keeper_alpha
            edge = (truth > 0.01) & (truth < 0.99)
            for name in ("one", "one-bare"):
                alpha = layout.read("out/" + name)[..., 3]
                error, reference = np.mean((alpha - truth) ** 2), np.mean((textbook - truth) ** 2)
                solid, bare = np.mean(alpha[truth == 1] > 0.98), np.mean(alpha[truth == 0] == 0)
                print(f"layout {n}, {name}: alpha mse {error:.3g} (textbook {reference:.3g}), mean |error| on edges "
                      f"{np.abs(alpha - truth)[edge].mean():.4f}, solid {solid:.4f}, bare {bare:.4f}")
                self.assertLess(error, 0.2 * reference)
                self.assertGreater(solid, 0.995)
                self.assertGreater(bare, 0.97)


if __name__ == "__main__":
    unittest.main(verbosity=2)
