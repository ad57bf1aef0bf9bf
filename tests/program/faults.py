# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Frames that cannot be made: the others are, the exit code tells, the message names the file, nothing half is left."""

import os
import shutil
import subprocess
import time

import takes

TEXT = """
moon = pass passes/moon.####.exr
output moon
  file renders/new/storm.####.exr
"""


def begin():
    shutil.rmtree("passes", ignore_errors=True)
    shutil.rmtree("renders", ignore_errors=True)
    for frame in range(1001, 1005):
        takes.exr("passes/moon.%d.exr" % frame, takes.noise(frame, 40, 30))
    takes.recipe(TEXT, size="30x40")


def left():
    return sorted(takes.contents("renders")) if os.path.isdir("renders") else []


def storm(*frames):
    return ["new/storm.%d.exr" % frame for frame in frames]


print("-- one frame is missing")
begin()
os.remove("passes/moon.1002.exr")
run = takes.render(code=1)
takes.equal(run.end(), (3, 0, 1), "made, up to date, failed")
takes.equal(run.frames("failed"), [1002], "failed")
takes.equal(left(), storm(1001, 1003, 1004), "files")
takes.show(takes.passel("render", "shot.passel", "--quiet", code=1))
takes.show(takes.passel("check", "shot.passel", code=None))

print("-- one frame is cut short, one is no EXR")
begin()
with open("passes/moon.1003.exr", "r+b") as file:
    file.truncate(1500)
with open("passes/moon.1004.exr", "wb") as file:
    file.write(b"not a picture at all")
run = takes.render("shot.passel", "--threads", "1", code=1)  # so that the strip that fails first is the first
takes.equal(run.frames("failed"), [1003, 1004], "failed")
for event in sorted(run.events("failed"), key=lambda event: event["frame"]):
    assert "passes/moon.%d.exr" % event["frame"] in event["text"], event
    print(event["text"])
takes.equal(left(), storm(1001, 1002), "files")

print("-- all frames are damaged but one; that one is not asked for")
begin()
for frame in (1002, 1003, 1004):
    with open("passes/moon.%d.exr" % frame, "r+b") as file:
        file.truncate(1500)
run = takes.render("shot.passel", "--frames", "1002-1004", code=4)
takes.equal(run.end(), (0, 0, 3), "made, up to date, failed")
takes.equal(left(), [], "files")

print("-- no frame can be read")
with open("passes/moon.1001.exr", "wb") as file:
    file.write(b"not a picture at all")
for frame in (1002, 1003, 1004):
    os.remove("passes/moon.%d.exr" % frame)
takes.show(takes.passel("render", "shot.passel", code=4))

print("-- a new size in the middle")
begin()
takes.exr("passes/lamp.1001.exr", takes.noise(1, 40, 30))
takes.exr("passes/lamp.1002.exr", takes.noise(1, 20, 30))
takes.recipe(TEXT.replace("output moon", "lamp = pass passes/lamp.####.exr\nnight = lights\n  light moon\n  light lamp\n"
                          "output night"), frames="1001-1002", size="30x40")
run = takes.passel("render", "shot.passel", "--quiet", code=1)
takes.show(run)
takes.equal(left(), storm(1001), "files")

print("-- over an input")
begin()
before = takes.contents("passes")
takes.recipe(TEXT.replace("renders/new/storm", "passes/moon"), size="30x40")
takes.show(takes.passel("render", "shot.passel", code=3))
takes.show(takes.passel("check", "shot.passel", code=3))
os.symlink("passes", "other")
takes.recipe(TEXT.replace("renders/new/storm", "other/moon"), size="30x40")
takes.passel("render", "shot.passel", "--again", code=3)
takes.equal(takes.contents("passes"), before, "the passes")

print("-- over an input of another frame")
takes.recipe("moon = pass passes/moon.####.exr\n  start 1002\n  beyond freeze\n"
             "output moon\n  file passes/moon.####.exr\n", size="30x40")
takes.show(takes.passel("render", "shot.passel", "--frames", "1002", code=3))
takes.equal(takes.contents("passes"), before, "the passes")

print("-- over an input, through a link")
os.makedirs("renders/new")
os.symlink("../../passes/moon.1003.exr", "renders/new/storm.1003.exr")
takes.recipe(TEXT, size="30x40")
run = takes.passel("render", "shot.passel", "--quiet", code=1)
takes.show(run)
takes.equal(takes.contents("passes"), before, "the passes")

print("-- two outputs in one file")
takes.recipe(TEXT + "output moon as again\n  file renders/new/storm.####.exr\n", size="30x40")
takes.show(takes.passel("render", "shot.passel", code=3))

print("-- a folder that cannot be made")
begin()
with open("renders", "w", encoding="ascii") as file:
    file.write("in the way")
takes.show(takes.passel("render", "shot.passel", "--quiet", "--frames", "1001", code=None))
os.remove("renders")
os.makedirs("renders/new/storm.1002.exr")
run = takes.passel("render", "shot.passel", "--quiet", "--frames", "1001-1002", code=1)
takes.show(run)
takes.equal(left(), storm(1001), "files")

print("-- an input that changes while its frame is made")
takes.exr("big.exr", takes.np.full((1500, 1500, 3), 0.5))
takes.recipe("big = pass big.exr\nspot = shape\n  ellipse 750 750 400 400 px\nsoft = matte spot\n  soften 120 px\n"
             "final = stack\n  layer big matte soft\noutput final\n  file slow/big.exr\n", frames="1", size="1500x1500")
process = subprocess.Popen(["passel", "render", "shot.passel", "--quiet"], stderr=subprocess.PIPE)
while not os.path.isdir("slow") or not os.listdir("slow"):
    assert process.poll() is None, "ended too early"
    time.sleep(0.001)
os.utime("big.exr")
print(process.communicate()[1].decode(), end="")
takes.equal((process.returncode, os.listdir("slow")), (4, []), "exit code, files")
takes.equal(takes.render().end(), (1, 0, 0), "made, up to date, failed")
