# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""OpenEXR as Passel reads and writes it, against OpenImageIO: files that OpenImageIO writes, files that Passel writes,
and, when the environment variable PASSEL_REAL names their folder, files made by others.

Usage: exr_compare.py EXR-TOOL
"""

import glob
import os
import subprocess
import sys
import tempfile
import unittest

import numpy
import OpenImageIO as oiio

TOOL = os.path.abspath(sys.argv.pop(1))
LARGEST = 65504
LOSSLESS = ["none", "rle", "zips", "zip", "piz"]
CODECS = LOSSLESS + ["pxr24", "b44", "b44a", "dwaa", "dwab"]
REAL = os.path.join(os.environ.get("PASSEL_REAL", ""), "exr") if os.environ.get("PASSEL_REAL") else None
# OpenImageIO 2.4 does not read sub-sampled files; the unit test test_exr_real compares these with the library itself.
SUB_SAMPLED = {"comp_b44.exr", "Rec709_YC.exr", "CrissyField.exr"}
DEEP = {"11.deep.exr"}


def passel_read(path, *choice):
    """(data window, display window, NaNs, infinities, planes by name) as Passel reads a file."""
    run = subprocess.run([TOOL, "dump", path, *choice], capture_output=True, timeout=120)
    if run.returncode != 0:
        raise AssertionError("%s: %s" % (path, run.stderr.decode()))
    line, _, pixels = run.stdout.partition(b"\n")
    numbers = [int(word) for word in line.split()]
    data, display, planes, nan, infinite = numbers[0:4], numbers[4:8], numbers[8], numbers[9], numbers[10]
    names = [name for bit, name in enumerate("RGBA") if planes >> bit & 1]
    values = numpy.frombuffer(pixels, "<f4").reshape(len(names), data[3] - data[1], data[2] - data[0])
    return data, display, nan, infinite, dict(zip(names, values))


def oiio_read(path, subimage=0):
    """(spec, channels by name) as OpenImageIO reads a file."""
    file = oiio.ImageInput.open(path)
    if file is None:
        raise AssertionError("%s: %s" % (path, oiio.geterror()))
    file.seek_subimage(subimage, 0)
    spec = file.spec()
    pixels = file.read_image(subimage, 0, 0, spec.nchannels, "uint" if spec.format == "uint" else "float")
    file.close()
    if pixels is None:
        raise AssertionError("%s: %s" % (path, oiio.geterror()))
    return spec, {name: pixels[..., i] for i, name in enumerate(spec.channelnames)}


def expected_planes(channels):
    """What Passel promises for these channels, and the counts of values that are no numbers."""
    used = [name for name in "RGBA" if name in channels] or ["Y"]
    nan = sum(int(numpy.isnan(channels[name]).sum()) for name in used)
    infinite = sum(int(numpy.isinf(channels[name]).sum()) for name in used)
    held = {name: numpy.nan_to_num(channels[name], nan=0, posinf=LARGEST, neginf=-LARGEST) for name in used}
    grey = held.pop("Y", None)
    if grey is not None:
        held.update(R=grey, G=grey, B=grey)
    if any(name in held for name in "RGB"):
        for name in "RGB":
            held.setdefault(name, numpy.zeros_like(next(iter(held.values()))))
    return held, nan, infinite


def pattern(height, width, channels, kind):
    """A picture with ramps, an edge, noise and, in halves and floats, values far above 1 and below 0."""
    y, x = numpy.mgrid[0:height, 0:width]
    noise = numpy.random.default_rng(7).normal(0, 0.01, (height, width, channels))
    picture = numpy.stack([numpy.sin(x / (5 + c)) + y * x / 300.0 + (x > y) * 3.0 * c for c in range(channels)], -1)
    picture = picture + noise
    picture[height // 2, width // 2] = 3000.5
    return numpy.abs(numpy.round(picture * 9)) if kind == "uint" else picture


def oiio_write(path, picture, kind, compression, tile=0, order="increasingY", at=(0, 0), names=None):
    height, width, channels = picture.shape
    spec = oiio.ImageSpec(width, height, channels, kind)
    spec.attribute("compression", compression)
    spec.attribute("openexr:lineOrder", order)
    spec.x, spec.y = at
    spec.full_x, spec.full_y, spec.full_width, spec.full_height = 0, 0, width + 3, height + 5
    spec.tile_width = spec.tile_height = tile
    if names:
        spec.channelnames = names
    file = oiio.ImageOutput.create(path)
    if not file.open(path, spec) or not file.write_image(picture.astype("u4" if kind == "uint" else "f4")):
        raise AssertionError("%s: %s" % (path, file.geterror()))
    file.close()


class Compare(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.TemporaryDirectory()
        self.addCleanup(self.folder.cleanup)

    def place(self, name):
        return os.path.join(self.folder.name, name)

    def expect_same(self, path, *choice, subimage=0):
        spec, channels = oiio_read(path, subimage)
        data, display, nan, infinite, planes = passel_read(path, *choice)
        self.assertEqual(data, [spec.x, spec.y, spec.x + spec.width, spec.y + spec.height], path)
        self.assertEqual(display, [spec.full_x, spec.full_y, spec.full_x + spec.full_width,
                                   spec.full_y + spec.full_height], path)
        expected, expected_nan, expected_infinite = expected_planes(channels)
        self.assertEqual(sorted(planes), sorted(expected), path)
        self.assertEqual((nan, infinite), (expected_nan, expected_infinite), path)
        for name, values in expected.items():
            numpy.testing.assert_array_equal(planes[name], values.astype("f4"), "%s, %s" % (path, name))

    def test_files_that_openimageio_writes(self):
        path = self.place("frame.exr")
        for kind in ("half", "float", "uint"):
            for compression in CODECS:
                for tile in (0, 16, 64):
                    for order in ("increasingY", "decreasingY"):
                        if order == "decreasingY" and tile:
                            continue
                        for size, at in (((37, 23), (0, 0)), ((70, 65), (-6, 11)), ((1, 1), (5, 5))):
                            for channels in (3, 4):
                                picture = pattern(*size, channels, kind)
                                if kind != "half" and compression.startswith("dwa"):
                                    continue  # read as halves: the next test
                                oiio_write(path, picture, kind, compression, tile, order, at)
                                self.expect_same(path)

    def test_dwa_floats_are_read_as_halves(self):
        path = self.place("frame.exr")
        for compression in ("dwaa", "dwab"):
            oiio_write(path, pattern(70, 65, 3, "float"), "float", compression)
            _, channels = oiio_read(path)
            _, _, _, _, planes = passel_read(path)
            for name in "RGB":
                numpy.testing.assert_array_equal(planes[name], channels[name].astype("f2").astype("f4"))

    def test_layers_and_grey(self):
        path = self.place("layers.exr")
        names = ["R", "G", "B", "A", "lamp.R", "lamp.G", "lamp.B"]
        oiio_write(path, pattern(37, 23, 7, "half"), "half", "zip", names=names)
        _, channels = oiio_read(path)
        for layer, prefix in (("", ""), ("lamp", "lamp.")):
            planes = passel_read(path, layer)[4]
            for name in "RGB":
                numpy.testing.assert_array_equal(planes[name], channels[prefix + name])
        oiio_write(path, pattern(37, 23, 1, "half"), "half", "zip", names=["Y"])
        self.expect_same(path)

    def test_mip_maps_give_the_largest_level(self):
        path = self.place("mip.exr")
        buffer = oiio.ImageBuf(oiio.ImageSpec(70, 50, 3, "half"))
        buffer.set_pixels(buffer.roi, pattern(50, 70, 3, "half").astype("f4"))
        config = oiio.ImageSpec()
        config.attribute("maketx:forcefloat", 0)
        config.tile_width = config.tile_height = 16
        self.assertTrue(oiio.ImageBufAlgo.make_texture(oiio.MakeTxTexture, buffer, path, config), oiio.geterror())
        self.expect_same(path)

    def test_files_that_passel_writes(self):
        source, copy = self.place("source.exr"), self.place("copy.exr")
        for size, at in (((37, 23), (0, 0)), ((70, 65), (-6, 11)), ((1, 1), (5, 5))):
            for kind in ("half", "float"):
                oiio_write(source, pattern(*size, 4, kind), kind, "none", at=at)
                spec, before = oiio_read(source)
                for compression in LOSSLESS + ["pxr24", "b44", "b44a"]:
                    subprocess.run([TOOL, "copy", source, copy, compression, kind], check=True, timeout=120)
                    again, after = oiio_read(copy)
                    self.assertEqual((again.x, again.y, again.width, again.height, again.full_width),
                                     (spec.x, spec.y, spec.width, spec.height, spec.full_width))
                    self.assertEqual(again.get_string_attribute("compression"), compression)
                    self.assertEqual(again.format, kind)
                    exact = compression in LOSSLESS or (compression == "pxr24" and kind == "half") \
                        or (compression.startswith("b44") and kind == "float")
                    for name in "RGBA":
                        if exact:
                            numpy.testing.assert_array_equal(after[name], before[name], compression)
                        elif compression == "pxr24":
                            numpy.testing.assert_allclose(after[name], before[name], rtol=1e-4)
                    self.expect_same(copy)

    def test_words_that_passel_writes(self):
        source, copy = self.place("source.exr"), self.place("copy.exr")
        spec = oiio.ImageSpec(8, 8, 3, "half")
        spec.attribute("compression", "zip")
        spec.attribute("Copyright", "the keeper")
        spec.attribute("ImageDescription", "storm")
        spec.attribute("PixelAspectRatio", 2.0)
        spec.attribute("framesPerSecond", oiio.TypeDesc("rational"), (24000, 1001))
        spec.attribute("smpte:TimeCode", oiio.TypeDesc("timecode"), (0x01020304, 7))
        spec.attribute("chromaticities", oiio.TypeDesc("float[8]"),
                       (0.713, 0.293, 0.165, 0.83, 0.128, 0.044, 0.32168, 0.33767))
        file = oiio.ImageOutput.create(source)
        self.assertTrue(file.open(source, spec), file.geterror())
        file.write_image(pattern(8, 8, 3, "half").astype("f4"))
        file.close()
        subprocess.run([TOOL, "copy", source, copy, "piz", "half"], check=True, timeout=120)
        before, _ = oiio_read(source)
        after, _ = oiio_read(copy)
        for name in ("Copyright", "PixelAspectRatio", "smpte:TimeCode", "framesPerSecond", "chromaticities"):
            self.assertIsNotNone(before.getattribute(name), name)
            self.assertEqual(after.getattribute(name), before.getattribute(name), name)
        self.assertEqual(after.getattribute("passelDigest"), "digest of the test")

    @unittest.skipUnless(REAL and os.path.isdir(REAL), "not present: exr below the folder that PASSEL_REAL names")
    def test_files_made_by_others(self):
        compared = 0
        for folder in ("library", "display-window", "odd", "photos"):
            for path in sorted(glob.glob(os.path.join(REAL, folder, "*.exr"))):
                if os.path.basename(path) not in SUB_SAMPLED | DEEP:
                    with self.subTest(path):
                        self.expect_same(path)
                    compared += 1
        print("%d files made by others compared" % compared)
        self.assertGreater(compared, 0)


if __name__ == "__main__":
    unittest.main(verbosity=2)
