# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""explain knows every kind, and the example of each kind is a recipe that reads; docs/operations.md is what it prints."""

import os
import re
import sys

import takes

PAGE = os.path.join(os.environ["PROGRAM_TESTS"], "..", "..", "docs", "operations.md")

manual = takes.passel("explain", "--markdown").out
with open(PAGE, encoding="utf-8") as file:
    if file.read() != manual:
        print("docs/operations.md is not what the program says now: passel explain --markdown >docs/operations.md")
        sys.exit(1)

kinds = re.findall(r"^## (.*)$", manual, re.MULTILINE)
takes.equal(kinds, sorted(kinds), "kinds in order")
listed = takes.passel("explain").out
for kind in kinds:
    text = takes.passel("explain", *kind.split()).out
    assert text.startswith(kind + ": "), kind
    assert "\nExample\n" in text, kind
    assert re.search("^" + re.escape(kind) + "  ", listed, re.MULTILINE), kind
    assert max(map(len, text.splitlines())) <= 120, "%s: a line of %d" % (kind, max(map(len, text.splitlines())))

both = takes.passel("explain", "key").out
takes.equal(re.findall(r"^key [a-z-]+(?=: )", both, re.MULTILINE),
            [kind for kind in kinds if kind.startswith("key ")], "explain key")
print("explain: fine")
