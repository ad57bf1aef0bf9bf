# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""passel fit on the miniature's passes: the reference is made of other takes of the same lights, with noise of its own.

Every gain within 0.002 stops; within 0.01 stops when the reference is clipped and has a stranger in it, which plain
least squares in numpy on the same block means misses by far; two lights that are one are named.

Usage: fit_skerry.py PASSEL SKERRY
"""

import math
import os
import re
import subprocess
import sys
import tempfile
import unittest

import numpy as np
import OpenImageIO

SKERRY = os.path.abspath(sys.argv.pop(2))
PASSEL = os.path.abspath(sys.argv.pop(1))

PASSES = ("moon", "lamp", "windows", "bolt")
FILES = {"moon": "moon.1001.exr", "lamp": "lamp.1001.exr", "windows": "windows.exr", "bolt": "flash.0001.exr",
         "dark": "lights-off.exr"}
TINT = np.array((0.75, 0.88, 1.0))
STOPS = {"moon": -0.7, "lamp": 0.4, "windows": 0.2, "bolt": math.log2(0.3)}

RECIPE = """passel 1
# Lights to be found.
shot test
  frames 1001-1003
  size 960x540
moon    = pass one/moon.1001.exr
moon-2  = pass two/moon.1001.exr
lamp    = pass one/lamp.1001.exr
windows = pass one/windows.exr
bolt    = pass one/flash.0001.exr
dark    = pass one/lights-off.exr

night = lights
  ambient  dark
  light    moon   tint 0.75 0.88 1   # pale, as agreed
  light    lamp   +2 stops           # too bright
  # the windows were last
  light    windows  -1 stops
  light    bolt   gain 1             # steady on the set

twice = lights
  ambient  dark
  light    moon
  light    moon-2
  light    lamp
  light    windows
  light    bolt

curved = lights
  ambient  dark
  light    moon     tint 0.75 0.88 1
  light    lamp     gain [1001 1, 1010 2]
  light    windows  -1 stops
  light    bolt     off
