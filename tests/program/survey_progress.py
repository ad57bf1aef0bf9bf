# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# labels: python
"""How far a survey is: one line on a terminal, written over, gone at the end; nothing anywhere else."""

import re
import time

import film
import takes

film.skerry("f", only=("moon", "lamp"))
begun = time.monotonic()
code, text = takes.terminal("survey", "f")
took = time.monotonic() - begun
plain = takes.passel("survey", "f", code=code)
takes.equal(plain.err, "", "what is said when nobody looks on")

*drawn, last = text.split("\r\x1b[K")
takes.equal(last.replace("\r\n", "\n"), plain.out, "what stays on the terminal")
takes.equal(drawn[0], "", "what comes before the line")
takes.equal(drawn[1], "looking at a few frames of each pass", "the first line")
lines = drawn[2:]
assert lines and "\n" not in "".join(drawn), drawn
assert len(lines) <= took / 0.2 + 2, (lines, took)
for line in lines:
    assert re.match(r"\[=* *\] \d of 8 frames, \d of 2 passes(, [0-9.]+ a second, \d+ s left)?$", line), line
    takes.equal(line.index("]") - line.index("["), 21, "width of the bar")
takes.equal(lines[-1], "[%s] 8 of 8 frames, 2 of 2 passes" % (20 * "="), "the last line")

takes.equal(takes.terminal("survey", "f", "--quiet"), (code, plain.out.replace("\n", "\r\n")), "--quiet")
print("survey_progress: fine")
