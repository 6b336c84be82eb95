"""From the truth about a specimen to the counts of a scan."""

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from .cells import HC_EV_NM, Array, Cell, Fibre, dispersion, f0, line_strengths
from .optics import InstrumentTruth, caught_by_specimen, line_profile, lorentz_polarisation

REFERENCE_TEMPERATURE_C = 22.5
_HIGHEST_SINE = 0.99  # lines up to 163.8 degrees are summed; their tails reach into the pattern

# B_iso of the other phases in nm², all from memory of handbook values at room temperature; lattice in nm
# likewise.
_PURE = {
    "nb": ("bcc", "2a", "Nb", 0.0045),
    "ta": ("bcc", "2a", "Ta", 0.0030),
    "cu": ("fcc", "4a", "Cu", 0.0055),
    "si": ("diamond", "8a", "Si", 0.0046),
}
COPPER_A_NM = 0.36149
# Copper-tin solid solution: nm per atomic fraction of tin, ± 0.005; from memory.
COPPER_TIN_SLOPE_NM = 0.098

# Certified powders: lattice parameter in nm at 22.5 °C, thermal expansion in 1/K (from memory).
STANDARDS = {
    "srm-660c": ("lab6", 0.4156826, 6.4e-6),  # certificate
    "srm-640c": ("si", 0.54311946, 2.56e-6),  # certificate as quoted in a mailing-list archive
}


@dataclass(frozen=True)
class Background:
    """Smooth background in shares of the strongest Bragg point: constant, air scatter, a broad hump."""

    constant: float = 0.007
    air: float = 0.020
    air_decay_deg: float = 7.0
    hump: float = 0.003
    hump_centre_deg: float = 31.0
    hump_sigma_deg: float = 9.0

    def at(self, two_theta: Array) -> Array:
        """Background at these angles."""
        return (
            self.constant
            + self.air * np.exp(-(two_theta - 18.0) / self.air_decay_deg)
            + self.hump * np.exp(-0.5 * ((two_theta - self.hump_centre_deg) / self.hump_sigma_deg) ** 2)
        )


@dataclass(frozen=True)
class Dopant:
    """An element in the A15: atomic fraction over all atoms, and the share of it on the tin site (2a)."""

    element: str
    fraction: float
    on_tin_site: float


@dataclass(frozen=True)
class PhaseTruth:
    """A phase beside the A15: "nb", "ta", "cu", "cu-sn" (tin content follows from a), "si" or "lab6".

    `a_nm` is meant at the temperature of the measurement. `b_iso_nm2` replaces the usual value of the
    first site, `tin_fraction` the tin content of "cu-sn" that follows from a.
    """

    name: str
    weight_fraction: float
    a_nm: float
    domain_size_nm: float = 60.0
    lattice_spread: float = 0.0
    microstrain_lorentz: float = 0.0
    b_iso_nm2: float | None = None
    tin_fraction: float | None = None
    fibre: Fibre | None = None

    def cell(self) -> Cell:
        """Atoms of the phase, and their texture."""
        return replace(self._cell(), fibre=self.fibre)

    def _cell(self) -> Cell:
        if self.name == "lab6":
            sites = (("1a", (("La", 1.0),)), ("6f", (("B", 1.0),)))
            return Cell("lab6", self.a_nm, sites, (("1a", self._b(0.0040)), ("6f", 0.0030)))
        if self.name == "cu-sn":
            tin = self.tin_fraction
            if tin is None:
                tin = (self.a_nm - COPPER_A_NM) / COPPER_TIN_SLOPE_NM
            mixture = (("Cu", 1.0 - tin), ("Sn", tin))
            return Cell("fcc", self.a_nm, (("4a", mixture),), (("4a", self._b(0.0060)),))
        kind, site, element, b_iso = _PURE[self.name]
        return Cell(kind, self.a_nm, ((site, ((element, 1.0),)),), ((site, self._b(b_iso)),))

    def _b(self, usual: float) -> float:
        return usual if self.b_iso_nm2 is None else self.b_iso_nm2


