# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
# labels: threads
"""Stopped in the middle: by signals, in order; by a kill, at once. What is under its name is whole, and a second run
ends with the same bytes as one that nobody disturbed."""

import os
import shutil
import signal
import subprocess
import time

import takes

FRAMES = 24
takes.recipe("""
sky = ramp
  from 0 0 px colour 0.1 0.2 0.4
  to 0 170 px colour [1001 0.9 0.5 0.3, 1024 0.9 0.6 0.9]
spot = shape
  ellipse [1001 100 90 45 30, 1024 250 120 30 45] px
  feather 30 px
soft = matte spot
  soften 9 px
lamp = flat
  colour 2 1.5 1
turned = place sky
  turn [1001 0, 1024 30] deg
final = stack
  layer turned
  layer lamp matte soft
output final
  file renders/storm.####.exr
""", frames="1001-%d" % (1000 + FRAMES), size="320x180")


def temporaries():
    return [name for name in os.listdir("renders") if name.startswith(".")]


def names():
    return sorted(name for name in os.listdir("renders") if not name.startswith("."))


def start_and_wait(frames):
    """Starts a render and returns it once so many frames are there."""
    process = subprocess.Popen(["passel", "render", "shot.passel", "--threads", "2", "--json"],
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    while not os.path.isdir("renders") or len(names()) < frames:
        assert process.poll() is None, "ended too early: %s" % (process.communicate(),)
        time.sleep(0.001)
    return process


takes.render("shot.passel", "--threads", "2")
whole = takes.contents("renders")
takes.equal(len(whole), FRAMES, "frames")

for number in (signal.SIGINT, signal.SIGTERM):
    shutil.rmtree("renders")
    process = start_and_wait(2)
    process.send_signal(number)
    out, err = process.communicate(timeout=60)
    takes.equal(process.returncode, 130, "exit code after signal %d" % number)
    takes.equal(err.decode(), "stopped; the frames that are there are whole\n", "what is said")
    takes.equal(temporaries(), [], "temporary files")
    there = takes.contents("renders")
    assert 2 <= len(there) < FRAMES, len(there)
    takes.equal({name: whole[name] == data for name, data in there.items()}, dict.fromkeys(there, True), "whole")
    end = takes.Run(process.returncode, out.decode(), "").end()
    takes.equal(end, (len(there), 0, 0), "made, up to date, failed")
    takes.equal(takes.render().end(), (FRAMES - len(there), len(there), 0), "the second run")
    takes.equal(takes.contents("renders"), whole, "bytes after signal %d" % number)

# A frame that takes long is not waited for: its file has been begun, then it is gone.
takes.recipe("spot = shape\n  ellipse 1500 1500 900 900 px\nsoft = matte spot\n  soften 150 px\n"
             "output soft\n  file slow/soft.exr\n", frames="1", size="3000x3000", path="slow.passel")
process = subprocess.Popen(["passel", "render", "slow.passel", "--quiet"], stderr=subprocess.PIPE)
while not os.path.isdir("slow") or not os.listdir("slow"):
    assert process.poll() is None, "ended too early"
    time.sleep(0.001)
process.send_signal(signal.SIGINT)
process.communicate(timeout=60)
takes.equal((process.returncode, os.listdir("slow")), (130, []), "a slow frame")

shutil.rmtree("renders")
process = start_and_wait(3)
process.kill()
process.communicate()
kept = names()
assert 3 <= len(kept) < FRAMES, len(kept)
takes.equal({name: whole[name] == data for name, data in takes.contents("renders").items() if name in kept},
            dict.fromkeys(kept, True), "whole after a kill")
takes.equal(takes.render().end(), (FRAMES - len(kept), len(kept), 0), "the run after a kill")
takes.equal({name: data for name, data in takes.contents("renders").items() if name in whole}, whole,
            "bytes after a kill")
print("stop: fine")
