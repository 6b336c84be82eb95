"""How large is a page, and how long does a report take? ``python -m tests.benchmarks.report STUDY [--samples 200]``.

Copies the samples of a fitted study under new names until there are enough, in memory, and writes the page of them.
Prints sizes, seconds of this machine, and the ratio of times for many samples and for two.
"""

import argparse
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from xrdorder.reports.gallery import study_pictures
from xrdorder.reports.page import page
from xrdorder.reports.pictures import Scene, encoded
from xrdorder.reports.verdicts import first_look
from xrdorder.studies import open_study


@dataclass(frozen=True)
class Many:
    """An open study whose samples stand for many."""

    study: Any
    results: xr.Dataset
    real: Any

    def sample(self, name: str, *groups: Any) -> Any:
        return replace(self.real.sample(name.rsplit(" ", 1)[0], *groups), name=name)


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
    seconds = {}
    for number in (2, 30, told.samples):
        opened = many(real, number)
        start = time.perf_counter()
        look = first_look(opened.results)
        judged = time.perf_counter()
        pictures = list(study_pictures(Scene(opened, look)))
        for one in pictures:
            encoded(one.figure, "svg")
        drawn = time.perf_counter()
        text = page(opened, look, pictures)
        seconds[number] = time.perf_counter() - start
        with tempfile.NamedTemporaryFile(suffix=".html") as file:
            file.write(text.encode())
            size = file.tell() / 1e6
        print(
            f"{number} samples: {size:.1f} MB in {seconds[number]:.0f} s, verdicts {judged - start:.0f} s, figures "
            f"{drawn - judged:.0f} s"
        )
    print(f"time, {told.samples} samples over 2: {seconds[told.samples] / seconds[2]:.1f}")


if __name__ == "__main__":
    main()
