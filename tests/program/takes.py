# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""What the scripts in Python share: pictures made and read back with OpenImageIO, recipes, runs of the program.

Pictures are arrays of (height, width, channels) in double or single precision.
"""

import json
import os
import pty
import subprocess
import sys

import numpy as np
import OpenImageIO as oiio

HALF = 2.0**-11  # relative error of rounding to half, at most


def exr(path, pixels, names="RGB", half=False, data=None, display=None, more=None):
    """Writes an EXR. `data` is where the top left pixel lies; `display` is (x, y, width, height); `more` is called with
    the specification."""
    pixels = np.asarray(pixels, np.float32)
    height, width, count = pixels.shape
    spec = oiio.ImageSpec(width, height, count, "half" if half else "float")
    spec.channelnames = tuple(names)
    spec.attribute("compression", "zips")
    if data is not None:
        spec.x, spec.y = data
    if display is not None:
        spec.full_x, spec.full_y, spec.full_width, spec.full_height = display
    if "A" in names:
        spec.alpha_channel = list(names).index("A")
    if more is not None:
        more(spec)
    write(path, spec, pixels)


def png(path, values, depth=8):
    """Writes whole numbers (height, width, 1 to 4 channels) as they are."""
    values = np.asarray(values, np.uint8 if depth == 8 else np.uint16)
    spec = oiio.ImageSpec(values.shape[1], values.shape[0], values.shape[2], "uint%d" % depth)
    spec.attribute("oiio:UnassociatedAlpha", 1)
    write(path, spec, values)


def write(path, spec, pixels):
    folder = os.path.dirname(path)
    if folder:
        os.makedirs(folder, exist_ok=True)
    out = oiio.ImageOutput.create(path)
    if out is None or not out.open(path, spec) or not out.write_image(np.ascontiguousarray(pixels)):
        raise RuntimeError("%s: %s" % (path, out.geterror() if out else oiio.geterror()))
    out.close()


def opened(path):
    hints = oiio.ImageSpec()
    hints.attribute("oiio:UnassociatedAlpha", 1)
    picture = oiio.ImageInput.open(path, hints)
    if picture is None:
        raise RuntimeError("%s: %s" % (path, oiio.geterror()))
    return picture


def read(path, names=None, whole=False):
    """The pixels of a file as float32: `names` picks channels by name in this order; else all as they are."""
    picture = opened(path)
    pixels = picture.read_image("uint8" if whole == 8 else "uint16" if whole == 16 else "float")
    channels = list(picture.spec().channelnames)
    picture.close()
    if names is None:
        return pixels
    return pixels[:, :, [channels.index(name) for name in names]]


def header(path):
    picture = opened(path)
    spec = picture.spec()
    picture.close()
    return spec


def noise(seed, height=12, width=16, channels=3, least=0.0, most=1.0):
    """Even noise, the same on every machine."""
    return np.random.RandomState(seed).uniform(least, most, (height, width, channels)).astype(np.float32)


def recipe(text, frames="1001-1004", size="16x12", path="shot.passel"):
    """Writes a recipe, behind the head of a shot."""
    with open(path, "w", encoding="utf-8") as file:
        file.write("shot tiny\n  frames %s\n  size %s\n%s" % (frames, size, text))
    return path


class Run:
    """One finished run of the program."""

    def __init__(self, code, out, err):
        self.code, self.out, self.err = code, out, err

    def events(self, kind=None):
        """What --json said, line by line."""
        all_events = [json.loads(line) for line in self.out.splitlines()]
        return [event for event in all_events if kind in (None, event["event"])]

    def frames(self, kind):
        return sorted(event["frame"] for event in self.events(kind))

    def end(self):
        """(made, fresh, failed) as the last event says."""
        last = self.events()[-1]
        assert last["event"] == "end", last
        return last["made"], last["fresh"], last["failed"]


def passel(*words, code=0, **more):
    """Runs the program, which must end with this exit code."""
    done = subprocess.run(["passel", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, check=False, **more)
    run = Run(done.returncode, done.stdout.decode(), done.stderr.decode("utf-8", "backslashreplace"))
    if code is not None and run.code != code:
        print("passel %s: exit %d, not %d\n%s%s" % (" ".join(words), run.code, code, run.out, run.err))
        sys.exit(1)
    return run


def terminal(*words):
    """Runs the program on a terminal: its exit code, and all that came there."""
    master, slave = pty.openpty()
    process = subprocess.Popen(["passel", *words], stdin=slave, stdout=slave, stderr=slave)
    os.close(slave)
    said = b""
    try:
        while True:
            more = os.read(master, 4096)
            if not more:
                break
            said += more
    except OSError:
        pass
    os.close(master)
    return process.wait(), said.decode()


def render(path="shot.passel", *words, code=0, **more):
    """passel render --json."""
    return passel("render", path, "--json", *words, code=code, **more)


def show(run):
    """Prints all that a run said, and its exit code when that is not 0."""
    print(run.out + run.err, end="")
    if run.code != 0:
        print("[%d]" % run.code)


def near(got, wanted, what, relative=0.0, absolute=0.0):
    """Fails unless got is wanted, within |got - wanted| <= absolute + relative * |wanted|."""
    got, wanted = np.asarray(got, np.float64), np.asarray(wanted, np.float64)
    assert got.shape == wanted.shape, "%s: %s instead of %s" % (what, got.shape, wanted.shape)
    excess = np.abs(got - wanted) - (absolute + relative * np.abs(wanted))
    if not np.all(excess <= 0):
        worst = np.unravel_index(np.argmax(np.where(np.isnan(excess), np.inf, excess)), excess.shape)
        print("%s: %r instead of %r at %s" % (what, got[worst], wanted[worst], worst))
        sys.exit(1)


def equal(got, wanted, what):
    if got != wanted:
        print("%s: %r instead of %r" % (what, got, wanted))
        sys.exit(1)


def contents(folder):
    """name → bytes of everything in a folder, hidden names too."""
    found = {}
    for base, _, names in os.walk(folder):
        for name in names:
            path = os.path.join(base, name)
            with open(path, "rb") as file:
                found[os.path.relpath(path, folder)] = file.read()
    return found
