# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""The rules of the source tree that a machine can see: the direction of includes, names, headers that stand alone,
nothing that leaves the process or prints below src/command, the beginnings and lengths of files, the top level.

Each rule is a function from a tree to a list of complaints. The rules are tried on the real tree, where they must not
complain, and on small wrong trees, where they must.

Usage: tree.py SOURCE-FOLDER
"""

import os
import re
import subprocess
import sys
import tempfile
import unittest

SOURCE = os.path.abspath(sys.argv.pop(1))

# What a folder may include besides itself: the folders named here and all below those.
ARROWS = {
    "command": ["engine", "survey"],
    "engine": ["kinds"],
    "survey": ["kinds"],
    "kinds": ["language", "numerics", "media", "picture"],
    "language": ["numerics"],
    "numerics": ["picture"],
    "media": ["picture"],
    "picture": ["base"],
    "base": [],
    "package": [],
}
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "CMakeLists.txt", "CMakePresets.json", "LICENSE",
             "docs", "fixtures", "graphs", "include", "src", "tests"}
LEAVES_OR_PRINTS = re.compile(
    r"\b(?:exit|_exit|_Exit|quick_exit|abort|system|printf|vprintf|puts|putchar|perror)\s*\(|\b(?:stdout|stderr)\b")
LONGEST_FILE = 700
UNFINISHED = re.compile(r"\b(?:TO" r"DO|FIX" r"ME)\b")


def read(path):
    with open(path, encoding="utf-8") as file:
        return file.read()


def files_below(folder, *endings):
    """Paths of the files below a folder, sorted, relative to it."""
    found = []
    for where, _, names in os.walk(folder):
        found += [os.path.relpath(os.path.join(where, name), folder) for name in names if name.endswith(endings)]
    return sorted(found)


def reachable(folder):
    """The folder and all that its arrows lead to."""
    found = {folder}
    for below in ARROWS.get(folder, []):
        found |= reachable(below)
    return found


def code_of(text):
    """C source without comments and without the insides of strings; line numbers stay."""
    def blank(match):
        return '""' if match[0][0] in "\"'" else "\n" * match[0].count("\n") + " "
    return re.sub(r'/\*.*?\*/|//[^\n]*|"(?:\\.|[^"\\\n])*"|\'(?:\\.|[^\'\\\n])*\'', blank, text, flags=re.DOTALL)


def include_direction(top):
    wrong = []
    for path in files_below(os.path.join(top, "src"), ".c", ".h"):
        folder = path.split(os.sep)[0]
        if folder not in ARROWS:
            wrong.append("src/%s: a folder without arrows" % path)
            continue
        for name in re.findall(r'^\s*#\s*include\s*"([^"]+)"', read(os.path.join(top, "src", path)), re.MULTILINE):
            if not os.path.exists(os.path.join(top, "src", name)):
                wrong.append('src/%s: "%s" is not a path from src' % (path, name))
            elif name.split("/")[0] not in reachable(folder):
                wrong.append('src/%s: "%s" is upwards' % (path, name))
    return wrong


def public_includes(top):
    wrong = []
    for path in files_below(os.path.join(top, "include"), ".h"):
        for name in re.findall(r'^\s*#\s*include\s*["<]([^">]+)[">]', read(os.path.join(top, "include", path)), re.MULTILINE):
            own = name.startswith("passel/")
            if own != os.path.exists(os.path.join(top, "include", name)) or os.path.exists(os.path.join(top, "src", name)):
                wrong.append("include/%s: includes %s" % (path, name))
    return wrong


def unique_names(top):
    first, wrong = {}, []
    for path in files_below(os.path.join(top, "src"), ".c", ".h"):
        name = os.path.basename(path)
        if name in first:
            wrong.append("src/%s: named as src/%s" % (path, first[name]))
        first.setdefault(name, path)
    return wrong


def headers_alone(top, folder, *compiler):
    """Compiles each header of a folder by itself, and twice, for its guard."""
    wrong = []
    for path in files_below(os.path.join(top, folder), ".h"):
        source = '#include "%s"\n#include "%s"\n' % (path, path)
        done = subprocess.run([*compiler, "-fsyntax-only", "-pedantic-errors", "-Wall", "-Wextra", "-Werror", "-I",
                               os.path.join(top, folder), "-"], input=source, stderr=subprocess.PIPE, text=True, check=False)
        if done.returncode != 0:
            wrong.append("%s/%s:\n%s" % (folder, path, done.stderr))
    return wrong


def leaves_or_prints(top):
    wrong = []
    for path in files_below(os.path.join(top, "src"), ".c", ".h"):
        if path.split(os.sep)[0] == "command":
            continue
        for number, line in enumerate(code_of(read(os.path.join(top, "src", path))).split("\n"), 1):
            found = LEAVES_OR_PRINTS.search(line)
            if found:
                wrong.append("src/%s:%d: %s" % (path, number, found[0]))
    return wrong


def sources(top):
    return [os.path.join(folder, path) for folder in ("fixtures", "graphs", "include", "src", "tests")
            for path in files_below(os.path.join(top, folder), ".c", ".h", ".py", ".cmake", "CMakeLists.txt")]


def beginnings(top):
    """Two lines of licence; build lists need only the first."""
    wrong = []
    for path in sources(top):
        lines = [line for line in read(os.path.join(top, path)).split("\n", 3)[:3] if not line.startswith("#!")]
        wanted = ["SPDX-License-Identifier: BSD-3-Clause"]
        if path.endswith((".c", ".h", ".py")):
            wanted.append("Copyright (c) 2026 The Passel authors")
        if not all(part in line for part, line in zip(wanted, lines)):
            wrong.append("%s: does not begin with %s" % (path, " and ".join(wanted)))
    return wrong


def lengths(top):
    counted = [(path, read(os.path.join(top, path)).count("\n")) for path in sources(top)]
    return ["%s: %d lines" % (path, lines) for path, lines in counted if lines > LONGEST_FILE]


def unfinished(top):
    return [path for path in sources(top) if UNFINISHED.search(read(os.path.join(top, path)))]


def committed(top):
    """Names at the top level that belong to the tree: those git knows, or, without git, those that it does not ignore."""
    done = subprocess.run(["git", "-c", "safe.directory=*", "-C", top, "ls-files"], stdout=subprocess.PIPE,
                          stderr=subprocess.DEVNULL, text=True, check=False) if has_git() else None
    if done is not None and done.returncode == 0 and done.stdout:
        return {path.split("/")[0].strip('"') for path in done.stdout.splitlines()}
    ignored = {line.strip("/") for line in read(os.path.join(top, ".gitignore")).split()}
    return set(os.listdir(top)) - ignored


def has_git():
    return any(os.access(os.path.join(folder, "git"), os.X_OK) for folder in os.get_exec_path())


def top_level(top):
    return sorted(name for name in committed(top) if name not in TOP_LEVEL and not name.startswith("."))


def library_flags():
    """Private headers may include those of the libraries that Passel stands on."""
    packages = ["OpenEXR", "libdeflate", "lcms2", "libpng", "libtiff-4", "libutf8proc", "libxxhash"]
    done = subprocess.run(["pkg-config", "--cflags", *packages], check=True, stdout=subprocess.PIPE, text=True)
    # As system folders, so that only our own headers are judged.
    return [flag.replace("-I", "-isystem", 1) for flag in done.stdout.split()]


class RealTree(unittest.TestCase):
    def no_complaints(self, complaints):
        self.assertEqual(complaints, [], "\n" + "\n".join(complaints))

    def test_there_is_something_to_check(self):
        self.assertGreater(len(files_below(os.path.join(SOURCE, "src"), ".c", ".h")), 10)
        self.assertIn("passel/error.h", files_below(os.path.join(SOURCE, "include"), ".h"))

    def test_include_direction(self):
        self.no_complaints(include_direction(SOURCE))

    def test_public_includes(self):
        self.no_complaints(public_includes(SOURCE))

    def test_unique_names(self):
        self.no_complaints(unique_names(SOURCE))

    def test_public_headers_alone(self):
        for compiler in (["gcc", "-std=c11", "-x", "c"], ["clang", "-std=c11", "-x", "c"], ["g++", "-std=c++11", "-x", "c++"]):
            with self.subTest(compiler=compiler[0]):
                self.no_complaints(headers_alone(SOURCE, "include", *compiler))

    def test_private_headers_alone(self):
        self.no_complaints(headers_alone(SOURCE, "src", "gcc", "-std=c11", "-x", "c", "-D_POSIX_C_SOURCE=200809L", "-I",
                                         os.path.join(SOURCE, "include"), *library_flags()))

    def test_nothing_leaves_or_prints(self):
        self.no_complaints(leaves_or_prints(SOURCE))

    def test_beginnings(self):
        self.no_complaints(beginnings(SOURCE))

    def test_lengths(self):
        self.no_complaints(lengths(SOURCE))

    def test_nothing_unfinished(self):
        self.no_complaints(unfinished(SOURCE))

    def test_top_level(self):
        self.no_complaints(top_level(SOURCE))


class WrongTrees(unittest.TestCase):
    """Each rule complains about a tree that breaks it, as often as it is broken."""

    def setUp(self):
        self.tree = tempfile.TemporaryDirectory(prefix="passel-tree-")
        self.put(".gitignore", "/build/\n")

    def tearDown(self):
        self.tree.cleanup()

    def put(self, path, text):
        whole = os.path.join(self.tree.name, path)
        os.makedirs(os.path.dirname(whole), exist_ok=True)
        with open(whole, "w", encoding="utf-8") as file:
            file.write(text)

    def complaints(self, rule, *settings):
        return rule(self.tree.name, *settings)

    def test_include_direction(self):
        for name in "base/a.h", "picture/b.h", "media/c.h", "language/d.h", "engine/e.h", "survey/f.h", "odd/g.h":
            self.put("src/" + name, "")
        self.put("src/engine/good.c", '#include "media/c.h"\n#include "base/a.h"\n#include <passel/error.h>\n')
        self.put("src/base/up.c", '#include "picture/b.h"\n')
        self.put("src/media/aside.c", '#include "picture/b.h"\n # include "language/d.h"\n')
        self.put("src/engine/twin.c", '#include "survey/f.h"\n')
        self.put("src/picture/near.c", '#include "b.h"\n')
        found = self.complaints(include_direction)
        self.assertEqual([line.split(":")[0] for line in found], ["src/base/up.c", "src/engine/twin.c", "src/media/aside.c",
                                                                  "src/odd/g.h", "src/picture/near.c"])

    def test_public_includes(self):
        self.put("src/base/error.h", "")
        self.put("include/passel/error.h", "#include <stddef.h>\n")
        self.put("include/passel/good.h", "#include <passel/error.h>\n")
        self.put("include/passel/bad.h", '#include "base/error.h"\n#include <passel/none.h>\n')
        self.assertEqual(len(self.complaints(public_includes)), 2)

    def test_unique_names(self):
        for name in "base/a.h", "picture/a.h", "picture/a.c", "media/CMakeLists.txt", "base/CMakeLists.txt":
            self.put("src/" + name, "")
        self.assertEqual(self.complaints(unique_names), ["src/picture/a.h: named as src/base/a.h"])

    def test_headers_alone(self):
        self.put("include/passel/good.h", "#ifndef G\n#define G\n#include <stddef.h>\nstruct a { size_t size; };\n#endif\n")
        self.put("include/passel/bad.h", "#ifndef B\n#define B\nstruct b { size_t size; };\n#endif\n")
        self.put("include/passel/open.h", "struct c { int d; };\n")
        self.put("include/passel/own.h", "#ifndef O\n#define O\nstatic inline int e(void) { return ({ 1; }); }\n#endif\n")
        found = self.complaints(headers_alone, "include", "gcc", "-std=c11", "-x", "c")
        self.assertEqual([line.split(":")[0] for line in found],
                         ["include/passel/bad.h", "include/passel/open.h", "include/passel/own.h"])

    def test_leaves_or_prints(self):
        self.put("src/command/main.c", "void a(void) { puts(\"x\"); exit(1); }\n")
        self.put("src/base/good.c", "/* exit() and stderr */\nvoid text_print(int); void b(void) { text_print(1); }\n"
                 "const char *c = \"printf(\"; int d(char *e) { return snprintf(e, 1, \"\\\"abort()\"); }\n")
        self.put("src/base/bad.c", "void f(void)\n{\n    printf (\"x\");\n    fputs(\"x\", stderr);\n    exit(2);\n}\n")
        self.assertEqual(self.complaints(leaves_or_prints),
                         ["src/base/bad.c:3: printf (", "src/base/bad.c:4: stderr", "src/base/bad.c:5: exit("])

    def test_beginnings_lengths_unfinished(self):
        begin = "/* SPDX-License-Identifier: BSD-3-Clause */\n/* Copyright (c) 2026 The Passel authors */\n"
        self.put("src/base/good.c", begin)
        self.put("src/base/bad.c", "int a;\n" + "/* %s: all */\n" % ("TO" + "DO"))
        self.put("src/base/long.c", begin + "\n" * 699)
        self.assertEqual([line.split(":")[0] for line in self.complaints(beginnings)], ["src/base/bad.c"])
        self.assertEqual(self.complaints(lengths), ["src/base/long.c: 701 lines"])
        self.assertEqual(self.complaints(unfinished), ["src/base/bad.c"])

    def test_top_level(self):
        for name in "README.md", "src/a", "build/b", "notes.txt", "out/c", ".ci/run":
            self.put(name, "")
        self.assertEqual(self.complaints(top_level), ["notes.txt", "out"])

    def test_top_level_as_committed(self):
        if not has_git():
            self.skipTest("git is not installed, so there is no commit to look at")
        for name in "README.md", "stray/a", "loose.txt":
            self.put(name, "")
        for command in (["init", "-q"], ["add", "README.md", "stray"]):
            subprocess.run(["git", "-C", self.tree.name, *command], check=True)
        self.assertEqual(self.complaints(top_level), ["stray"])


if __name__ == "__main__":
    unittest.main(verbosity=2)
