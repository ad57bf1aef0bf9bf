# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Runs one program test: a script in a folder of its own, with the program under test as `passel` on its PATH.

What the script prints and how it ends must be what NAME.expected beside it says. With PASSEL_ACCEPT=1 in the
environment the file is written anew instead; read the difference before you commit it. PASSEL_KEEP=1 keeps the folder.
A script that ends with 77 is skipped; it prints `skipped: REASON`.

Usage: run.py PASSEL SCRIPT
"""

import difflib
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
SKIPPED = 77
SECONDS = 280

# What differs from run to run and says nothing.
NOISE = (
    (re.compile(r"\bin \d+\.\d s$", re.MULTILINE), "in N s"),
    (re.compile(r'"seconds": \d+\.\d+'), '"seconds": N'),
)


def run(script, program, folder):
    """(exit code, standard output, standard error) of the script."""
    home = os.path.join(folder, "home")
    work = os.path.join(folder, "work")
    tools = os.path.join(folder, "tools")
    for path in (home, work, tools):
        os.mkdir(path)
    os.symlink(os.path.abspath(program), os.path.join(tools, "passel"))
    environment = dict(os.environ, HOME=home, LC_ALL="C.UTF-8", TZ="UTC", PYTHONDONTWRITEBYTECODE="1")
    environment["PATH"] = tools + os.pathsep + os.environ["PATH"]
    environment["PYTHONPATH"] = HERE
    environment["PROGRAM_TESTS"] = HERE
    command = [sys.executable, script] if script.endswith(".py") else ["bash", "-eu", script]
    with subprocess.Popen(command, cwd=work, env=environment, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE, start_new_session=True) as process:
        try:
            out, err = process.communicate(timeout=SECONDS)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            out, err = process.communicate()
            err += b"killed: took more than %d s\n" % SECONDS
    texts = [text.decode("utf-8", "backslashreplace").replace(work, "FOLDER") for text in (out, err)]
    for pattern, word in NOISE:
        texts = [pattern.sub(word, text) for text in texts]
    return process.returncode, texts[0], texts[1]


def report(code, out, err):
    """The three in the form of an .expected file."""
    text = "== exit %d\n== output\n%s" % (code, out)
    return text + ("== errors\n" + err if err else "")


def compare(name, expected_path, got):
    expected = ""
    if os.path.exists(expected_path):
        with open(expected_path, encoding="utf-8") as file:
            expected = file.read()
    if got == expected:
        return 0
    if os.environ.get("PASSEL_ACCEPT") == "1":
        with open(expected_path, "w", encoding="utf-8") as file:
            file.write(got)
        print("%s: accepted" % name)
        return 0
    sys.stdout.writelines(difflib.unified_diff(expected.splitlines(True), got.splitlines(True), "expected", "got"))
    print("\n%s: not as expected; PASSEL_ACCEPT=1 takes what it prints now as right" % name)
    return 1


def main():
    program, script = sys.argv[1:]
    script = os.path.abspath(script)
    folder = tempfile.mkdtemp(prefix="passel-program-")
    try:
        code, out, err = run(script, program, folder)
    finally:
        if os.environ.get("PASSEL_KEEP") == "1":
            print("kept: " + folder)
        else:
            shutil.rmtree(folder)
    if code == SKIPPED:
        print(out + err)
        return SKIPPED
    stem = os.path.splitext(script)[0]
    return compare(os.path.basename(stem), stem + ".expected", report(code, out, err))


if __name__ == "__main__":
    sys.exit(main())
