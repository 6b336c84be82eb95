"""The strain-free lattice parameter from several directions of the scattering vector.

A strain along the axis of the wire, with free transverse contraction, changes the lattice parameter seen at the angle
psi to the axis by

    a(psi) = a_0 (1 + e (cos² psi - nu sin² psi)) = a_0 (1 + e - e (1 + nu) sin² psi),

a straight line in sin² psi, which passes through the strain-free value where sin² psi = 1/(1 + nu). It says nothing
about a stress in the plane of a polished surface, whose line passes through the strain-free value elsewhere.
sin² psi methods: I. C. Noyan, J. B. Cohen, Residual Stress (1987), from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import ValidityError
from xrdorder.files import read_text
from xrdorder.material.lattice_strain import POISSON, U_POISSON
from xrdorder.material.specimen import LARGEST_STRAIN
from xrdorder.material.tin_scale_files import table_row
from xrdorder.quantities.formatting import with_sign

Array = NDArray[np.float64]

LEAST_SPAN = 0.1
"""Least range of sin² psi that tells a slope from an error of adjustment (judged): 0 to 18 degrees, or 72 to 90."""


@dataclass(frozen=True)
class StrainFree:
    """What several directions say about lattice and strain.

    Attributes
    ----------
    a_nm, u_a_nm : float
        Strain-free lattice parameter and its standard uncertainty (that of Poisson's ratio included), nm.
    weights : array, n
        Derivatives of `a_nm` by each lattice parameter, to carry common uncertainties through; they add up to one.
    by_poisson : float
        Change of `a_nm` by unit Poisson's ratio, nm.
    axial_strain, u_axial_strain : float
        Strain along the axis of the wire and its standard uncertainty.
    pulls : array, n
        Residuals of the line over the uncertainties given; zero with two directions.
    enlarged : float
        Factor by which the uncertainties were enlarged because the directions scatter about the line by more than they
        should (root of the reduced chi square where it is above one; the usual Birge ratio).
    poisson, u_poisson : float
    """

    a_nm: float
    u_a_nm: float
    weights: Array
    by_poisson: float
    axial_strain: float
    u_axial_strain: float
    pulls: Array
    enlarged: float
    poisson: float
    u_poisson: float

    def strain_at(self, angle_deg: float) -> tuple[float, float]:
        """Strain along a scattering vector at this angle to the axis, and its standard uncertainty.

        Poisson's ratio moves the strain-free lattice, and with it the strain in all directions alike.
        """
        share = math.cos(math.radians(angle_deg)) ** 2 - self.poisson * math.sin(math.radians(angle_deg)) ** 2
        by_poisson = self.axial_strain * self.u_poisson / (1.0 + self.poisson)
        measured = math.sqrt(max(self.u_axial_strain**2 - by_poisson**2, 0.0))
        return self.axial_strain * share, math.hypot(measured * share, by_poisson)


def strain_free_from_tilts(
    psi_deg: ArrayLike,
    a_nm: ArrayLike,
    u_a_nm: ArrayLike,
    poisson: float = POISSON,
    u_poisson: float = U_POISSON,
) -> StrainFree:
    """Find the strain-free lattice from the line through lattice parameters over sin² psi.

    Parameters
    ----------
    psi_deg : array_like, n >= 2
        Angles between scattering vector and axis of the wire, degrees.
    a_nm, u_a_nm : array_like, n
        Lattice parameters and the standard uncertainties that no two share, nm.
    poisson, u_poisson : float, optional
        Poisson's ratio of the A15 and its standard uncertainty.

    Raises
    ------
    ValidityError
        The directions are too close together, a number cannot be, or the strain found is none that an A15 can hold.

    Examples
    --------
    >>> measured = strain_free_from_tilts((0.0, 90.0), (0.527744, 0.529181), (3e-6, 3e-6), poisson=0.36)
    >>> print(f"{measured.a_nm:.5f} {100 * measured.axial_strain:.2f}")
    0.52880 -0.20
    """
    psi, a, u = (np.atleast_1d(np.asarray(x, dtype=np.float64)) for x in (psi_deg, a_nm, u_a_nm))
    _check(psi, a, u, poisson, u_poisson)
    x = np.sin(np.radians(psi)) ** 2
    weights = 1.0 / u**2
    middle = float(weights @ x / weights.sum())
    # Rows: how mean and slope of the weighted line follow from the lattice parameters.
    to_mean = weights / weights.sum()
    to_slope = weights * (x - middle) / float(weights @ (x - middle) ** 2)
    slope, mean = float(to_slope @ a), float(to_mean @ a)
    free_at = 1.0 / (1.0 + poisson)
    rows = to_mean + (free_at - middle) * to_slope
    a_free = float(rows @ a)
    by_poisson = -slope * free_at**2
    strain = -slope * free_at / a_free
    if abs(strain) > LARGEST_STRAIN:
        raise ValidityError(
            f"strain-free lattice: the axial strain would be {with_sign(100 * strain, '.1f')} %, which no A15 holds "
            f"(± {100 * LARGEST_STRAIN:g} %); check lattice parameters and angles"
        )
    pulls = (a - mean - slope * (x - middle)) / u if len(a) > 2 else np.zeros(len(a))
    enlarged = max(1.0, math.sqrt(float(np.sum(pulls**2)) / (len(a) - 2))) if len(a) > 2 else 1.0
    u = enlarged * u
    u_strain = math.hypot(
        float(np.sqrt(np.sum((to_slope * u) ** 2))) * free_at / a_free, strain * free_at * u_poisson
    )
    return StrainFree(
        a_free,
        math.hypot(float(np.sqrt(np.sum((rows * u) ** 2))), by_poisson * u_poisson),
        rows,
        by_poisson,
        strain,
        u_strain,
        pulls,
        enlarged,
        poisson,
        u_poisson,
    )


COLUMNS = ("angle_deg", "a_nm", "u_a_nm")
"""Columns of a table of directions; others are passed over."""


def read_directions(path: Path | str) -> tuple[Array, Array, Array]:
    """Read angles (degrees), lattice parameters and their uncertainties (nm) from a CSV with the columns `COLUMNS`.

    Raises
    ------
    ValidityError
        The file cannot be read, a column is missing or a number is none; the message names the line.
    """
    path = Path(path)
    try:
        text = read_text(path)
    except UnicodeDecodeError as error:
        raise ValidityError(f"{path}: is no text in UTF-8; save it as plain text") from error
    except OSError as error:
        raise ValidityError(f"{path}: cannot be read ({error.strerror}); check the path") from error
    lines = [(k, line) for k, line in enumerate(text.splitlines(), 1) if line.strip() and not line.startswith("#")]
    rows = [(k, table_row(path, k, line)) for k, line in lines]
    header = rows[0][1] if rows else []
    for column in COLUMNS:
        if column not in header:
            raise ValidityError(f"{path}: there is no column {column}; the columns are {', '.join(COLUMNS)}")
    numbers = []
    for line, row in rows[1:]:
        if len(row) != len(header):
            raise ValidityError(
                f"{path}: line {line} has {len(row)} cells, the head {len(header)}; decimals are written with a point"
            )
        cells = dict(zip(header, row, strict=True))
        try:
            numbers.append([float(cells[column]) for column in COLUMNS])
        except ValueError as error:
            raise ValidityError(f"{path}: line {line}: {error}; give numbers") from error
    angles, a, u = np.array(numbers, dtype=np.float64).reshape(-1, 3).T
    return angles, a, u


def _check(psi: Array, a: Array, u: Array, poisson: float, u_poisson: float) -> None:
    if not psi.shape == a.shape == u.shape or psi.ndim != 1:
        raise ValidityError("strain-free lattice: give as many angles as lattice parameters and uncertainties")
    if len(psi) < 2:
        raise ValidityError("strain-free lattice: needs two directions at least; one does not tell strain from tin")
    for what, column, low, high, hint in (
        ("angle to the wire axis", psi, 0.0, 90.0, "give degrees between 0 (along the wire) and 90"),
        ("lattice parameter", a, 0.51, 0.55, "give nm, for Nb3Sn near 0.529"),
        ("uncertainty of the lattice parameter", u, 1e-9, 0.01, "give nm, above zero"),
    ):
        bad = column[~((column >= low) & (column <= high))]
        if bad.size:
            raise ValidityError(f"strain-free lattice: {what} is {bad[0]:g}; {hint}")
    if not (0.0 <= poisson <= 0.5 and 0.0 <= u_poisson <= 0.5):
        raise ValidityError(f"Poisson's ratio is {poisson:g} ± {u_poisson:g}; give 0 to 0.5")
    span = float(np.ptp(np.sin(np.radians(psi)) ** 2))
    if span < LEAST_SPAN:
        raise ValidityError(
            f"strain-free lattice: directions lie too close together (sin² of the angles spans {span:.2f}, needed is "
            f"{LEAST_SPAN:g}); measure along and across the wire"
        )
