# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# labels: python
"""survey before screens: how near the subject's colours come to the screen's hue, how much of the screen's light lies on it, and
which of two screens keys which part. Each is put into filmed passes in a known amount, and worked out again with NumPy."""

import json
import os
import shutil

import numpy as np

import film
import takes
from survey_faults import change

SIZE = (384, 216)
PAIR = ("screen-green", "screen-blue", "empty-green", "empty-blue")
ONE = ("keeper-green", "keeper-empty")


def survey(folder, *words):
    return json.loads(takes.passel("survey", folder, "--json", *words, code=None).out)


def read(name, folder="set"):
    return takes.read("%s/%s.exr" % (folder, name), "RGB").astype(float)


def measures(said, name):
    return next(one for one in said["passes"] if one["pass"].startswith(name))


def findings(said):
    return [(one["kind"], one["pass"].split(".")[0]) for one in said["findings"]]


def open_share(folder="set"):
    """How much of both screens is seen, by the two takes."""
    green, blue, empty_green, empty_blue = (read(name, folder) for name in PAIR)
    apart = empty_green - empty_blue
    return ((green - blue) * apart).sum(2) / (apart**2).sum(2)


def degrees(pixels, screen):
    cosine = (pixels * screen).sum(2) / np.linalg.norm(pixels, axis=2) / np.linalg.norm(screen, axis=2)
    return np.degrees(np.arccos(np.clip(cosine, -1, 1)))


