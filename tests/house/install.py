# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Installs the build into a temporary folder, and builds and runs a program of somebody else against it, in C and in
C++, found through pkg-config and through CMake.

Usage: install.py BUILD-FOLDER
"""

import os
import shutil
import subprocess
import sys
import tempfile
import unittest

BUILD = os.path.abspath(sys.argv.pop(1))
CONSUMER = os.path.join(os.path.dirname(os.path.abspath(__file__)), "consumer")
SAYS = "the file is damaged\n"


def run(*command, **settings):
    """Runs a command and gives what it printed; a failure shows all of that."""
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, **settings)
    if done.returncode != 0:
        raise AssertionError("%s: exit code %d\n%s" % (" ".join(command), done.returncode, done.stdout))
    return done.stdout


class Installed(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.top = tempfile.mkdtemp(prefix="passel-install-")
        first = os.path.join(cls.top, "first")
        run("cmake", "--install", BUILD, "--prefix", first)
        # An installed tree may be moved.
        cls.prefix = os.path.join(cls.top, "moved")
        os.rename(first, cls.prefix)
        cls.library = cls.find("libpassel.so", cls.prefix)
        cls.environment = dict(os.environ, LD_LIBRARY_PATH=os.path.dirname(cls.library))

    @classmethod
    def tearDownClass(cls):
        shutil.rmtree(cls.top)

    @staticmethod
    def find(name, below):
        for folder, _, names in os.walk(below):
            if name in names:
                return os.path.join(folder, name)
        raise AssertionError("%s is not installed" % name)

    def pkg_config(self, *asked):
        found = os.path.dirname(self.find("passel.pc", self.prefix))
        return run("pkg-config", *asked, "passel", env=dict(os.environ, PKG_CONFIG_PATH=found)).split()

    def test_pkg_config(self):
        flags = self.pkg_config("--cflags", "--libs")
        for name, compiler in ("c", ["gcc", "-std=c11", "-x", "c"]), ("c++", ["g++", "-x", "c++"]):
            program = os.path.join(self.top, "consumer-" + name)
            run(*compiler, "-Wall", "-Wextra", "-Wpedantic", "-Werror", os.path.join(CONSUMER, "consumer.c"),
                "-x", "none", "-o", program, *flags)
            self.assertEqual(run(program, env=self.environment), SAYS)

    def test_cmake_package(self):
        folder = os.path.join(self.top, "cmake")
        run("cmake", "-S", CONSUMER, "-B", folder, "-G", "Ninja", "-DCMAKE_PREFIX_PATH=" + self.prefix)
        run("cmake", "--build", folder)
        for name in "consumer_c", "consumer_cpp":
            # CMake leaves the library's place in the program, so it runs without help.
            self.assertEqual(run(os.path.join(folder, name)), SAYS)

    def test_version_is_one(self):
        with open(os.path.join(BUILD, "CMakeCache.txt"), encoding="utf-8") as cache:
            version = [line.split("=")[1].strip() for line in cache if line.startswith("CMAKE_PROJECT_VERSION:")]
        self.assertEqual(self.pkg_config("--modversion"), version)
        self.assertTrue(os.path.realpath(self.library).endswith(".so." + version[0]))

    def test_program(self):
        built = [os.path.join(BUILD, "src/command", name) for name in ("passel", "passel.exe")]
        if not any(os.path.exists(path) for path in built):
            self.fail("the program was not built")
        self.assertIn("render", run(self.find("passel", os.path.join(self.prefix, "bin")), "--help"))

    def test_only_public_headers(self):
        headers = [name for _, _, names in os.walk(os.path.join(self.prefix, "include")) for name in names]
        source = os.path.join(os.path.dirname(os.path.dirname(os.path.dirname(CONSUMER))), "include/passel")
        self.assertEqual(sorted(headers), sorted(os.listdir(source)))


if __name__ == "__main__":
    unittest.main(verbosity=2)
