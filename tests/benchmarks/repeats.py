"""Do repeats of one specimen scatter as their stated random part? Ratio of the two, and how well it is known.

``python -m tests.benchmarks.repeats [--repeats 400] [--specimens 0 1] [--workers 1] [--out repeats.jsonl] [--write]``
prints the table of docs/contributing/coverage.md, or writes it there. Nothing but the counts of the specimen is drawn:
it is measured again and again with one calibrated instrument. The standard error of a ratio of n repeats is that of a
sample standard deviation with the fourth moment that the repeats have.
"""

import argparse
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks import evidence_page
from tests.benchmarks.bound import QUANTITIES
from tests.benchmarks.coverage import specimen
from tests.benchmarks.record import Row, run
from tests.recovery.campaign import COARSE, PEAK_COUNTS, RIGHT, calibrated, evaluated, expected, u_counting
from xrdorder.profiles import Instrument

LEVEL = 6_000.0
A_JOB = 20
HEADER = (
    "| specimen | quantity | repeats | scatter over random part | standard error | mean error in standard errors |",
    "|---|---|---|---|---|---|",
)


@lru_cache(maxsize=2)
def _instrument(number: int) -> Instrument:
    one = specimen(number)
    return calibrated(one, np.array(COARSE), PEAK_COUNTS * expected(one, COARSE)[0])


def work(number: int, first: int, repeats: int) -> list[Row]:
    """Values and random parts of some repeats."""
    one, instrument, found = specimen(number), _instrument(number), []
    for repeat in range(first, first + repeats):
        counts = np.random.default_rng([number, repeat]).poisson(LEVEL * expected(one, COARSE)[1]).astype(float)
        result = evaluated(one, instrument, np.array(COARSE), counts, RIGHT, cross_checks=False)
        table = result.material.contributions
        row: Row = {"specimen": number, "repeat": repeat, "free": list(result.fit.free_names)}
        for quantity in QUANTITIES:
            row[quantity] = [result.material.values[quantity] - one.truth[quantity], u_counting(table, quantity)]
        found.append(row)
    return found


def ratio(errors: np.ndarray, u: np.ndarray) -> tuple[float, float]:
    """Standard deviation over the root mean square random part, and its standard error.

    The variance of a sample variance is σ⁴ (k - (n - 3)/(n - 1)) / n with the kurtosis k.
    """
    n, departure = len(errors), errors - errors.mean()
    kurtosis = float(np.mean(departure**4) / np.mean(departure**2) ** 2)
    found = float(errors.std(ddof=1) / np.sqrt(np.mean(u**2)))
    return found, 0.5 * found * float(np.sqrt((kurtosis - (n - 3.0) / (n - 1.0)) / n))


def table(rows: Sequence[Row]) -> list[str]:
    """Markdown: a line for each specimen and quantity."""
    lines = list(HEADER)
    for number in dict.fromkeys(row["specimen"] for row in rows):
        mine = [row for row in rows if row["specimen"] == number]
        for quantity in QUANTITIES:
            errors, u = np.array([row[quantity] for row in mine]).T
            found, error = ratio(errors, u)
            mean = errors.mean() / (errors.std(ddof=1) / np.sqrt(len(errors)))
            lines.append(f"| {number} | {quantity} | {len(mine)} | {found:.3f} | {error:.3f} | {mean:+.1f} |")
    return lines


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=400)
    parser.add_argument("--specimens", type=int, nargs="+", default=[0, 1])
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path("repeats.jsonl"))
    parser.add_argument("--write", action="store_true", help="into docs/contributing/coverage.md")
    parser.add_argument("--of", default="", help="commit that the campaign ran on, where it is not the present one")
    told: Any = parser.parse_args(arguments)
    jobs = [(n, first, A_JOB) for n in told.specimens for first in range(0, told.repeats, A_JOB)]
    lines = table(run(work, jobs, told.workers, told.out))
    if told.write:
        evidence_page.write("repeats", lines, told.of or evidence_page.commit(), evidence_page.COVERAGE)
    print("\n".join(lines))


if __name__ == "__main__":
    main()
