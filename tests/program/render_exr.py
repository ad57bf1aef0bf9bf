# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Lamps rebalanced and stacked into EXR files, against the same sums in double."""

import numpy as np

import takes

dark = takes.noise(1, most=0.05)
layer = takes.noise(3, channels=4)
takes.exr("passes/dark.exr", dark)
for frame in range(1001, 1005):
    takes.exr("passes/moon.%d.exr" % frame, takes.noise(frame, most=3.0))
    takes.exr("passes/lamp.%d.exr" % frame, takes.noise(frame + 100, most=1.0))
layer[:, :, :3] *= layer[:, :, 3:]
takes.exr("passes/keeper.exr", layer, "RGBA")
takes.recipe("""
moon = pass passes/moon.####.exr
lamp = pass passes/lamp.####.exr
dark = pass passes/dark.exr
keeper = pass passes/keeper.exr
night = lights
  ambient dark
  light moon -1.5 stops tint 0.75 0.85 1
  light lamp gain [1001 0, 1004 3]
final = stack
  layer night
  layer keeper opacity 40%
output final as whole
  file renders/float.####.exr
  pixels float
output final
  file renders/half.####.exr
""")
run = takes.render()
takes.equal(run.end(), (4, 0, 0), "made, up to date, failed")
for frame in range(1001, 1005):
    moon = takes.noise(frame, most=3.0).astype(np.float64)
    lamp = takes.noise(frame + 100, most=1.0).astype(np.float64)
    night = dark + 2**-1.5 * np.array([0.75, 0.85, 1]) * (moon - dark) + (frame - 1001) * (lamp - dark)
    cut = layer.astype(np.float64) * 0.4
    wanted = cut[:, :, :3] + (1 - cut[:, :, 3:]) * night
    takes.near(takes.read("renders/float.%d.exr" % frame, "RGB"), wanted, "float", 1e-6, 1e-6)
    takes.near(takes.read("renders/half.%d.exr" % frame, "RGB"), wanted, "half", takes.HALF, 1e-6)
spec = takes.header("renders/half.1003.exr")
takes.equal(spec.format.basetype, takes.oiio.HALF, "pixels of half")
takes.equal(takes.header("renders/float.1003.exr").format.basetype, takes.oiio.FLOAT, "pixels of float")
takes.equal((spec.width, spec.height, spec.full_width, spec.full_height), (16, 12, 16, 12), "size")
print("render: fine")
