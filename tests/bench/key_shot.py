# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""A hard shot for keys, painted by arithmetic, with the truth beside it.

Rock and tower with paint of pure green and pure blue, a head with some hundred hairs of one to two pixels, rigging
wires, drifting smoke, a pane of glass with a glint, a bird blurred by its flight; before screens that fall off by half
a stop towards the corners, are a little creased, have a stand and tape marks, and throw their light back on what is
near. Noise is that of a camera: its variance grows with the light.

Opaque things are painted four times as fine and averaged, so that coverage is exact to a 16th of a pixel; what is
transparent is laid over by the formula. A layout says where things are, a seed how the details and the noise fall.
"""
import os

import cv2
import numpy as np
import OpenImageIO as oiio

FINE = 4
GREEN, BLUE = (0.08, 0.55, 0.12), (0.06, 0.14, 0.52)
# Variance gain * light + floor of red, green, blue: 1 % of middle grey.
NOISE = np.array([(1.9e-5, 1.3e-6), (1.4e-5, 1.0e-6), (2.2e-5, 1.7e-6)], np.float32)

# Where things stand, in shares of width and height.
LAYOUTS = {
    1: {"tower": (0.24, 0.075, 0.16), "rock": 0.72, "head": (0.66, 0.44, 0.105), "smoke": (0.42, 0.60, 0.25),
        "glass": (0.42, 0.34, 0.085), "bird": (0.84, 0.20, 0.10), "fall": ((0.45, 0.40), (0.60, 0.55))},
    2: {"tower": (0.74, 0.060, 0.10), "rock": 0.78, "head": (0.30, 0.52, 0.130), "smoke": (0.62, 0.45, -0.22),
        "glass": (0.52, 0.62, 0.070), "bird": (0.12, 0.16, 0.13), "fall": ((0.30, 0.50), (0.70, 0.35))},
    3: {"tower": (0.50, 0.090, 0.22), "rock": 0.66, "head": (0.80, 0.36, 0.090), "smoke": (0.30, 0.50, 0.12),
        "glass": (0.16, 0.46, 0.100), "bird": (0.64, 0.15, 0.08), "fall": ((0.55, 0.65), (0.40, 0.30))},
    4: {"tower": (0.13, 0.065, 0.13), "rock": 0.75, "head": (0.50, 0.40, 0.120), "smoke": (0.74, 0.55, -0.18),
        "glass": (0.28, 0.48, 0.080), "bird": (0.80, 0.28, 0.11), "fall": ((0.60, 0.45), (0.35, 0.60))},
}
ASIDE = 4  # not looked at while anything is tuned


def cloud(rng, height, width, coarse, octaves=5):
    """Fractal noise, 0 … 1."""
    sum_, share = np.zeros((height, width), np.float32), 1.0
    for octave in range(octaves):
        cell = max(2.0, coarse / 2 ** octave)
        small = rng.random((int(height / cell) + 4, int(width / cell) + 4), dtype=np.float32)
        big = cv2.resize(small, None, fx=cell, fy=cell, interpolation=cv2.INTER_CUBIC)
        sum_ += share * big[:height, :width]
        share *= 0.55
    low, high = np.percentile(sum_, (1, 99))
    return np.clip((sum_ - low) / (high - low), 0, 1)


class Canvas:
    """Opaque paint at FINE times the size: colour and coverage."""

    def __init__(self, width, height):
        self.width, self.height = width, height
        self.paint = np.zeros((height * FINE, width * FINE, 4), np.float32)

    def fine(self, points):
        return np.round(np.asarray(points, np.float64) * FINE * 16).astype(np.int32)

    def polygon(self, points, colour):
        cv2.fillPoly(self.paint, [self.fine(points)], (*colour, 1.0), shift=4)

    def disc(self, x, y, radius, colour):
        centre = self.fine((x, y))
        cv2.circle(self.paint, (int(centre[0]), int(centre[1])), int(round(radius * FINE * 16)), (*colour, 1.0), -1,
                   shift=4)

    def line(self, points, thick, colour):
        cv2.polylines(self.paint, [self.fine(points)], False, (*colour, 1.0), max(1, int(round(thick * FINE))),
                      cv2.LINE_8, shift=4)

    def averaged(self):
        return cv2.resize(self.paint, (self.width, self.height), interpolation=cv2.INTER_AREA)


def over(front, back):
    return front + (1 - front[..., 3:]) * back


class Scene:
    """The set without screens: premultiplied colour and alpha, and masks of its parts."""

    def __init__(self, layout, seed, width, height, greens=True):
        self.place = LAYOUTS[layout]
        self.rng = np.random.default_rng([layout, seed])
        self.width, self.height, self.greens = width, height, greens
        self.scale = height / 540
        solid, hair = self.solids(), self.hairs()
        cut = over(self.head(), over(hair, solid))
        smoke = self.smoke()
        cut = over(self.glass(), over(smoke, over(self.bird(), cut)))
        self.cut = cut.astype(np.float32)
        alpha = self.cut[..., 3]
        self.parts = {
            "hair": (cv2.dilate(hair[..., 3], np.ones((3, 3))) > 0.02) & (alpha > 0) & (alpha < 0.98),
            "smoke": (smoke[..., 3] > 0.02) & (alpha < 0.98),
            "solid": alpha >= 0.999,
            "bare": alpha <= 0,
        }
        self.parts["smoke"] &= ~self.parts["hair"]

    def solids(self):
        """Rock, tower with a green roof and a blue door, wires; textured."""
        w, h, rng = self.width, self.height, self.rng
        canvas = Canvas(w, h)
        cx, half, top = (self.place["tower"][0] * w, self.place["tower"][1] * h, self.place["tower"][2] * h)
        ground = self.place["rock"] * h
        for end in (0.02, 0.36, 0.71, 0.97):
            wire = [(cx + (end * w - cx) * u, top + (0.97 * h - top) * u ** 1.2 * 0.8) for u in np.linspace(0, 1, 40)]
            canvas.line(wire, 1.0, (0.03, 0.03, 0.035) if end < 0.5 else (0.35, 0.33, 0.30))
        ridge = [(x, ground + 0.10 * h * (np.sin(7 * x / w + self.place["fall"][0][0] * 9) + 0.5 * np.sin(31 * x / w))
                  + rng.normal(0, 0.003) * h) for x in np.linspace(0, w, 120)]
        canvas.polygon(ridge + [(w, h), (0, h)], (0.17, 0.15, 0.13))
        canvas.polygon([(cx - half, top + 0.1 * h), (cx + half, top + 0.1 * h), (cx + 1.3 * half, ground + 0.15 * h),
                        (cx - 1.3 * half, ground + 0.15 * h)], (0.46, 0.43, 0.38))
        roof = (0.02, 0.36, 0.05) if self.greens else (0.40, 0.08, 0.05)
        canvas.polygon([(cx, top), (cx + 1.5 * half, top + 0.11 * h), (cx - 1.5 * half, top + 0.11 * h)], roof)
        canvas.polygon([(cx - 0.4 * half, ground - 0.09 * h), (cx + 0.4 * half, ground - 0.09 * h),
                        (cx + 0.4 * half, ground + 0.02 * h), (cx - 0.4 * half, ground + 0.02 * h)],
                       (0.03, 0.06, 0.38))
        canvas.disc(cx, top + 0.17 * h, 0.45 * half, (0.02, 0.42, 0.04) if self.greens else (0.9, 0.7, 0.3))
        for k in range(9):
            x = cx + half * (k - 4) / 3
            canvas.line([(x, top + 0.11 * h), (x + 0.2 * half, top + 0.16 * h)], 1.5, (0.05, 0.05, 0.05))
        paint = canvas.averaged()
        grain = 0.55 + 0.9 * cloud(rng, h, w, 60 * self.scale, 6)
        paint[..., :3] *= grain[..., None]
        return paint

    def hairs(self):
        """Strands that start on the head and curl away; 1 to 2 pixels, tips of 1."""
        w, h, rng = self.width, self.height, self.rng
        canvas = Canvas(w, h)
        cx, cy, radius = self.place["head"][0] * w, self.place["head"][1] * h, self.place["head"][2] * h
        for _ in range(420):
            angle = rng.uniform(-np.pi * 1.12, 0.12 * np.pi)
            length, bend = radius * rng.uniform(0.25, 1.05), rng.normal(0, 0.9)
            u = np.linspace(0, 1, 14)
            turn = angle + bend * u + 0.35 * np.sin(6 * u + rng.uniform(0, 6)) * u
            step = length / 14
            x = cx + 0.92 * radius * np.cos(angle) + np.cumsum(step * np.cos(turn))
            y = cy + 0.92 * radius * np.sin(angle) + np.cumsum(step * (np.sin(turn) + 0.35 * u))
            tone = rng.uniform(0.5, 1.6)
            colour = (0.20 * tone, 0.11 * tone, 0.055 * tone) if rng.random() < 0.85 else (0.55, 0.47, 0.36)
            points = np.stack([x, y], -1)
            thick = rng.uniform(1.0, 2.0)
            canvas.line(points[:9], thick, colour)
            canvas.line(points[8:], 1.0, colour)
        return canvas.averaged()

    def head(self):
        w, h, rng = self.width, self.height, self.rng
        canvas = Canvas(w, h)
        cx, cy, radius = self.place["head"][0] * w, self.place["head"][1] * h, self.place["head"][2] * h
        coat = (0.10, 0.19, 0.06) if self.greens else (0.11, 0.12, 0.20)
        canvas.polygon([(cx - 0.5 * radius, cy + 0.8 * radius), (cx + 0.5 * radius, cy + 0.8 * radius),
                        (cx + 1.7 * radius, cy + 2.6 * radius), (cx + 1.8 * radius, h), (cx - 1.8 * radius, h),
                        (cx - 1.7 * radius, cy + 2.6 * radius)], coat)
        canvas.disc(cx, cy, radius, (0.52, 0.33, 0.24))
        canvas.disc(cx, cy - 0.35 * radius, 0.8 * radius, (0.19, 0.105, 0.05))
        canvas.disc(cx, cy + 0.15 * radius, 0.62 * radius, (0.55, 0.35, 0.26))
        paint = canvas.averaged()
        paint[..., :3] *= (0.75 + 0.5 * cloud(rng, h, w, 40 * self.scale, 4))[..., None]
        return paint

    def grid(self):
        y, x = np.mgrid[0:self.height, 0:self.width].astype(np.float32)
        return x + 0.5, y + 0.5

    def smoke(self):
        w, h, rng = self.width, self.height, self.rng
        x, y = self.grid()
        sx, sy, lean = self.place["smoke"]
        up = (0.95 * h - y) / h
        centre = sx * w + lean * h * up + 0.03 * h * np.sin(9 * up + rng.uniform(0, 6))
        wide = 0.035 * h + 0.13 * h * np.clip(up, 0, 1)
        shape = np.exp(-((x - centre) / wide) ** 2) * np.clip((up - (0.95 - sy - 0.42)) * 6, 0, 1)
        dense = np.clip(cloud(rng, h, w, 90 * self.scale, 6) * 1.5 - 0.35, 0, 1) * shape
        alpha = 0.75 * np.where(dense > 0.01, dense, 0)
        tone = 0.42 + 0.2 * cloud(rng, h, w, 120 * self.scale, 3)
        return np.stack([alpha * tone, alpha * tone * 0.98, alpha * tone * 0.95, alpha], -1)

    def glass(self):
        """A pane in a thin rim: it dims evenly what is behind it and has a glint."""
        w, h = self.width, self.height
        x, y = self.grid()
        gx, gy, radius = self.place["glass"][0] * w, self.place["glass"][1] * h, self.place["glass"][2] * h
        far = np.hypot(x - gx, y - gy)
        pane = np.clip(radius - far + 0.5, 0, 1)
        rim = np.clip(1.5 * self.scale + 0.5 - np.abs(far - radius), 0, 1)
        glint = np.exp(-(((x - gx + 0.4 * radius) / (0.25 * radius)) ** 2 + ((y - gy + 0.4 * radius) / (0.12 * radius)) ** 2))
        alpha = pane * (0.16 + 0.5 * glint)
        colour = pane[..., None] * (0.02 * np.ones(3) + 0.45 * glint[..., None])
        layer = np.concatenate([colour, alpha[..., None]], -1)
        edge = np.concatenate([rim[..., None] * np.array([0.30, 0.26, 0.16]), rim[..., None]], -1)
        return over(edge, layer).astype(np.float32)

    def bird(self):
        """Wings and body, the mean of the shutter's time."""
        w, h = self.width, self.height
        sum_ = np.zeros((h, w, 4), np.float32)
        bx, by, size = self.place["bird"][0] * w, self.place["bird"][1] * h, self.place["bird"][2] * h
        for k in range(12):
            canvas_x, canvas_y = bx + 1.8 * k * self.scale, by - 0.5 * k * self.scale
            x, y = self.grid()
            body = np.hypot((x - canvas_x) / 1.6, y - canvas_y) - 0.16 * size
            wing = np.abs(y - canvas_y + 0.35 * np.abs(x - canvas_x)) - 0.05 * size
            wing = np.maximum(wing, np.abs(x - canvas_x) - size)
            sum_[..., 3] += np.clip(0.5 - np.minimum(body, wing), 0, 1)
        sum_ /= 12
        sum_[..., :3] = sum_[..., 3:] * np.array([0.62, 0.60, 0.56], np.float32)
        return sum_


