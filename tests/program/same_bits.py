# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
# labels: threads
"""The same bytes whatever the threads, the memory and the frames asked for, with every kind that makes pictures."""

import re
import shutil
import sys

import takes

FRAMES = range(1001, 1007)


def screen(seed, colour):
    """A soft disc before a screen that is not quite even; and the screen alone."""
    y, x = takes.np.mgrid[0:90, 0:160]
    alpha = takes.np.clip((30 - takes.np.hypot(x - 80, y - 45)) / 6, 0, 1)[:, :, None]
    empty = takes.np.array(colour) * (0.9 + 0.1 * x[:, :, None] / 160)
    front = takes.np.array([0.7, 0.3, 0.2]) * (0.5 + 0.5 * y[:, :, None] / 90)
    grain = 0.004 * (takes.noise(seed, 90, 160) - 0.5)
    return alpha * front + (1 - alpha) * empty + grain, empty + 0.004 * (takes.noise(seed + 50, 90, 160) - 0.5)


for seed, (name, colour) in enumerate((("gs", (0.1, 0.7, 0.15)), ("bs", (0.1, 0.15, 0.8)))):
    take, empty = screen(seed, colour)
    takes.exr("passes/%s.exr" % name, take, half=True)
    takes.exr("passes/%s-empty.exr" % name, empty, half=True)
takes.exr("passes/dark.exr", takes.noise(1, 90, 160, most=0.05))
for frame in FRAMES:
    takes.exr("passes/moon.%d.exr" % frame, takes.noise(frame, 90, 160), half=True)
takes.exr("passes/dusk.exr", takes.noise(2, 60, 120, most=0.1) + takes.np.linspace(0.2, 1, 60)[:, None, None])
takes.png("passes/sign.png", takes.np.random.RandomState(3).randint(0, 256, (70, 110, 4)))

takes.recipe("""
moon = pass passes/moon.####.exr
dark = pass passes/dark.exr
gs = pass passes/gs.exr
gs-empty = pass passes/gs-empty.exr
bs = pass passes/bs.exr
bs-empty = pass passes/bs-empty.exr
dusk = pass passes/dusk.exr
sign-take = pass passes/sign.png
strike = curve
  1001 0.2
  1003 1 smooth
  1006 0.4
night = lights
  ambient dark
  light moon gain strike tint 0.8 0.9 1
cut = key two-screen
  on gs empty gs-empty
  on bs empty bs-empty
shifted = place bs
  move 0.6 -0.4 px
lifted = key two-screen
  on gs empty gs-empty
  on shifted empty bs-empty
one = key screen gs
  shadows apart
  despill to mean restore 50%
edge = matte cut
  floor 2% ceiling 97%
  choke 0.7 px
  soften 1.5 px
  minus rigging
rigging = shape
  polygon [1001 20 0 30 0 28 80 18 80, 1006 60 0 70 0 68 80 58 80] px
  ellipse 100 20 25 12 px turn 20 deg
  feather 4 px
sky = extend dusk
  to 160x90
  keep bottom
glow = ramp
  from 80 10 px colour 1 0.6 0.3
  to 80 80 px colour 0.1 0.1 0.3
grey = flat
  colour [1001 0.1 0.1 0.1, 1006 0.4 0.3 0.2]
sign = place sign-take
  size 80%
  turn [1001 -20 smooth, 1006 25] deg
  move -12.5 4.25 px
swept = place sign-take
  crop 4 2 3 5 px soft 2 px
  turn [1001 -20, 1006 25] deg
  move [1001 0 0, 1006 40.5 -9] px
  shutter 200 deg
held = place steady
  move [1001 -3 2, 1006 5.5 -7] px
  shutter 90 deg
far = place sign
  pin 10 5 150 15 140 80 20 85 px
  handheld 2 px turn 0.5 deg seed 7
  filter lanczos
bent = lens far
  radial [1001 -0.2 0.05, 1006 0.1 -0.02]
slow = time moon
  use 1001-1003 then 1005-1006
  dissolve 1 frames
  speed 60%
  beyond freeze
  between flow
  even-light areas
shown = take slow until 1004 then glow
steady = align bs
  to gs
  find move
misty = look bent
  defocus [1001 0.5, 1006 3] px
  glow 4 px above 0.3
  cdl power 0.9 0.9 0.9
  veil 10% colour 0.3 0.3 0.4
  sharpen 30%
  grain like moon
flame = key luma glow
come-in = key difference gs empty gs-empty
proof = view cut
  over checker
driven = streak moon
  along [1001 70, 1006 170] deg
  longer [1001 0, 1006 21.5] px
  thinner 1.3 px
  above 0.2
final = stack
  layer grey
  layer sky opacity 80%
  layer glow screen opacity 30%
  layer night add matte edge wrap 3 px
  layer cut over holdout rigging
  layer lifted over opacity 30%
  layer one over opacity 20%
  layer dusk multiply matte one.shadow opacity 20%
  layer dusk add matte one.spill opacity 20%
  layer one.residual add opacity 20%
  layer shown lighten opacity 70%
  layer sign atop
  layer misty difference opacity 50%
  layer swept over opacity 60%
  layer held over opacity 20%
  layer flame add opacity 10%
  layer come-in over opacity 30%
  layer proof lighten opacity 10%
  layer steady over opacity 10%
  layer driven add opacity 10%
output final as storm
  file out/storm.####.exr
  pixels float
  layers cut.quality
  layers edge
output final as small
  file out/small.####.png
""", frames="1001-1006", size="160x90")

used = set(re.findall(r"^\S+ = (key [a-z-]+|[a-z]+)", open("shot.passel", encoding="utf-8").read(), re.MULTILINE))
known = {line.split("  ")[0] for line in takes.passel("explain").out.split("\n\n")[0].splitlines()}
takes.equal(known - used - {"shot", "output"}, set(), "kinds that this test leaves out")


def rendered(*words):
    shutil.rmtree("out", ignore_errors=True)
    takes.render("shot.passel", *words)
    return takes.contents("out")


plain = rendered("--threads", "1")
takes.equal(len(plain), 12, "files")
for words in (("--threads", "2"), ("--threads", "7"), ("--threads", "7", "--memory", "8"), ("--threads", "1", "--memory", "1")):
    got = rendered(*words)
    takes.equal(sorted(name for name in plain if got.get(name) != plain[name]), [], "files that differ with " + " ".join(words))
for frame in (1004, 1001):
    got = rendered("--frames", str(frame), "--threads", "2")
    takes.equal({name: plain[name] == got[name] for name in got},
                {"storm.%d.exr" % frame: True, "small.%d.png" % frame: True}, "frame %d alone" % frame)
got = rendered("--output", "small", "--threads", "2")
takes.equal(sorted(name for name in got if got[name] != plain[name]), [], "one output alone")

plain = rendered("--quick", "--threads", "1")
takes.equal(len(plain), 7, "quick pictures of one output and their sheet")
for words in (("--threads", "2"), ("--threads", "7", "--memory", "1")):
    got = rendered("--quick", *words)
    takes.equal(sorted(name for name in plain if got.get(name) != plain[name]), [], "quick ones that differ with " + " ".join(words))
print("same bits: fine")
