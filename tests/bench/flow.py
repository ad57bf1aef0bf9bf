#!/usr/bin/python3
# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""In-betweens at 20 % speed against true ones: the swinging sign of the fixtures, alone and behind a post, and a boat
that nothing was tuned on: a hull that rocks on drifting water behind a mast.

The sign is filmed at 120 frames a second; every fifth frame is kept, `time` makes the four between, and these are
compared with those that were left out: means of several takes with other sensor noise, which in a single one would
hide what is measured. Beside `blend` and `flow` stand two flows of OpenCV, used in the same way: the same choice of
motions, hidden places and mixing, in numpy. Figures are PSNR in dB of sRGB values 0 … 1: over the whole frame, and
around what moves.

Fails when `flow` is less than 3 dB above `blend` in a scene.

usage: tests/bench/flow.py [--program PATH] [--skerry PATH] [--keep FOLDER] [--pairs N] [--layout N] [--seed N]
"""
import argparse
import os
import subprocess
import sys
import tempfile
import time

import cv2
import numpy as np
import OpenImageIO as oiio

STEP = 5
FIRST = 16  # the sign falls through its lowest point at frame 29
TRUTHS = 4  # takes whose mean is called true

RECIPE = """passel 1
shot slow
  frames  1-{last}
  rate    120
  size    {width}x{height}

kept = pass {scene}/kept.####.exr
  rate  24

blend = time kept
  use      1-{kept}
  speed    20%
  between  blend

flow = time kept
  use      1-{kept}
  speed    20%
  between  flow

output blend as blend
  file    {scene}/blend.####.exr
  pixels  float

output flow as flow
  file    {scene}/flow.####.exr
  pixels  float
