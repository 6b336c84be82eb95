"""Known truth in, measured quantities out: one specimen from counts to site order, as a user gets it.

What the package claims to know with an uncertainty is really drawn (`Drawn`, and Poisson counts of sample and
standard; domain sizes and strains of minor phases with the specimen). Instead of simulating a standard that deviates
from its certificate, a warm specimen or a goniometer that has moved, the package is told a certificate, a temperature
or angles that are off; the error is the same. Not drawn, and so no part of `u_drawn`: the a(tin) scale (truths lie on
it), thermal expansion and wavelength (negligible), scattering tables of other phases, microabsorption.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from tests.generator import (
    InstrumentTruth,
    PhaseTruth,
    SampleTruth,
    attenuation_per_mm,
    expected_counts,
    random_instrument,
    random_truth,
    simulate_standard,
)
from tests.made import as_pattern
from xrdorder.crystals import Phase, phase
from xrdorder.crystals.standards import standard
from xrdorder.fitting import FitOptions, PatternFit, calibrate, fit_pattern
from xrdorder.fitting.uncertainty_budget import U_OFFSET_DEG
from xrdorder.material import Material, Specimen, characterise
from xrdorder.profiles import Instrument
from xrdorder.uncertainty import Contributions
from xrdorder.xrays import GEMMI_TABLE, U_DISPERSION_DIFFERENCE, radiation
from xrdorder.xrays.scattering import MeasuredDispersion, ScatteringTable

CU_KA_EV = 8047.8
PACKING = 0.6  # the package takes this solid share for the transparency shift, so the generator must
LAB6_PER_MM = PACKING * attenuation_per_mm(PhaseTruth("lab6", 1.0, 0.4156826).cell(), CU_KA_EV)
PEAK_COUNTS = 25_000.0
U_TEMPERATURE_K = 1.2
U_B_RELATIVE = 0.3  # what the budget takes for displacement parameters of the catalogue
LEAST_B = 0.4  # of the catalogue's: the normal law reaches below zero, atoms do not; two standard uncertainties below
COARSE = tuple(float(x) for x in np.round(np.arange(20.0, 125.0, 0.05), 2))
"""A scan of 2100 points: uncertainties must hold for it too, and it takes a third of the time."""

COUNTING_FAMILIES = (
    "counting", "texture", "displacement parameters", "lattice distribution", "two-theta offset",
    "specimen displacement",
)  # fmt: skip
"""Into numbered parts of these the budget splits what counting contributes, by what had to be found out beside."""
DRAWN_FAMILIES = ("calibration", "certificate", "temperature", "line width")
DRAWN_SOURCES = ("scattering table/order", "two-theta offset")
DRAWN_GROUP = "catalogue"  # displacement parameters of minor phases


class Drawn(NamedTuple):
    """By how many standard uncertainties is off what the package is told?"""

    certificate: float = 0.0
    scattering: float = 0.0
    temperature: float = 0.0
    offset: float = 0.0
    b_niobium: float = 0.0
    b_bronze: float = 0.0


RIGHT = Drawn()


@dataclass(frozen=True)
class Case:
    """One specimen, the instrument it is measured with, and the specimen of the standard."""

    sample: SampleTruth
    instrument: InstrumentTruth
    standard_displacement_mm: float

    @property
    def truth(self) -> dict[str, float]:
        """What should be found."""
        weights = {f"weight_fraction_{name}": w for name, w in self.sample.weight_fractions().items()}
        return {
            "a_nm": self.sample.lattice_nm,
            "site_order": self.sample.site_order,
            "domain_size_nm": self.sample.domain_size_nm,
            **weights,
        }


def case(seed: int, *, aberrations: bool, equal_heights: bool = False, strained: bool = False) -> Case:
    """Draw a case; with `aberrations` the specimens are flat and translucent as real ones are.

    Bronze composition and displacement parameter of niobium are those of the phase catalogue: they are held in the
    fit. `strained` gives A15 and niobium microstrain of both shapes; without it widths that are fitted have the truth
    zero, on their bound.
    """
    rng = np.random.default_rng(seed)
    instrument = replace(random_instrument(rng), divergence_deg=0.5, flat_specimen=aberrations)
    if equal_heights:
        instrument = replace(instrument, axial_detector_ratio=instrument.axial_source_ratio)
    sample = random_truth(rng)
    others = tuple(
        replace(one, tin_fraction=0.03) if one.name == "cu-sn" else replace(one, b_iso_nm2=0.0046)
        for one in sample.others
    )
    attenuation = None
    if aberrations:
        attenuation = PACKING * attenuation_per_mm(sample.a15_cell(sample.lattice_nm), CU_KA_EV)
    displacement = float(rng.uniform(-0.05, 0.05))
    spread: dict[str, float] = {}
    if strained:
        spread = {
            "lattice_spread": float(rng.uniform(2e-4, 6e-4)),
            "microstrain_lorentz": float(rng.uniform(1e-4, 4e-4)),
        }
        others = tuple(replace(one, **spread) for one in others)
    sample = replace(sample, others=others, attenuation_per_mm=attenuation, **spread)
    return Case(sample, instrument, displacement)


@lru_cache(maxsize=4)
def expected(
    one: Case, two_theta: tuple[float, ...] | None = None, table: str = "gemmi"
) -> tuple[np.ndarray, np.ndarray]:
    """Means of the scans of standard and specimen, the highest point one."""
    grid = None if two_theta is None else np.array(two_theta)
    aberrations = one.instrument.flat_specimen
    _, powder = simulate_standard(
        one.instrument,
        displacement_mm=one.standard_displacement_mm,
        attenuation_per_mm=LAB6_PER_MM if aberrations else None,
        two_theta=grid,
        peak_counts=1.0,
        table=table,
    )
    return powder, expected_counts(one.sample, one.instrument, grid, peak_counts=1.0, table=table)


def phases(off: Drawn = RIGHT) -> list[Phase]:
    """Phases of a wire, the displacement parameters of the minor ones off."""
    found = [phase("nb3sn")]
    for name, by in (("nb", off.b_niobium), ("cu-sn", off.b_bronze)):
        usual = phase(name)
        # The atoms' own is 1 + 0.3 z times the catalogue's. Truths stay, so the catalogue is drawn, and u with it.
        factor = max(1.0 + U_B_RELATIVE * by, LEAST_B)
        sites = tuple(replace(site, b_iso_nm2=site.b_iso_nm2 / factor) for site in usual.sites)
        found.append(replace(usual, sites=sites))
    return found


@lru_cache(maxsize=4)
def scattering(off: float, energy_ev: float) -> ScatteringTable:
    """A table whose f' of tin is off by so many standard uncertainties; the same object for the same one."""
    first, second = GEMMI_TABLE.anomalous("Sn", energy_ev)
    tin = {"Sn": (first + off * U_DISPERSION_DIFFERENCE, second)}
    return MeasuredDispersion(GEMMI_TABLE, tin) if off else GEMMI_TABLE


