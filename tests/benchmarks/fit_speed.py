"""How long a fit takes, as a ratio to a plain piece of work on the same machine in the same run.

Run from the checkout: ``python -m tests.benchmarks.fit_speed``. The unit is the Faddeeva function at two million
points, the innermost cost of any Voigt fit; processor times, one thread. Nothing here is asserted.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")

import time
from collections.abc import Callable

import numpy as np
from scipy.special import wofz

from tests.generator import simulate, simulate_standard
from tests.made import as_pattern
from tests.recovery.campaign import case
from xrdorder.fitting import ENGINES, calibrate, fit_pattern

REPEATS = 3


def seconds(work: Callable[[], object]) -> float:
    """Least processor time of a few repeats."""
    times = []
    for _ in range(REPEATS):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def main() -> None:
    rng = np.random.default_rng(0)
    z = rng.normal(size=2_000_000) * 5 + 1j * rng.uniform(0.1, 2.0, 2_000_000)
    unit = seconds(lambda: wofz(z))
    one = case(1, aberrations=False)
    standard = as_pattern(*simulate_standard(one.instrument, seed=1))
    sample = as_pattern(*simulate(one.sample, one.instrument, seed=2))
    instrument = calibrate(standard, "srm-660c", detector_distance_mm=217.5).instrument
    rows = [("calibrate, LaB6", lambda: calibrate(standard, "srm-660c", detector_distance_mm=217.5))]
    rows += [
        (f"fit, 3 phases, engine {name}", lambda name=name: fit_pattern(sample, instrument, engine=name))
        for name in ENGINES
    ]
    print(f"{len(sample)} points; unit: Faddeeva function at 2 000 000 points, {unit:.3f} s")
    for label, work in rows:
        spent = seconds(work)
        print(f"{label:32s} {spent:6.2f} s  {spent / unit:6.1f} units")


if __name__ == "__main__":
    main()
