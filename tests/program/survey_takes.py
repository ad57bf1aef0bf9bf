# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# labels: python
"""survey --takes: takes of one pass, each with noise of its own and one of them with one fault; the good ones win, and the fault
is what is said of the other. Takes without a fault are equal. In two arrangements, neither seen when the tolerances were set."""

import json
import math
import os
import shutil

import numpy as np

import film
import takes

SIZE, LAST = (384, 216), 1007


def grain(pixels, seed):
    """The sensor's noise once more (fixtures/film.c has the figures), so that no two takes are the same."""
    gain, read = np.array([1.6e-4, 1.1e-4, 2.2e-4]), np.array([2.5e-6, 1.6e-6, 4.0e-6])
    deviation = np.sqrt(gain * np.maximum(pixels, 0) + read)
    return np.round((pixels + np.random.RandomState(seed).normal(size=pixels.shape) * deviation) * 4096) / 4096


def shift(pixels, x, y):
    """By parts of a pixel: a phase in the Fourier domain."""
    height, width = pixels.shape[:2]
    big = np.pad(pixels, ((8, 8), (8, 8), (0, 0)), mode="reflect")
    fy, fx = np.meshgrid(np.fft.fftfreq(height + 16), np.fft.fftfreq(width + 16), indexing="ij")
    moved = np.fft.ifft2(np.fft.fft2(big, axes=(0, 1)) * np.exp(-2j * np.pi * (fx * x + fy * y))[:, :, None], axes=(0, 1)).real
    return moved[8:-8, 8:-8]


def soften(pixels):
    for _ in range(3):
        for axis in (0, 1):
            pixels = (np.roll(pixels, 1, axis) + 2 * pixels + np.roll(pixels, -1, axis)) / 4
    return pixels


def way(count, rms):
    steps = np.random.RandomState(5).normal(size=(count, 2))
    steps -= steps.mean(0)
    return steps * rms / math.sqrt((steps**2).sum(1).mean())


WAY = way(LAST - film.FIRST + 1, 0.5)
WAVER = np.random.RandomState(3).normal(size=LAST - film.FIRST + 1)
FAULTS = {
    "good": lambda pixels, i: pixels,
    "shaken": lambda pixels, i: shift(pixels, *WAY[i]),
    "soft": lambda pixels, i: soften(pixels),
    "clipped": lambda pixels, i: np.minimum(pixels, 0.2),
    "flickering": lambda pixels, i: pixels * (1 + 0.06 * WAVER[i]),
}
SAID = {"shaken": "shakes more", "soft": "is softer", "clipped": "is clipped more", "flickering": "flickers more",
        "gap": "has lost frames"}


def shoot(folder, fault, seed):
    for i, file in enumerate(film.passes("set")["moon"]):
        pixels = grain(takes.read("set/" + file, "RGB").astype(float), 100 * seed + i)
        takes.exr("%s/%s" % (folder, file), FAULTS.get(fault, FAULTS["good"])(pixels, i), half=True)
    if fault == "gap":
        os.remove(folder + "/moon.1004.exr")


def rank(*words):
    run = takes.passel("survey", "--takes", *words, "--json", code=None)
    return json.loads(run.out), run.code


def check_layout(layout):
    film.skerry("set", layout, seed=20 + layout, size=SIZE, last=LAST, only=("moon",))
    for seed, name in enumerate(("one", "two", "three"), 1):
        shoot(name, "good", seed)
    said, code = rank("one", "two", "three")
    takes.equal((said["best"], code), (["one", "two", "three"], 0), "equal takes")
    assert "equal within what can be measured" in said["why"], said["why"]
    for place, (fault, words) in enumerate(SAID.items()):
        names = ["one", "two"]
        names.insert((place + layout) % 3, "faulty")
        shoot("faulty", fault, 4)
        said, code = rank(*names)
        takes.equal((said["best"], code), (["one", "two"], 0), "best of " + fault)
        takes.equal(said["takes"][-1]["take"], "faulty", fault)
        assert "faulty " + words in said["why"], said["why"]
        if fault == "shaken":
            takes.near(said["takes"][-1]["shake"], 0.5, "shake", absolute=0.08)
        shutil.rmtree("faulty")
    print("layout %d: the faulty take is last" % layout)
    shutil.rmtree("set")


def main():
    for layout in (2, 3):
        check_layout(layout)
    film.skerry("set", 3, seed=23, size=SIZE, last=LAST, only=("moon",))
    shoot("faulty", "shaken", 4)
    both = takes.passel("survey", "--takes", "one/moon.####.exr", "faulty", code=0)
    print(both.out.splitlines()[0].split("(")[0])
    with open("night.passel", "w", encoding="utf-8") as file:
        file.write("shot night\n  frames 1001-1007\n  size 384x216\n  rate 24\n\nfirst = pass faulty/moon.####.exr\n\n"
                   "second = pass one/moon.####.exr\n\nthird = pass two/moon.####.exr\n\noutput second\n"
                   "  file out/night.####.exr\n")
    said, _ = rank("night.passel", "first", "second", "third")
    takes.equal(said["best"], ["second", "third"], "takes of a recipe")
    shutil.copytree("one", "mixed")
    shutil.copy("one/moon.1001.exr", "mixed/still.exr")
    for words in (["one"], ["night.passel", "first"], ["night.passel", "first", "nobody"], ["one", "nowhere"], ["one", "mixed"],
                  ["one", "one/no.####.exr"]):
        takes.show(takes.passel("survey", "--takes", *words, code=None))


main()