@dataclass(frozen=True)
class Measured:
    """What came out."""

    material: Material
    fit: PatternFit


def measure(
    one: Case,
    *,
    seed: int | None,
    draw_shared: bool = False,
    table: str = "gemmi",
    two_theta: tuple[float, ...] | None = None,
    peak_counts: float = PEAK_COUNTS,
    cross_checks: bool = True,
) -> Measured:
    """Count, calibrate, fit, characterise; noise-free without a seed.

    With `draw_shared` all of `Drawn` is off by normal draws; otherwise it is right.
    """
    grid = 18.0 + 0.02 * np.arange(6101) if two_theta is None else np.array(two_theta)
    powder, sample = (peak_counts * mean for mean in expected(one, two_theta, table))
    if seed is not None:
        powder, sample = (
            np.random.default_rng(2 * seed + k).poisson(mean).astype(float) for k, mean in enumerate((powder, sample))
        )
    off = RIGHT
    if draw_shared and seed is not None:
        off = Drawn(*np.random.default_rng(10_000_019 + seed).normal(size=len(Drawn._fields)))
    instrument = calibrated(one, grid, powder, off.certificate)
    return evaluated(one, instrument, grid, sample, off, cross_checks=cross_checks)


def calibrated(one: Case, grid: np.ndarray, counts: np.ndarray, certificate: float = 0.0) -> Instrument:
    """What a scan of LaB6 makes of the instrument, the certificate off by so many standard uncertainties."""
    certified = standard("srm-660c")
    told = replace(certified, lengths_nm=(certified.lengths_nm[0] + certificate * certified.u_lengths_nm[0],))
    # without aberrations in the generator none may be in the fit: no slit is given, and the tiny transparency stays
    slit: dict[str, float] = {}
    if one.instrument.flat_specimen:
        slit = {"divergence_deg": one.instrument.divergence_deg, "specimen_length_mm": 50.0}
    pattern = as_pattern(grid, counts, one.instrument.radiation)
    return calibrate(pattern, told, detector_distance_mm=217.5, domain_size_nm=np.inf, **slit).instrument


def evaluated(
    one: Case, instrument: Instrument, grid: np.ndarray, counts: np.ndarray, off: Drawn, *, cross_checks: bool = True
) -> Measured:
    """What counts of the specimen say when what is told beside them is `off`."""
    fit = fit_pattern(
        as_pattern(grid + off.offset * U_OFFSET_DEG, counts, one.instrument.radiation),
        instrument,
        phases=phases(off),
        specimen_length_mm=one.sample.specimen_length_mm,
        table=scattering(off.scattering, one.instrument.emission()[0][0]),
        options=FitOptions(cross_checks=cross_checks),
    )
    specimen = Specimen(
        mount="ground-powder",
        temperature_c=22.5 + off.temperature * U_TEMPERATURE_K,
        u_temperature_k=U_TEMPERATURE_K,
        undoped=True,
    )
    material = characterise(
        fit.values,
        fit.contributions,
        specimen,
        radiation=radiation(one.instrument.radiation),
        tin_held=fit.tin_held,
        by_tin=fit.by_tin,
    )
    return Measured(material, fit)


def _is_counting(source: str, group: str) -> bool:
    family, _, part = source.partition("/")
    return family in COUNTING_FAMILIES and part.isdigit() and not group


def _is_drawn(source: str, group: str) -> bool:
    family = source.partition("/")[0]
    return (
        _is_counting(source, group)
        or family in DRAWN_FAMILIES
        or source in DRAWN_SOURCES
        or group == DRAWN_GROUP
    )


def _u(table: Contributions, quantity: str, counts: Callable[[str, str], bool]) -> float:
    chosen = [counts(*pair) for pair in zip(table.sources, table.groups, strict=True)]
    return float(np.linalg.norm(table.row(quantity)[chosen]))


def u_counting(table: Contributions, quantity: str) -> float:
    """Part of the standard uncertainty that comes from counting the specimen, whatever was unknown beside."""
    return _u(table, quantity, _is_counting)


def u_drawn(table: Contributions, quantity: str) -> float:
    """Part of the standard uncertainty whose sources are drawn in `measure`."""
    return _u(table, quantity, _is_drawn)
