"""Known truth in, measured quantities out: one specimen from counts to site order, as a user gets it.

Everything whose error the package claims to know is really drawn: Poisson counts of sample and standard, the
certificate, the temperature, the scattering-factor table. Instead of simulating a standard that deviates from its
certificate or a warm specimen, the package is told a certificate or a temperature that is off; the error is the same.
"""

from dataclasses import dataclass, replace

import numpy as np

from tests.generator import (
    InstrumentTruth,
    PhaseTruth,
    SampleTruth,
    attenuation_per_mm,
    random_instrument,
    random_truth,
    simulate,
    simulate_standard,
)
from tests.made import as_pattern
from xrdorder.crystals.standards import standard
from xrdorder.fitting import calibrate, fit_pattern
from xrdorder.material import Material, Specimen, characterise
from xrdorder.xrays import GEMMI_TABLE, U_DISPERSION_DIFFERENCE, radiation

CU_KA_EV = 8047.8
PACKING = 0.6  # the package takes this solid share for the transparency shift, so the generator must
U_TEMPERATURE_K = 1.2


@dataclass(frozen=True)
class Case:
    """One specimen, the instrument it is measured with, and the specimen of the standard."""

    sample: SampleTruth
    instrument: InstrumentTruth
    standard_displacement_mm: float


def case(seed: int, *, aberrations: bool, equal_heights: bool = False) -> Case:
    """Draw a case; with `aberrations` the specimens are flat and translucent as real ones are.

    Bronze composition and displacement parameter of niobium are those of the phase catalogue: they are held in the
    fit, and their own uncertainty is not what is tried here.
    """
    rng = np.random.default_rng(seed)
    instrument = replace(random_instrument(rng), divergence_deg=0.5, flat_specimen=aberrations)
    if equal_heights:
        instrument = replace(instrument, axial_detector_ratio=instrument.axial_source_ratio)
    sample = random_truth(rng)
    others = tuple(
        replace(phase, tin_fraction=0.03) if phase.name == "cu-sn" else replace(phase, b_iso_nm2=0.0046)
        for phase in sample.others
    )
    attenuation = None
    if aberrations:
        attenuation = PACKING * attenuation_per_mm(sample.a15_cell(sample.lattice_nm), CU_KA_EV)
    sample = replace(sample, others=others, attenuation_per_mm=attenuation)
    return Case(sample, instrument, float(rng.uniform(-0.05, 0.05)))


class ShiftedTable:
    """Scattering factors with f' of tin off by a constant: another table, as tables differ."""

    def __init__(self, shift: float) -> None:
        self.name, self._shift = f"gemmi, f'(Sn) {shift:+.3f}", shift

    def f0(self, element: str, s_per_nm: np.ndarray) -> np.ndarray:
        return GEMMI_TABLE.f0(element, s_per_nm)

    def anomalous(self, element: str, energy_ev: float) -> tuple[float, float]:
        real, imaginary = GEMMI_TABLE.anomalous(element, energy_ev)
        return real + (self._shift if element == "Sn" else 0.0), imaginary


def measure(
    one: Case,
    *,
    seed: int | None,
    draw_shared: bool = False,
    table: str = "gemmi",
    two_theta: np.ndarray | None = None,
) -> Material:
    """Simulate, calibrate, fit, characterise; noise-free without a seed.

    With `draw_shared` certificate, temperature and scattering factors are off by normal draws of their stated
    standard uncertainties; otherwise they are right.
    """
    aberrations = one.instrument.flat_specimen
    lab6 = PhaseTruth("lab6", 1.0, 0.4156826).cell()
    scan = simulate_standard(
        one.instrument,
        displacement_mm=one.standard_displacement_mm,
        attenuation_per_mm=PACKING * attenuation_per_mm(lab6, CU_KA_EV) if aberrations else None,
        two_theta=two_theta,
        seed=None if seed is None else 2 * seed,
        table=table,
    )
    pattern = simulate(
        one.sample, one.instrument, two_theta, seed=None if seed is None else 2 * seed + 1, table=table
    )
    certified = standard("srm-660c")
    off = (
        np.random.default_rng(10_000_019 + seed).normal(size=3)
        if draw_shared and seed is not None
        else np.zeros(3)
    )
    told = replace(certified, lengths_nm=(certified.lengths_nm[0] + off[0] * certified.u_lengths_nm[0],))
    # without aberrations in the generator none may be in the fit: no slit is given, and the tiny transparency stays
    slit = {"divergence_deg": 0.5, "specimen_length_mm": 50.0} if aberrations else {}
    calibration = calibrate(as_pattern(*scan), told, detector_distance_mm=217.5, **slit)
    fit = fit_pattern(
        as_pattern(*pattern),
        calibration.instrument,
        table=ShiftedTable(off[1] * U_DISPERSION_DIFFERENCE) if off[1] else GEMMI_TABLE,
    )
    specimen = Specimen(
        mount="ground-powder", temperature_c=22.5 + off[2] * U_TEMPERATURE_K, u_temperature_k=U_TEMPERATURE_K
    )
    return characterise(
        fit.values,
        fit.contributions,
        specimen,
        radiation=radiation("cu-ka"),
        tin_held=fit.tin_held,
        contrast_by_tin=fit.by_tin["order_contrast"],
    )
