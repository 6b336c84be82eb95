"""Does the fit find the same minimum from wherever it starts?

``python -m tests.benchmarks.starts [--tries 100] [--workers 2] [--out FILE]``. After the search of each fit, its start
values are drawn anew: lattice parameters of all phases off by up to 0.3 %, scales up to 30 times, widths up to 3 times
too large or too small. A try is lost if lattice parameter or order end more than a tenth of their uncertainty from
where the undisturbed fit ends, or chi squared more than one above it.
"""

import argparse
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.record import Job, Row, run
from tests.made import as_pattern
from tests.recovery.campaign import COARSE, PEAK_COUNTS, case, expected, phases
from xrdorder.crystals import doped
from xrdorder.exceptions import XrdorderError
from xrdorder.fitting import DEFAULT_COMPOSITION, FitOptions, calibrate
from xrdorder.fitting.effects import EFFECTS
from xrdorder.fitting.procedure import Procedure
from xrdorder.fitting.whole_pattern import sample_geometry
from xrdorder.forward_model.parameter_map import set_values
from xrdorder.forward_model.phase_lines import Optics
from xrdorder.profiles import Instrument
from xrdorder.xrays import GEMMI_TABLE, radiation

OFF, TIMES_SCALE, TIMES_WIDTH = 0.003, 30.0, 3.0
QUANTITIES = ("nb3sn_a_nm", "nb3sn_order_contrast")
SAME_U, SAME_CHI2 = 0.1, 1.0
TRIES_A_SPECIMEN = 10


@lru_cache(maxsize=2)
def _scans(truth: int) -> tuple[np.ndarray, Instrument]:
    one = case(70_000 + truth, aberrations=True, strained=truth % 2 == 1)
    rng = np.random.default_rng(truth)
    powder, sample = (rng.poisson(PEAK_COUNTS * mean).astype(float) for mean in expected(one, COARSE))
    told = {"detector_distance_mm": 217.5, "divergence_deg": 0.5, "specimen_length_mm": 50.0, "domain_size_nm": np.inf}
    return sample, calibrate(as_pattern(np.array(COARSE), powder), "srm-660c", **told).instrument


def minimum(truth: int, disturb: np.random.Generator | None) -> dict[str, float]:
    """Where a fit ends."""
    counts, instrument = _scans(truth)
    options = FitOptions()
    geometry = sample_geometry(instrument, None, None, options)
    optics = Optics(radiation("cu-ka"), geometry, None, GEMMI_TABLE, None)
    every = [doped(p, DEFAULT_COMPOSITION) if p.order else p for p in phases()]
    job = Procedure(
        as_pattern(np.array(COARSE), counts), optics, every, "nb3sn", instrument.values, "own", None, options
    )
    job.search()
    if disturb is not None:
        _disturb(job, disturb)
    job.refine(EFFECTS)
    solution, _ = job.fit.solution()
    u = dict(zip(solution.free, np.sqrt(np.diag(solution.covariance)), strict=True))
    values = job.fit.values()
    found = {name: values[name] for name in QUANTITIES}
    found |= {f"u_{name}": float(u.get(name, np.nan)) for name in QUANTITIES}
    # the variance follows the model and would make a bad one look good: that of the counts is the same for all
    residual = job.fit.observed - job.model.counts(values)
    return found | {"chi2": float(np.sum((residual**2 / np.maximum(counts, 1.0))[job.fit.used]))}


def _disturb(job: Procedure, rng: np.random.Generator) -> None:
    values = job.fit.values()
    drawn: dict[str, float] = {}
    for lines in job.lines:
        for name in lines.length_names:
            drawn[name] = values[name] * (1.0 + rng.uniform(-OFF, OFF))
        drawn[lines.scale_name] = values[lines.scale_name] * TIMES_SCALE ** rng.uniform(-1.0, 1.0)
        for name in lines.width_names:
            drawn[name] = values[name] * TIMES_WIDTH ** rng.uniform(-1.0, 1.0)
    set_values(job.parameters, drawn)
    for lines in job.lines:
        lines.freeze(tuple(drawn[name] for name in lines.length_names))


def work(truth: int, tries: int) -> list[Row]:
    """The undisturbed fit of a specimen, and disturbed ones."""
    usual = minimum(truth, None)
    found = []
    for number in range(tries):
        row: Row = {"truth": truth, "try": number}
        try:
            there = minimum(truth, np.random.default_rng((truth, number)))
        except XrdorderError as error:
            found.append(row | {"lost": True, "why": str(error)})
            continue
        away = {name: (there[name] - usual[name]) / usual[f"u_{name}"] for name in QUANTITIES}
        away |= {"chi2": there["chi2"] - usual["chi2"]}
        same = all(abs(away[name]) < SAME_U for name in QUANTITIES) and away["chi2"] < SAME_CHI2
        found.append(row | {"lost": not same, "why": ", ".join(f"{k} {v:+.3g}" for k, v in away.items())})
    return found


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tries", type=int, default=100)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("starts.jsonl"))
    told: Any = parser.parse_args(arguments)
    of_each = min(TRIES_A_SPECIMEN, told.tries)
    jobs: list[Job] = [(truth, of_each) for truth in range(-(-told.tries // of_each))]
    rows = run(work, jobs, told.workers, told.out)
    lost = [row for row in rows if row["lost"]]
    print(f"{len(rows)} tries, {len(rows) - len(lost)} end in the same minimum")
    for row in lost:
        print(f"specimen {row['truth']}, try {row['try']}: {row['why']}")


if __name__ == "__main__":
    main()
