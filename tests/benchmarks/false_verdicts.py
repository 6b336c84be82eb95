"""How many studies without any difference show one, by the number of replicate pairs and the true scatter of wires?

    python -m tests.benchmarks.false_verdicts [seeds]

Six treatments, one wire of each and a second one of some; known uncertainty 0.1 of each and an error of 1 that all
share. A study counts where any difference is told. Then the same for drifts: eight pieces of a spool, six quantities,
over place and date. Seeds are the same for all rows.
"""

import sys

import numpy as np

from tests.comparison.made import no_difference, spool
from xrdorder.comparison import about_course, compare, drifts

TREATMENTS = ((625.0, 100.0), (650.0, 50.0), (650.0, 100.0), (675.0, 100.0), (700.0, 50.0), (725.0, 50.0))


def verdicts(seeds: int, pairs: int, ratio: float, *, reference: bool, course: bool) -> float:
    """Share of studies in which a difference is told."""
    false = 0
    for seed in range(seeds):
        values, labels, peaks, hours = no_difference(seed, TREATMENTS, pairs, ratio)
        extra = {"scatter": about_course(values, ["one"] * len(values), peaks, hours)} if course else {}
        found = compare(values, labels, reference=labels[0] if reference else None, **extra)
        false += bool(np.any(found.p_adjusted < 0.05))
    return false / seeds


def alarms(seeds: int, ratio: float) -> float:
    """Share of studies in which any drift is told."""
    told = [any(one.distinguishable for one in drifts(*spool(np.random.default_rng(k), ratio))) for k in range(seeds)]
    return float(np.mean(told))


def main() -> None:
    """Print shares in per cent."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    print(f"false verdicts in % of {seeds} studies, scatter of wires in known uncertainties")
    print("pairs  against  course  scatter 0     1     3    10")
    rates = "".join(f"{100.0 * alarms(seeds, ratio):6.2f}" for ratio in (0.0, 1.0, 3.0, 10.0))
    print(f"drifts                     {rates}", flush=True)
    for pairs in (0, 1, 2, 4):
        for reference in (True, False):
            for course in (False, True):
                rates = [
                    100.0 * verdicts(seeds, pairs, ratio, reference=reference, course=course)
                    for ratio in (0.0, 1.0, 3.0, 10.0)
                ]
                words = ("one" if reference else "all", "used" if course else "no")
                row = "".join(f"{x:6.2f}" for x in rates)
                print(f"{pairs:5d}  {words[0]:7}  {words[1]:6}     {row}", flush=True)


if __name__ == "__main__":
    main()
