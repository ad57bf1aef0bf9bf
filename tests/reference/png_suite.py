# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Reads PngSuite and compares every sample with OpenImageIO; the broken files must be refused by name. Each valid file
is also written again as a PNG of 16 bits, which OpenImageIO must read as the same picture.

The suite is looked for in png/pngsuite/png below the folder that the environment names as PASSEL_REAL.

Usage: png_suite.py MEDIA_DUMP
"""

import os
import pathlib
import subprocess
import sys
import tempfile

SKIPPED = 77
VALID, BROKEN = 161, 14


def reference(path):
    """Samples by OpenImageIO: height × width × channels, alpha left straight."""
    import OpenImageIO

    hints = OpenImageIO.ImageSpec()
    hints.attribute("oiio:UnassociatedAlpha", 1)
    opened = OpenImageIO.ImageInput.open(str(path), hints)
    pixels = opened.read_image(OpenImageIO.FLOAT)
    opened.close()
    return pixels


def planes(pixels):
    """As Passel has them: grey in three planes, alpha last."""
    import numpy

    channels = pixels.shape[2]
    if channels <= 2:
        pixels = numpy.concatenate([pixels[..., :1]] * 3 + [pixels[..., 1:]], axis=2)
    return numpy.moveaxis(pixels, 2, 0)


def dump(program, path):
    import numpy

    done = subprocess.run([program, path], capture_output=True)
    if done.returncode != 0:
        return done.returncode, done.stderr.decode()
    line, samples = done.stdout.split(b"\n", 1)
    _, width, height, mask, _ = line.split()
    return 0, numpy.frombuffer(samples, "<f4").reshape(bin(int(mask)).count("1"), int(height), int(width))


def check_valid(program, path, folder):
    import numpy

    code, read = dump(program, path)
    if code != 0:
        return "refused: %s" % read
    expected = planes(reference(path))
    if expected.shape != read.shape:
        return "shape %s, expected %s" % (read.shape, expected.shape)
    worst = float(numpy.abs(read - expected).max())
    if worst > 1e-6:
        return "differs by %g" % worst
    copy = os.path.join(folder, "copy.png")
    subprocess.run([program, path, copy], check=True)
    worst = float(numpy.abs(planes(reference(copy)) - expected).max())
    return "written again it differs by %g" % worst if worst > 1e-6 else None


def check_broken(program, path):
    code, text = dump(program, path)
    if code != 1:
        return "ended with %d" % code
    return None if path.name in text else "not named in: %s" % text


def main():
    program = sys.argv[1]
    real = os.environ.get("PASSEL_REAL")
    suite = pathlib.Path(real or "", "png/pngsuite/png")
    if not real or not suite.is_dir():
        print("skipped: PngSuite is not there (PASSEL_REAL names the folder with png/pngsuite/png)")
        return SKIPPED
    wrong = []
    files = sorted(suite.glob("*.png"))
    broken = [path for path in files if path.name.startswith("x")]
    with tempfile.TemporaryDirectory() as folder:
        for path in files:
            said = check_broken(program, path) if path in broken else check_valid(program, path, folder)
            if said:
                wrong.append("%s: %s" % (path.name, said))
    counts = (len(files) - len(broken), len(broken))
    print("%d valid files, %d broken ones, %d wrong" % (*counts, len(wrong)))
    print("\n".join(wrong))
    return 1 if wrong or counts != (VALID, BROKEN) else 0


if __name__ == "__main__":
    sys.exit(main())
