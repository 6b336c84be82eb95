"""How many studies without any difference show one, by replicates and by how far equal wires truly scatter?

    python -m tests.benchmarks.false_verdicts [--studies 2000] [--seed 1000000] [--write]

Six treatments, one wire of each and a second one of some, and an error that all share. Equal wires scatter by so many
times the published repeatability: of the lattice parameter, whose known uncertainty is a quarter of it, and of Tc,
whose estimates hold it already. A study counts where any difference is told: of all pairs, to one reference, or of the
one pair that was asked for. Then drifts: eight pieces of a spool, six quantities, over place and date; there scatter is
counted in known uncertainties. Seeds are the same for all rows. `--write` puts the table of
docs/contributing/false-positives.md there.
"""

import argparse
import re
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.comparison.made import no_difference, spool
from xrdorder.comparison import Values, about_course, compare, drifts
from xrdorder.comparison.differences import LEVEL
from xrdorder.comparison.published_scatter import SCATTER

Array = NDArray[np.float64]

TREATMENTS = ((625.0, 100.0), (650.0, 50.0), (650.0, 100.0), (675.0, 100.0), (700.0, 50.0), (725.0, 50.0))
RATIOS = (1.0, 3.0)
LATTICE, TC = SCATTER["a_nm"].u, SCATTER["Tc_K"].u
DOC = Path(__file__).parents[2] / "docs" / "contributing" / "false-positives.md"


def study(seed: int, pairs: int, ratio: float, quantity: str) -> tuple[Values, list[str], Array, Array]:
    """A study without any difference, whose equal wires scatter by so many published repeatabilities in all."""
    if quantity == "a_nm":
        own, beyond = LATTICE / 4.0, ratio * LATTICE
    else:
        own, beyond = 1.25 * TC, np.sqrt(max(ratio**2 - 1.0, 0.0)) * TC
    return no_difference(seed, TREATMENTS, pairs, beyond / own, own, quantity)


def verdicts(seeds: range, pairs: int, ratio: float, quantity: str, *, course: bool) -> dict[str, float]:
    """Share of studies in which a difference is told: of all pairs, to one reference, of the one pair asked for."""
    false = dict.fromkeys(("all", "one", "pair"), 0)
    for seed in seeds:
        values, labels, peaks, hours = study(seed, pairs, ratio, quantity)
        extra = {"scatter": about_course(values, ["one"] * len(values), peaks, hours)} if course else {}
        to_one = compare(values, labels, reference=labels[0], **extra)
        false["all"] += bool(np.any(compare(values, labels, **extra).p_adjusted < LEVEL))
        false["one"] += bool(np.any(to_one.p_adjusted < LEVEL))
        false["pair"] += bool(to_one.p[0] < LEVEL)
    return {against: number / len(seeds) for against, number in false.items()}


def alarms(seeds: range, ratio: float) -> float:
    """Share of studies in which any drift is told."""
    told = [any(one.distinguishable for one in drifts(*spool(np.random.default_rng(k), ratio))) for k in seeds]
    return float(np.mean(told))


def table(seeds: range) -> list[str]:
    """Shares in per cent, a row for each kind of study."""
    lines = [
        f"{len(seeds)} studies an entry from seed {seeds[0]} on. Each cell: all pairs, one reference, one pair.",
        "", "| quantity | measured twice | course | 1 | 3 |", "|---|---|---|---|---|",
    ]  # fmt: skip
    for quantity, noun in (("a_nm", "lattice parameter"), ("Tc_K", "Tc")):
        for pairs in (0, 1, 2, 4):
            for course in (False, True):
                shares = [verdicts(seeds, pairs, ratio, quantity, course=course) for ratio in RATIOS]
                cells = [", ".join(f"{100.0 * share:.1f}" for share in one.values()) for one in shares]
                lines.append(f"| {noun} | {pairs} | {'used' if course else '-'} | {' | '.join(cells)} |")
                print(lines[-1], flush=True)
    rates = " | ".join(f"{100.0 * alarms(seeds, ratio):.1f}" for ratio in RATIOS)
    return [*lines, f"| drifts of six quantities, over place and date | - | - | {rates} |"]


def main() -> None:
    """Print the table, and write it into the docs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1_000_000, help="the first; nothing was chosen by them")
    parser.add_argument("--write", action="store_true")
    told = parser.parse_args()
    text = "\n".join(table(range(told.seed, told.seed + told.studies)))
    print(text)
    if told.write:
        old = DOC.read_text(encoding="utf-8")
        between = r"(<!-- table -->\n).*?(<!-- end of table -->)"
        DOC.write_text(re.sub(between, lambda m: f"{m[1]}{text}\n{m[2]}", old, flags=re.S), encoding="utf-8")


if __name__ == "__main__":
    main()
