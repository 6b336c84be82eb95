"""Where are the atoms, and how strong is a line? Explicit sums over hand-written cubic cells."""

import itertools
from dataclasses import dataclass
from functools import lru_cache

import gemmi
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CLASSICAL_ELECTRON_RADIUS_NM = 2.8179403e-6  # CODATA 2018
HC_EV_NM = 1239.841857  # CODATA 1998: the scale on which the energies of the emission lines are printed
DALTON_G = 1.66053907e-24  # CODATA 2018

# IUPAC standard atomic weights, rounded.
ATOMIC_WEIGHT = {
    "B": 10.81,
    "C": 12.011,
    "O": 15.999,
    "Na": 22.990,
    "Al": 26.982,
    "Si": 28.085,
    "Cl": 35.45,
    "Ti": 47.867,
    "Fe": 55.845,
    "Cu": 63.546,
    "Nb": 92.906,
    "Sn": 118.710,
    "La": 138.905,
    "Ta": 180.948,
}

# Fractional coordinates of every atom of the cubic cell, by site.
_FCC = ((0.0, 0.0, 0.0), (0.0, 0.5, 0.5), (0.5, 0.0, 0.5), (0.5, 0.5, 0.0))
_BORON_X = 0.1993  # LaB6, boron on (x, 1/2, 1/2); from memory of refinements that give 0.199 to 0.200
POSITIONS: dict[str, dict[str, tuple[tuple[float, float, float], ...]]] = {
    "a15": {
        "2a": ((0.0, 0.0, 0.0), (0.5, 0.5, 0.5)),
        "6c": (
            (0.25, 0.0, 0.5),
            (0.75, 0.0, 0.5),
            (0.5, 0.25, 0.0),
            (0.5, 0.75, 0.0),
            (0.0, 0.5, 0.25),
            (0.0, 0.5, 0.75),
        ),
    },
    "bcc": {"2a": ((0.0, 0.0, 0.0), (0.5, 0.5, 0.5))},
    "fcc": {"4a": _FCC},
    "diamond": {"8a": _FCC + tuple((x + 0.25, y + 0.25, z + 0.25) for x, y, z in _FCC)},
    "rocksalt": {"4a": _FCC, "4b": tuple((x + 0.5, y, z) for x, y, z in _FCC)},
    "zincblende": {"4a": _FCC, "4c": tuple((x + 0.25, y + 0.25, z + 0.25) for x, y, z in _FCC)},
    # NbO, Pm-3m: rocksalt with the corner of one lattice and the centre of the other left out
    "nbo": {"3c": _FCC[1:], "3d": ((0.5, 0.0, 0.0), (0.0, 0.5, 0.0), (0.0, 0.0, 0.5))},
    "lab6": {
        "1a": ((0.0, 0.0, 0.0),),
        "6f": (
            (_BORON_X, 0.5, 0.5),
            (1.0 - _BORON_X, 0.5, 0.5),
            (0.5, _BORON_X, 0.5),
            (0.5, 1.0 - _BORON_X, 0.5),
            (0.5, 0.5, _BORON_X),
            (0.5, 0.5, 1.0 - _BORON_X),
        ),
    },
}


@dataclass(frozen=True)
class Fibre:
    """Texture: how much the directions equivalent to `axis` prefer the normal of the specimen's surface.

    March's function with r below one for a preference, W. A. Dollase, J. Appl. Cryst. 19 (1986) 267 (from memory).
    """

    axis: tuple[int, int, int]
    r: float

    def density(self, points: Array) -> Array:
        """Density of each plane normal over the random one, averaged over all equivalents of the axis."""
        normals = points / np.linalg.norm(points, axis=1, keepdims=True)
        equivalents = {
            tuple(sign * np.array(order))
            for order in itertools.permutations(self.axis)
            for sign in itertools.product((1, -1), repeat=3)
        }
        axes = np.array(sorted(equivalents), dtype=float)
        cosine2 = (normals @ (axes / np.linalg.norm(axes, axis=1, keepdims=True)).T) ** 2
        march = (self.r**2 * cosine2 + (1.0 - cosine2) / self.r) ** -1.5
        return np.asarray(march.mean(axis=1))


@dataclass(frozen=True)
class Cell:
    """One cubic cell: the kind of `POSITIONS`, what sits on each site, and how much it moves.

    `occupancy` holds, per site, (element, share) pairs; `b_iso_nm2` one (site, B) pair per site, B in nm²
    so that the amplitude falls as exp(-B s²) with s = sinθ/λ in 1/nm.
    """

    kind: str
    a_nm: float
    occupancy: tuple[tuple[str, tuple[tuple[str, float], ...]], ...]
    b_iso_nm2: tuple[tuple[str, float], ...]
    fibre: "Fibre | None" = None

    def atoms(self) -> dict[str, float]:
        """Atoms per cell by element."""
        total: dict[str, float] = {}
        for site, mixture in self.occupancy:
            for element, share in mixture:
                total[element] = total.get(element, 0.0) + share * len(POSITIONS[self.kind][site])
        return total

    @property
    def density_g_cm3(self) -> float:
        """X-ray density."""
        mass = sum(ATOMIC_WEIGHT[element] * number for element, number in self.atoms().items())
        return mass * DALTON_G / (self.a_nm * 1e-7) ** 3


