# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""How far a cut-out is from the truth, and the keys that ours stands beside: plain triangulation, a textbook
colour difference tuned on the truth, and the bound that no estimate from single pixels can go below."""
import cv2
import numpy as np


# ---- errors

def gradient_kernel(sigma=1.4, least=0.01):
    """First derivative of a Gaussian along x, of unit length; as Rhemann et al. 2009 publish it."""
    half = int(np.ceil(sigma * np.sqrt(-2 * np.log(np.sqrt(2 * np.pi) * sigma * least))))
    u = np.arange(-half, half + 1, dtype=np.float64)
    bell = np.exp(-u * u / (2 * sigma * sigma)) / (sigma * np.sqrt(2 * np.pi))
    kernel = np.outer(bell, -u * bell / (sigma * sigma))
    return kernel / np.sqrt((kernel * kernel).sum())


def gradient(alpha):
    kernel = gradient_kernel()
    turned = [cv2.filter2D(alpha.astype(np.float64), -1, np.flip(k), borderType=cv2.BORDER_REPLICATE)
              for k in (kernel, kernel.T)]
    return np.hypot(*turned)


def shown(light):
    """Light as the 8-bit numbers of a screen, unrounded."""
    light = np.clip(light, 0, 1)
    return 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def texture(height, width):
    """A background with something in it everywhere: waves of three scales and a checker, 0.02 … 0.6."""
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    waves = 0.25 + 0.12 * np.sin(x / 3.1) * np.cos(y / 4.7) + 0.08 * np.sin((x + 2 * y) / 17)
    check = 0.6 + 0.4 * (((x // 12) + (y // 12)) % 2)
    return (waves * check)[..., None] * np.array([1.1, 0.9, 0.7], np.float32)


def excess(colour, screen):
    """How much of the screen's channel sticks out."""
    mine = int(np.argmax(screen))
    return colour[..., mine] - np.delete(colour, mine, -1).max(-1)


def rms(values):
    return float(np.sqrt(np.mean(np.square(values)))) if values.size else 0.0


def figures(cut, truth, parts, screen, ignore=None):
    """cut, truth: height x width x RGBA, premultiplied. parts: masks by name. ignore: what a garbage matte takes."""
    keep = np.ones(truth.shape[:2], bool) if ignore is None else ~ignore
    off = (cut[..., 3] - truth[..., 3])[keep]
    answer = {"mse": float(np.mean(off * off)), "sad": float(np.abs(off).sum()),
              "gradient": float((((gradient(cut[..., 3]) - gradient(truth[..., 3])) ** 2)[keep]).sum())}
    for name, part in parts.items():
        answer[name] = rms((cut[..., 3] - truth[..., 3])[part & keep])
    seen = keep & (truth[..., 3] > 0.05)
    spill = np.maximum(0, excess(cut[..., :3], screen) - np.maximum(0, excess(truth[..., :3], screen)))
    answer["spill"] = float(spill[seen].mean())
    for name, back in (("grey", np.full_like(truth[..., :3], 0.18)), ("texture", texture(*truth.shape[:2]))):
        over = [shown(c[..., :3] + (1 - c[..., 3:]) * back) for c in (cut, truth)]
        answer[name] = rms((over[0] - over[1])[keep])
    return answer


# ---- other keys

def smooth_screen(take, bare):
    """What one fits by hand to bare screen: a surface of second order."""
    height, width = bare.shape
    y, x = np.mgrid[-1:1:height * 1j, -1:1:width * 1j]
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], -1)
    pick = np.flatnonzero(bare)[::7]
    solved, *_ = np.linalg.lstsq(terms.reshape(-1, 6)[pick], take.reshape(-1, 3)[pick].astype(np.float64), rcond=None)
    return (terms @ solved).astype(np.float32)


def triangulate(takes, screens):
    """Plain least squares, all channels alike."""
    arm = screens[0] - screens[1]
    t = ((takes[0] - takes[1]) * arm).sum(-1) / np.maximum((arm * arm).sum(-1), 1e-6)
    colour = ((takes[0] - t[..., None] * screens[0]) + (takes[1] - t[..., None] * screens[1])) / 2
    return np.concatenate([colour, (1 - t)[..., None]], -1)


def colour_difference(take, screen, truth, keep):
    """1 - share of the screen's excess, between the two thresholds that are best for this very shot."""
    raw = 1 - excess(take, screen.reshape(-1, 3).mean(0)) / excess(screen, screen.reshape(-1, 3).mean(0))
    best = None
    for low in np.linspace(-0.04, 0.16, 11):
        for high in np.linspace(0.7, 1.2, 11):
            alpha = np.clip((raw - low) / (high - low), 0, 1)
            error = float(np.mean((alpha - truth[..., 3])[keep] ** 2))
            if best is None or error < best[0]:
                best = (error, alpha)
    alpha = best[1]
    colour = take - (1 - alpha)[..., None] * screen
    mine = int(np.argmax(screen.reshape(-1, 3).mean(0)))
    colour[..., mine] = np.minimum(colour[..., mine], np.delete(colour, mine, -1).max(-1))
    return np.concatenate([colour, alpha[..., None]], -1)


# ---- bounds

def two_screen_bound(lights, screens, noise, rng):
    """The most likely cut-out of every pixel by itself, with screens and noise known: its variance of alpha (Cramer and
    Rao: 1 / sum dK^2 / (v1 + v2)), and one estimate that reaches it."""
    variances = [noise[:, 0] * np.maximum(light, 0) + noise[:, 1] for light in lights]
    takes = [light + np.sqrt(v) * rng.standard_normal(light.shape, dtype=np.float32)
             for light, v in zip(lights, variances)]
    arm, weight = screens[0] - screens[1], 1 / (variances[0] + variances[1])
    information = np.maximum((weight * arm * arm).sum(-1), 1e-6)
    t = (weight * arm * (takes[0] - takes[1])).sum(-1) / information
    share = variances[1] * weight
    mean = takes[1] + share * (takes[0] - takes[1])
    back = screens[1] + share * arm
    return 1 / information, np.concatenate([mean - t[..., None] * back, (1 - t)[..., None]], -1)


def one_screen_bound(light, screen, truth, noise, rng):
    """The same for one screen, with the foreground's colours known too: 1 / sum (F - K)^2 / v, clipped to 0 … 1."""
    variance = noise[:, 0] * np.maximum(light, 0) + noise[:, 1]
    weight = truth[..., 3:]
    near = [cv2.GaussianBlur(picture, None, 6) for picture in (truth[..., :3], truth[..., 3])]
    far = truth[..., :3].reshape(-1, 3).sum(0) / truth[..., 3].sum()
    front = np.where(weight > 0.05, truth[..., :3] / np.maximum(weight, 0.05),
                     np.where(near[1][..., None] > 1e-3, near[0] / np.maximum(near[1], 1e-3)[..., None], far))
    arm = front - screen
    information = np.maximum((arm * arm / variance).sum(-1), 1e-6)
    take = light + np.sqrt(variance) * rng.standard_normal(light.shape, dtype=np.float32)
    alpha = np.clip(((take - screen) * arm / variance).sum(-1) / information, 0, 1)
    return 1 / information, np.concatenate([take - (1 - alpha)[..., None] * screen, alpha[..., None]], -1)
