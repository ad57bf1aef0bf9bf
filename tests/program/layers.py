# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Layers and single channels of an EXR in, layers out."""

import numpy as np

import takes

pixels = takes.noise(1, channels=8)
pixels[:, :, 3] = 0.5
takes.exr("scene.exr", pixels, ["R", "G", "B", "A", "lamp.R", "lamp.G", "lamp.B", "depth.Z"])
takes.recipe("""
plain = pass scene.exr
lamp = pass scene.exr
  channels lamp
depth = pass scene.exr
  channels depth.Z
spot = shape
  ellipse 8 6 5 4 px
output plain
  file all.exr
  pixels float
  layers lamp
  layers spot
output depth
  file depth.exr
  pixels float
""", frames="1")
run = takes.render()
names = sorted(takes.header("all.exr").channelnames)
takes.equal([name for name in names if "." not in name], ["A", "B", "G", "R"], "plain channels")
takes.equal([name for name in names if name.startswith("lamp.")], ["lamp.B", "lamp.G", "lamp.R"], "channels of lamp")
takes.equal([name for name in names if name.startswith("spot.")], ["spot.A"], "channels of spot")
takes.near(takes.read("all.exr", "RGBA"), pixels[:, :, :4], "plain")
takes.near(takes.read("all.exr", ["lamp.R", "lamp.G", "lamp.B"]), pixels[:, :, 4:7], "lamp")
spot = takes.read("all.exr", ["spot.A"])[:, :, 0]
takes.near(np.sum(spot, dtype=np.float64), np.pi * 20, "area of the ellipse", relative=0.005)
got = takes.header("depth.exr").channelnames
takes.near(takes.read("depth.exr", [got[0]])[:, :, 0], pixels[:, :, 7], "one channel")
takes.show(takes.passel("render", "shot.passel", "--set", "lamp: channels lmap", code=None))
print("layers: fine")