@dataclass(frozen=True)
class SampleTruth:
    """A specimen of reacted wire; the A15 takes what weight the `others` leave.

    `tin_fraction` β counts tin over all atoms. `order_a` is S_a: the share β (1 - S_a) of the 6c sites
    holds tin. With r_a and r_b the right atoms on 6c and 2a, 3 (1 - r_a) + r_b = 4 β then gives tin on β (1
    + 3 S_a) of the 2a sites. `a_nm` None takes the published line a = 0.0136 β + 0.5256 nm (A. Godeke,
    Supercond. Sci. Technol. 19 (2006) R68, eq. 2). `attenuation_per_mm` switches the transparency shift on.
    """

    tin_fraction: float = 0.24
    order_a: float = 0.97
    a_nm: float | None = None
    domain_size_nm: float = 100.0
    lattice_spread: float = 0.0
    microstrain_lorentz: float = 0.0
    b_2a_nm2: float = 0.0045
    b_6c_nm2: float = 0.0050
    dopants: tuple[Dopant, ...] = ()
    others: tuple[PhaseTruth, ...] = ()
    displacement_mm: float = 0.0
    temperature_c: float = REFERENCE_TEMPERATURE_C
    thermal_expansion_per_k: float = 7.6e-6  # J. W. Ekin, Experimental Techniques (2006), from memory
    specimen_length_mm: float | None = None
    attenuation_per_mm: float | None = None
    background: Background = Background()
    fibre: Fibre | None = None

    @property
    def lattice_nm(self) -> float:
        """Lattice parameter of the A15 at 22.5 °C."""
        return 0.0136 * self.tin_fraction + 0.5256 if self.a_nm is None else self.a_nm

    def occupancy(self) -> dict[str, dict[str, float]]:
        """Mean occupation of both sites by element."""
        tin_6c = self.tin_fraction * (1.0 - self.order_a)
        tin_2a = self.tin_fraction * (1.0 + 3.0 * self.order_a)
        site_2a, site_6c = {"Sn": tin_2a}, {"Sn": tin_6c}
        for dopant in self.dopants:  # a quarter of all atoms is on 2a, three quarters on 6c
            site_2a[dopant.element] = 4.0 * dopant.fraction * dopant.on_tin_site
            site_6c[dopant.element] = 4.0 * dopant.fraction * (1.0 - dopant.on_tin_site) / 3.0
        site_2a["Nb"] = 1.0 - sum(site_2a.values())
        site_6c["Nb"] = 1.0 - sum(site_6c.values())
        if min(*site_2a.values(), *site_6c.values()) < -1e-12:
            raise ValueError("these contents do not fit on the sites")
        return {"2a": site_2a, "6c": site_6c}

    @property
    def site_order(self) -> float:
        """One minus tin on 6c minus niobium on 2a; equals 4 β S_a without dopants on the tin site."""
        sites = self.occupancy()
        return 1.0 - sites["6c"]["Sn"] - sites["2a"]["Nb"]

    def order_contrast(self, table: str = "gemmi", energy_ev: float = 8047.8227) -> float:
        """|f_2a - f_6c| / |f_Sn - f_Nb| at the angle of (110): what intensities see."""
        s = np.array([math.sqrt(2.0) / (2.0 * self.lattice_nm)])
        factor = {
            element: complex(f0(element, s, table)[0] + dispersion(element, energy_ev, table))
            for element in ("Sn", "Nb", *(dopant.element for dopant in self.dopants))
        }
        sites = self.occupancy()
        mean = {site: sum(share * factor[el] for el, share in sites[site].items()) for site in sites}
        return abs(mean["2a"] - mean["6c"]) / abs(factor["Sn"] - factor["Nb"])

    def phases(self) -> tuple[PhaseTruth, ...]:
        """Weight and widths of all phases, the A15 (named "nb3sn") first."""
        warmer_k = self.temperature_c - REFERENCE_TEMPERATURE_C
        a15 = PhaseTruth(
            "nb3sn",
            1.0 - sum(phase.weight_fraction for phase in self.others),
            self.lattice_nm * (1.0 + self.thermal_expansion_per_k * warmer_k),
            self.domain_size_nm,
            self.lattice_spread,
            self.microstrain_lorentz,
        )
        return (a15, *self.others)

    def weight_fractions(self) -> dict[str, float]:
        """Truth about the weights."""
        return {phase.name: phase.weight_fraction for phase in self.phases()}

    def a15_cell(self, a_nm: float) -> Cell:
        """Atoms of the A15 at this lattice parameter."""
        occupancy = tuple((site, tuple(mixture.items())) for site, mixture in self.occupancy().items())
        displacement = (("2a", self.b_2a_nm2), ("6c", self.b_6c_nm2))
        return Cell("a15", a_nm, occupancy, displacement, self.fibre)


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
            wavelength = HC_EV_NM / energy
            largest = int((2.0 * cell.a_nm * _HIGHEST_SINE / wavelength) ** 2)
            shells, strengths = line_strengths(cell, energy, largest, table)
            angles = 2.0 * np.degrees(np.arcsin(wavelength * np.sqrt(shells) / (2.0 * cell.a_nm)))
            area = (
                share * volume / cell.a_nm**6 * strengths
                * lorentz_polarisation(angles, instrument.monochromator_two_theta_deg)
                * caught_by_specimen(angles, instrument, sample.specimen_length_mm)
            )  # fmt: skip
            for shell, weight in zip(shells, area, strict=True):
                total += weight * line_profile(
                    two_theta, cell.a_nm / math.sqrt(shell), energy, fwhm, instrument,
                    domain_size_nm=phase.domain_size_nm, lattice_spread=phase.lattice_spread,
                    microstrain_lorentz=phase.microstrain_lorentz, displacement_mm=sample.displacement_mm,
                    specimen_length_mm=sample.specimen_length_mm, attenuation=sample.attenuation_per_mm,
                )  # fmt: skip
    return total


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
    bragg = _bragg(sample, instrument, tuple(grid), table)
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
