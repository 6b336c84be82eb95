"""How large is a page, and how long does a report take? ``python -m tests.benchmarks.report STUDY [--samples 200]``.

Copies the samples of a fitted study under new names until there are enough, in memory, and writes the page of them.
Prints sizes, seconds of this machine, and the ratio of times for many samples and for two. Where there is Chromium, it
opens each page there as well: seconds from the start of loading until the table is sorted and filtered, and until the
first fit is drawn and zoomed.
"""

import argparse
import statistics
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from tests.reports import browser
from xrdorder.reports.gallery import study_pictures
from xrdorder.reports.page import page
from xrdorder.reports.pictures import Picture, Scene
from xrdorder.results.open_study import open_study

USE = """
  const laid = () => document.documentElement.getBoundingClientRect().height;
  const said = { loaded: performance.now() };
  document.querySelectorAll("#results thead button")[3].click();
  laid(); said.sorted = performance.now();
  const filter = document.getElementById("filter");
  filter.value = document.querySelector("#results tbody th").textContent;
  filter.dispatchEvent(new Event("input"));
  laid(); said.filtered = performance.now();
  document.getElementById("sections").open = true;
  const details = document.querySelector("details[data-fit]");
  details.open = true;
  details.dispatchEvent(new Event("toggle")); // at once, and not when the browser comes to it
  await null;
  details.querySelector("[data-do=in]").click();
  await null;
  laid(); said.zoomed = performance.now();
  const rows = Array.from(document.querySelectorAll("#results tbody tr"));
  said.left = rows.filter((row) => !row.hidden).length / rows.length;
  const { min, max } = details.plots()[0].scales.x;
  said.degrees = max - min;
  return said;
"""
_OPENED = 3
"""How often a page is opened; the middle of the times counts."""


def opened_in_browser(text: str) -> dict[str, float]:
    """Seconds from the start of loading until what `USE` did was done and laid out."""
    found = []
    for _ in range(_OPENED):
        with tempfile.TemporaryDirectory() as folder:
            said = browser.act(text, USE, Path(folder), clock=False)
        assert "failed" not in said, said["failed"]
        assert 0.0 < said["left"] < 1.0 and said["degrees"] > 0.0  # filtered, and a fit is there
        found.append(said)
    return {key: statistics.median(one[key] for one in found) / 1e3 for key in ("loaded", "filtered", "zoomed")}


@dataclass(frozen=True)
class Many:
    """An open study whose samples stand for many."""

    study: Any
    results: xr.Dataset
    real: Any

    def __getattr__(self, name: str) -> Any:
        return getattr(self.real, name)

    def sample(self, name: str, **groups: Any) -> Any:
        return replace(self.real.sample(name.rsplit(" ", 1)[0], **groups), name=name)


def many(real: Any, number: int) -> Many:
    """Repeat the samples of a study."""
    count = real.results.sizes["sample"]
    rows = np.arange(number) % count
    results = real.results.isel(sample=rows)
    names = [f"{real.results['sample'].values[k]} {i}" for i, k in enumerate(rows)]
    return Many(real.study, results.assign_coords(sample=np.array(names, dtype=object)), real)


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("study", type=Path)
    parser.add_argument("--samples", type=int, default=200)
    told: Any = parser.parse_args(arguments)
    real = open_study(told.study)
    seconds, uses = {}, {}
    for number in (2, 30, told.samples):
        opened = many(real, number)
        start = time.perf_counter()
        scene = Scene.of(opened)
        judged = time.perf_counter()
        pictures = list(study_pictures(scene))
        for one in pictures:
            assert isinstance(one, Picture), one
            one.content("svg")
        drawn = time.perf_counter()
        text, _ = page(scene, pictures)
        seconds[number] = time.perf_counter() - start
        with tempfile.NamedTemporaryFile(suffix=".html") as file:
            file.write(text.encode())
            size = file.tell() / 1e6
        print(
            f"{number} samples: {size:.1f} MB in {seconds[number]:.0f} s, verdicts {judged - start:.0f} s, figures "
            f"{drawn - judged:.0f} s"
        )
        if browser.PROGRAM is not None:
            use = uses[number] = opened_in_browser(text)
            print(
                f"  in the browser: loaded {use['loaded']:.2f} s, sorted and filtered {use['filtered']:.2f} s, "
                f"first fit zoomed {use['zoomed']:.2f} s"
            )
    print(f"time, {told.samples} samples over 2: {seconds[told.samples] / seconds[2]:.1f}")
    if uses:
        print(f"until the first fit is zoomed, the same: {uses[told.samples]['zoomed'] / uses[2]['zoomed']:.1f}")
    else:
        print(f"not opened: {browser.MISSING}")


if __name__ == "__main__":
    main()
