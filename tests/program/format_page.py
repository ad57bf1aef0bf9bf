# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""The recipes in docs/format.md are read, and stand there in their settled form."""

import os
import re

import takes

PAGE = os.path.join(os.environ["PROGRAM_TESTS"], "..", "..", "docs", "format.md")
# What the fragments speak of; it stands behind them, as blocks may.
REST = "\nmoon = pass moon.####.exr\n\ncut = key screen moon\n"

with open(PAGE, encoding="utf-8") as page:
    examples = re.findall(r"^```passel\n(.*?)^```$", page.read(), re.MULTILINE | re.DOTALL)
assert len(examples) >= 4, "the page has lost its examples"
for number, example in enumerate(examples):
    name = "example%d.passel" % number
    with open(name, "w", encoding="utf-8") as file:
        file.write(example if "moon = " in example else example + REST)
    with open(name, encoding="utf-8") as file:
        takes.equal(takes.passel("tidy", name).out, file.read(), name)
print("format: fine")
