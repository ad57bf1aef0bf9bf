# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""The renderer of the demo's passes: are the passes what their truth says, and are they the same on every run?

Usage: skerry.py SKERRY SOURCE-FOLDER
"""

import filecmp
import os
import subprocess
import sys
import tempfile
import unittest

import numpy
import OpenImageIO

SOURCE = os.path.abspath(sys.argv.pop(2))
SKERRY = os.path.abspath(sys.argv.pop(1))

# Variance a·y + b that fixtures/film.c gives red, green, blue.
NOISE = ((1.6e-4, 2.5e-6), (1.1e-4, 1.6e-6), (2.2e-4, 4.0e-6))


def film(folder, *options):
    subprocess.run([SKERRY, folder, *options], check=True)


def read(folder, name):
    """Height × width × channels, double."""
    opened = OpenImageIO.ImageInput.open(os.path.join(folder, name + ".exr"))
    pixels = opened.read_image(OpenImageIO.FLOAT)
    opened.close()
    return numpy.asarray(pixels, dtype=numpy.float64)


def only(*names):
    return [word for name in names for word in ("--only", name)]


class Passes(unittest.TestCase):
    """One small filming, looked at from several sides."""

    @classmethod
    def setUpClass(cls):
        cls.scratch = tempfile.TemporaryDirectory()
        cls.folder = cls.scratch.name
        film(cls.folder, "--size", "320x180", "--frames", "1001-1002", "--seed", "5",
             *only("moon", "windows", "flash", "lamp", "lights-off", "screen-green", "empty-green", "screen-blue",
                   "empty-blue", "keeper-green", "keeper-empty", "truth/alpha", "truth/set", "truth/moon",
                   "truth/windows", "truth/flash", "truth/lamp", "truth/lights-off", "truth/keeper",
                   "truth/keeper-alpha"))
        cls.alpha = read(cls.folder, "truth/alpha")[..., 0]

    @classmethod
    def tearDownClass(cls):
        cls.scratch.cleanup()

    def read(self, name):
        return read(self.folder, name)

    def assert_noise(self, passes, truth):
        """A pass is its truth and noise of the known strength: nothing else, anywhere."""
        for channel, (a, b) in enumerate(NOISE):
            # half floats step by up to 2^-11 of the value, and the sensor counts in steps of 2^-12
            sigma = numpy.sqrt(a * truth[..., channel] + b + (truth[..., channel] / 2048) ** 2 / 12 + 2.0 ** -24 / 12)
            score = (passes[..., channel] - truth[..., channel]) / sigma
            count = score.size
            self.assertLess(abs(score.mean()), 5 / count ** 0.5)
            self.assertAlmostEqual(score.std(), 1, delta=0.03)

    def test_each_pass_is_its_light_and_what_leaks_in(self):
        dark = self.read("truth/lights-off")
        for name, frame in (("moon", ".1002"), ("windows", ""), ("flash", ".0024")):
            with self.subTest(name):
                self.assert_noise(self.read(name + frame), dark + self.read("truth/" + name))
        self.assert_noise(self.read("lamp.1002"), dark + self.read("truth/lamp.1002"))
        self.assert_noise(self.read("lights-off"), dark)

    def test_the_lamp_turns(self):
        change = self.read("truth/lamp.1002") - self.read("truth/lamp.1001")
        self.assertGreater(numpy.abs(change).max(), 0.01)

    def test_coverage(self):
        self.assertEqual((self.alpha.min(), self.alpha.max()), (0, 1))
        self.assertTrue(0.3 < self.alpha.mean() < 0.8)
        self.assertGreater(((self.alpha > 0.02) & (self.alpha < 0.98)).mean(), 0.005)

    def test_screens_show_through_where_the_set_does_not_cover(self):
        truth = self.read("truth/set")
        for colour in ("green", "blue"):
            with self.subTest(colour):
                taken, empty = self.read("screen-" + colour), self.read("empty-" + colour)
                made = truth + (1 - self.alpha[..., None]) * empty
                for where, limit in ((self.alpha == 0, 5e-4), (self.alpha == 1, 3e-3)):
                    # spill may lift the set a little, and never lowers it
                    rest = (taken - made)[where].mean(axis=0)
                    self.assertTrue((rest > -5e-4).all() and (rest < limit).all(), rest)

    def test_the_screens_are_uneven(self):
        for colour, channel in (("green", 1), ("blue", 2)):
            light = self.read("empty-" + colour)[..., channel]
            low, high = numpy.percentile(light, [2, 98])
            self.assertTrue(1.05 < high / low < 1.45, high / low)

    def test_keeper(self):
        alpha = self.read("truth/keeper-alpha")[..., 0]
        taken, empty, truth = (self.read(name) for name in ("keeper-green.1001", "keeper-empty", "truth/keeper.1001"))
        rest = taken - truth - (1 - alpha[..., None]) * empty
        self.assertTrue((numpy.abs(rest[alpha == 0].mean(axis=0)) < 5e-4).all())
        spill = rest[alpha == 1].mean(axis=0)
        self.assertTrue(0 < spill[1] < 0.03 and spill[1] > 2 * spill[0], spill)

    def test_a_green_roof_and_a_blue_door(self):
        red, green, blue = numpy.moveaxis(self.read("truth/set")[self.alpha == 1], 1, 0)
        self.assertGreater(((green > 1.5 * red) & (green > 1.2 * blue) & (green > 0.08)).sum(), 300)
        self.assertGreater(((blue > 2.5 * green) & (blue > 4 * red) & (blue > 0.05)).sum(), 20)


class Runs(unittest.TestCase):
    def setUp(self):
        scratch = tempfile.TemporaryDirectory()
        self.addCleanup(scratch.cleanup)
        self.folder = scratch.name

    def place(self, name):
        return os.path.join(self.folder, name)

    def test_threads_do_not_show(self):
        names = ("moon", "rain-left", "beam", "keeper-green", "sign", "truth/alpha")
        for threads in "1", "3":
            film(self.place(threads), "--size", "96x54", "--frames", "1001-1003", "--threads", threads, *only(*names))
        found = sorted(os.path.relpath(os.path.join(where, name), self.place("1"))
                       for where, _, files in os.walk(self.place("1")) for name in files)
        self.assertEqual(len(found), 3 * 4 + 120 + 1)
        same, different, missing = filecmp.cmpfiles(self.place("1"), self.place("3"), found, shallow=False)
        self.assertEqual((different, missing), ([], []))
        self.assertEqual(len(same), len(found))

    def test_seeds_differ_in_noise_alone(self):
        for seed in "1", "2":
            film(self.place(seed), "--size", "320x180", "--seed", seed, *only("empty-green"))
        one, two = (read(self.place(seed), "empty-green") for seed in ("1", "2"))
        for channel, (a, b) in enumerate(NOISE):
            variance = (one - two)[..., channel].var() / 2
            self.assertAlmostEqual(variance / (a * one[..., channel].mean() + b), 1, delta=0.05)

    def test_layouts(self):
        alphas = []
        for layout in "1", "2", "3":
            film(self.place(layout), "--size", "160x90", "--layout", layout, *only("truth/alpha"))
            alphas.append(read(self.place(layout), "truth/alpha"))
        for i, j in (0, 1), (0, 2), (1, 2):
            self.assertGreater(numpy.abs(alphas[i] - alphas[j]).mean(), 0.03)

    def test_committed_passes_are_still_made(self):
        """The C library's sine and exponential may differ in the last bit; a picture may not."""
        names = ("moon", "lights-off", "screen-green", "screen-blue", "empty-green", "empty-blue", "truth/alpha")
        film(self.folder, "--size", "64x36", "--frames", "1001-1003", *only(*names))
        kept = os.path.join(SOURCE, "fixtures", "tiny")
        files = [os.path.relpath(os.path.join(where, name), kept)[:-4]
                 for where, _, found in os.walk(kept) for name in found]
        self.assertEqual(len(files), 9)
        for name in files:
            with self.subTest(name):
                difference = numpy.abs(read(self.folder, name) - read(kept, name))
                self.assertLess((difference > 0.002).mean(), 0.005)

    def test_wrong_command_lines(self):
        for words in ([], ["a", "b"], ["a", "--size", "10"], ["a", "--layout", "5"], ["a", "--frames", "9-1"],
                      ["a", "--only"], ["a", "--only", "sun"], ["a", "--what", "1"]):
            with self.subTest(words):
                done = subprocess.run([SKERRY, *words], cwd=self.folder, capture_output=True)
                self.assertEqual(done.returncode, 2)
                self.assertTrue(done.stderr)
                self.assertEqual(os.listdir(self.folder), [])

    def test_a_folder_that_cannot_be(self):
        with open(self.place("file"), "w"):
            pass
        done = subprocess.run([SKERRY, self.place("file"), *only("dusk")], capture_output=True)
        self.assertEqual(done.returncode, 1)
        self.assertIn(self.place("file").encode(), done.stderr)


unittest.main()
