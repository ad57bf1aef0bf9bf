# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# A disk that runs full: what is there is whole, nothing half is left, and the exit code and words say what happened.
. "$PROGRAM_TESTS/run.sh"

mkdir small
mount -t tmpfs -o size=600k tmpfs small 2>mount.log || {
    echo "skipped: no small disk can be mounted here: $(cat mount.log)"
    exit 77
}
trap 'umount small' EXIT
# 200 × 200 half pixels of three channels are 240 kB: two frames fit.
recipe shot.passel 1001-1004 200x200 <<'TEXT'
grey = flat
  colour 0.18 0.19 0.2
output grey
  file small/grey.####.exr
  compression none
TEXT
run passel render shot.passel --quiet --threads 1
ls -A small
rm small/*
run passel render shot.passel --quiet --threads 1 --frames 1003-1004
ls -A small
