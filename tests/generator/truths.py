"""The truth about a specimen: phases, lattices, widths, mount."""

import math
import zlib
from dataclasses import dataclass, replace

import numpy as np

from .absorption import Roughness, capillary_factor, plate_factor
from .cells import Array, Cell, Fibre, dispersion, f0
from .distributions import LatticeComponent, LatticeDistribution
from .optics import InstrumentTruth, Mount, caught_by_specimen
from .sizes import Sizes

REFERENCE_TEMPERATURE_C = 22.5

# B_iso of the other phases in nm², all from memory of handbook values at room temperature; lattice in nm
# likewise.
_PURE = {
    "nb": ("bcc", "2a", "Nb", 0.0045),
    "ta": ("bcc", "2a", "Ta", 0.0030),
    "cu": ("fcc", "4a", "Cu", 0.0055),
    "si": ("diamond", "8a", "Si", 0.0046),
    "al": ("fcc", "4a", "Al", 0.0080),
    "fe": ("bcc", "2a", "Fe", 0.0035),
}
_BINARY = {  # structure, then site, element and B of both sites
    "nbo": ("nbo", ("3c", "Nb", 0.0040), ("3d", "O", 0.0050)),
    "sic": ("zincblende", ("4a", "Si", 0.0030), ("4c", "C", 0.0030)),
    "nacl": ("rocksalt", ("4a", "Na", 0.0170), ("4b", "Cl", 0.0140)),
}
# Lattice parameters in nm of phases that preparation may leave, from memory of handbooks.
FOREIGN_A_NM = {"nbo": 0.42108, "sic": 0.43596, "nacl": 0.56402, "si": 0.54310, "al": 0.40495, "fe": 0.28665}
COPPER_A_NM = 0.36149
# Copper-tin solid solution: nm per atomic fraction of tin, ± 0.005; from memory.
COPPER_TIN_SLOPE_NM = 0.098


# Nb3Sn, a = slope β + a(0) in nm, β atomic fraction of tin: A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, eq. 2.
A15_SLOPE_NM, A15_INTERCEPT_NM = 0.0136, 0.5256


