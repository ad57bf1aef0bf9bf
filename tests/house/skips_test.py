# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""The count of skipped tests, on the forms in which ctest, cmocka and unittest report them."""

import unittest
import xml.etree.ElementTree

import skips

CMOCKA = """[==========] Running 3 test(s).
[ RUN      ] a
%s[  SKIPPED ] a
[ RUN      ] b
%s[  SKIPPED ] b
[ RUN      ] c
[       OK ] c
[==========] 3 test(s) run.
[  PASSED  ] 1 test(s).
[  SKIPPED ] 2 test(s), listed below:
[  SKIPPED ] a
[  SKIPPED ] b

 2 SKIPPED TEST(S)
"""
UNITTEST = """test_a (__main__.A.test_a) ... skipped 'no lamp'
test_b (__main__.A.test_b) ... ok
test_c (__main__.A.test_c) ... skipped "it's dark"

Ran 3 tests in 0.000s

OK (skipped=2)
"""


def report(status, output, inner=""):
    return xml.etree.ElementTree.fromstring(
        '<testsuite><testcase name="t" status="%s">%s<system-out>%s</system-out></testcase></testsuite>' %
        (status, inner, output))


class Skips(unittest.TestCase):
    def counted(self, total, complaints, *case):
        found, wrong = skips.count(report(*case))
        self.assertEqual((found, len(wrong)), (total, complaints), wrong)

    def test_none(self):
        self.counted(0, 0, "run", "all is well: nothing skipped\n")

    def test_whole_program(self):
        self.counted(1, 0, "notrun", "skipped: no lamp here\n", '<skipped message="SKIP_RETURN_CODE=77"/>')
        self.counted(1, 1, "notrun", "skipped: \n", '<skipped message="SKIP_RETURN_CODE=77"/>')
        self.counted(1, 1, "disabled", "Disabled")

    def test_cmocka(self):
        self.counted(2, 0, "run", CMOCKA % ("skipped: one\n", "skipped: two\n"))
        self.counted(2, 1, "run", CMOCKA % ("skipped: one\n", ""))

    def test_unittest(self):
        self.counted(2, 0, "run", UNITTEST)
        self.counted(2, 1, "run", UNITTEST.replace("'no lamp'", "''"))


if __name__ == "__main__":
    unittest.main(verbosity=2)