def f0(element: str, s_per_nm: Array, table: str) -> Array:
    """Scattering by the electrons at rest, in electrons; `table` is "gemmi" or "xraydb"."""
    s_per_angstrom = s_per_nm / 10.0
    if table == "gemmi":
        coefficients = gemmi.Element(element).it92
        return np.array([coefficients.calculate_sf(stol2=float(s) ** 2) for s in s_per_angstrom])
    if table == "xraydb":
        import xraydb

        return np.asarray(xraydb.f0(element, s_per_angstrom), dtype=float)
    raise ValueError(f"unknown table {table!r}")


@lru_cache(maxsize=1024)
def dispersion(element: str, energy_ev: float, table: str) -> complex:
    """Anomalous part f' + i f'' in electrons."""
    if table == "gemmi":
        return complex(*gemmi.cromer_liberman(z=gemmi.Element(element).atomic_number, energy=energy_ev))
    if table == "xraydb":
        import xraydb

        return complex(
            float(np.squeeze(xraydb.f1_chantler(element, energy_ev))),
            float(np.squeeze(xraydb.f2_chantler(element, energy_ev))),
        )
    raise ValueError(f"unknown table {table!r}")


@lru_cache(maxsize=64)
def lattice_points(largest: int) -> tuple[Array, NDArray[np.intp], Array]:
    """Every integer (h, k, l) with 0 < h² + k² + l² <= `largest`, the shell of each, and the shells."""
    edge = int(np.sqrt(largest)) + 1
    axis = np.arange(-edge, edge + 1)
    points = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1).reshape(-1, 3)
    length = (points**2).sum(axis=1)
    inside = (length > 0) & (length <= largest)
    shells, shell_of = np.unique(length[inside], return_inverse=True)
    return points[inside].astype(float), shell_of, shells.astype(float)


@lru_cache(maxsize=16)
def _phases(kind: str, largest: int) -> dict[str, NDArray[np.complex128]]:
    points, _, _ = lattice_points(largest)
    return {
        site: np.exp(2j * np.pi * points @ np.array(positions).T).sum(axis=1)
        for site, positions in POSITIONS[kind].items()
    }


@lru_cache(maxsize=256)
def _f0_of_shells(element: str, a_nm: float, largest: int, table: str) -> Array:
    _, _, shells = lattice_points(largest)
    return f0(element, np.sqrt(shells) / (2.0 * a_nm), table)


@lru_cache(maxsize=256)
def _point_strengths(cell: Cell, energy_ev: float, largest: int, table: str) -> Array:
    """|F|² of every lattice point, times the density of texture."""
    points, shell_of, shells = lattice_points(largest)
    s = np.sqrt(shells) / (2.0 * cell.a_nm)
    b_iso = dict(cell.b_iso_nm2)
    amplitude = np.zeros(len(shell_of), dtype=complex)
    for site, mixture in cell.occupancy:
        mean = np.zeros(len(shells), dtype=complex)
        for element, share in mixture:
            mean += share * _f0_of_shells(element, cell.a_nm, largest, table)
            mean += share * dispersion(element, energy_ev, table)
        amplitude += _phases(cell.kind, largest)[site] * (mean * np.exp(-b_iso[site] * s**2))[shell_of]
    squares = np.abs(amplitude) ** 2
    if cell.fibre is not None:
        squares *= cell.fibre.density(points)
    return np.asarray(squares)


@lru_cache(maxsize=256)
def line_strengths(cell: Cell, energy_ev: float, largest: int, table: str) -> tuple[Array, Array]:
    """Sum of |F|² over all lattice points of equal h² + k² + l²: multiplicity is counted, not looked up.

    In a cubic crystal such points share one Bragg angle, whether symmetry ties them or not: (330) and (411)
    are one line. Returns h² + k² + l² and the sum, in electrons², of the lines that are not absent.
    """
    _, shell_of, shells = lattice_points(largest)
    squares = _point_strengths(cell, energy_ev, largest, table)
    strength = np.bincount(shell_of, weights=squares, minlength=len(shells))
    present = strength > 1e-9 * strength.max()
    return shells[present], strength[present]


def cubic_anisotropy(points: Array) -> Array:
    """G = (h²k² + k²l² + l²h²) / (h² + k² + l²)²: 0 for h00, 1/3 for hhh, 1/5 in the mean of all directions."""
    h2, k2, l2 = (points**2).T
    return np.asarray((h2 * k2 + k2 * l2 + l2 * h2) / (h2 + k2 + l2) ** 2)


@lru_cache(maxsize=256)
def family_strengths(cell: Cell, energy_ev: float, largest: int, table: str) -> tuple[Array, Array, Array]:
    """Like `line_strengths`, with unlike directions of one shell apart: where elasticity tells (330) from (411).

    Returns h² + k² + l², G of `cubic_anisotropy`, and the sum of |F|².
    """
    points, shell_of, shells = lattice_points(largest)
    squares = _point_strengths(cell, energy_ev, largest, table)
    kind = np.stack([shells[shell_of], np.round(cubic_anisotropy(points), 9)], axis=1)
    families, of = np.unique(kind, axis=0, return_inverse=True)
    strength = np.bincount(of.ravel(), weights=squares, minlength=len(families))
    present = strength > 1e-9 * strength.max()
    return families[present, 0], families[present, 1], strength[present]


def attenuation_per_mm(cell: Cell, energy_ev: float, table: str = "gemmi") -> float:
    """Attenuation of the fully dense phase by the optical theorem, 2 r_e λ Σ f'' / V (photo-absorption)."""
    absorbed = sum(number * dispersion(el, energy_ev, table).imag for el, number in cell.atoms().items())
    return 2.0 * CLASSICAL_ELECTRON_RADIUS_NM * (HC_EV_NM / energy_ev) * absorbed / cell.a_nm**3 * 1e6
