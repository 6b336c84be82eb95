"""Does the bound that plans scans hold? Refitted counts of the independent generator scatter as it says.

The bound is worked out by `scan_planning` from a description, the counts come from tests/generator, which shares no
code with the package, and are fitted as a user's would be.
"""

import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import numpy as np
import pytest
from scipy.stats import binom, chi2

from tests.generator import Background, PhaseTruth, SampleTruth, attenuation_per_mm, expected_counts
from tests.made import as_pattern
from tests.recovery.campaign import CU_KA_EV, PACKING
from tests.simulation.made import TRUTH, instrument_of
from xrdorder.crystals import phase
from xrdorder.fitting import fit_pattern
from xrdorder.scan_planning import Prospect
from xrdorder.scan_planning.forecast import is_counting
from xrdorder.simulation import Described
from xrdorder.simulation.expected_pattern import OPTIONS

REPEATS = 100
QUANTITIES = ("a_nm", "order_contrast", "lorentz_sec", "weight_fraction_nb")
A_NM, NIOBIUM = 0.52886, 0.10
SPECIMEN = Described(
    tin_at_percent=24.0, lattice_nm=A_NM, site_order=0.93, domain_size_nm=100.0, microstrain=0.0006,
    tin_spread_at_percent=0.0, weight_fractions={"nb": NIOBIUM}, background_per_s=60.0, air_scatter_per_s=0.0,
    strongest_line_per_s=20_000.0, from_deg=20.0, to_deg=125.0, step_deg=0.05,
)  # fmt: skip


@pytest.fixture(scope="module")
def pool() -> Iterator[ProcessPoolExecutor]:
    os.environ["OMP_NUM_THREADS"] = "1"
    with ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn")) as executor:
        yield executor


def means() -> tuple[np.ndarray, np.ndarray]:
    """Expected counts of the generator for the same truth."""
    a15, niobium = phase("nb3sn"), phase("nb")
    b = {site.label: site.b_iso_nm2 for site in a15.sites}
    truth = SampleTruth(
        tin_fraction=0.24,
        order_a=0.93 / 0.96,
        a_nm=A_NM,
        domain_size_nm=100.0,
        lattice_spread=0.0006,
        b_2a_nm2=b["2a"],
        b_6c_nm2=b["6c"],
        others=(PhaseTruth("nb", NIOBIUM, niobium.lengths_nm[0], 60.0, b_iso_nm2=niobium.sites[0].b_iso_nm2),),
        attenuation_per_mm=PACKING * attenuation_per_mm(SampleTruth().a15_cell(A_NM), CU_KA_EV),
        background=Background(constant=60.0 / 20_000.0, air=0.0, hump=0.0),
    )
    angles = SPECIMEN.two_theta()
    return angles, expected_counts(truth, replace(TRUTH, alpha2_ratio=0.52), angles, peak_counts=20_060.0)


def refitted(seeds: range) -> np.ndarray:
    """Values of one portion of repeats, (repeats, quantities)."""
    angles, expected = means()
    found = []
    for seed in seeds:
        counts = np.random.default_rng(seed).poisson(expected).astype(float)
        fit = fit_pattern(
            as_pattern(angles, counts), instrument_of(), phases=("nb3sn", "nb"),
            composition=SPECIMEN.composition, options=replace(OPTIONS, tube_lines=False),
        )  # fmt: skip
        found.append([fit.values[name] for name in QUANTITIES])
    return np.array(found)


def bounds() -> np.ndarray:
    """Standard uncertainties from counting that the plan expects, (quantities,).

    What a distribution of sizes hides falls as counting does, but is no scatter: it is the same in every repeat.
    """
    table = Prospect.of_description(SPECIMEN, instrument_of()).fit().contributions
    counting = [
        is_counting(source, group) and not source.startswith("size distribution")
        for source, group in zip(table.sources, table.groups, strict=True)
    ]
    return np.array([np.linalg.norm(table.row(name)[counting]) for name in QUANTITIES])


@pytest.mark.slow
def test_the_bound_is_the_scatter_of_refitted_counts(pool: ProcessPoolExecutor) -> None:
    """100 repeats of four quantities.

    Each repeat gives a chi squared of each quantity. A standard deviation of 100 repeats is known to
    1 / sqrt(2 * 99) = 7.1 %, that of four quantities together (hardly correlated) to 3.6 %: within 10 % is 2.8 of
    them. Each by itself stays inside the central 99.9 % of chi squared. And the share of repeats within one bound of
    the mean is binomial with 68.3 %: 273 of 400 expected, with a standard deviation of 9.
    """
    parts = [range(start, start + 10) for start in range(0, REPEATS, 10)]
    values = np.concatenate(list(pool.map(refitted, parts)))
    bound = bounds()
    z = (values - values.mean(axis=0)) / bound
    together = np.sqrt(np.sum(z**2) / (len(QUANTITIES) * (REPEATS - 1)))
    assert abs(together - 1.0) < 0.10, (together, dict(zip(QUANTITIES, z.std(axis=0, ddof=1), strict=True)))
    low, high = chi2.interval(0.999, REPEATS - 1)
    each = np.sum(z**2, axis=0)
    assert np.all((each > low) & (each < high)), np.sqrt(each / (REPEATS - 1))
    inside = int(np.sum(np.abs(z) < 1.0))
    fewest, most = binom.interval(0.999, z.size, 0.683)
    assert fewest <= inside <= most, inside / z.size
    # and nothing is off: the mean of 100 against the truth, four standard deviations of it
    assert abs(values[:, 0].mean() - A_NM) < 4.0 * bound[0] / np.sqrt(REPEATS)
    assert abs(values[:, 1].mean() - 0.93) < 4.0 * bound[1] / np.sqrt(REPEATS) + 0.003
