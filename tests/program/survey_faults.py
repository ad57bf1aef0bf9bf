# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Faults to put into filmed passes, one at a time, for the test and the bench of survey."""

import math
import os
import shutil

import numpy as np

import film
import takes

SIZE = (384, 216)
LAST = 1008


def shift(pixels, x, y):
    """Moves a picture by parts of a pixel: a phase in the Fourier domain, exact for what the pixels can hold."""
    height, width = pixels.shape[:2]
    pad = 8
    big = np.pad(pixels, ((pad, pad), (pad, pad), (0, 0)), mode="reflect")
    fy, fx = np.meshgrid(np.fft.fftfreq(big.shape[0]), np.fft.fftfreq(big.shape[1]), indexing="ij")
    phase = np.exp(-2j * np.pi * (fx * x + fy * y))[:, :, None]
    moved = np.fft.ifft2(np.fft.fft2(big, axes=(0, 1)) * phase, axes=(0, 1)).real
    return moved[pad:pad + height, pad:pad + width]


def blur(pixels, sigma):
    reach = int(4 * sigma) + 1
    taps = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    taps /= taps.sum()
    for axis in (0, 1):
        pixels = np.apply_along_axis(lambda row: np.convolve(np.pad(row, reach, mode="edge"), taps, "valid"), axis, pixels)
    return pixels


def grain(pixels, seed, coarse=1.0):
    """The sensor's own noise again, where a change took it away (fixtures/film.c has the figures)."""
    gain, read = np.array([1.6e-4, 1.1e-4, 2.2e-4]), np.array([2.5e-6, 1.6e-6, 4.0e-6])
    deviation = np.sqrt(coarse * (gain * np.maximum(pixels, 0) + read))
    noisy = pixels + np.random.RandomState(seed).normal(size=pixels.shape) * deviation
    return np.round(noisy * 4096) / 4096


def change(folder, name, how):
    """Rewrites every file of a pass; `how` gets pixels and the count of the frame."""
    for count, file in enumerate(film.passes(folder)[name]):
        path = os.path.join(folder, file)
        pixels = how(takes.read(path, "RGB").astype(float), count)
        rate = takes.header(path).getattribute("framesPerSecond")

        def more(spec, rate=rate):
            if rate:
                spec.attribute("framesPerSecond", takes.oiio.TypeDesc("rational"), rate)

        takes.exr(path, pixels, half=True, more=more)


# Each fault: what it does to the folder `f`, the pass or passes it is in, its kind, and the least and most measured.
def bump(f):
    change(f, "screen-blue", lambda p, i: shift(p, 0.8, 0))


def bump_lamp(f):
    change(f, "moon", lambda p, i: shift(p, 0, 0.8))


def clip(f):
    change(f, "flash", lambda p, i: np.minimum(p, 0.35))


def crush(f):
    """Black is set so high that the shadows, and the noise in them, are cut off; 10 bits, as a display has them."""
    def put(pixels, _):
        light = np.maximum(pixels - 0.008, 0)
        code = np.round(1023 * np.where(light < 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)) / 1023
        return np.where(code < 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)

    change(f, "moon", put)


def soft(f):
    change(f, "moon", lambda p, i: grain(blur(p, 1.2), i))


def flicker(f):
    """Frames that differ from their neighbours by 6 % root mean square, as docs/survey.md counts it: divided by √1.5."""
    factor = np.random.RandomState(3).normal(size=LAST - film.FIRST + 1)
    steps = factor[1:-1] - (factor[:-2] + factor[2:]) / 2
    factor = np.exp(0.06 * (factor - factor.mean()) / math.sqrt((steps ** 2).mean() / 1.5))
    change(f, "moon", lambda p, i: p * factor[i])


def bands(f):
    """Waves down the picture, elsewhere in every frame, by which rows differ from their neighbours in time by 3 % root mean
    square, divided by √1.5."""
    rows = np.arange(SIZE[1]) / SIZE[1]
    height = 0.03 * 2 ** 0.5 * 1.5 ** 0.5 / (1 - math.cos(2 * np.pi * 0.37))
    change(f, "moon", lambda p, i: p * (1 + height * np.sin(2 * np.pi * (1.7 * rows + 0.37 * i)))[:, None, None])


def missing(f):
    os.remove(f + "/moon.1004.exr")


