# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""PNG in and out: sRGB undone and applied again, straight alpha both ways, dither at 8 bits within one step."""

import numpy as np

import takes


def to_light(code):
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def to_code(light):
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)


random = np.random.RandomState(5)
deep = random.randint(0, 65536, (12, 16, 3))
cut = random.randint(0, 256, (12, 16, 4))
cut[:4, :, 3] = 0
cut[4:8, :, 3] = 255
takes.png("deep.png", deep, 16)
takes.png("cut.png", cut)
takes.recipe("""
deep = pass deep.png
cut = pass cut.png
over = stack
  layer deep
  layer cut
output deep
  file same.png
  pixels 16
output over
  file over.exr
  pixels float
output over as small
  file small.png
output cut
  file cut-again.png
  pixels 16
""", frames="1")
takes.equal(takes.render().end(), (1, 0, 0), "made, up to date, failed")

takes.near(takes.read("same.png", whole=16)[:, :, :3], deep, "16 bits there and back", absolute=1)
light = to_light(deep / 65535.0)
alpha = cut[:, :, 3:] / 255.0
over = to_light(cut[:, :, :3] / 255.0) * alpha + (1 - alpha) * light
takes.near(takes.read("over.exr", "RGB"), over, "over, in light", 2e-6, 1e-6)
takes.near(takes.read("small.png", whole=8)[:, :, :3], to_code(over) * 255, "8 bits, dithered", absolute=1.01)
again = takes.read("cut-again.png", whole=16)
takes.near(again[:, :, 3], cut[:, :, 3] * 257, "alpha", absolute=0)
seen = cut[:, :, 3] > 0
takes.near(again[seen][:, :3], cut[seen][:, :3] * 257.0, "straight colour there and back", absolute=2)
takes.equal(int(again[~seen][:, :3].max()), 0, "colour without alpha")
print("png: fine")