def a15_lattice_nm(tin_fraction: float) -> float:
    """Lattice parameter of the A15 with this tin content on the published line."""
    return A15_SLOPE_NM * tin_fraction + A15_INTERCEPT_NM


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
    """A phase beside the A15: "cu-sn" (tin content follows from a), "lab6", or a name of the tables above.

    `a_nm` is meant at the temperature of the measurement. `b_iso_nm2` replaces the usual value of the
    first site, `tin_fraction` the tin content of "cu-sn" that follows from a. `lattice` spreads the lattice
    parameter; its mean must be `a_nm`. The microstrain of the direction hkl has a variance ∝ 1 + k (5 G - 1)
    with k = `strain_anisotropy` (-1.5 to 1) and G of `cubic_anisotropy`; `elastic_shift` e moves every d by
    e (1 - 5 G), relative: h00 by e, hhh by -2/3 e, the mean over directions by nothing. A law of `sizes` takes the
    place of `domain_size_nm`, and of those of all components.
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
    lattice: LatticeDistribution | None = None
    strain_anisotropy: float = 0.0
    elastic_shift: float = 0.0
    sizes: Sizes | None = None

    def __post_init__(self) -> None:
        if self.lattice is not None and abs(self.lattice.mean_nm - self.a_nm) > 1e-8:
            raise ValueError(f"{self.name}: the distribution has the mean {self.lattice.mean_nm}, not a_nm")
        if not -1.5 <= self.strain_anisotropy <= 1.0:
            raise ValueError("strain_anisotropy lies between -1.5 and 1")

    @property
    def anisotropic(self) -> bool:
        """Whether reflections of one shell differ."""
        return self.strain_anisotropy != 0.0 or self.elastic_shift != 0.0

    def components(self) -> tuple[LatticeComponent, ...]:
        """Lattice parameters, mass shares and domain sizes, all given."""
        if self.lattice is None:
            return (LatticeComponent(self.a_nm, 1.0, self.domain_size_nm),)
        return tuple(
            one if one.domain_size_nm is not None else replace(one, domain_size_nm=self.domain_size_nm)
            for one in self.lattice.components
        )

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
        if self.name in _BINARY:
            kind, (site, element, b_iso), (other, partner, b_other) = _BINARY[self.name]
            sites = ((site, ((element, 1.0),)), (other, ((partner, 1.0),)))
            return Cell(kind, self.a_nm, sites, ((site, self._b(b_iso)), (other, b_other)))
        kind, site, element, b_iso = _PURE[self.name]
        return Cell(kind, self.a_nm, ((site, ((element, 1.0),)),), ((site, self._b(b_iso)),))

    def _b(self, usual: float) -> float:
        return usual if self.b_iso_nm2 is None else self.b_iso_nm2


@dataclass(frozen=True)
class FewGrains:
    """Coarse powder: each line is that of so few grains that their share of beam and their heights do not average out.

    A grain reflects with an exponential share of the mean, and stands `height_mm` or less above or below the surface;
    `number` of them make a line. What the scatter of heights within a line adds to its width is left out.
    """

    number: int
    height_mm: float
    seed: int

    def line(self, phase: str, shell: float) -> tuple[float, float]:
        """Factor on the intensity of a line, and the height (mm) of its grains."""
        rng = np.random.default_rng([self.seed, zlib.crc32(phase.encode()), round(shell)])
        share = rng.exponential(size=self.number)
        height = rng.uniform(-self.height_mm, self.height_mm, self.number)
        return float(share.mean()), float(share @ height / share.sum())


@dataclass(frozen=True)
class SampleTruth:
    """A specimen of reacted wire; the A15 takes what weight the `others` leave.

    `tin_fraction` β counts tin over all atoms. `order_a` is S_a: the share β (1 - S_a) of the 6c sites
    holds tin. With r_a and r_b the right atoms on 6c and 2a, 3 (1 - r_a) + r_b = 4 β then gives tin on β (1
    + 3 S_a) of the 2a sites. `a_nm` None takes the published line, see `a15_lattice_nm`. `attenuation_per_mm`
    switches the transparency shift on.

    `lattice` spreads the lattice parameter of the A15; its mean replaces `a_nm`. All of it scatters like the mean
    composition unless `tin_follows_lattice`: then β of a component differs from `tin_fraction` as its a does
    from the mean, along the slope of the published line. Anisotropy, elastic shift and sizes as in `PhaseTruth`.
    `depth_nm_per_um` lets the lattice parameter of a thick solid grow with the depth below its surface, where it is
    `lattice_nm`; the weight exp(-2 µz/sinθ) takes µ = `depth_attenuation_per_mm`. `mu_t` belongs to
    transmission, `mu_r` and `capillary_radius_mm` to a capillary, the latter switching shifts by its thickness
    on. Displacements: see `Mount`. Few `grains` hold for all phases, in reflection.
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
    lattice: LatticeDistribution | None = None
    tin_follows_lattice: bool = False
    strain_anisotropy: float = 0.0
    elastic_shift: float = 0.0
    depth_nm_per_um: float = 0.0
    depth_attenuation_per_mm: float | None = None
    roughness: Roughness | None = None
    mu_t: float = 0.0
    mu_r: float = 0.0
    capillary_radius_mm: float | None = None
    displacement_across_mm: float = 0.0
    displacement_along_mm: float = 0.0
    sizes: Sizes | None = None
    grains: FewGrains | None = None

    def __post_init__(self) -> None:
        if self.lattice is not None and self.a_nm is not None:
            raise ValueError("give a_nm or a distribution of it, not both")
        if self.depth_nm_per_um != 0.0 and self.depth_attenuation_per_mm is None:
            raise ValueError("a change with depth needs depth_attenuation_per_mm")

    @property
    def lattice_nm(self) -> float:
        """Lattice parameter of the A15 at 22.5 °C, the mean over mass where it is spread."""
        if self.lattice is not None:
            return self.lattice.mean_nm
        return a15_lattice_nm(self.tin_fraction) if self.a_nm is None else self.a_nm

    @property
    def volume_weighted_nm(self) -> float:
        """Volume-weighted mean length of all columns in the A15: one over the integral breadth of its size broadening.

        Where populations lie on each other their heights add at equal areas, and so do their lengths.
        """
        if self.sizes is not None:
            return self.sizes.volume_weighted_nm
        a15 = self.phases()[0]
        return sum(one.weight * float(one.domain_size_nm or 0.0) for one in a15.components())

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
        expansion = 1.0 + self.thermal_expansion_per_k * (self.temperature_c - REFERENCE_TEMPERATURE_C)
        a15 = PhaseTruth(
            "nb3sn",
            1.0 - sum(phase.weight_fraction for phase in self.others),
            self.lattice_nm * expansion,
            self.domain_size_nm,
            self.lattice_spread,
            self.microstrain_lorentz,
            lattice=None if self.lattice is None else self.lattice.scaled(expansion),
            strain_anisotropy=self.strain_anisotropy,
            elastic_shift=self.elastic_shift,
            sizes=self.sizes,
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

    def component_cells(self, phase: PhaseTruth) -> tuple[Cell, ...]:
        """What scatters in each component of a phase, all at the mean lattice parameter."""
        mean = self.a15_cell(phase.a_nm) if phase.name == "nb3sn" else phase.cell()
        if phase.name != "nb3sn" or self.lattice is None or not self.tin_follows_lattice:
            return (mean,) * len(phase.components())
        tin = [
            self.tin_fraction + (one.a_nm - self.lattice.mean_nm) / A15_SLOPE_NM for one in self.lattice.components
        ]
        return tuple(replace(self, tin_fraction=beta).a15_cell(phase.a_nm) for beta in tin)

    def mount(self, phase: PhaseTruth) -> Mount:
        """Where the specimen stands; the change with depth is the A15's alone."""
        strain_per_mm = 1e3 * self.depth_nm_per_um / phase.a_nm if phase.name == "nb3sn" else 0.0
        return Mount(
            self.displacement_mm,
            self.displacement_across_mm,
            self.displacement_along_mm,
            self.specimen_length_mm,
            self.attenuation_per_mm,
            strain_per_mm,
            self.depth_attenuation_per_mm,
            self.mu_r,
            self.capillary_radius_mm,
        )

    def throughput(self, two_theta: Array, instrument: InstrumentTruth) -> Array:
        """Factor on intensities: beam caught, absorption of plate and capillary, roughness."""
        theta = np.radians(two_theta) / 2.0
        if instrument.geometry == "transmission":
            return plate_factor(theta, self.mu_t)
        if instrument.geometry == "capillary":
            return capillary_factor(theta, self.mu_r)
        caught = caught_by_specimen(two_theta, instrument, self.specimen_length_mm)
        return caught if self.roughness is None else caught * self.roughness.factor(theta)
