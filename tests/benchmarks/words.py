"""Are words in figures cut or over each other? ``python -m tests.benchmarks.words [--studies 1000]``.

Makes studies at random (`tests.figures.random_study`: any number of samples, lots and treatments, any names), draws all
figures of a report in a size drawn at random, and looks at the boxes of all words. Prints what is wrong, a line a
figure.
"""

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.record import Job, Row, run
from tests.figures import made, random_study
from tests.figures.labels import troubles
from tests.reports import made as reports
from xrdorder.drawing.layout import SIZES
from xrdorder.reports.gallery import study_pictures
from xrdorder.reports.pictures import Missing, Scene


def study(seed: int) -> Scene:
    """A study, and the size it is drawn in."""
    random = np.random.default_rng(seed)
    pieces = random_study.pieces(random)
    sizes = tuple(20.0 + 150.0 * random.random(len(pieces))) if random.random() < 0.8 else ()
    plain = reports.opened(
        Path("study"), random_study.word(random, 120), pieces, sizes=sizes, samples=made.described(pieces)
    )
    opened: Any = reports.OpenedWithLines(plain.study, plain.results)
    return Scene.of(opened, SIZES[str(random.choice(list(SIZES)))])


def work(first: int, number: int) -> list[Row]:
    """Draw some studies."""
    rows: list[Row] = []
    for seed in range(first, first + number):
        scene = study(seed)
        for one in study_pictures(scene):
            found = [one.words] if isinstance(one, Missing) else troubles(one.figure)
            rows.append({"seed": seed, "size": scene.size.name, "figure": one.name, "troubles": found})
    return rows


def table(rows: Sequence[Row]) -> list[str]:
    """What is wrong, and a line a figure."""
    lines = [
        f"study {row['seed']}, {row['figure']} in {row['size']}: {said}" for row in rows for said in row["troubles"]
    ]
    lines += ["", "| figure | drawn | with words cut or over each other |", "|---|---|---|"]
    for name in dict.fromkeys(row["figure"] for row in rows):
        mine = [row for row in rows if row["figure"] == name]
        lines.append(f"| {name} | {len(mine)} | {sum(bool(row['troubles']) for row in mine)} |")
    return lines


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=1000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("words.jsonl"))
    told = parser.parse_args(arguments)
    jobs: list[Job] = [(first, min(5, told.studies - first)) for first in range(0, told.studies, 5)]
    print("\n".join(table(run(work, jobs, told.workers, told.out))))


if __name__ == "__main__":
    main()
