# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""render --quick: where small pictures go, which frames, the contact sheet, and that finished frames are left alone."""

import os

import takes

np = takes.np

for frame in range(1, 25):
    light = np.full((270, 480, 3), 0.02 * frame)
    light[40:80, 60:120] = 20
    takes.exr("passes/moon.%04d.exr" % frame, light)
takes.exr("passes/cut.exr", np.concatenate([np.full((270, 480, 3), 0.1), np.full((270, 480, 1), 0.5)], 2), names="RGBA")
takes.recipe("""
moon = pass passes/moon.####.exr
cut = pass passes/cut.exr
output moon as frames
  file renders/night.####.exr
output moon as pictures
  file renders/night.####.png
output cut as matte
  file renders/cut.####.exr
""", frames="1-24", size="480x270")


def names():
    return sorted(name for name in takes.contents("renders"))


def seen(light):
    """The view curve and sRGB (IEC 61966-2-1), in code values of 255."""
    over = np.maximum(light - 0.6, 0)
    light = np.where(over > 0, 0.6 + 0.4 * over / (0.4 + over), light)
    return 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


print("-- finished frames first")
takes.render("shot.passel", "--frames", "1-2")
finished = takes.contents("renders")

print("-- twelve frames of twenty-four, each picture once, a sheet for each")
run = takes.passel("render", "shot.passel", "--quick", "--size", "half", "--threads", "1")
takes.show(run)
print("\n".join(names()))
now = takes.contents("renders")
takes.equal([name for name in finished if now[name] != finished[name]], [], "finished frames that were changed")
picture = takes.read("renders/quick/night.0002.png")[:, :, :3] * 255
takes.equal(picture.shape, (135, 240, 3), "half size")
takes.near(picture[5, 5], np.full(3, seen(np.float64(0.04))), "dark light", absolute=1)
takes.near(picture[30, 45], np.full(3, seen(np.float64(20.0))), "light far above white, rolled off", absolute=1)

print("-- the sheet")
sheet = takes.read("renders/quick/night-sheet.png") * 255
print("%d x %d" % (sheet.shape[1], sheet.shape[0]))
columns = 3
for k, frame in enumerate(range(2, 25, 2)):
    left, top = 16 + k % columns * (240 + 16), 22 + 2 * 16 + k // columns * (135 + 22 + 16)
    takes.near(sheet[top:top + 135, left:left + 240], takes.read("renders/quick/night.%04d.png" % frame)[:, :, :3] * 255,
               "frame %d on the sheet" % frame, absolute=1)
    label = sheet[top + 135 + 4:top + 135 + 18, left:left + 24].mean(2) > 100
    assert 20 < label.sum() < 200, "a number under frame %d: %d" % (frame, label.sum())
over = takes.read("renders/quick/cut-sheet.png")[60, 60] * 255
ground = ((0.13 + 0.055) / 1.055) ** 2.4
takes.near(over, np.full(3, seen(np.float64(0.5 * 0.2 + 0.5 * ground))), "half transparent, over the ground", absolute=2)

print("-- once more: nothing to do; frames of one's own; an output of one's own")
print(takes.render("shot.passel", "--quick", "--size", "half").end())
run = takes.render("shot.passel", "--quick", "--frames", "5", "--output", "pictures")
print(run.end(), run.frames("done"), "sheets:", len(run.events("sheet")))
takes.equal(takes.read("renders/quick/night.0005.png.png").shape, (270, 480, 3), "full size, a name of its own")

print("-- a damaged frame: its place stays empty, the others are there")
os.rename("passes/moon.0004.exr", "moon.0004.exr")
run = takes.render("shot.passel", "--quick", "--again", "--output", "frames", code=1)
print(run.end(), len(run.events("sheet")))
os.rename("moon.0004.exr", "passes/moon.0004.exr")

print("-- errors")
takes.show(takes.passel("render", "shot.passel", "--quick", "--size", "eighth", code=2))
takes.show(takes.passel("render", "shot.passel", "--size", "half", code=2))
takes.recipe("""
moon = pass passes/moon.####.exr
output moon as frames
  file renders/night.####.exr
output moon as other
  file renders/quick/night.####.png
""", frames="1-24", size="480x270", path="clash.passel")
takes.show(takes.passel("render", "clash.passel", "--quick", code=None))
