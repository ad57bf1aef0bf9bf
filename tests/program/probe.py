# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""probe: as text for people, as JSON for programs, with statistics as numpy has them."""

import json

import numpy as np

import takes

pixels = takes.noise(1, 10, 14, 5, most=4)
pixels[:, :, 0] += 1000


def more(spec):
    spec.attribute("compression", "piz")
    spec.attribute("smpte:TimeCode", takes.oiio.TypeDesc("timecode"), (0x10203012, 0))
    spec.attribute("Copyright", "the Skerry Light")


takes.exr("moon.exr", pixels, ["R", "G", "B", "A", "lamp"], data=(-1, 2), display=(0, 0, 12, 12), more=more)
takes.show(takes.passel("probe", "moon.exr"))
run = takes.passel("probe", "--json", "moon.exr")
said = json.loads(run.out)
takes.equal(said["display"], [0, 0, 12, 12], "display window")
takes.equal(said["data"], [-1, 2, 13, 12], "data window")
takes.equal(sorted(said["channels"]), ["A", "B", "G", "R", "lamp"], "channels")
takes.equal(said["time_code"], "10:20:30:12", "time code")
for i, name in enumerate("RGBA"):
    plane = pixels[:, :, i].astype(np.float64)
    for word, value in (("least", plane.min()), ("most", plane.max()), ("mean", plane.mean()), ("deviation", plane.std())):
        takes.near(said["values"][name][word], value, name + " " + word, relative=1e-8)
one = json.loads(takes.passel("probe", "--json", "--channels", "lamp", "moon.exr").out)
assert one["values"], one
for name, values in one["values"].items():
    takes.near(values["mean"], pixels[:, :, 4].astype(np.float64).mean(), "lamp as " + name, relative=1e-8)

odd = takes.noise(4)
odd[2, 3, 0] = np.nan
odd[5, :2, 1] = np.inf
takes.exr("odd.exr", odd)
said = json.loads(takes.passel("probe", "--json", "odd.exr").out)
takes.equal((said["nan"], said["infinite"]), (1, 2), "faults")

takes.png("sign.png", np.arange(48).reshape(4, 4, 3) * 5)
takes.show(takes.passel("probe", "sign.png"))
# A file that cannot be read does not keep the others from being told.
run = takes.passel("probe", "--json", "nowhere.exr", "sign.png", "odd.exr", code=4)
takes.equal([json.loads(line)["file"] for line in run.out.splitlines()], ["sign.png", "odd.exr"], "files")
takes.show(takes.passel("probe", "--channels", "lump", "moon.exr", code=2))
takes.show(takes.passel("probe", "--part", "7", "moon.exr", code=2))