"""


def film(folder, seed, layout=1):
    words = [word for name in ("moon", "lamp", "windows", "flash", "lights-off") for word in ("--only", name)]
    subprocess.run([SKERRY, folder, "--size", "960x540", "--frames", "1001-1001", "--seed", str(seed),
                    "--layout", str(layout)] + words, check=True, stdout=subprocess.DEVNULL)


def read(path):
    file = OpenImageIO.ImageInput.open(path)
    pixels = file.read_image("float")
    file.close()
    return pixels[..., :3].astype(np.float64)


def write(path, pixels):
    height, width, _ = pixels.shape
    file = OpenImageIO.ImageOutput.create(path)
    file.open(path, OpenImageIO.ImageSpec(width, height, 3, "float"))
    file.write_image(pixels.astype(np.float32))
    file.close()


def takes(folder):
    return {name: read(os.path.join(folder, file)) for name, file in FILES.items()}


def mixed(passes, lights=PASSES):
    picture = passes["dark"].copy()
    for name in lights:
        tint = TINT if name == "moon" else np.ones(3)
        picture += 2 ** STOPS[name] * tint * (passes[name] - passes["dark"])
    return picture


def clipped_with_a_stranger(picture, seed, y, x):
    """What shines into a part of the picture and is none of its lights, and a camera that clips a hundredth of it."""
    chance = np.random.default_rng(seed)
    level = np.quantile(picture, 0.99)
    picture = picture.copy()
    picture[y:y + 280, x:x + 180] = (0.5, 0.1, 0.02)
    picture[y:y + 280, x:x + 180] += 0.2 * chance.random((280, 180, 3))
    return np.minimum(picture, level)


def means(picture):
    height, width = (side - side % 8 for side in picture.shape[:2])
    return picture[:height, :width].reshape(height // 8, 8, width // 8, 8, 3).mean((1, 3)).reshape(-1)


class Fit(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.held = tempfile.TemporaryDirectory()
        cls.folder = cls.held.name
        for seed, name in ((1, "one"), (2, "two")):
            film(os.path.join(cls.folder, name), seed)
        cls.one, cls.two = (takes(os.path.join(cls.folder, name)) for name in ("one", "two"))
        write(os.path.join(cls.folder, "clean.exr"), mixed(cls.two))

    @classmethod
    def tearDownClass(cls):
        cls.held.cleanup()

    def setUp(self):
        with open(os.path.join(self.folder, "test.passel"), "w") as file:
            file.write(RECIPE)

    def fit(self, block, reference, *options):
        done = subprocess.run([PASSEL, "fit", "test.passel", block, reference, *options], cwd=self.folder,
                              capture_output=True, text=True)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertEqual(done.stderr, "")
        return done.stdout

    def stops(self, text):
        return {name: float(stops) for name, stops in re.findall(r"^  light  (\S+)  ([-+.\d]+) stops", text, re.M)}

    def plain(self, reference):
        """Least squares on the same means, every block believed."""
        columns = [means((TINT if name == "moon" else 1) * (self.one[name] - self.one["dark"])) for name in PASSES]
        gains = np.linalg.lstsq(np.stack(columns, 1), means(reference - self.one["dark"]), rcond=None)[0]
        return {name: math.log2(max(gain, 1e-9)) for name, gain in zip(PASSES, gains)}

    def worst(self, found):
        self.assertEqual(sorted(found), sorted(PASSES))
        return max(abs(found[name] - STOPS[name]) for name in PASSES)

    def test_noise(self):
        text = self.fit("night", "clean.exr")
        worst = self.worst(self.stops(text))
        print(f"fit, noise: {worst:.4f} stops off at most")
        self.assertLess(worst, 0.002)
        self.assertGreater(float(re.search(r"^R2 ([\d.]+)", text, re.M)[1]), 0.9999)
        self.assertNotIn("told apart", text)
        for sigma in re.findall(r"\+- ([\d.]+) stops", text):
            self.assertLess(float(sigma), 0.001)
            self.assertGreater(float(sigma), 0)

    def test_clipped_with_a_stranger(self):
        picture = clipped_with_a_stranger(mixed(self.two), 1, 120, 300)
        write(os.path.join(self.folder, "clipped.exr"), picture)
        worst, plain = self.worst(self.stops(self.fit("night", "clipped.exr"))), self.worst(self.plain(picture))
        print(f"fit, clipped with a stranger: {worst:.4f} stops off at most, plain least squares {plain:.2f}")
        self.assertGreater(plain, 0.4)
        self.assertLess(worst, 0.01)

    def test_other_sets(self):
        """Other arrangements of the table, other noise, the stranger elsewhere."""
        for layout, one, two, y, x in ((2, 61, 62, 20, 500), (3, 51, 52, 200, 100)):
            with self.subTest(layout=layout):
                film(os.path.join(self.folder, "one"), one, layout)
                film(os.path.join(self.folder, "other"), two, layout)
                picture = mixed(takes(os.path.join(self.folder, "other")))
                write(os.path.join(self.folder, "other.exr"), picture)
                worst = self.worst(self.stops(self.fit("night", "other.exr")))
                write(os.path.join(self.folder, "other.exr"), clipped_with_a_stranger(picture, layout, y, x))
                spoilt = self.worst(self.stops(self.fit("night", "other.exr")))
                print(f"fit, layout {layout}: {worst:.4f} stops off at most, clipped with a stranger {spoilt:.4f}")
                self.assertLess(worst, 0.002)
                self.assertLess(spoilt, 0.01)
        film(os.path.join(self.folder, "one"), 1)

    def test_several_frames(self):
        """A pattern of files, and somebody who walks through them."""
        for k in range(3):
            picture = mixed(self.two)
            picture[180:480, 250 + 200 * k:350 + 200 * k] = (0.3, 0.25, 0.2)
            write(os.path.join(self.folder, "film.%d.exr" % (1001 + k)), picture)
        text = self.fit("night", "film.####.exr")
        self.assertIn(f"of {3 * 3 * (960 // 8) * (540 // 8)} blocks", text)
        worst = self.worst(self.stops(text))
        print(f"fit, three frames that somebody walks through: {worst:.4f} stops off at most")
        self.assertLess(worst, 0.002)

    def test_tints(self):
        text = self.fit("night", "clean.exr", "--tint")
        self.assertLess(self.worst(self.stops(text)), 0.008)
        for name, *tint in re.findall(r"light  (\S+) .*?tint ([\d.]+) ([\d.]+) ([\d.]+)", text):
            off = np.abs(np.array(tint, float) - (TINT if name == "moon" else 1)).max()
            self.assertLess(off, 0.008, text)

    def test_two_takes_of_one_light(self):
        text = self.fit("twice", "clean.exr")
        self.assertRegex(text, r"cannot be told apart, only their sum is sure: moon, moon-2\n")
        self.assertEqual(text.count("told apart"), 1)
        found = self.stops(self.fit("twice", "clean.exr"))
        self.assertLess(abs(found["lamp"] - STOPS["lamp"]), 0.005)

    def test_a_light_that_is_not_there(self):
        write(os.path.join(self.folder, "dark.exr"), mixed(self.two, ("moon", "windows", "bolt")))
        text = self.fit("night", "dark.exr")
        found = re.search(r"light  lamp  (gain 0|[-+.\d]+ stops)", text)[1]
        self.assertTrue(found == "gain 0" or float(found.split()[0]) < -11, text)

    def test_write(self):
        text = self.fit("night", "clean.exr", "--write")
        self.assertIn("test.passel: 4 lines written\n", text)
        with open(os.path.join(self.folder, "test.passel")) as file:
            new = file.read().split("\n")
        old = RECIPE.split("\n")
        self.assertEqual(len(new), len(old))
        changed = [(a, b) for a, b in zip(old, new) if a != b]
        self.assertEqual([b.split()[1] for _, b in changed], list(PASSES))
        for a, b in changed:
            self.assertEqual(a.partition("#")[2], b.partition("#")[2])
        self.assertIn("tint 0.75 0.88 1", changed[0][1])
        self.assertNotIn("gain", changed[3][1])
        self.assertEqual(self.stops(self.fit("night", "clean.exr")), self.stops(text))

    def test_curves_keep_their_lines(self):
        text = self.fit("curved", "clean.exr", "--write")
        self.assertIn("in the place of a curve", text)
        self.assertNotIn("bolt", text)
        self.assertIn("2 lines written; lights that follow a curve keep their lines\n", text)
        with open(os.path.join(self.folder, "test.passel")) as file:
            self.assertIn("  light    lamp     gain [1001 1, 1010 2]\n", file.read())

    def test_refusals(self):
        write(os.path.join(self.folder, "small.exr"), self.one["moon"][:100])
        for words, code, message in (
                (("nigth", "clean.exr"), 2, "test.passel has no block `nigth`"),
                (("moon", "clean.exr"), 2, "`moon` is of the kind `pass`"),
                (("night", "small.exr"), 5, "the reference is 960x100, the lights are 960x540"),
                (("night", "none.exr"), 4, "none.exr"),
                (("night", "clean.exr", "--frames", "1009"), 2, "the shot has no frame 1009"),
        ):
            done = subprocess.run([PASSEL, "fit", "test.passel", *words, "--write"], cwd=self.folder,
                                  capture_output=True, text=True)
            self.assertEqual(done.returncode, code, done.stderr)
            self.assertIn(message, done.stderr)
            with open(os.path.join(self.folder, "test.passel")) as file:
                self.assertEqual(file.read(), RECIPE)


if __name__ == "__main__":
    unittest.main()
