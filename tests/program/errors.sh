# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# Command lines and recipes that are wrong: what is said, and the exit codes told apart.
. "$PROGRAM_TESTS/run.sh"

recipe shot.passel 1001-1002 8x8 <<'TEXT'
grey = flat
  colour 0.18 0.18 0.18
output grey as temp
  file temp/grey.####.exr
TEXT

echo "-- command lines"
run passel
run passel rendr
run passel --version
run passel render
run passel render shot.passel other.passel
run passel render shot.passel --agian
run passel render shot.passel --frames
run passel render shot.passel --again --again
run passel render shot.passel --again=yes
run passel render shot.passel --threads 0
run passel render shot.passel --threads two
run passel render shot.passel --memory 1.5
run passel render shot.passel --set
run passel explain pas
run passel explain key two screen

echo "-- recipes"
run passel render nowhere.passel
mkdir folder
run passel render folder
cat >broken.passel <<'TEXT'
shot tiny
  frames 1001-1002
  size 8x8
moon = pas passes/moon.####.exr
night = lights
  light mon -1 px
output night
  file a.####.tga
TEXT
run passel render broken.passel
run passel check broken.passel
printf 'grey = flat\n  colour 1 1 1\n' >shotless.passel
run passel render shotless.passel
recipe outputless.passel 1001 8x8 <<'TEXT'
grey = flat
  colour 1 1 1
TEXT
run passel render outputless.passel
run passel check outputless.passel
recipe cycle.passel 1001 8x8 <<'TEXT'
sea = stack
  layer rock
rock = stack
  layer island
island = place sea
  move 1 0 px
output rock
  file a.exr
TEXT
run passel render cycle.passel
run passel render shot.passel --set "gray: colour 1 1 1"
run passel render shot.passel --set "grey: color 1 1 1"
run passel render shot.passel --set "grey colour 1 1 1"
recipe files.passel 1001-1002 8x8 <<'TEXT'
grey = flat
  colour 1 1 1
output grey
  file still.exr
output grey as png
  file png.####.png
  pixels half
output grey as tga
  file tga.####.tga
TEXT
run passel render files.passel
run passel check files.passel

echo "-- files"
recipe lost.passel 1001-1002 8x8 <<'TEXT'
moon = pass passes/moon.####.exr
lamp = pass lamp.exr
night = lights
  light moon
  light lamp
output night
  file night.####.exr
TEXT
run passel render lost.passel
run passel check lost.passel
run passel probe nowhere.exr
echo "no picture" >text.exr
run passel probe text.exr
run passel probe folder
