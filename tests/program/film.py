# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
"""Filmed passes for the scripts in Python: the demo's, small, and the same under a camera's numbers."""

import os
import random
import shutil
import subprocess
import sys

SIZE = (240, 136)
FIRST, LAST = 1001, 1004


def skerry(folder, layout=1, seed=1, size=SIZE, last=LAST, only=()):
    """Films the passes into a folder, without their truth."""
    program = os.environ.get("PASSEL_SKERRY")
    if not program:
        print("skipped: the renderer of the demo's passes is not built")
        sys.exit(77)
    words = [word for name in only for word in ("--only", name)]
    subprocess.run([program, folder, "--size", "%dx%d" % size, "--frames", "%d-%d" % (FIRST, last), "--layout", str(layout),
                    "--seed", str(seed), *words], check=True)
    shutil.rmtree(os.path.join(folder, "truth"))


def passes(folder):
    """Pass name → its files, both sorted."""
    found = {}
    for name in sorted(os.listdir(folder)):
        found.setdefault(name.split(".")[0], []).append(name)
    return found


def numbered(source, target, seed=None):
    """The same files as a camera names them: C0031.exr, C0032.1001.exr; clips in the order of the names, or shuffled.
    Returns camera name → pass name."""
    found = passes(source)
    names = sorted(found)
    if seed is not None:
        random.Random(seed).shuffle(names)
    os.makedirs(target)
    meaning = {}
    for count, name in enumerate(names, 31):
        camera = "C%04d" % count
        meaning[camera] = name
        for file in found[name]:
            shutil.copy(os.path.join(source, file), os.path.join(target, camera + file[len(name):]))
    return meaning
