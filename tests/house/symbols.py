# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""What the built library shows and asks for: only passel_ names come out, every public function is there, nothing
leaves the process or prints, and nothing in it can be written to.

Usage: symbols.py libpassel.so INCLUDE-FOLDER
"""

import os
import re
import subprocess
import sys
import tempfile
import unittest

INCLUDE = sys.argv.pop(2)
LIBRARY = sys.argv.pop(1)
LEAVES_OR_PRINTS = {"exit", "_exit", "_Exit", "quick_exit", "abort", "printf", "vprintf", "puts", "putchar", "perror",
                    "__printf_chk", "__vprintf_chk", "stdout", "stderr"}
# Put into libraries by the compiler: its start files, and its table of what the processor can do.
COMPILERS_OWN = {"completed.0", "__dso_handle", "__TMC_END__", "__cpu_model", "__cpu_features2"}


def lines_of(*command):
    return subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout.splitlines()


def exported(library):
    return {line.split()[-1].split("@")[0] for line in lines_of("nm", "-D", "--defined-only", library)}


def asked_for(library):
    return {line.split()[-1].split("@")[0] for line in lines_of("nm", "-D", "--undefined-only", library)}


def public_functions(folder):
    """The names that the public headers mark as PASSEL_API."""
    found = set()
    for name in os.listdir(folder):
        with open(os.path.join(folder, name), encoding="utf-8") as file:
            found.update(re.findall(r"^PASSEL_API\b[^;(]*?(\w+)\(", file.read(), re.MULTILINE))
    return found


def writable(library):
    """Variables in sections that stay writable; constants that hold addresses are in .data.rel.ro, which does not."""
    found = set()
    for line in lines_of("objdump", "-t", library):
        parts = re.match(r"[0-9a-f]+ .{7} (\.t?data|\.t?bss)\t[0-9a-f]+ +(.+)", line)
        if parts and not parts[2].startswith("."):
            found.add(parts[2].split()[-1])
    return found - COMPILERS_OWN


class Library(unittest.TestCase):
    def test_exports_start_with_passel(self):
        names = exported(LIBRARY)
        self.assertIn("passel_status_text", names)
        self.assertEqual(sorted(name for name in names if not name.startswith("passel_")), [])

    def test_public_functions_are_exported(self):
        names = public_functions(os.path.join(INCLUDE, "passel"))
        self.assertIn("passel_status_text", names)
        self.assertEqual(sorted(names - exported(LIBRARY)), [])

    def test_public_functions_are_all_that_is_exported(self):
        self.assertEqual(sorted(exported(LIBRARY) - public_functions(os.path.join(INCLUDE, "passel"))), [])

    def test_nothing_leaves_or_prints(self):
        self.assertEqual(sorted(asked_for(LIBRARY) & LEAVES_OR_PRINTS), [])

    def test_nothing_is_writable(self):
        self.assertEqual(sorted(writable(LIBRARY)), [])


class Checks(unittest.TestCase):
    """The checks see what they are for, in a library that has it all."""

    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory(prefix="passel-symbols-")
        cls.library = os.path.join(cls.folder.name, "libwrong.so")
        source = "#include <stdio.h>\n#include <stdlib.h>\n" \
                 "int state = 7; static int hidden; static _Thread_local int own;\n" \
                 "int stray(int a) { if (a) { puts(\"x\"); exit(hidden++ + own++); } return state; }\n"
        subprocess.run(["gcc", "-shared", "-fPIC", "-x", "c", "-", "-o", cls.library], input=source, text=True,
                       check=True)

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def test_sees_exports(self):
        self.assertEqual(exported(self.library), {"state", "stray"})

    def test_sees_calls(self):
        self.assertEqual(asked_for(self.library) & LEAVES_OR_PRINTS, {"exit", "puts"})

    def test_sees_variables(self):
        self.assertEqual(writable(self.library), {"state", "hidden", "own"})

    def test_sees_declarations(self):
        with tempfile.TemporaryDirectory(prefix="passel-symbols-") as folder:
            with open(os.path.join(folder, "wrong.h"), "w", encoding="utf-8") as file:
                file.write("PASSEL_API const char *passel_a(int b);\n"
                           "PASSEL_API enum passel_status\npassel_c(void);\nint d(void);\n")
            self.assertEqual(public_functions(folder), {"passel_a", "passel_c"})


if __name__ == "__main__":
    unittest.main(verbosity=2)