def calm(pixels):
    """Means of 2 by 2 pixels, in the place of each."""
    height, width = pixels.shape[:2]
    means = pixels.reshape(height // 2, 2, width // 2, 2, 3).mean((1, 3))
    return means.repeat(2, 0).repeat(2, 1)


def solid(open_, reach=5):
    """What is covered, and has no open pixel near by."""
    free = np.pad(open_ > 0.5, reach)
    near = np.zeros(open_.shape, bool)
    for y in range(2 * reach + 1):
        for x in range(2 * reach + 1):
            near |= free[y:y + open_.shape[0], x:x + open_.shape[1]]
    return ~near


def with_spill(shares, seen, near=None):
    """Adds to each take so much of its screen's light that it is the given share of the subject's; fading from the outline when
    `near` says how. Also returns how much of the screen's own light that is."""
    shutil.copytree("set", "faulty")
    amounts = {}
    cover = np.clip(1 - seen, 0, 1)[:, :, None]
    for name, share in shares.items():
        empty = read({"keeper-green": "keeper-empty"}.get(name, name.replace("screen", "empty"))).mean((0, 1))

        def put(pixels, _, empty=empty, share=share, name=name):
            light = cover * empty if near is None else cover * empty * near
            inside = solid(seen)
            amount = share / (1 - share) * pixels[inside].sum() / np.broadcast_to(light, pixels.shape)[inside].sum()
            amounts[name] = amount
            return pixels + amount * light

        change("faulty", name, put)
    said = survey("faulty")
    shutil.rmtree("faulty")
    return said, amounts


def check_spill():
    seen = open_share()
    for shares in ({"screen-green": 0.1, "screen-blue": 0.1}, {"screen-green": 0.1}, {"screen-blue": 0.25}):
        said, _ = with_spill(shares, seen)
        takes.equal(findings(said), [("spill", name) for name in sorted(shares)], "spill of %s" % shares)
        for name in ("screen-green", "screen-blue"):
            one = measures(said, name)
            takes.near(one["spill"], shares.get(name, 0), "spill on " + name, absolute=0.006)
            assert not one["spill_estimated"], name
    takes.equal(said["findings"][0]["severity"], "re-shoot", "a quarter")
    print("spill measured from two screens")


def keeper_seen():
    take, empty = read("keeper-green.1001"), read("keeper-empty")
    return (np.linalg.norm(take - empty, axis=2) < 0.25 * np.linalg.norm(empty, axis=2)).astype(float)


def check_edges():
    """Light that fades behind the outline: of the middle one of the edges' shares, two thirds or so are seen."""
    seen = keeper_seen()
    depth, left = np.zeros(seen.shape), seen < 0.5
    while left.any():
        depth += left
        wide = np.pad(left, 1)
        left = wide[1:-1, 1:-1] & wide[:-2, 1:-1] & wide[2:, 1:-1] & wide[1:-1, :-2] & wide[1:-1, 2:]
    clean = measures(survey("set"), "keeper-green")
    assert clean["spill_estimated"] and clean["spill"] < 0.08, clean["spill"]
    for fade, share in ((10, 0.15), (20, 0.15)):
        near = np.exp(-depth / fade)[:, :, None]
        said, amount = with_spill({"keeper-green": share}, seen, near)
        takes.equal(findings(said), [("edges", "keeper-green")], "light at the edges")
        edge = (depth > 5) & (depth < 12)
        light = (amount["keeper-green"] * near * read("keeper-empty").mean((0, 1)))[edge].sum(1)
        wanted = np.median(light / (light + read("keeper-green.1003")[edge].sum(1)))
        assert 0.55 * wanted < measures(said, "keeper-green")["spill"] < wanted, (fade, wanted, said["findings"])
    print("spill estimated from one screen")


def paint(name, hue, box):
    """Paints a box of the subject in a hue so many degrees off the screen's, as bright as the screen is at a third."""
    shutil.copytree("set", "faulty")
    screen = read("keeper-empty" if name.startswith("keeper") else name.replace("screen", "empty")).mean((0, 1))
    screen /= np.linalg.norm(screen)
    away = np.ones(3) - screen.sum() * screen
    away /= np.linalg.norm(away)
    colour = np.cos(np.radians(hue)) * screen + np.sin(np.radians(hue)) * away
    x0, y0, x1, y1 = box

    def put(pixels, count):
        noise = np.random.RandomState(count).normal(size=(y1 - y0, x1 - x0, 3)) * 0.004
        pixels[y0:y1, x0:x1] = 0.15 * colour + noise
        return pixels

    change("faulty", name, put)
    said = survey("faulty")
    shutil.rmtree("faulty")
    return said


def check_hue():
    """The nearest hundredth of the subject is the painted part of it."""
    clean = measures(survey("set"), "keeper-green")
    take, empty, inside = read("keeper-green.1003"), read("keeper-empty"), solid(keeper_seen())
    bright = inside & (np.linalg.norm(take, axis=2) > 0.1 * np.linalg.norm(empty, axis=2))
    wanted = np.percentile(degrees(take, empty)[bright], 1)
    takes.near(clean["hue"], wanted, "hue of the keeper", absolute=2)
    rows, columns = np.nonzero(solid(keeper_seen(), 24))
    y, x = int(np.median(rows)), int(np.median(columns))
    for hue, severity in ((12, "usable with care"), (6, "re-shoot")):
        said = paint("keeper-green", hue, (x - 16, y - 12, x + 16, y + 12))
        takes.equal(findings(said), [("hue", "keeper-green")], "painted at %d degrees" % hue)
        takes.near(said["findings"][0]["value"], hue, "painted", absolute=1)
        takes.equal(said["findings"][0]["severity"], severity, "severity")
    print("hue measured")


def check_choice(layout):
    """The roof is of green copper, the door blue: found by their colours alone, before the screens, in the pixels of the takes."""
    said = survey("set")
    takes.equal(said["findings"], [], "layout %d" % layout)
    keys = said["keys"]
    takes.equal([one["passes"] for one in keys], [["screen-blue.exr", "screen-green.exr"]], "screens of one subject")
    pairs = [(calm(read(name)), read(name.replace("screen", "empty"))) for name in ("screen-blue", "screen-green")]
    off = [degrees(take, empty) for take, empty in pairs]
    inside = solid(open_share())
    lit = np.all([np.linalg.norm(take, axis=2) > 0.1 * np.linalg.norm(empty, axis=2) for take, empty in pairs], 0)
    for better, colour in ((0, "roof"), (1, "door")):
        theirs = inside & lit & (off[1 - better] < 30) & (off[better] > off[1 - better] + 15)
        pieces = [one for one in keys[0]["pieces"] if one["from"] == keys[0]["passes"][better]]
        covered = np.zeros(inside.shape, bool)
        for piece in pieces:
            x, y, width, height = piece["box"]
            covered[y:y + height, x:x + width] = True
        assert len(pieces) == 1 and (theirs & covered).sum() > 0.75 * theirs.sum(), (layout, colour, pieces)
        takes.near(pieces[0]["share"], theirs.sum() / inside.sum(), "%s of layout %d" % (colour, layout), absolute=0.004)
        row, column = (int(v) for v in np.mean(np.nonzero(theirs), 1))
        if better == 0:
            takes.equal(keys[0]["map"][row * 5 // SIZE[1] * 8 + column * 8 // SIZE[0]], 0, "map where the roof is")
    text = takes.passel("survey", "set", "--quiet", "--html", "page.html").out
    assert ": from screen-blue.exr, " in text and "key two-screen" in text, text
    with open("page.html", encoding="utf-8") as file:
        page = file.read()
    takes.equal(page.count("Which screen keys which part"), 2, "maps on the page")
    takes.equal([">%s</text>" % word in page for word in ("blue", "either")], [True, True], "words on the map")


for number in (1, 2, 3):
    film.skerry("set", number, seed=20 + number, size=SIZE, last=film.FIRST + 4, only=PAIR + (ONE if number == 2 else ()))
    check_choice(number)
    if number == 2:
        check_spill()
        check_edges()
        check_hue()
    shutil.rmtree("set")
print("each part from the right screen")
os.remove("page.html")
