"""How well could anybody know it? The Cramér-Rao bound of a specimen's quantities, from the generator alone.

Fisher's information of Poisson counts with the means m is the sum over points of (dm/dp)(dm/dq) / m. Derivatives are
numerical, by everything that a fit has to find out: background (any smooth course, as many Chebyshev polynomials as a
fit takes), amounts, lattices, widths, displacement of the specimen, order, displacement parameters. The calibration
and all else are known. The bound of a quantity is the variance that the inverse gives it.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.polynomial import chebyshev

from tests.generator import InstrumentTruth, SampleTruth, expected_counts

Change = Callable[[SampleTruth, float], SampleTruth]
PHASES = {"nb3sn": "nb3sn", "nb": "nb", "cu-sn": "cu_sn"}
"""Phases, and how parameters of the fit name them."""

MINOR_B = {"nb": "b_iso_2a_nm2", "cu-sn": "b_iso_4a_nm2"}
"""Displacement parameter of the only site of each phase beside the A15."""


def _of_sample(field: str, scale: float = 1.0) -> Change:
    return lambda sample, step: replace(sample, **{field: getattr(sample, field) + scale * step})


def _of_other(name: str, field: str) -> Change:
    def change(sample: SampleTruth, step: float) -> SampleTruth:
        others = tuple(
            replace(one, **{field: getattr(one, field) + step}) if one.name == name else one for one in sample.others
        )
        return replace(sample, others=others)

    return change


def _changes(sample: SampleTruth) -> dict[str, tuple[Change, float]]:
    """Name in the fit, what it does to the truth, and a step: small against every uncertainty's nonlinearity."""
    changes: dict[str, tuple[Change, float]] = {
        "specimen_displacement_mm": (_of_sample("displacement_mm"), 1e-4),
        "nb3sn_order_contrast": (_of_sample("order_a", 1.0 / (4.0 * sample.tin_fraction)), 1e-3),
        "nb3sn_b_iso_2a_nm2": (_of_sample("b_2a_nm2"), 1e-4),
        "nb3sn_b_iso_6c_nm2": (_of_sample("b_6c_nm2"), 1e-4),
    }
    for name, own in PHASES.items():
        main = name == "nb3sn"
        steps = {
            "a_nm": ("a_nm", 1e-6),
            "lorentz_sec": ("domain_size_nm", 0.2),
            "lorentz_tan": ("microstrain_lorentz", 5e-6),
        }
        for parameter, (field, step) in steps.items():
            changes[f"{own}_{parameter}"] = (_of_sample(field) if main else _of_other(name, field), step)
        if not main:
            changes[f"{own}_{MINOR_B[name]}"] = (_of_other(name, "b_iso_nm2"), 1e-4)
            changes[f"{own}_scale"] = (_of_other(name, "weight_fraction"), 1e-4)
    return changes


def _by_squared_spread(sample: SampleTruth, name: str, means: Callable[[SampleTruth], np.ndarray]) -> np.ndarray:
    """Derivative by the square of the lattice spread, which may be zero: from three points upward."""
    step = (5e-5) ** 2

    def at(extra: float) -> np.ndarray:
        if name == "nb3sn":
            return means(replace(sample, lattice_spread=np.sqrt(sample.lattice_spread**2 + extra)))
        others = tuple(
            replace(one, lattice_spread=np.sqrt(one.lattice_spread**2 + extra)) if one.name == name else one
            for one in sample.others
        )
        return means(replace(sample, others=others))

    return (-3.0 * at(0.0) + 4.0 * at(step) - at(2.0 * step)) / (2.0 * step)


def information(
    sample: SampleTruth, instrument: InstrumentTruth, two_theta: np.ndarray, terms: int
) -> tuple[list[str], np.ndarray]:
    """Fisher information for a highest point of one count, by the names that the parameters have in the fit.

    `terms` is the number of background polynomials. The information of n times the counts is n times as much. Sizes
    stand for their width, the square of the lattice spread for its, weight fractions for scales.
    """
    # lattice and displacement parameters of their own, not by tin content and tables
    others = tuple(replace(one, b_iso_nm2=one.cell().b_iso_nm2[0][1]) for one in sample.others)
    sample = replace(sample, a_nm=sample.lattice_nm, others=others)

    def means(truth: SampleTruth) -> np.ndarray:
        return expected_counts(truth, instrument, two_theta, peak_counts=1.0)

    centre = means(sample)
    dark = replace(sample, background=replace(sample.background, constant=0.0, air=0.0, hump=0.0))
    columns = {"nb3sn_scale": means(dark)}  # the highest point stays at one: only the direction counts
    x = np.linspace(-1.0, 1.0, len(two_theta))
    columns |= {f"background_{k}": chebyshev.chebval(x, np.eye(terms)[k]) for k in range(terms)}
    for name, (change, step) in _changes(sample).items():
        columns[name] = (means(change(sample, step)) - means(change(sample, -step))) / (2.0 * step)
    for name, own in PHASES.items():
        columns[f"{own}_gauss_tan2"] = _by_squared_spread(sample, name, means)
    weighted = np.stack(list(columns.values()), axis=1) / np.sqrt(centre)[:, None]
    return list(columns), weighted.T @ weighted


QUANTITIES = {
    "a_nm": {"nb3sn_a_nm": 1.0},
    "site_order": {"nb3sn_order_contrast": 1.0},
    "domain_size_nm": {"nb3sn_lorentz_sec": 1.0},
    "weight_fraction_nb3sn": {"nb_scale": -1.0, "cu_sn_scale": -1.0},
    "weight_fraction_nb": {"nb_scale": 1.0},
    "weight_fraction_cu-sn": {"cu_sn_scale": 1.0},
}


def bounds(names: Sequence[str], matrix: np.ndarray, free: Sequence[str]) -> dict[str, float]:
    """Least standard uncertainties of the quantities where these parameters are unknown."""
    chosen = [k for k, name in enumerate(names) if name in free]
    part = matrix[np.ix_(chosen, chosen)]
    norm = np.sqrt(np.diag(part))
    covariance = np.linalg.inv(part / np.outer(norm, norm)) / np.outer(norm, norm)
    found = {}
    for quantity, slopes in QUANTITIES.items():
        gradient = np.array([slopes.get(names[k], 0.0) for k in chosen])
        if np.any(gradient):
            found[quantity] = float(np.sqrt(gradient @ covariance @ gradient))
    return found
