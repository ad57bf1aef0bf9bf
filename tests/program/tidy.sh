# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# tidy: columns aligned, comments kept, the same again when it is done twice; one change touches one line.
. "$PROGRAM_TESTS/run.sh"

cat >shot.passel <<'TEXT'
passel 1
# Skerry Light, shot 4: the storm.
shot storm
 frames 1001-1048   # two seconds
 size   1920x1080


moon  =   pass "passes/moon.####.exr"
night = lights
	# The moon is too bright.
	light moon -1.5 stops tint 0.75  0.85 1
	light moon gain [1001 0, 1010 1 smooth]

output night   as frames
      file renders/storm.####.exr
# The end.
TEXT
run passel tidy shot.passel
passel tidy shot.passel >once.passel
passel tidy once.passel >twice.passel
cmp once.passel twice.passel
passel tidy shot.passel --set 'storm: size 960x540' | diff once.passel - || true
cp shot.passel written.passel
run passel tidy --write written.passel
cmp once.passel written.passel
ls -A
run passel tidy broken.passel
printf 'shot a\n frames 1\n size 2x2\nb = flat\n colour 1 1\n' >broken.passel
cp broken.passel before.passel
run passel tidy --write broken.passel
cmp broken.passel before.passel
