# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# Names with spaces and letters of other scripts: of recipes, folders, files, blocks and labels.
. "$PROGRAM_TESTS/run.sh"

mkdir "Leuchtturm – Nacht"
recipe "Leuchtturm – Nacht/szene 4.passel" 1001-1002 16x8 <<'TEXT'
möwe = flat
  colour 0.9 0.9 0.85
灯台 = shape
  ellipse 8 4 3 3 px
szene = stack
  layer möwe matte 灯台
output szene as бухта
  file "fertige bilder/möwe # 4.####.exr"
TEXT
run passel render "Leuchtturm – Nacht/szene 4.passel" --output бухта --quiet --threads 1
find . -type f | LC_ALL=C sort
run passel render "Leuchtturm – Nacht/szene 4.passel" --json
# The ö of this line is an o and a combining mark: the same name.
run passel render "Leuchtturm – Nacht/szene 4.passel" --set $'mo\u0308we: colour 1 0 0' --json --threads 1 --frames 1001
run passel render "Leuchtturm – Nacht/szene 4.passel" --output буxта

recipe -- 1 8x8 <<'TEXT'
möwe = pass "fertige bilder/möwe # 4.####.exr"
  use 1002-1002
output möwe
  file -still.exr
TEXT
mv "Leuchtturm – Nacht/fertige bilder" .
run passel render --quiet -- --
ls
