"""How many studies without any difference show one, by replicates and by how far equal wires truly scatter?

    python -m tests.benchmarks.false_verdicts [seeds]

Six treatments, one wire of each and a second one of some; known uncertainty 0.1 K of each and an error of 1 K that all
share. Equal wires scatter by so many times the published repeatability of the quantity, all of it beyond what is known
(as a lattice parameter does), and nothing of it published (a quantity without an entry: then the known uncertainty is
taken for it). A study counts where any difference is told. Then the same for the one pair asked for by name, and for
drifts: eight pieces of a spool, six quantities, over place and date. Seeds are the same for all rows.
"""

import sys

import numpy as np

from tests.comparison.made import no_difference, spool
from xrdorder.comparison import about_course, compare, drifts

TREATMENTS = ((625.0, 100.0), (650.0, 50.0), (650.0, 100.0), (675.0, 100.0), (700.0, 50.0), (725.0, 50.0))
RATIOS = (0.0, 1.0, 3.0, 10.0)


def verdicts(seeds: int, pairs: int, ratio: float, *, reference: bool, course: bool, one_pair: bool = False) -> float:
    """Share of studies in which a difference is told."""
    false = 0
    for seed in range(seeds):
        values, labels, peaks, hours = no_difference(seed, TREATMENTS, pairs, ratio)
        extra = {"scatter": about_course(values, ["one"] * len(values), peaks, hours)} if course else {}
        found = compare(values, labels, reference=labels[0] if reference else None, **extra)
        false += bool(found.p[0] < 0.05 if one_pair else np.any(found.p_adjusted < 0.05))
    return false / seeds


def alarms(seeds: int, ratio: float) -> float:
    """Share of studies in which any drift is told."""
    told = [any(one.distinguishable for one in drifts(*spool(np.random.default_rng(k), ratio))) for k in range(seeds)]
    return float(np.mean(told))


def main() -> None:
    """Print shares in per cent."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    print(f"false verdicts in % of {seeds} studies, scatter of wires in published repeatabilities")
    print("pairs  against  course  scatter 0     1     3    10")
    rates = "".join(f"{100.0 * alarms(seeds, ratio):6.2f}" for ratio in RATIOS)
    print(f"drifts                     {rates}", flush=True)
    for pairs in (0, 1, 2, 4):
        for against, asked in (("one", {"reference": True}), ("all", {"reference": False}),
                               ("pair", {"reference": True, "one_pair": True})):  # fmt: skip
            for course in (False, True):
                rates = "".join(
                    f"{100.0 * verdicts(seeds, pairs, ratio, course=course, **asked):6.2f}" for ratio in RATIOS
                )
                print(f"{pairs:5d}  {against:7}  {'used' if course else 'no':6}     {rates}", flush=True)


if __name__ == "__main__":
    main()
