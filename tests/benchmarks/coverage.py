"""Do the stated intervals hold? Coverage, bias, and uncertainty against the Cramér-Rao bound, by many repeats.

``python -m tests.benchmarks.coverage [--repeats 1000] [--workers 2] [--out coverage.jsonl]`` prints the tables of
docs/contributing/coverage.md, with ``--write`` into it; the file keeps what is done, and a broken run goes on from
there. Twenty specimens drawn at random, each measured 50 times at either count level; calibration, certificate,
temperature, zero of the goniometer, f' of tin and displacement parameters of niobium and bronze are drawn anew each
time (`tests.recovery.campaign`). Sources that are not drawn are left out of u. Odd specimens have microstrain of both
shapes, even ones none: there the truth of fitted widths is zero.

A domain size is one over a breadth, and its intervals are taken there (docs/explanation/uncertainty.md): the line
`1 / domain_size_nm` says how they hold; the line of the size itself how symmetric ones would.

Bias is the mean error of a specimen over its root mean square u, averaged over specimens. The mean pull stands beside
it: for a quantity whose u grows with its value, as that of a domain size does, it is negative without any bias.
"""

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import binom, norm

from tests.benchmarks import evidence_page
from tests.benchmarks.bound import QUANTITIES, bounds, information
from tests.benchmarks.record import Job, Row, run
from tests.recovery.campaign import COARSE, Case, case, measure, u_counting, u_drawn
from xrdorder.exceptions import XrdorderError

TRUTHS = 20
LEVELS = (25_000.0, 2_500.0)
REPEATS_A_JOB = 10
INTERVALS = {"68 %": (norm.ppf(0.84), 0.68), "95 %": (norm.ppf(0.975), 0.95)}
CHANCE = 1e-3  # two-sided: how often a limit is passed though the intervals hold
LARGEST_BIAS = 0.15  # of u
FROM_BOUND = 0.15
SIZE = "domain_size_nm"
HEADER = (
    "| quantity | given | not given | within 68 % (limits) | within 95 % (limits) | bias, u | mean pull "
    "| sd of pulls |",
    "|---|---|---|---|---|---|---|---|",
)
BOUND_HEADER = (
    "| quantity | u over bound: median | 5th to 95th percentile | of specimens: lowest, highest |",
    "|---|---|---|---|",
)


def specimen(number: int) -> Case:
    return case(number, aberrations=True, strained=number % 2 == 1)


def work(what: str, truth: int, level: float, first: int, repeats: int) -> list[Row]:
    """One job: the bound of a specimen, or some measurements of it."""
    one = specimen(truth)
    if what == "bound":
        terms = sum(name.startswith("background_") for name in measured(one, truth, LEVELS[0], 0)["free"])
        names, matrix = information(one.sample, one.instrument, np.array(COARSE), terms)
        return [{"what": what, "truth": truth, "names": names, "information": matrix.tolist()}]
    return [measured(one, truth, level, first + k) for k in range(repeats)]


def measured(one: Case, truth: int, level: float, repeat: int) -> Row:
    """Errors and uncertainties of one measurement; a quantity that was not given is left out."""
    row: Row = {"what": "measured", "truth": truth, "level": level, "repeat": repeat}
    seed = (truth * 100_000 + repeat) * len(LEVELS) + LEVELS.index(level)
    try:
        found = measure(
            one, seed=seed, draw_shared=True, two_theta=COARSE, peak_counts=level, cross_checks=False
        )
    except XrdorderError as error:
        return row | {"failure": str(error)}
    material = found.material
    table = material.contributions
    truths = one.truth
    for quantity in QUANTITIES:
        value = material.values.get(quantity, np.nan)
        if np.isfinite(value) and quantity in table.quantities:
            row[quantity] = [value - truths[quantity], u_drawn(table, quantity), u_counting(table, quantity)]
    flags = [flag.name for flag in (*found.fit.flags, *material.flags)]
    return row | {"free": list(found.fit.free_names), "flags": flags}


def limits(n: int, share: float, chance: float = CHANCE) -> tuple[float, float]:
    """Shares between which the binomial law keeps n tries, but for `chance`."""
    low, high = binom.ppf([chance / 2.0, 1.0 - chance / 2.0], n, share)
    return float(low) / n, float(high) / n


def bias(truths: np.ndarray, errors: np.ndarray, u: np.ndarray) -> float:
    """Mean error over root mean square uncertainty, of the mean specimen."""
    of_each = [truths == truth for truth in np.unique(truths)]
    return float(np.mean([errors[own].mean() / np.sqrt(np.mean(u[own] ** 2)) for own in of_each]))


