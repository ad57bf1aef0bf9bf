# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""render --watch: the picture follows the recipe and its files, survives what is half written, and Ctrl-C ends it."""

import json
import os
import queue
import shutil
import signal
import subprocess
import threading

import takes

np = takes.np
SECONDS = 60  # far more than a turn takes, also on a busy machine

RECIPE = """shot tiny
  frames 1-5
  size 64x48
moon = pass passes/moon.exr
lamp = pass passes/lamp.####.exr
night = lights
  light moon %s stops
  light lamp
output night
  file renders/night.####.exr
"""


class Watch:
    """The running program; its lines come through a queue, so that waiting for one can end."""

    def __init__(self, *words):
        self.process = subprocess.Popen(["passel", "render", "shot.passel", "--watch", "--json", *words],
                                        stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        self.lines = queue.Queue()
        threading.Thread(target=self.read, daemon=True).start()

    def read(self):
        for line in self.process.stdout:
            self.lines.put(json.loads(line))

    def next(self, kind):
        """The next event of this kind; others before it are passed over: a save may be seen half done."""
        while True:
            try:
                event = self.lines.get(timeout=SECONDS)
            except queue.Empty:
                self.process.kill()
                raise SystemExit("no %s in %d s: %s" % (kind, SECONDS, self.process.stderr.read().decode()))
            if event["event"] == kind:
                return event

    def picture(self, frame=3):
        event = self.next("picture")
        takes.equal(event["frame"], frame, "frame")
        takes.equal(event["path"], "./renders/quick/night.%04d.png" % frame, "path")
        assert event["seconds"] < SECONDS
        return takes.read(event["path"])[10, 10, 0] * 255, event["changed"]

    def end(self, number):
        self.process.send_signal(number)
        code = self.process.wait(SECONDS)
        return code, self.process.stderr.read().decode()


def write(text, path="shot.passel"):
    with open(path, "w", encoding="utf-8") as file:
        file.write(text)


def code(light):
    """sRGB (IEC 61966-2-1) below the view curve's knee."""
    return 255 * (1.055 * light ** (1 / 2.4) - 0.055)


def flat(path, light):
    takes.exr(path, np.full((48, 64, 3), light))


flat("passes/moon.exr", 0.2)
for frame in range(1, 6):
    flat("passes/lamp.%04d.exr" % frame, 0.01 * frame)
write(RECIPE % "0")

print("-- the first picture: the middle of the shot")
watch = Watch()
got, changed = watch.picture()
takes.near(got, code(0.23), "light", absolute=1.5)
takes.equal(changed, "", "nothing to compare with")

print("-- a save")
write(RECIPE % "-1")
got, changed = watch.picture()
takes.near(got, code(0.13), "light", absolute=1.5)
print(changed)

print("-- a save that changes nothing in this frame: a comment")
write("# a note\n" + RECIPE % "-1")
print(watch.next("same"))

print("-- half a recipe, then the rest")
write((RECIPE % "-2")[:90])
print(watch.next("waiting")["text"].splitlines()[0])
write(RECIPE % "-2")
got, changed = watch.picture()
takes.near(got, code(0.08), "light", absolute=1.5)
print(changed)

print("-- an editor that writes a new file and renames it")
write((RECIPE % "-2").replace("  light lamp\n", ""), "shot.passel.new")
os.rename("shot.passel.new", "shot.passel")
got, changed = watch.picture()
takes.near(got, code(0.05), "light", absolute=1.5)
print(changed)

print("-- the recipe deleted and made again")
os.remove("shot.passel")
print(watch.next("waiting")["text"])
write(RECIPE % "0")
got, changed = watch.picture()
takes.near(got, code(0.23), "light", absolute=1.5)
print(changed)

print("-- a pass written anew")
flat("passes/moon.exr", 0.1)
got, changed = watch.picture()
takes.near(got, code(0.13), "light", absolute=1.5)
print(changed)

print("-- the folder of the passes away and back with others")
os.rename("passes", "gone")
print(watch.next("waiting")["text"].splitlines()[0])
shutil.copytree("gone", "coming")
flat("coming/lamp.0003.exr", 0.3)
os.rename("coming", "passes")
got, changed = watch.picture()
takes.near(got, code(0.4), "light", absolute=1.5)

print("-- the new folder is watched like the old one")
flat("passes/lamp.0003.exr", 0.1)
got, changed = watch.picture()
takes.near(got, code(0.2), "light", absolute=1.5)
print(changed)

print("-- another frame's file does not matter; a picture of this one does")
flat("passes/lamp.0001.exr", 0.5)
flat("passes/lamp.0003.exr", 0.2)
got, changed = watch.picture()
takes.near(got, code(0.3), "light", absolute=1.5)
print(changed)

print("-- Ctrl-C")
print(watch.end(signal.SIGINT))
takes.equal(sorted(os.listdir("renders")), ["quick"], "only quick pictures")
takes.equal(sorted(os.listdir("renders/quick")), ["night.0003.png"], "only the one")

print("-- a frame of one's own, at half size, from a recipe that is not there yet")
os.remove("shot.passel")
watch = Watch("--frame", "5", "--size", "half")
print(watch.next("waiting")["text"])
write(RECIPE % "0")
watch.picture(5)
takes.equal(takes.read("renders/quick/night.0005.png").shape[:2], (24, 32), "half size")
print(watch.end(signal.SIGTERM))

print("-- what was found out from a file is forgotten with the file, also when its size stays")
RAIN = """shot tiny
  frames 1-5
  size 64x48
rain = pass rain.exr
lit = lights
  light rain %s stops black auto
output lit
  file renders/lit.####.png
"""


def drops(ground):
    """One drop, 0.3 brighter than the ground that `black auto` takes off."""
    picture = np.full((48, 64, 3), ground)
    picture[20:30, 30] += 0.3
    takes.exr("rain.exr", picture, more=lambda spec: spec.attribute("compression", "none"))
    return os.path.getsize("rain.exr")


def drop(watch):
    return takes.read(watch.next("picture")["path"])[25, 30, 0] * 255


size = drops(0.1)
write(RAIN % "0")
watch = Watch()
takes.near(drop(watch), code(0.3), "a drop without its ground", absolute=2)
write(RAIN % "-1")
takes.near(drop(watch), code(0.15), "half the light", absolute=2)
takes.equal(drops(0.2), size, "the size of the file")
takes.near(drop(watch), code(0.15), "the drop on another ground", absolute=2)
watch.end(signal.SIGTERM)

print("-- errors")
takes.show(takes.passel("render", "shot.passel", "--watch", "--frames", "1-2", code=None))
takes.show(takes.passel("render", "shot.passel", "--frame", "1", code=None))
