"""From the truth about a specimen to the counts of a scan."""

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np

from .cells import HC_EV_NM, Array, Cell, family_strengths, line_strengths
from .optics import InstrumentTruth, lorentz_polarisation, spread_profile
from .truths import REFERENCE_TEMPERATURE_C, Background, PhaseTruth, SampleTruth

_HIGHEST_SINE = 0.99  # lines up to 163.8 degrees are summed; their tails reach into the pattern

# Certified powders: lattice parameter in nm at 22.5 °C, thermal expansion in 1/K (from memory).
STANDARDS = {
    "srm-660c": ("lab6", 0.4156826, 6.4e-6),  # certificate
    "srm-640c": ("si", 0.54311946, 2.56e-6),  # certificate as quoted in a mailing-list archive
}


def default_two_theta() -> Array:
    """18 to 140 degrees by 0.02."""
    return np.round(18.0 + 0.02 * np.arange(6101), 2)


@lru_cache(maxsize=8)
def _bragg(sample: SampleTruth, instrument: InstrumentTruth, grid: tuple[float, ...], table: str) -> Array:
    """Bragg scattering of all phases on an arbitrary scale.

    The intensity of a phase in a thick mixture goes with its volume fraction over the square of its cell
    volume (the attenuation is that of the whole mixture and common to all): v / V² Σ|F|² times Lorentz-
    polarisation.
    """
    two_theta = np.array(grid)
    phases = [phase for phase in sample.phases() if phase.weight_fraction > 0.0]
    weights = [phase.weight_fraction for phase in phases]
    cells = [sample.a15_cell(p.a_nm) if p.name == "nb3sn" else p.cell() for p in phases]
    volumes = np.array(weights) / np.array([cell.density_g_cm3 for cell in cells])
    total = np.zeros_like(two_theta)
    for phase, cell, volume in zip(phases, cells, volumes / volumes.sum(), strict=True):
        for energy, fwhm, share in instrument.emission():
            total += share * volume / cell.a_nm**6 * _phase_lines(
                phase, cell, energy, fwhm, sample, instrument, two_theta, table
            )
        if instrument.white is not None:
            total += volume / cell.a_nm**6 * _white_feet(phase, cell, sample, instrument, two_theta, table)
    return total


def _phase_lines(
    phase: PhaseTruth, cell: Cell, energy: float, fwhm: float, sample: SampleTruth,
    instrument: InstrumentTruth, two_theta: Array, table: str,
) -> Array:  # fmt: skip
    """All reflections of a phase by one emission line, |F|² at its mean lattice parameter.

    A component of the mass share w has the volume share w a³ (its density differs by that alone), so that w / a³
    is left of v / V².
    """
    wavelength = HC_EV_NM / energy
    components = phase.components()
    a_nm = np.array([one.a_nm for one in components])
    share = np.array([one.weight for one in components]) * (cell.a_nm / a_nm) ** 3
    sizes = np.array([one.domain_size_nm for one in components], dtype=float)
    largest = int((2.0 * a_nm.min() * _HIGHEST_SINE / wavelength) ** 2)
    own = sample.component_cells(phase)
    if phase.anisotropic:
        shells, g, _ = family_strengths(cell, energy, largest, table)
        strengths = np.array([family_strengths(one, energy, largest, table)[2] for one in own]).T
    else:
        shells, _ = line_strengths(cell, energy, largest, table)
        g = np.full_like(shells, 0.2)
        strengths = np.array([line_strengths(one, energy, largest, table)[1] for one in own]).T
    mount = sample.mount(phase)
    total = np.zeros_like(two_theta)
    for shell, direction, strength in zip(shells, 5.0 * g - 1.0, strengths, strict=True):
        d_nm = a_nm / math.sqrt(shell) * (1.0 - phase.elastic_shift * direction)
        angles = 2.0 * np.degrees(np.arcsin(wavelength / (2.0 * d_nm)))
        lp = lorentz_polarisation(angles, instrument.monochromator_two_theta_deg, instrument.polarisation_ratio)
        factor, height = (1.0, 0.0) if sample.grains is None else sample.grains.line(phase.name, float(shell))
        weights = factor * strength * share * lp * sample.throughput(angles, instrument)
        total += spread_profile(
            two_theta, d_nm, weights, sizes, energy, fwhm, instrument,
            replace(mount, displacement_mm=mount.displacement_mm + height),
            lattice_spread=phase.lattice_spread,
            microstrain_lorentz=phase.microstrain_lorentz
            * math.sqrt(max(1.0 + phase.strain_anisotropy * direction, 0.0)),
            sizes=phase.sizes,
        )  # fmt: skip
    return total