"""


def read(path):
    pixels = oiio.ImageInput.open(path)
    if pixels is None:
        sys.exit(oiio.geterror())
    picture = pixels.read_image(oiio.FLOAT)
    pixels.close()
    return np.ascontiguousarray(picture[:, :, :3], np.float32)


def write(path, picture):
    spec = oiio.ImageSpec(picture.shape[1], picture.shape[0], 3, oiio.FLOAT)
    spec.attribute("compression", "zip")
    out = oiio.ImageOutput.create(path)
    if not (out.open(path, spec) and out.write_image(picture) and out.close()):
        sys.exit(out.geterror())


def post_before(picture):
    """A weathered post and a wire before the picture: they stand still while the sign swings behind them."""
    height, width = picture.shape[:2]
    x = np.arange(width, dtype=np.float32)[None, :] - width * 0.46
    y = np.arange(height, dtype=np.float32)[:, None]
    half = width * 0.028
    grain = 0.5 + 0.2 * np.sin(x * 0.9 + 1.3 * np.sin(y * 0.011)) + 0.15 * np.sin(x * 2.3 + y * 0.05)
    tone = np.clip(grain * (1.1 - (x / half) ** 2 * 0.6), 0.02, None)[:, :, None] * np.array([0.16, 0.12, 0.09])
    cover = np.clip(half - np.abs(x) + 0.5, 0, 1)[:, :, None] * np.ones((height, 1, 1))
    wire = np.clip(2.0 - np.abs(x - width * 0.2 + y * 0.12), 0, 1)[:, :, None]
    picture = picture * (1 - wire) + wire * 0.02
    return (picture * (1 - cover) + cover * tone).astype(np.float32)


# ---- the same in-betweens from somebody else's flow ----------------------------------------------------------------

BLOCK, CANDIDATES, SETTLING = 8, 6, 4
ASTRAY, ASTRAY_SHARE, SETTLED, ALIKE, COST_LIMIT = 0.7, 0.1, 0.3, 0.02, 0.25


def at(plane, x, y, how=cv2.INTER_LINEAR):
    return cv2.remap(plane, x.astype(np.float32), y.astype(np.float32), how, borderMode=cv2.BORDER_REPLICATE)


def lights(a, b):
    plane = [np.maximum(p @ np.array([0.25, 0.5, 0.25], np.float32), 0) for p in (a, b)]
    scale = 0.25 / np.mean(plane)
    return [np.minimum(np.sqrt(p * scale), 4).astype(np.float32) for p in plane]


class Between:
    def __init__(self, a, b, find):
        self.frames = (a, b)
        self.light = lights(a, b)
        bytes8 = [np.clip(p * 127, 0, 255).astype(np.uint8) for p in self.light]
        self.flow = (find(bytes8[0], bytes8[1]), find(bytes8[1], bytes8[0]))
        height, width = self.light[0].shape
        self.x, self.y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
        self.astray = [self.miss(self.flow[k], self.flow[1 - k]) for k in range(2)]
        self.candidates = self.offer()

    def miss(self, out, home):
        tx, ty = self.x + out[:, :, 0], self.y + out[:, :, 1]
        u, v = out[:, :, 0] + at(home[:, :, 0], tx, ty), out[:, :, 1] + at(home[:, :, 1], tx, ty)
        return np.sqrt(u * u + v * v)

    def offer(self):
        height, width = self.x.shape
        columns, rows = -(-width // BLOCK), -(-height // BLOCK)
        lists = [[[] for _ in range(columns)] for _ in range(rows)]
        for y in range(BLOCK // 2, height, BLOCK):
            for x in range(BLOCK // 2, width, BLOCK):
                for k, sign in ((0, 1), (1, -1)):
                    if self.astray[k][y, x] < 1:
                        self.offer_along(lists, x, y, sign, sign * self.flow[k][y, x])
        table = np.full((rows, columns, CANDIDATES, 2), np.nan, np.float32)
        for row in range(rows):
            for column in range(columns):
                for i, motion in enumerate(lists[row][column]):
                    table[row, column, i] = motion
        return np.repeat(np.repeat(table, BLOCK, 0), BLOCK, 1)[:height, :width]

    @staticmethod
    def offer_along(lists, x, y, sign, motion):
        steps = int(min(np.abs(motion).max() / BLOCK, 64)) + 1
        near = 1 + 0.01 * float(motion @ motion)
        for s in range(steps + 1):
            column = int((x + sign * s / steps * motion[0]) // BLOCK)
            row = int((y + sign * s / steps * motion[1]) // BLOCK)
            for r in range(max(row - 1, 0), min(row + 2, len(lists))):
                for c in range(max(column - 1, 0), min(column + 2, len(lists[0]))):
                    known = lists[r][c]
                    if len(known) < CANDIDATES and all(((m - motion) ** 2).sum() >= near for m in known):
                        known.append(motion)

    def settle(self, k, t, motion):
        sign, part = (1, -t) if k == 0 else (-1, 1 - t)
        for _ in range(SETTLING):
            px, py = self.x + part * motion[0], self.y + part * motion[1]
            now = [sign * at(self.flow[k][:, :, i], px, py) for i in range(2)]
            moved = np.abs(now[0] - motion[0]) + np.abs(now[1] - motion[1])
            motion = now
        return motion, moved < SETTLED

    def inside(self, x, y):
        return (x > -0.5) & (y > -0.5) & (x < x.shape[1] - 0.5) & (y < x.shape[0] - 0.5)

    def mismatch(self, t, u, v):
        differ, total = 0, 0
        for dx, dy in ((0, 0), (-1, 0), (1, 0), (0, -1), (0, 1)):
            x, y = self.x + dx, self.y + dy
            a = at(self.light[0], x - t * u, y - t * v)
            b = at(self.light[1], x + (1 - t) * u, y + (1 - t) * v)
            differ, total = differ + np.abs(a - b), total + a + b
        return differ / (2.5 + total)

    def explain(self, t):
        shape = self.x.shape
        cost, size = np.full(shape, COST_LIMIT + ALIKE), np.zeros(shape)
        both, one = np.zeros((2,) + shape), np.zeros((2, 2) + shape)
        knows = np.zeros((2,) + shape, bool)
        starts = [self.flow[0], -self.flow[1]] + [self.candidates[:, :, i] for i in range(CANDIDATES)]
        for start in starts:
            known = ~np.isnan(start[:, :, 0])
            start = np.nan_to_num(start)
            for k in range(2):
                (u, v), good = self.settle(k, t, [start[:, :, 0], start[:, :, 1]])
                here, there = (-t, 1 - t) if k == 0 else (1 - t, -t)
                px, py = self.x + here * u, self.y + here * v
                good &= known & self.inside(px, py)
                large = u * u + v * v
                astray = at(self.astray[k], px, py) ** 2 > ASTRAY**2 + ASTRAY_SHARE**2 * large
                alone = good & (astray | ~self.inside(self.x + there * u, self.y + there * v))
                knows[k] |= alone
                one[k] = np.where(alone, np.stack([u, v]), one[k])
                miss = self.mismatch(t, u, v)
                better = good & ~alone & (miss < COST_LIMIT)
                better &= (miss < cost - ALIKE) | ((miss < cost + ALIKE) & (large > size))
                both = np.where(better, np.stack([u, v]), both)
                size = np.where(better, large, size)
                cost = np.where(better, np.minimum(miss, cost), cost)
        return cost < COST_LIMIT, both, one, knows

    def make(self, t):
        agreed, both, one, knows = self.explain(t)
        made, weights = 0, 0
        for k, part, share in ((0, -t, 1 - t), (1, 1 - t, t)):
            u, v = np.where(agreed, both, np.where(knows[k], one[k], 0))
            weight = np.where(~agreed & ~knows[k] & knows[1 - k], 0, share)[:, :, None]
            made = made + weight * at(self.frames[k], self.x + part * u, self.y + part * v, cv2.INTER_CUBIC)
            weights = weights + weight
        return made / weights


def farneback(a, b):
    return cv2.calcOpticalFlowFarneback(a, b, None, 0.5, 6, 21, 5, 7, 1.5, cv2.OPTFLOW_FARNEBACK_GAUSSIAN)


def dis(a, b):
    found = cv2.DISOpticalFlow_create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    return found.calc(a, b, None)


# ---- the table -----------------------------------------------------------------------------------------------------


def shown(light):
    """Scene-linear light as sRGB shows it (IEC 61966-2-1)."""
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def psnr(made, true, where=Ellipsis):
    return -10 * np.log10(np.mean((shown(made) - shown(true))[where] ** 2))


def moving(a, b):
    """Where the two differ, and 7 pixels around that."""
    difference = np.abs(cv2.blur((shown(a) - shown(b)).astype(np.float32), (5, 5))).max(2)
    return cv2.dilate(difference, np.ones((15, 15))) > 0.05


def film(options, folder):
    for take in range(TRUTHS + 1):
        subprocess.run([options.skerry, os.path.join(folder, "film-%d" % take), "--only", "sign", "--size", "1920x1080",
                        "--layout", str(options.layout), "--seed", str(options.seed + take)], check=True)


def sign(folder, scene, i):
    """Frame i of the sign as filmed, and as it truly is."""
    before = post_before if scene == "post" else lambda frame: frame
    takes = [read(os.path.join(folder, "film-%d" % take, "sign.%04d.exr" % (FIRST + i))) for take in range(TRUTHS + 1)]
    return before(takes[0]), before(np.mean(takes[1:], 0, dtype=np.float32))


class Boat:
    """A painted hull that rocks and passes from right to left on water that drifts the other way, behind a mast."""

    def __init__(self, seed):
        self.chance = np.random.default_rng(seed)
        self.water = self.cloth((700, 1300), (1.5, 4, 12), (0.02, 0.05, 0.07))
        self.paint = self.cloth((240, 440), (1, 3, 9), (0.35, 0.12, 0.06))
        self.paint[::30, :] *= 0.3
        y, x = np.mgrid[0:240, 0:440].astype(np.float32)
        inside = (y > 60 + 0.0012 * (x - 220) ** 2) & (y < 200 - 0.0018 * (x - 220) ** 2)
        house = (x > 180) & (x < 270) & (y > 15) & (y < 90)
        self.hull = cv2.GaussianBlur((inside | house).astype(np.float32), (0, 0), 0.7)

    def cloth(self, size, widths, colour):
        """Woven of noise of several widths: never dark, in a colour."""
        woven = sum(w**0.6 * cv2.GaussianBlur(self.chance.standard_normal(size).astype(np.float32), (0, 0), w) * w
                    for w in widths)
        return np.exp(0.5 * woven / woven.std())[:, :, None] * np.array(colour, np.float32)

    def true(self, i):
        drift = np.float32([[1, 0, -200 + 0.9 * i], [0, 1, -80 + 0.25 * i]])
        picture = cv2.warpAffine(self.water, drift, (960, 540), flags=cv2.INTER_CUBIC)
        rock = cv2.getRotationMatrix2D((220, 190), 5 * np.sin(i * 0.11), 1)
        rock[:, 2] += (560 - 3.3 * i - 220, 300 + 4 * np.sin(i * 0.17) - 190)
        hull = cv2.warpAffine(self.hull, rock, (960, 540), flags=cv2.INTER_CUBIC)[:, :, None]
        paint = cv2.warpAffine(self.paint, rock, (960, 540), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
        picture = picture * (1 - hull) + paint * hull
        x = np.arange(960, dtype=np.float32)
        mast = np.clip(9.5 - np.abs(x - 520), 0, 1)[None, :, None]
        return np.maximum(picture * (1 - mast) + mast * np.float32([0.09, 0.07, 0.05]), 0).astype(np.float32)

    def filmed(self, true):
        """With the noise of a sensor: shot noise and 0.001 of read noise."""
        deviation = np.sqrt(1e-6 + 4e-5 * true)
        return true + deviation * self.chance.standard_normal(true.shape).astype(np.float32)


def prepare(options, folder, scene):
    """Writes the kept frames of a scene; returns these as filmed, and all frames as they truly are."""
    os.makedirs(os.path.join(folder, scene), exist_ok=True)
    boat = Boat(options.seed) if scene == "boat" else None
    kept, true = {}, {}
    for i in range(options.pairs * STEP + 1):
        if boat:
            true[i] = boat.true(i)
            filmed = boat.filmed(true[i])
        else:
            filmed, true[i] = sign(folder, scene, i)
        if i % STEP == 0:
            kept[i] = filmed
            write(os.path.join(folder, scene, "kept.%04d.exr" % (i // STEP + 1)), filmed)
    return kept, true


def render(options, folder, scene, size, pairs):
    height, width = size
    recipe = os.path.join(folder, scene + ".passel")
    with open(recipe, "w") as file:
        file.write(RECIPE.format(scene=scene, last=pairs * STEP, kept=pairs + 1, width=width, height=height))
    seconds = {}
    for label in ("blend", "flow"):
        began = time.monotonic()
        subprocess.run([options.program, "render", recipe, "--quiet", "--again", "--output", label], check=True)
        seconds[label] = time.monotonic() - began
    return seconds


def others(kept, pairs):
    """The in-betweens by the flows of OpenCV, and seconds for each."""
    results, seconds = {}, {}
    for name, find in (("farneback", farneback), ("dis", dis)):
        began = time.monotonic()
        results[name] = {}
        for first in range(0, pairs * STEP, STEP):
            between = Between(kept[first], kept[first + STEP], find)
            for k in range(1, STEP):
                results[name][first + k] = between.make(k / STEP)
        seconds[name] = time.monotonic() - began
    return results, seconds


def measure(options, folder, scene):
    pairs = options.pairs
    kept, true = prepare(options, folder, scene)
    results, seconds = others(kept, pairs)
    seconds.update(render(options, folder, scene, true[0].shape[:2], pairs))
    rows = {}
    for name in ("blend", "flow", "farneback", "dis"):
        whole, part = [], []
        for i in (i for i in range(pairs * STEP) if i % STEP):
            first = i // STEP * STEP
            made = results[name][i] if name in results else read(
                os.path.join(folder, scene, "%s.%04d.exr" % (name, i + 1)))
            whole.append(psnr(made, true[i]))
            part.append(psnr(made, true[i], moving(true[first], true[first + STEP])))
        rows[name] = (float(np.mean(whole)), float(np.mean(part)), seconds[name] / (pairs * (STEP - 1)))
    return rows


def run(options, folder):
    film(options, folder)
    print("in-betweens at 20 %%, 960x540, %d pairs of frames; dB over all, dB around what moves, s a frame" % options.pairs)
    good = True
    for scene in ("sign", "post", "boat"):
        rows = measure(options, folder, scene)
        for name, (whole, part, seconds) in rows.items():
            print("  %-5s %-10s %7.2f %7.2f %8.2f" % (scene, name, whole, part, seconds))
        gain = rows["flow"][0] - rows["blend"][0]
        print("  %-5s flow is %.2f dB above blend (%.2f around what moves)" %
              (scene, gain, rows["flow"][1] - rows["blend"][1]))
        good = good and gain >= 3
    return 0 if good else 1


def main():
    root = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..")
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", default=os.path.join(root, "build/release/src/command/passel"))
    parser.add_argument("--skerry", default=os.path.join(root, "build/release/skerry"))
    parser.add_argument("--keep", help="a folder to leave everything in")
    parser.add_argument("--pairs", type=int, default=4)
    parser.add_argument("--layout", type=int, default=1, help="of the miniature the sign hangs in")
    parser.add_argument("--seed", type=int, default=1, help="of the noise and the boat")
    options = parser.parse_args()
    if options.keep:
        os.makedirs(options.keep, exist_ok=True)
        return run(options, options.keep)
    with tempfile.TemporaryDirectory() as folder:
        return run(options, folder)


if __name__ == "__main__":
    sys.exit(main())
