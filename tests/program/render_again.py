# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""What is made again: frames that are missing, out of date or not whole, and no others."""

import os
import time

import takes

TEXT = """
moon = pass passes/moon.####.exr
dark = pass passes/dark.exr
night = lights
  ambient dark
  light moon -1 stops
final = place night
  move [1001 0 0, 1003 0 0, 1004 4 0] px
output final
  file renders/storm.####.exr
"""
ALL = [1001, 1002, 1003, 1004]


def wait():
    """Frames must be younger than their inputs; a file system's clock may be coarse."""
    time.sleep(0.05)


def made(*words, text=None):
    if text is not None:
        takes.recipe(text)
    run = takes.render("shot.passel", *words)
    takes.equal(run.events()[-1]["failed"], 0, "failed")
    takes.equal(sorted(run.frames("done") + run.frames("fresh")), run_frames(words), "frames told of")
    return run.frames("done")


def run_frames(words):
    return [int(words[words.index("--frames") + 1])] if "--frames" in words else ALL


takes.exr("passes/dark.exr", takes.noise(1, most=0.05))
for frame in ALL:
    takes.exr("passes/moon.%d.exr" % frame, takes.noise(frame))
wait()
takes.equal(made(text=TEXT), ALL, "at first")
first = takes.contents("renders")
takes.equal(made(), [], "nothing changed")
takes.equal(made("--again"), ALL, "--again")
takes.equal(takes.contents("renders"), first, "bytes of --again")

takes.equal(made(text="# For the night of the storm.\n" + TEXT), [], "a comment more")
takes.equal(made(text=TEXT.replace("night", "evening")), [], "a block with another name")
takes.equal(made(text=TEXT.replace("  ambient dark", "\tambient   dark  # lights off")), [], "other spaces")
takes.equal(made(text=TEXT + "spare = flat\n  colour 1 0 0\n"), [], "a block that nothing uses")
takes.equal(made(text=TEXT.replace("-1 stops", "-1 stops tint 1 1 1")), ALL, "a tint, though of nothing")
takes.equal(made(text=TEXT), ALL, "and back")
takes.equal(made(text=TEXT.replace("1004 4 0", "1004 5 0")), [1004], "one key: only the frames it reaches")
takes.equal(made(text=TEXT), [1004], "and back")
takes.equal(made(text=TEXT + "  pixels float\n"), ALL, "pixels of the file")
takes.equal(made(text=TEXT), ALL, "and back")
takes.equal(made("--set", "night: light moon 0 stops"), ALL, "--set")
takes.equal(made(), ALL, "without it")
takes.equal(takes.contents("renders"), first, "bytes after all this")

wait()
os.utime("passes/moon.1002.exr")
takes.equal(made(), [1002], "an input was touched")
os.utime("passes/dark.exr")
takes.equal(made("--frames", "1003"), [1003], "an input of all was touched, one frame asked for")
takes.equal(made(), [1001, 1002, 1004], "the others")

os.remove("renders/storm.1003.exr")
takes.equal(made(), [1003], "one frame was removed")
with open("renders/storm.1002.exr", "r+b") as file:
    file.truncate(len(first["storm.1002.exr"]) - 7)
takes.equal(made(), [1002], "one frame was cut short")
with open("renders/storm.1004.exr", "r+b") as file:
    file.truncate(0)
takes.equal(made(), [1004], "one frame was emptied")
with open("renders/storm.1001.exr", "wb") as file:
    file.write(b"this is no picture")
takes.equal(made(), [1001], "one frame is something else")
takes.equal(takes.contents("renders"), first, "bytes at the end")

# Neither the folder that the program is started in nor the place of the recipe's folder matters.
os.mkdir("tonight")
for name in ("passes", "renders", "shot.passel"):
    os.rename(name, os.path.join("tonight", name))
takes.equal(takes.render("tonight/shot.passel").end(), (0, 4, 0), "from another folder")
takes.equal(takes.render(os.path.abspath("tonight/shot.passel")).end(), (0, 4, 0), "with the whole path")
os.chdir("tonight")

# A frame swapped with another one: the name is right, what is in it is not.
os.rename("renders/storm.1001.exr", "renders/swap")
os.rename("renders/storm.1002.exr", "renders/storm.1001.exr")
os.rename("renders/swap", "renders/storm.1002.exr")
takes.equal(made(), [1001, 1002], "two frames were swapped")

# An input that stays as old but is another picture: its size tells.
stamp = os.stat("passes/moon.1003.exr")
takes.exr("passes/moon.1003.exr", takes.noise(9, channels=4), "RGBA")
os.utime("passes/moon.1003.exr", ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
takes.equal(made(), [1003], "another input as old as the one before")

# An open shutter sees a little of what comes before and after a frame.
MOVING = """
moon = pass passes/moon.####.exr
gate = shape
  polygon [1001 2 2 6 2 6 6, 1003 8 2 12 2 12 6, 1004 12 2 16 2 16 6] px
  shutter 180 deg
final = stack
  layer moon matte gate
output final
  file renders/gate.####.exr
"""
takes.equal(made(text=MOVING), ALL, "an open shutter, at first")
takes.equal(made(text=MOVING.replace("1004 12 2", "1004 11 2")), [1003, 1004], "a key that the shutter sees, too")
print("again: fine")