def truncated(f):
    with open(f + "/lamp.1003.exr", "r+b") as file:
        file.truncate(os.path.getsize(f + "/lamp.1003.exr") * 2 // 3)


def repeated(f):
    shutil.copy(f + "/moon.1005.exr", f + "/moon.1006.exr")


def uneven(f):
    """A ramp by which 1 % and 99 % of the empty screen's area lie 1.3 stops apart, whatever its own unevenness."""
    green = takes.read(f + "/empty-green.exr", "RGB")[:, :, 1].astype(float)
    green = green.reshape(SIZE[1] // 4, 4, SIZE[0] // 4, 4).mean((1, 3))  # blocks, which lose the noise
    across = np.linspace(0, 1, SIZE[0] // 4)
    low, high = 0.0, 4.0
    for _ in range(40):
        stops = (low + high) / 2
        ends = np.percentile(green * 2 ** (-stops * across), (1, 99))
        low, high = (low, stops) if ends[1] > ends[0] * 2**1.3 else (stops, high)
    for name in ("empty-green", "screen-green"):
        change(f, name, lambda p, i: p * 2 ** (-low * np.linspace(0, 1, SIZE[0]))[None, :, None])


def dim(f):
    change(f, "moon", lambda p, i: grain(p / 12, i))


def dim_more(f):
    change(f, "moon", lambda p, i: grain(p / 24, i))


def small_frame(f):
    pixels = takes.read(f + "/moon.1002.exr", "RGB")
    takes.exr(f + "/moon.1002.exr", pixels[:-8, :-16], half=True)


def small_pass(f):
    change(f, "windows", lambda p, i: p[::2, ::2])


def dead(f):
    def stick(pixels, _):
        if pixels.shape[:2] == (SIZE[1], SIZE[0]):
            pixels[61, 200] = 0.9
        return pixels
    for name in film.passes(f):
        change(f, name, stick)


def shake(f, name="moon"):
    way = np.random.RandomState(5).normal(size=(64, 2))
    way -= way[:LAST - film.FIRST + 1].mean(0)
    way *= 0.5 / math.sqrt((way[:LAST - film.FIRST + 1] ** 2).sum(1).mean())
    change(f, name, lambda p, i: shift(p, *way[i]))


def short(f):
    os.remove(f + "/rain-left.1008.exr")
    os.remove(f + "/rain-left.1007.exr")


def bare_of(take, empty):
    """Where a screen is bare, beside its empty."""
    return np.linalg.norm(take - empty, axis=2) < 0.25 * np.linalg.norm(empty, axis=2)


def spill(f):
    """A tenth of the set's light is the screen's."""
    empty = takes.read(f + "/empty-green.exr", "RGB").astype(float)

    def put(pixels, _):
        light = ~bare_of(pixels, empty)[:, :, None] * empty.mean((0, 1))
        return pixels + light * pixels[light[:, :, 1] > 0].sum() / light.sum() / 9

    change(f, "screen-green", put)


def hue_of_screen(f):
    """Paints a twentieth of the keeper, 10 degrees off the screen's hue."""
    empty = takes.read(f + "/keeper-empty.exr", "RGB").astype(float)
    screen = empty.mean((0, 1)) / np.linalg.norm(empty.mean((0, 1)))
    away = np.ones(3) - screen.sum() * screen
    colour = math.cos(math.radians(10)) * screen + math.sin(math.radians(10)) * away / np.linalg.norm(away)

    def put(pixels, count):
        rows, columns = np.nonzero(~bare_of(pixels, empty))
        size = int(math.sqrt(len(rows) / 20))
        y, x = int(np.percentile(rows, 60)), int(np.percentile(columns, 60)) - size // 2
        patch = np.broadcast_to(0.15 * colour, (size, size, 3))
        pixels[y:y + size, x:x + size] = grain(patch, count)
        return pixels

    change(f, "keeper-green", put)


FAULTS = (
    # name, what, pass, kind, seeded, least, most
    ("bump of a screen", bump, "screen-blue.exr", "screens", 0.8, 0.7, 0.9),
    ("bump of a lamp", bump_lamp, "moon.####.exr", "bump", 0.8, 0.5, 1.1),
    ("clipping", clip, "flash.####.exr", "clipped", None, 0.5, 50),
    ("crushed black", crush, "moon.####.exr", "crushed", None, 3, 60),
    ("soft focus", soft, "moon.####.exr", "focus", None, 0.1, 0.7),
    ("flicker", flicker, "moon.####.exr", "flicker", 6, 5.5, 6.5),
    ("rolling bands", bands, "moon.####.exr", "bands", 3, 2.6, 3.4),
    ("missing frame", missing, "moon.####.exr", "missing", 1, 1, 1),
    ("truncated frame", truncated, "lamp.####.exr", "unreadable", 1, 1, 1),
    ("duplicated frame", repeated, "moon.####.exr", "duplicate", 1, 1, 1),
    ("uneven screen", uneven, "empty-green.exr", "evenness", 1.3, 1.2, 1.4),
    ("spill on one screen", spill, "screen-green.exr", "spill", 10, 9, 11),
    ("paint of the screen's hue", hue_of_screen, "keeper-green.####.exr", "hue", 10, 8.5, 11.5),
    ("underexposed", dim, "moon.####.exr", "noise", None, 0.5, 11),
    ("far underexposed", dim_more, "moon.####.exr", "noise", None, 0.5, 5),
    ("wrong size of a frame", small_frame, "moon.####.exr", "size", 1, 1, 1),
    ("wrong size of a pass", small_pass, "windows.exr", "size", 1, 1, 1),
    ("dead pixel", dead, None, "dead", 1, 1, 1),
    ("shake", shake, "moon.####.exr", "shake", 0.5, 0.4, 0.6),
    ("short pass", short, "rain-left.####.exr", "short", 2, 2, 2),  # of four that begin together
)


def takes_of_one(f, layout, moves):
    """Two more takes of the moon pass, with noise of their own."""
    for number, move in enumerate(moves, 2):
        film.skerry("take", layout, seed=90 + number, size=SIZE, last=LAST, only=("moon",))
        for file in film.passes("take")["moon"]:
            shutil.move("take/" + file, f + "/" + file.replace("moon", "moon-take%d" % number))
        shutil.rmtree("take")
        if move:
            shake(f, "moon-take%d" % number)


# What the faults are put into: enough of the passes, and not the long ones.
FILMED = ("moon", "lamp", "windows", "flash", "lights-off", "rain-left", "rain-right", "beam", "screen-green", "screen-blue",
          "empty-green", "empty-blue", "keeper-green", "keeper-empty", "dusk")
