# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""What an output carries over from the lock pass, and what of an input is no number."""

import re

import numpy as np

import takes


def time_code(text):
    """SMPTE 12M as EXR packs it: binary coded decimals."""
    digits = [int(pair) for pair in text.split(":")]
    packed = 0
    for shift, number in zip((24, 16, 8, 0), digits):
        packed |= (number // 10 << 4 | number % 10) << shift
    return packed


def more(code, owner="the Skerry Light"):
    def add(spec):
        spec.attribute("smpte:TimeCode", takes.oiio.TypeDesc("timecode"), (time_code(code), 0))
        spec.attribute("Copyright", owner)
        spec.attribute("ImageDescription", "take 3, wind from the left")
    return add


for frame, code in ((1001, "10:20:30:23"), (1002, "10:20:31:00")):
    takes.exr("moon.%d.exr" % frame, takes.noise(frame), more=more(code))
    takes.exr("lamp.%d.exr" % frame, takes.noise(frame), more=more("01:00:00:00", "somebody else"))
takes.exr("still.exr", takes.noise(1), more=more("10:20:30:23"))


def probed(lock):
    takes.recipe("  rate 24\n  lock %s\nmoon = pass moon.####.exr\nlamp = pass lamp.####.exr\nstill = pass still.exr\n"
                 "night = lights\n  light lamp\n  light moon\noutput night\n  file out.####.exr\n" % lock,
                 frames="1001-1002")
    takes.render()
    return [takes.passel("probe", "out.%d.exr" % frame).out for frame in (1001, 1002)]


def words(text):
    return [re.search(pattern, text).group(1) for pattern in (r"time code +(\S+)", r"owner +(.*)", r"comments +(.*)",
                                                               r"rate +(.*)")]


wanted = ["the Skerry Light", "take 3, wind from the left", "24 frames a second"]
for lock in ("moon", "still"):
    first, second = probed(lock)
    takes.equal(words(first), ["10:20:30:23"] + wanted, "frame 1001, lock " + lock)
    takes.equal(words(second), ["10:20:31:00"] + wanted, "frame 1002, lock " + lock)
takes.equal(words(probed("lamp")[1])[:2], ["01:00:00:00", "somebody else"], "lock lamp")

# The time code of a still counts from the shot's first frame: with another one, frames are out of date.
probed("still")
with open("shot.passel", encoding="utf-8") as file:
    text = file.read()
with open("shot.passel", "w", encoding="utf-8") as file:
    file.write(text.replace("frames 1001-1002", "frames 1000-1002").replace("light moon", "light still")
               .replace("light lamp", "light still"))
takes.equal(takes.render().frames("done"), [1000, 1001, 1002], "made for the longer shot")
takes.equal(words(takes.passel("probe", "out.1002.exr").out)[0], "10:20:31:01", "frame 1002 of the longer shot")
with open("shot.passel", "w", encoding="utf-8") as file:
    file.write(text.replace("frames 1001-1002", "frames 999-1002").replace("light moon", "light still")
               .replace("light lamp", "light still"))
takes.equal(takes.render().frames("done"), [999, 1000, 1001, 1002], "made once more")

# Values that are no numbers are counted, said once for a file, and read as 0 and as the largest half.
odd = takes.noise(4)
odd[2, 3, 0] = np.nan
odd[5, :2, 1] = np.inf
odd[6, 0, 2] = -np.inf
takes.exr("odd.exr", odd)
takes.recipe("odd = pass odd.exr\noutput odd\n  file fine.exr\n  pixels float\n", frames="1")
run = takes.passel("render", "shot.passel", "--quiet")
takes.show(run)
got = takes.read("fine.exr", "RGB")
takes.near(got[2, 3, 0], 0, "not a number")
takes.near(got[5, :2, 1], [65504, 65504], "infinite")
takes.near(np.abs(got[6, 0, 2]), 65504, "infinite, negative")
assert np.isfinite(got).all()
events = [event["text"] for event in takes.render("shot.passel", "--again").events("warning")]
takes.equal(len(events), 1, "warnings")
print("lock: fine")
