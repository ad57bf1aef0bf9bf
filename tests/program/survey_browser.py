# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# labels: python
"""survey --html in a real browser, as wide as a phone and as a desk: nothing sticks out, all pictures are there, words can be
told from what is behind them, dark and dark on light; the screenshots show a page. The browser's network is shut."""

import json
import os
import re
import shutil
import subprocess
import sys

import numpy as np

import film
import takes

BROWSERS = ("chromium", "chromium-browser", "google-chrome")

# A page that holds the page in a frame of a given width (windows cannot be as narrow as a phone) and measures it.
MEASURE = """<!doctype html><body style="margin:0"><iframe id="f" src="page.html" style="border:0;display:block;
width:%(width)dpx;height:%(height)dpx"></iframe><pre id="said"></pre><script>
document.getElementById("f").onload = function () {
  const page = this.contentDocument, said = {}, bad = [];
  const number = text => text.match(/[\\d.]+/g).map(Number);
  const light = rgb => rgb.slice(0, 3).map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const behind = element => {
    for (; element; element = element.parentElement) {
      const colour = number(getComputedStyle(element).backgroundColor);
      if (colour.length == 3 || colour[3] > 0) return colour;
    }
    return [255, 255, 255];
  };
  const least_contrast = () => {
    let least = 99;
    for (const e of page.querySelectorAll("p, h1, h2, h3, dt, dd, small, figcaption, summary, b, a, .plot text:not([style])")) {
      if (!e.textContent.trim() || !e.getClientRects().length) continue;
      const style = getComputedStyle(e), ink = light(number(e.namespaceURI.endsWith("svg") ? style.fill : style.color));
      const ground = light(behind(e));
      least = Math.min(least, (Math.max(ink, ground) + 0.05) / (Math.min(ink, ground) + 0.05));
    }
    return least;
  };
  said.width = page.documentElement.clientWidth;
  said.scroll = page.documentElement.scrollWidth;
  for (const e of page.body.querySelectorAll("*"))
    if (e.getBoundingClientRect().right > said.width + 0.5 && !e.closest("svg")) bad.push(e.tagName + " " + e.className);
  said.sticking_out = bad;
  said.pictures = [...page.images].map(image => [image.complete, image.naturalWidth, Math.round(image.width)]);
  const first = page.querySelector("h1").getBoundingClientRect();
  said.first = [first.top, first.height];
  said.letters = Math.min(...[...page.querySelectorAll("p, dd, dt, li")].filter(e => e.getClientRects().length)
    .map(e => parseFloat(getComputedStyle(e).fontSize)));
  said.plot_letters = Math.min(...[...page.querySelectorAll(".plot text")].map(e => e.getBoundingClientRect().height));
  said.ground = number(getComputedStyle(page.body).backgroundColor).slice(0, 3);
  said.contrast = least_contrast();
  page.getElementById("bright").click();
  said.bright_ground = number(getComputedStyle(page.body).backgroundColor).slice(0, 3);
  said.bright_contrast = least_contrast();
  document.getElementById("said").textContent = JSON.stringify(said);
};
</script>"""


def browser():
    for name in BROWSERS:
        if shutil.which(name):
            return name
    print("skipped: no browser to look at the page with (%s)" % ", ".join(BROWSERS))
    sys.exit(77)


def browse(name, *words):
    command = [name, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--allow-file-access-from-files",
               "--user-data-dir=" + os.path.abspath("browser"), "--proxy-server=127.0.0.1:9", "--no-first-run",
               "--force-device-scale-factor=1", "--virtual-time-budget=4000", *words]
    return subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, check=True, timeout=100).stdout.decode()


def measure(name, width, height=900):
    with open("measure.html", "w", encoding="utf-8") as file:
        file.write(MEASURE % {"width": width, "height": height})
    wide = "--window-size=%d,%d" % (max(width, 500), height)
    dom = browse(name, wide, "--dump-dom", "file://" + os.path.abspath("measure.html"))
    said = json.loads(re.search(r'<pre id="said">(.+?)</pre>', dom).group(1))
    with open("shot.html", "w", encoding="utf-8") as file:
        file.write(MEASURE.partition("<pre")[0] % {"width": width, "height": height})
    browse(name, wide, "--screenshot=" + os.path.abspath("shot.png"), "file://" + os.path.abspath("shot.html"))
    return said, takes.read("shot.png", whole=8)[:, :width, :3]


def check(name, width, passes):
    said, shot = measure(name, width)
    takes.equal((said["width"], said["scroll"], said["sticking_out"]), (width, width, []), "%d: what sticks out" % width)
    takes.equal(len(said["pictures"]), passes, "pictures")
    assert all(there and size > 0 and shown >= 200 for there, size, shown in said["pictures"]), said["pictures"]
    assert 0 <= said["first"][0] < 120 and said["first"][1] > 24, "the verdict is on top: %r" % said["first"]
    assert said["letters"] >= 12 and said["plot_letters"] >= 10, said
    assert max(said["ground"]) < 40 < 220 < min(said["bright_ground"]), said
    assert said["contrast"] >= 4.5 and said["bright_contrast"] >= 4.5, said  # WCAG 2.2, 1.4.3
    light = shot.astype(float).mean(2)
    takes.equal(shot.shape, (900, width, 3), "size of the screenshot")
    assert np.median(light) < 45, "the ground is dark"
    share = (light > 120).mean()
    assert 0.01 < share < 0.3, "words can be seen: %g" % share
    assert light[:120].std() > 15 and light[-300:].std() > 5, "blank"
    print("%d wide: fits, is seen, can be read" % width)


def main():
    name = browser()
    film.skerry("set", 2, seed=3, only=("moon", "lights-off", "lamp", "windows", "screen-green", "screen-blue", "empty-green"))
    os.remove("set/moon.1002.exr")
    shutil.copy("set/windows.exr", 'set/<b> & "q" \u00fcber ' + "very" * 45 + ".exr")
    said = json.loads(takes.passel("survey", "set", "--json", "--html", "page.html", code=5).out)
    for width in (390, 1280):
        check(name, width, len(said["passes"]))


main()