class Shot:
    """Scene, screens, what the screens throw back, and the camera."""

    def __init__(self, layout, seed, width=960, height=540, greens=True, spill=0.01):
        self.scene = Scene(layout, seed, width, height, greens)
        self.rng = np.random.default_rng([layout, seed, 77])
        self.layout, self.width, self.height = layout, width, height
        self.cut, self.alpha = self.scene.cut, self.scene.cut[..., 3]
        self.marks = np.zeros((height, width), bool)
        self.screens = [self.screen(np.array(colour, np.float32), fall)
                        for colour, fall in zip((GREEN, BLUE), LAYOUTS[layout]["fall"])]
        self.fronts = [self.cut[..., :3] + self.thrown_back(screen, spill) for screen in self.screens]

    def screen(self, colour, middle):
        w, h = self.width, self.height
        x, y = self.scene.grid()
        far = np.hypot((x / w - middle[0]), (y / h - middle[1]) * h / w)
        creases = 1 + 0.05 * (cloud(self.rng, h, w, 200 * self.scene.scale, 2) - 0.5)
        light = 2 ** (-0.5 * (far / far.max()) ** 2) * creases
        screen = light[..., None] * colour
        for mx, my in ((0.08, 0.12), (0.92, 0.10), (0.06, 0.55), (0.94, 0.55), (0.55, 0.08)):
            cx, cy, arm = mx * w, my * h, 6 * self.scene.scale
            mark = ((np.abs(x - cx) < arm) & (np.abs(y - cy) < 1)) | ((np.abs(y - cy) < arm) & (np.abs(x - cx) < 1))
            self.marks |= mark
            screen[mark] *= 0.55
        stand = (np.abs(x - 0.985 * w) < 3 * self.scene.scale) & (y > 0.3 * h)
        self.marks |= stand
        screen[stand] = 0.35 * screen[stand] + 0.02
        return screen

    def thrown_back(self, screen, spill):
        """Light of the screen on what is near its edge; brighter paint gives more of it."""
        solid = self.alpha
        near = 1 - cv2.GaussianBlur(solid, None, 14 * self.scene.scale, borderType=cv2.BORDER_REPLICATE)
        colour = screen.reshape(-1, 3).mean(0)
        white = 0.3 + self.cut[..., :3].mean(-1) / np.maximum(solid, 1e-3)
        return spill * (solid * near * white)[..., None] * colour

    def noisy(self, light, rng):
        spread = np.sqrt(NOISE[:, 0] * np.maximum(light, 0) + NOISE[:, 1])
        return (light + spread * rng.standard_normal(light.shape, dtype=np.float32)).astype(np.float32)

    def light(self, which, level=1.0, screen_level=1.0):
        """What reaches the camera before screen `which`: all of it `level` times, the screen `screen_level` times."""
        t = (1 - self.alpha)[..., None]
        return level * (self.fronts[which] + screen_level * t * self.screens[which])

    def take(self, which, seed, level=1.0, screen_level=1.0):
        return self.noisy(self.light(which, level, screen_level), np.random.default_rng([self.layout, which, seed, 1]))

    def empty(self, which, seed):
        return self.noisy(self.screens[which], np.random.default_rng([self.layout, which, seed, 2]))


def write(path, pixels, kind="half"):
    os.makedirs(os.path.dirname(path), exist_ok=True)
    height, width = pixels.shape[:2]
    channels = 1 if pixels.ndim == 2 else pixels.shape[2]
    spec = oiio.ImageSpec(width, height, channels, kind)
    if channels == 1:
        spec.channelnames = ("A",)
    spec.attribute("compression", "zip")
    target = oiio.ImageOutput.create(path)
    if target is None or not target.open(path, spec):
        raise RuntimeError(oiio.geterror())
    target.write_image(np.ascontiguousarray(pixels.reshape(height, width, channels), dtype=np.float32))
    target.close()


def read(path):
    source = oiio.ImageInput.open(path)
    if source is None:
        raise RuntimeError(f"{path}: {oiio.geterror()}")
    pixels = np.asarray(source.read_image(oiio.FLOAT), np.float32)
    source.close()
    return pixels