def _white_feet(
    phase: PhaseTruth, cell: Cell, sample: SampleTruth, instrument: InstrumentTruth, two_theta: Array, table: str
) -> Array:
    """White radiation by every reflection, each wavelength at its own angle; |F|² as for the strongest line."""
    white = instrument.white
    assert white is not None
    energy = instrument.emission()[0][0]
    largest = int((2.0 * cell.a_nm * _HIGHEST_SINE / white.shortest_nm) ** 2)
    shells, strengths = line_strengths(cell, energy, largest, table)
    theta = np.radians(two_theta - instrument.two_theta_offset) / 2.0
    per_degree = np.radians(1.0) / 2.0 * np.cos(theta)
    factor = lorentz_polarisation(
        two_theta, instrument.monochromator_two_theta_deg, instrument.polarisation_ratio
    ) * sample.throughput(two_theta, instrument)
    total = np.zeros_like(two_theta)
    for shell, strength in zip(shells, strengths, strict=True):
        d_nm = cell.a_nm / math.sqrt(shell)
        total += strength * white.spectrum(2.0 * d_nm * np.sin(theta)) * 2.0 * d_nm * per_degree
    return total * factor


def expected_counts(
    sample: SampleTruth,
    instrument: InstrumentTruth,
    two_theta: Array | None = None,
    *,
    peak_counts: float = 25_000.0,
    table: str = "gemmi",
) -> Array:
    """Mean counts; the strongest point of the whole pattern, background included, has `peak_counts`."""
    grid = default_two_theta() if two_theta is None else np.asarray(two_theta, dtype=float)
    bragg = _bragg(sample, instrument, tuple(instrument.true_two_theta(grid)), table)
    if bragg.max() <= 0.0:
        raise ValueError("no line in the pattern")
    shape = bragg / bragg.max() + sample.background.at(grid)
    return peak_counts * shape / shape.max()


def simulate(
    sample: SampleTruth,
    instrument: InstrumentTruth,
    two_theta: Array | None = None,
    *,
    peak_counts: float = 25_000.0,
    seed: int | None = None,
    table: str = "gemmi",
) -> tuple[Array, Array]:
    """Angles and counts of a scan: Poisson counts with a `seed`, noise-free expected counts without."""
    grid = default_two_theta() if two_theta is None else np.asarray(two_theta, dtype=float)
    counts = expected_counts(sample, instrument, grid, peak_counts=peak_counts, table=table)
    if seed is not None:
        counts = np.random.default_rng(seed).poisson(counts).astype(float)
    return grid, counts


def simulate_standard(
    instrument: InstrumentTruth,
    standard: str = "srm-660c",
    two_theta: Array | None = None,
    *,
    displacement_mm: float = 0.0,
    domain_size_nm: float = math.inf,
    temperature_c: float = REFERENCE_TEMPERATURE_C,
    specimen_length_mm: float | None = None,
    attenuation_per_mm: float | None = None,
    background: Background | None = None,
    peak_counts: float = 25_000.0,
    seed: int | None = None,
    table: str = "gemmi",
) -> tuple[Array, Array]:
    """Angles and counts of the calibration scan of a certified powder ("srm-660c" or "srm-640c")."""
    name, a_nm, expansion = STANDARDS[standard]
    a_warm = a_nm * (1.0 + expansion * (temperature_c - REFERENCE_TEMPERATURE_C))
    powder = SampleTruth(
        others=(PhaseTruth(name, 1.0, a_warm, domain_size_nm),),
        displacement_mm=displacement_mm,
        specimen_length_mm=specimen_length_mm,
        attenuation_per_mm=attenuation_per_mm,
        background=Background() if background is None else background,
    )
    return simulate(powder, instrument, two_theta, peak_counts=peak_counts, seed=seed, table=table)


def random_truth(rng: np.random.Generator, **fixed: object) -> SampleTruth:
    """Draw a specimen of undoped reacted wire; `fixed` overrules single fields."""
    tin = rng.uniform(0.22, 0.25)
    others = (
        PhaseTruth("nb", rng.uniform(0.02, 0.20), rng.uniform(0.32995, 0.33030), rng.uniform(30, 120)),
        PhaseTruth("cu-sn", rng.uniform(0.01, 0.08), rng.uniform(0.3625, 0.3695), rng.uniform(20, 80)),
    )
    truth = SampleTruth(
        tin_fraction=tin,
        order_a=rng.uniform(0.88, 1.0),
        domain_size_nm=rng.uniform(40.0, 250.0),
        b_2a_nm2=rng.uniform(0.0038, 0.0055),
        b_6c_nm2=rng.uniform(0.0042, 0.0060),
        others=others,
        displacement_mm=rng.uniform(-0.06, 0.06),
        background=Background(
            constant=rng.uniform(0.004, 0.012),
            air=rng.uniform(0.01, 0.03),
            air_decay_deg=rng.uniform(5.0, 9.0),
            hump=rng.uniform(0.0, 0.005),
        ),
    )
    return replace(truth, **fixed)  # type: ignore[arg-type]


def random_instrument(rng: np.random.Generator, radiation: str = "cu-ka") -> InstrumentTruth:
    """Draw a well-kept laboratory diffractometer."""
    return InstrumentTruth(
        radiation=radiation,
        two_theta_offset=rng.uniform(-0.02, 0.02),
        gauss_tan2=rng.uniform(0.0005, 0.0020),
        gauss_tan=rng.uniform(-0.0008, -0.0002),
        gauss_const=rng.uniform(0.0012, 0.0025),
        lorentz_sec=rng.uniform(0.004, 0.012),
        lorentz_tan=rng.uniform(0.002, 0.010),
        axial_source_ratio=rng.uniform(0.012, 0.025),
        axial_detector_ratio=rng.uniform(0.012, 0.025),
    )
