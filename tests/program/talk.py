# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""What render says: plain lines, --quiet, --json, a line that is written over on a terminal."""

import os
import re
import subprocess

import takes

takes.recipe("grey = flat\n  colour 0.2 0.2 0.2\noutput grey\n  file r/grey.####.exr\n", frames="1001-1005")
run = takes.passel("render", "shot.passel")
takes.equal(run.out, "", "standard output")
lines = run.err.splitlines()
takes.equal(len(lines), 6, "lines")
takes.equal(sorted(re.match(r"frame (\d+): done, \d of 5$", line).group(1) for line in lines[:5]),
            [str(frame) for frame in range(1001, 1006)], "frames")
takes.equal([re.search(r", (\d) of 5$", line).group(1) for line in lines[:5]], list("12345"), "counted")
assert re.match(r"5 made, 0 up to date, 0 failed, in \d+\.\d s$", lines[5]), lines[5]
run = takes.passel("render", "shot.passel")
assert re.match(r"0 made, 5 up to date, 0 failed, in \d+\.\d s\n$", run.err), run.err
takes.equal((run.out, takes.passel("render", "shot.passel", "--quiet", "--again").err), ("", ""), "--quiet")

os.remove("r/grey.1003.exr")
run = takes.render()
takes.equal(run.err, "", "standard error of --json")
events = run.events()
for event in events[:-1]:
    takes.equal(sorted(event), ["done", "event", "frame", "seconds", "total"], "what an event says")
    takes.equal(event["total"], 5, "total")
takes.equal(sorted((event["frame"], event["event"]) for event in events[:-1]),
            [(frame, "done" if frame == 1003 else "fresh") for frame in range(1001, 1006)], "events")
takes.equal([event["done"] for event in events[:-1]], [1, 2, 3, 4, 5], "done, rising")
takes.equal({key: events[-1][key] for key in events[-1] if key != "seconds"},
            {"event": "end", "made": 1, "fresh": 4, "failed": 0, "total": 5, "status": "all went well"}, "the end")

# Messages with line ends and quotation marks are JSON too.
takes.recipe('grey = pass "r/grey.####.exr"\noutput grey\n  file "s/grey # \\"2\\".####.exr"\n', frames="1005-1006",
             path="again.passel")
(event,) = takes.render("again.passel", code=1).events("failed")
assert 'grey = pass "r/grey.####.exr"\n' in event["text"], event
takes.equal(os.listdir("s"), ['grey # "2".1005.exr'], "files")

# More memory than allowed is said once, and the frames are made all the same.
takes.recipe("sea = ramp\n  from 0 0 px colour 1 0 0\n  to 9 400 px colour 0 0 1\nturned = place sea\n"
             "  turn [1001 5, 1003 9] deg\noutput turned\n  file m/turned.####.exr\n", frames="1001-1003",
             size="500x500", path="large.passel")
(event,) = takes.render("large.passel", "--memory", "3").events("warning")
assert re.match(r"one frame needs about \d+ MiB for pictures, more than the 3 MiB that --memory allows$",
                event["text"]), event
takes.equal(takes.render("large.passel", "--memory", "200", "--again").events("warning"), [], "enough memory")

code, text = takes.terminal("render", "shot.passel", "--again")
takes.equal(code, 0, "exit code")
parts = text.split("\r\x1b[K")
takes.equal(len(parts), 6, "a progress line for every frame")
assert re.search(r"3 of 5 frames, [0-9.]+ a second, [0-9]+ s left", parts[3]), parts
assert re.search(r"\r?\n5 made, 0 up to date, 0 failed, in [0-9.]+ s\r?\n$", text), text

# Output that cannot be written is a failure.
for words in (["explain"], ["probe", "r/grey.1001.exr"], ["chart", "shot.passel"], ["--help"]):
    with open("/dev/full", "wb") as full:
        done = subprocess.run(["passel", *words], stdout=full, stderr=subprocess.PIPE, check=False)
    takes.equal(done.returncode, 6, "passel %s into a full disk" % " ".join(words))
print("talk: fine")
