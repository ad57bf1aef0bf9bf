# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Counts the skipped tests in what ctest wrote with --output-junit, whole test programs as well as single tests inside
of them, prints the number, and fails unless each of them said why.

A test gives its reason in a line of its output, one line for each skip: `skipped: REASON`, or as Python's unittest
writes it, `... skipped 'REASON'`.

Usage: skips.py TESTS.XML
"""

import re
import sys
import xml.etree.ElementTree

REASON = re.compile(r"^skipped: *\S.*$|\.\.\. skipped (?:'.+'|\".+\")$", re.MULTILINE)


def skips_in(output):
    """Single tests that cmocka or unittest report as skipped."""
    inside = sum(map(int, re.findall(r"^ *(\d+) SKIPPED TEST", output, re.MULTILINE)))
    return inside + sum(map(int, re.findall(r"^(?:OK|FAILED) \(.*?skipped=(\d+)", output, re.MULTILINE)))


def count(report):
    """(number of skips, complaints) of a report."""
    total, wrong = 0, []
    for case in report.iter("testcase"):
        output = case.findtext("system-out") or ""
        skips = skips_in(output)
        if case.find("skipped") is not None or case.get("status") in ("notrun", "disabled"):
            skips = max(skips, 1)
        total += skips
        if len(REASON.findall(output)) < skips:
            wrong.append("%s: %d skipped without a reason" % (case.get("name"), skips))
    return total, wrong


def main():
    total, wrong = count(xml.etree.ElementTree.parse(sys.argv[1]).getroot())
    for line in wrong:
        print(line, file=sys.stderr)
    print("%d skipped" % total)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
