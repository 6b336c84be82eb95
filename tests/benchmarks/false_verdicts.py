"""How many studies without any difference show one, by replicates and by how far equal wires truly scatter?

    python -m tests.benchmarks.false_verdicts [seeds]

Six treatments, one wire of each and a second one of some, and an error that all share. Equal wires scatter by so many
times the published repeatability: of the lattice parameter, whose known uncertainty is a quarter of it, and of Tc,
whose estimates hold it already. A study counts where any difference is told, of all pairs, to one reference, or of the
one pair that was asked for. Then drifts: eight pieces of a spool, six quantities, over place and date; there scatter is
counted in known uncertainties. Seeds are the same for all rows.
"""

import sys

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
FIRST = 10_000  # seeds that nothing was chosen by


def study(seed: int, pairs: int, ratio: float, quantity: str) -> tuple[Values, list[str], Array, Array]:
    """A study without any difference, whose equal wires scatter by so many published repeatabilities in all."""
    if quantity == "a_nm":
        own, beyond = LATTICE / 4.0, ratio * LATTICE
    else:
        own, beyond = 1.25 * TC, np.sqrt(max(ratio**2 - 1.0, 0.0)) * TC
    return no_difference(FIRST + seed, TREATMENTS, pairs, beyond / own, own, quantity)


def verdicts(seeds: int, pairs: int, ratio: float, quantity: str, *, course: bool) -> dict[str, float]:
    """Share of studies in which a difference is told: of all pairs, to one reference, of the one pair asked for."""
    false = dict.fromkeys(("all", "one", "pair"), 0)
    for seed in range(seeds):
        values, labels, peaks, hours = study(seed, pairs, ratio, quantity)
        extra = {"scatter": about_course(values, ["one"] * len(values), peaks, hours)} if course else {}
        to_one = compare(values, labels, reference=labels[0], **extra)
        false["all"] += bool(np.any(compare(values, labels, **extra).p_adjusted < LEVEL))
        false["one"] += bool(np.any(to_one.p_adjusted < LEVEL))
        false["pair"] += bool(to_one.p[0] < LEVEL)
    return {against: number / seeds for against, number in false.items()}


def alarms(seeds: int, ratio: float) -> float:
    """Share of studies in which any drift is told."""
    told = [any(one.distinguishable for one in drifts(*spool(np.random.default_rng(k), ratio))) for k in range(seeds)]
    return float(np.mean(told))


def main() -> None:
    """Print shares in per cent."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    print(f"false verdicts in % of {seeds} studies, scatter of wires in published repeatabilities")
    print("quantity, pairs, against, course used; scatter 1, 3")
    rates = "".join(f"{100.0 * alarms(seeds, ratio):6.2f}" for ratio in RATIOS)
    print(f"drifts                     {rates}", flush=True)
    for quantity in ("a_nm", "Tc_K"):
        for pairs in (0, 1, 2, 4):
            for course in (False, True):
                shares = [verdicts(seeds, pairs, ratio, quantity, course=course) for ratio in RATIOS]
                for against in shares[0]:
                    rates = "".join(f"{100.0 * one[against]:6.2f}" for one in shares)
                    print(f"{quantity:5} {pairs:3d}  {against:5} {'course' if course else '':6} {rates}", flush=True)


if __name__ == "__main__":
    main()
