# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# labels: python slow
"""survey: one fault is put into filmed passes at a time, in one arrangement of the set (it was seen while limits were set); it is
named with its pass, and nothing else is. Clean passes, in three arrangements and with five noises, raise nothing.
tests/bench/survey does so in all arrangements, and prints measured against seeded."""

import json
import shutil

import film
import takes
from survey_faults import FAULTS, FILMED, LAST, SIZE, change, grain


def survey(place, *words):
    run = takes.passel("survey", place, "--json", *words, code=None)
    said = json.loads(run.out)
    takes.equal(run.code, {"good": 0, "usable with care": 1, "re-shoot": 5}[said["verdict"]], "exit code")
    return said


def check_fault(folder, fault, where):
    name, seed, wanted, kind, _, least, most = fault
    shutil.copytree(folder, "faulty")
    seed("faulty")
    said = survey("faulty")
    found = [(one["pass"], one["kind"], one["value"]) for one in said["findings"]]
    takes.equal([one[:2] for one in found], [(wanted, kind)], where + ": " + name)
    assert least <= found[0][2] <= most, (where, name, found)
    shutil.rmtree("faulty")


def check_faults():
    for layout in (3,):
        film.skerry("skerry", layout, seed=10 + layout, size=SIZE, last=LAST, only=FILMED)
        takes.equal(survey("skerry")["findings"], [], "layout %d, clean" % layout)
        for fault in FAULTS:
            check_fault("skerry", fault, "layout %d" % layout)
        check_exposure("skerry")
        shutil.rmtree("skerry")
    print("faults found")


def check_exposure(folder):
    """Light over noise of an underexposed screen against the sensor's own figures (fixtures/film.c): exposure counts once."""
    green = takes.read(folder + "/screen-blue.exr", "RGB")[:, :, 1].astype(float)
    level = (green ** 2).sum() / green.sum()
    for factor in (6, 24):
        shutil.copytree(folder, "faulty")
        change("faulty", "screen-blue", lambda p, i, factor=factor: grain(p / factor, i))
        found = survey("faulty")["findings"]
        takes.equal([(one["pass"], one["kind"]) for one in found], [("screen-blue.exr", "noise")], "exposure")
        variance = 1.1e-4 * level / factor + 1.6e-6 + (1.1e-4 * level + 1.6e-6) / factor**2
        wanted = level / factor / variance**0.5
        assert abs(found[0]["value"] / wanted - 1) < 0.15, (factor, found[0]["value"], wanted)
        shutil.rmtree("faulty")


def check_noises():
    for seed in (1, 2, 3, 4, 5):
        film.skerry("again", 1 + seed % 3, seed=seed, last=1004, only=() if seed == 1 else FILMED)
        takes.equal(survey("again")["findings"], [], "seed %d" % seed)
        shutil.rmtree("again")
    print("clean passes are good")


check_faults()
check_noises()
