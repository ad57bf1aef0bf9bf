# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# --frames, --output and their errors.
. "$PROGRAM_TESTS/run.sh"

recipe shot.passel 1001-1008 8x8 <<'TEXT'
grey = flat
  colour 0.18 0.18 0.18
red = flat
  colour 1 0 0
output grey as temp
  file temp/grey.####.exr
output red as edit
  file edit/red.####.exr
TEXT
made()
{
    ls temp edit 2>&1 || true
    rm -rf temp edit
}

run passel render shot.passel --quiet --frames 1003 --output temp
made
run passel render shot.passel --quiet --frames "1001-1008 every 3, 1002, 1001" --output edit
made
run passel render shot.passel --quiet --frames=1008 --output temp --output edit
made
run passel render shot.passel --frames 1000
run passel render shot.passel --frames 1005-1012
run passel render shot.passel --frames 1008-1001
run passel render shot.passel --frames ""
run passel render shot.passel --frames "1001 evry 2"
run passel render shot.passel --frames "1001-1008 every 0"
run passel render shot.passel --frames 99999999999
run passel render shot.passel --output edits
run passel render shot.passel --output ""
made