def coverage_line(quantity: str, truths: np.ndarray, errors: np.ndarray, u: np.ndarray, missing: int) -> str:
    """A line of the table."""
    pull = errors / u
    cells = []
    for factor, share in INTERVALS.values():
        low, high = limits(len(pull), share)
        held = float(np.mean(np.abs(pull) <= factor))
        verdict = "" if low <= held <= high else " **no**"
        cells.append(f"{100 * held:.1f} ({100 * low:.1f} to {100 * high:.1f}){verdict}")
    mean = bias(truths, errors, u)
    verdict = "" if abs(mean) < LARGEST_BIAS else " **no**"
    cells += [f"{mean:+.3f}{verdict}", f"{pull.mean():+.3f}", f"{pull.std():.3f}"]
    return f"| {quantity} | {len(pull)} | {missing} | {' | '.join(cells)} |"


def tables(rows: Sequence[Row]) -> list[str]:
    """Markdown of a campaign."""
    bound_of = {row["truth"]: row for row in rows if row["what"] == "bound"}
    lines: list[str] = []
    for level in LEVELS:
        mine = [row for row in rows if row["what"] == "measured" and row["level"] == level]
        good = [row for row in mine if "failure" not in row]
        if not good:
            continue
        lines += [
            f"Highest point {level:.0f} counts, {len(mine)} measurements of {len({row['truth'] for row in mine})} "
            f"specimens, {len(mine) - len(good)} refused:",
            "",
            *HEADER,
        ]
        for quantity in QUANTITIES:
            given = np.array([[row["truth"], *row[quantity]] for row in good if quantity in row])
            if len(given):
                truths, errors, u, _ = given.T
                lines.append(coverage_line(quantity, truths, errors, u, len(good) - len(given)))
                if quantity == SIZE:
                    true = np.array([specimen(int(truth)).truth[SIZE] for truth in truths])
                    found = true + errors
                    missing = len(good) - len(given)
                    lines.append(
                        coverage_line(f"1 / {SIZE}", truths, 1.0 / found - 1.0 / true, u / found**2, missing)
                    )
        lines += ["", *_bound_table(good, bound_of, level), ""]
    return lines


def _bound_table(good: Sequence[Row], bound_of: dict[int, Row], level: float) -> list[str]:
    lines = list(BOUND_HEADER)
    cache: dict[tuple[int, tuple[str, ...]], dict[str, float]] = {}
    ratios: dict[str, dict[int, list[float]]] = {}
    for row in good:
        if row["truth"] not in bound_of:
            continue
        entry = bound_of[row["truth"]]
        key = row["truth"], tuple(row["free"])
        if key not in cache:
            cache[key] = bounds(entry["names"], level * np.array(entry["information"]), row["free"])
        for quantity, bound in cache[key].items():
            if quantity in row:
                ratios.setdefault(quantity, {}).setdefault(row["truth"], []).append(row[quantity][2] / bound)
    for quantity, by_truth in ratios.items():
        every = np.concatenate([np.array(one) for one in by_truth.values()])
        of_truth = [float(np.median(one)) for one in by_truth.values()]
        low, middle, high = np.percentile(every, [5, 50, 95])
        verdict = "" if abs(middle - 1.0) < FROM_BOUND else " **no**"
        cells = f"{middle:.3f}{verdict} | {low:.3f} to {high:.3f} | {min(of_truth):.3f}, {max(of_truth):.3f}"
        lines.append(f"| {quantity} | {cells} |")
    return lines


def jobs(repeats: int, truths: int = TRUTHS) -> list[Job]:
    """Bounds first, then measurements, so that all specimens have been seen early."""
    of_each = -(-repeats // truths)
    size = min(REPEATS_A_JOB, of_each)
    found: list[Job] = [("bound", truth, 0.0, 0, 0) for truth in range(truths)]
    for first in range(0, of_each, size):
        number = min(size, of_each - first)
        found += [("measured", truth, level, first, number) for level in LEVELS for truth in range(truths)]
    return found


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=1000, help="measurements at each count level")
    parser.add_argument("--truths", type=int, default=TRUTHS, help="specimens")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("coverage.jsonl"))
    parser.add_argument("--write", action="store_true", help="into docs/contributing/coverage.md")
    told: Any = parser.parse_args(arguments)
    lines = tables(run(work, jobs(told.repeats, told.truths), told.workers, told.out))
    if told.write:
        evidence_page.write("repeated specimens", lines, evidence_page.commit(), evidence_page.COVERAGE)
    print("\n".join(lines))


if __name__ == "__main__":
    main()
