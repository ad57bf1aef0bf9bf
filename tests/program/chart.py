# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""chart: SVG that is well-formed and shows every block in its place, DOT with the same boxes and lines."""

import re
import xml.etree.ElementTree as tree

import takes

SVG = "{http://www.w3.org/2000/svg}"
takes.recipe("""
moon = pass "passes/moon <&> quay.####.exr"
dark = pass passes/dark.exr
gs = pass gs.exr
bs = pass bs.exr
strike = curve
  1001 0
  1004 1
night = lights
  ambient dark
  light moon gain strike
cut = key two-screen
  on gs
  on bs
final = stack
  layer night
  layer night matte cut.quality
  layer cut
spare = flat
  colour 1 1 1
output final as storm
  file renders/a-name-that-is-much-too-long-for-its-box-möwe-möwe.####.exr
""")
svg = takes.passel("chart", "shot.passel").out
root = tree.fromstring(svg)
takes.equal(root.tag, SVG + "svg", "root")
width, height = float(root.get("width")), float(root.get("height"))
boxes = [box for box in root.iter(SVG + "rect") if box.get("rx")]
texts = ["".join(text.itertext()) for text in root.iter(SVG + "text")]
for name in ("moon", "dark", "strike", "night", "final", "spare", "storm", "key two-screen", ".quality"):
    assert name in texts, (name, texts)
takes.equal(len(boxes), 10, "boxes")
places = []
for box in boxes:
    x, y, w, h = (float(box.get(word)) for word in ("x", "y", "width", "height"))
    assert 0 <= x and x + w <= width and 0 <= y and y + h <= height, box.attrib
    for a, b in places:
        assert abs(a - x) >= w or abs(b - y) >= h, "two boxes lie on each other"
    places.append((x, y))
for path in root.iter(SVG + "path"):
    numbers = [float(number) for number in re.findall(r"-?\d+", path.get("d"))]
    assert numbers[0] < numbers[-2], "a line runs from left to right"

dot = takes.passel("chart", "shot.passel", "--dot").out
lines = dot.splitlines()
takes.equal((lines[0], lines[-1]), ("digraph recipe {", "}"), "first and last line")
nodes = dict(re.findall(r'^  (b\d+) \[label="([^"\\]*)\\n', dot, re.MULTILINE))
edges = re.findall(r'^  (b\d+) -> (b\d+)(?: \[label="([^"]*)"\])?;$', dot, re.MULTILINE)
takes.equal(len(nodes), 10, "nodes")
takes.equal(len(nodes) + len(edges) + 4, len(lines), "lines that were understood")
named = sorted((nodes[a], nodes[b], role) for a, b, role in edges)
takes.equal(named, sorted([("moon", "night", "light"), ("dark", "night", "ambient"), ("strike", "night", "gain"),
                           ("gs", "cut", "on"), ("bs", "cut", "on"), ("night", "final", "layer"),
                           ("cut", "final", "matte .quality"), ("cut", "final", "layer"), ("final", "storm", "")]),
            "lines")
takes.equal(len(list(root.iter(SVG + "path"))), len(edges), "lines of the SVG")

# A tall diamond is drawn in no time.
text = "b0 = flat\n  colour 1 1 1\n"
for i in range(60):
    text += "b%d = stack\n  layer b%d\n  layer b%d add\n" % (i + 1, i, i)
takes.recipe(text)
tree.fromstring(takes.passel("chart", "shot.passel").out)
print("chart: fine")
