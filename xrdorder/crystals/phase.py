"""What is known of a phase: `Phase`, its `Site` entries and its `Order`."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import gemmi
import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.crystals.unit_cell import cell_volume
from xrdorder.exceptions import PhaseError

Array = NDArray[np.float64]

#: Avogadro constant, exact in the SI of 2019, 1/mol.
AVOGADRO = 6.02214076e23


@dataclass(frozen=True, eq=False)
class Site:
    """One crystallographic site with all its equivalent positions.

    Attributes
    ----------
    label : str
        Name within the phase, as a rule the Wyckoff letter with multiplicity, "6c".
    positions : ndarray, shape (m, 3)
        Fractional coordinates of all equivalent positions in the cell.
    occupancy : mapping
        Mean number of atoms of each element on one position, ``{"Nb": 0.98, "Sn": 0.02}``.
    b_iso_nm2 : float
        Isotropic displacement parameter B in exp(-B s²), nm².
    b_iso_bounds_nm2 : tuple of float
        Between which values B may be fitted, nm².
    """

    label: str
    positions: Array
    occupancy: Mapping[str, float]
    b_iso_nm2: float
    b_iso_bounds_nm2: tuple[float, float]


@dataclass(frozen=True)
class Order:
    """Between which sublattices, and of which elements, long-range order is measured.

    Attributes
    ----------
    sites : tuple of str
        Labels of the two sites, ("2a", "6c").
    elements : tuple of str
        Which element belongs on each, ("Sn", "Nb").
    """

    sites: tuple[str, str]
    elements: tuple[str, str]


@dataclass(frozen=True, eq=False)
class Phase:
    """A crystalline phase as the fit needs it.

    Attributes
    ----------
    name, title : str
        Name in the catalogue, and in words.
    space_group, system : str
        Hermann-Mauguin symbol with its setting, and crystal system.
    lengths_nm, lengths_low_nm, lengths_high_nm : tuple of float
        Free lengths (see `xrdorder.crystals.free_lengths`) and the range in which they are looked for, nm.
    angles_deg : tuple of float
        Cell angles, degree; held.
    sites : tuple of Site
        The atoms; none where only the lattice is known, see `free_intensities`.
    order : Order or None
        What order means in this phase.
    thermal_expansion_per_k : float or None
        Linear expansion coefficient near room temperature, 1/K.
    source : str
        Where structure and numbers come from.
    d_min_nm : float or None
        Of a phase without atoms: smallest spacing of which lines are used, nm. None for all others.
    """

    name: str
    title: str
    space_group: str
    system: str
    lengths_nm: tuple[float, ...]
    lengths_low_nm: tuple[float, ...]
    lengths_high_nm: tuple[float, ...]
    angles_deg: tuple[float, float, float]
    sites: tuple[Site, ...]
    order: Order | None
    thermal_expansion_per_k: float | None
    source: str
    d_min_nm: float | None = None

    @property
    def free_intensities(self) -> bool:
        """Whether no atoms are known: lines have their places, but each an intensity of its own."""
        return not self.sites

    def cell_volume_nm3(self, lengths: ArrayLike | None = None) -> float:
        """Return the cell volume in nm³, of other free lengths (nm) when given."""
        return cell_volume(self.system, self.lengths_nm if lengths is None else lengths, self.angles_deg)

    def atoms_per_cell(self) -> dict[str, float]:
        """Return how many atoms of each element are in a cell; PhaseError if its atoms are not known."""
        if self.free_intensities:
            raise PhaseError(
                f"phase {self.name}: no atoms are known of it, so density, intensities and shares cannot be "
                "calculated; give a phase file with [[sites]] or a CIF with atoms"
            )
        atoms: dict[str, float] = {}
        for site in self.sites:
            for element, share in site.occupancy.items():
                atoms[element] = atoms.get(element, 0.0) + share * len(site.positions)
        return atoms

    def density_g_cm3(self, lengths: ArrayLike | None = None) -> float:
        """Return the X-ray density in g/cm³, of other free lengths (nm) when given; PhaseError without atoms."""
        mass = sum(count * gemmi.Element(element).weight for element, count in self.atoms_per_cell().items())
        return float(mass / AVOGADRO / (self.cell_volume_nm3(lengths) * 1e-21))

    def site(self, label: str) -> Site:
        """Return the site of that label; PhaseError if there is none."""
        for site in self.sites:
            if site.label == label:
                return site
        raise PhaseError(f"phase {self.name} has no site '{label}'")

    def with_occupancies(self, occupancies: Mapping[str, Mapping[str, float]]) -> "Phase":
        """Return the phase with other occupancies on the labelled sites."""
        for label in occupancies:
            self.site(label)
        sites = tuple(replace(s, occupancy=dict(occupancies.get(s.label, s.occupancy))) for s in self.sites)
        return replace(self, sites=sites)
