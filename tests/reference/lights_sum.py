# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Light that is added, against light that is added: sums of the kind `lights` against numpy in double, whatever the
order of the lights; and a scene photographed through a polariser, where the light at 0 and 90 degrees is that at 45 and
135 degrees (in any two directions at right angles lies all of it).

The photographs are looked for in lights below the folder that the environment names as PASSEL_REAL. Measured on means
of 8 x 8 pixels, their two sums differ by 2 % (the polariser, or the exposure) with a spread of about 1 %.

Usage: lights_sum.py PASSEL SKERRY
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
PHOTOGRAPHS = os.path.join(os.environ.get("PASSEL_REAL", ""), "lights")

BIAS, SPREAD = -0.02, 0.01


def read(path, kind="float"):
    file = OpenImageIO.ImageInput.open(path)
    pixels = file.read_image(kind)
    file.close()
    return np.asarray(pixels, np.float64)


def recipe(folder, text):
    with open(os.path.join(folder, "test.passel"), "w") as file:
        file.write(text)


def passel(folder, *words):
    done = subprocess.run([PASSEL, *words], cwd=folder, capture_output=True, text=True)
    if done.returncode != 0:
        raise AssertionError(done.stderr)
    return done.stdout


def steps(got, wanted):
    """How many steps of float the two lie apart, at most."""
    size = np.spacing(np.abs(wanted).astype(np.float32)).astype(np.float64)
    return float((np.abs(got - wanted) / size).max())


class Sums(unittest.TestCase):
    """Passes of the miniature, with their noise, which falls below zero where it is dark."""

    LIGHTS = (("moon", "moon.1001.exr", -1.3, (0.75, 0.88, 1)), ("lamp", "lamp.1001.exr", 2.1, (1, 1, 1)),
              ("windows", "windows.exr", 0.2, (1, 0.7, 0.4)), ("bolt", "flash.0001.exr", -4.5, (1, 1, 1)),
              ("left", "rain-left.1001.exr", 0.9, (1, 1, 1)), ("right", "rain-right.1001.exr", -0.4, (1, 1, 1.2)))

    def setUp(self):
        held = tempfile.TemporaryDirectory()
        self.addCleanup(held.cleanup)
        self.folder = held.name
        names = [name for _, file, _, _ in self.LIGHTS for name in ("--only", file.split(".")[0])]
        subprocess.run([SKERRY, self.folder, "--size", "320x180", "--frames", "1001-1001", "--seed", "9", "--only",
                        "lights-off", *names], check=True, stdout=subprocess.DEVNULL)

    def render(self, order):
        text = "passel 1\nshot sums\n  frames 1001\n  size 320x180\ndark = pass lights-off.exr\n"
        text += "".join("%s = pass %s\n" % (name, file) for name, file, _, _ in self.LIGHTS)
        text += "night = lights\n  ambient dark\n"
        for i in order:
            name, _, stops, tint = self.LIGHTS[i]
            text += "  light %s %g stops tint %g %g %g\n" % (name, stops, *tint)
        recipe(self.folder, text + "output night\n  file night.exr\n  pixels float\n")
        passel(self.folder, "render", "test.passel", "--quiet", "--again")
        return read(os.path.join(self.folder, "night.exr"))[..., :3]

    def test_sums_are_exact_in_any_order(self):
        dark = read(os.path.join(self.folder, "lights-off.exr"))
        wanted = dark.copy()
        for _, file, stops, tint in self.LIGHTS:
            wanted += 2**stops * np.array(tint) * (read(os.path.join(self.folder, file)) - dark)
        self.assertLess(wanted.min(), 0)
        for order in (range(6), range(5, -1, -1), (3, 0, 5, 1, 4, 2)):
            apart = steps(self.render(order), wanted)
            print(f"lights, order {list(order)}: {apart:.2f} steps of float from the sum in double")
            self.assertLessEqual(apart, 2)


@unittest.skipUnless(os.path.isdir(PHOTOGRAPHS), "the photographs are not there: PASSEL_REAL is not set or has no lights")
class Polariser(unittest.TestCase):
    RECIPE = """passel 1
shot fruits
  frames 1
  size 512x384
p0   = pass {0}/fruits_0.png
  encoding linear
p45  = pass {0}/fruits_45.png
  encoding linear
p90  = pass {0}/fruits_90.png
  encoding linear
p135 = pass {0}/fruits_135.png
  encoding linear
upright = lights
  light p0
  light p90
aslant = lights
  light p45
  light p135
output upright as upright
  file upright.exr
  pixels float
output aslant as aslant
  file aslant.exr
  pixels float
"""

    def setUp(self):
        held = tempfile.TemporaryDirectory()
        self.addCleanup(held.cleanup)
        self.folder = held.name
        recipe(self.folder, self.RECIPE.format(PHOTOGRAPHS))
        passel(self.folder, "render", "test.passel", "--quiet")

    def sum(self, *angles):
        return sum(read(os.path.join(PHOTOGRAPHS, "fruits_%d.png" % angle), "uint8") for angle in angles) / 255

    def test_light_at_right_angles_is_all_of_it(self):
        upright, aslant = (read(os.path.join(self.folder, name + ".exr"))[..., :1] for name in ("upright", "aslant"))
        self.assertLessEqual(steps(upright, self.sum(0, 90)), 2)
        self.assertLessEqual(steps(aslant, self.sum(45, 135)), 2)
        means = [picture.reshape(48, 8, 64, 8).mean((1, 3)) for picture in (upright, aslant)]
        ratio = means[0] / means[1] - 1
        print(f"0 + 90 against 45 + 135 degrees: bias {ratio.mean():+.4f}, spread {ratio.std():.4f}")
        self.assertLess(abs(ratio.mean() - BIAS), 0.005)
        self.assertLess(ratio.std(), SPREAD)

    def test_fit_finds_the_same_light(self):
        text = passel(self.folder, "fit", "test.passel", "aslant", "upright.exr")
        found = [2 ** float(stops) for stops in re.findall(r"light  \S+  ([-+.\d]+) stops", text)]
        print("fit of 45 and 135 to 0 + 90 degrees: gains " + " ".join(f"{gain:.3f}" for gain in found))
        self.assertEqual(len(found), 2)
        for gain in found:
            self.assertLess(abs(gain - 1 - BIAS), SPREAD)


if __name__ == "__main__":
    unittest.main(verbosity=2)
