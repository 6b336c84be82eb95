"""Which lines a powder of a phase has."""

from dataclasses import dataclass
from functools import lru_cache

import gemmi
import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.crystals.symmetry import space_group
from xrdorder.crystals.unit_cell import all_lengths, inverse_d_squared
from xrdorder.exceptions import ValidityError

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Reflections:
    """Symmetry-merged reflections, sorted by falling d.

    Attributes
    ----------
    hkl : ndarray of int, shape (n, 3)
        One representative of each form.
    multiplicity : ndarray of int, shape (n,)
        How many reflections, Friedel mates included, stand together in the powder line.
    """

    hkl: NDArray[np.int64]
    multiplicity: NDArray[np.int64]


def _customary(form: set[tuple[int, int, int]]) -> tuple[int, int, int]:
    # As written by hand: few minus signs, large indices first; 2 1 0, and 0 1 2 of corundum.
    return max(form, key=lambda hkl: (sum(i >= 0 for i in hkl), hkl))


def reflections(
    group_name: str,
    system: str,
    lengths: ArrayLike,
    angles_deg: ArrayLike,
    d_min_nm: float,
) -> Reflections:
    """Return the lines of a phase down to a spacing, without those symmetry forbids.

    Forms that merely share a spacing (330 and 411, or 210 and 120 in m-3) stay apart: their intensities
    differ.

    Parameters
    ----------
    group_name : str
        Space group, "P m -3 n".
    system : str
        Crystal system, see `xrdorder.crystals.free_lengths`.
    lengths : array_like, shape (k,)
        Free lengths, nm.
    angles_deg : array_like, shape (3,)
        Cell angles, degree.
    d_min_nm : float
        Smallest spacing, nm.

    Returns
    -------
    Reflections
        Sorted by falling d; n may be 0.

    Raises
    ------
    PhaseError
        If the space group or the system is not known.
    ValidityError
        If `d_min_nm` is not positive.

    Examples
    --------
    >>> found = reflections("P m -3 n", "cubic", [0.529], (90, 90, 90), 0.2)
    >>> [tuple(map(int, hkl)) for hkl in found.hkl], found.multiplicity.tolist()
    ([(1, 1, 0), (2, 0, 0), (2, 1, 0), (2, 1, 1)], [12, 6, 24, 24])
    """
    if not d_min_nm > 0.0:
        raise ValidityError(f"smallest spacing {d_min_nm} nm must be positive")
    cell = (np.asarray(values, dtype=np.float64).ravel().tolist() for values in (lengths, angles_deg))
    return _reflections(group_name, system, *map(tuple, cell), float(d_min_nm))


@lru_cache(maxsize=256)
def _reflections(
    group_name: str, system: str, lengths: tuple[float, ...], angles_deg: tuple[float, ...], d_min_nm: float
) -> Reflections:
    """The work of `reflections`; a batch asks for the same cells again and again."""
    group = space_group(group_name)
    sides = 10.0 * all_lengths(system, lengths)
    angles = np.asarray(angles_deg, dtype=np.float64)
    unique = gemmi.make_miller_array(gemmi.UnitCell(*sides, *angles), group, 10.0 * d_min_nm)
    rotations = [np.array(op.rot) // op.DEN for op in group.operations().sym_ops]
    hkl = np.zeros((len(unique), 3), dtype=np.int64)
    multiplicity = np.zeros(len(unique), dtype=np.int64)
    for row, index in enumerate(np.asarray(unique, dtype=np.int64)):
        # A reflection turns with the transposed rotation.
        images = [tuple(int(i) for i in index @ rotation) for rotation in rotations]
        form = {(h, k, m) for h, k, m in images} | {(-h, -k, -m) for h, k, m in images}
        hkl[row], multiplicity[row] = _customary(form), len(form)
    if len(hkl) == 0:
        return Reflections(hkl, multiplicity)
    inverse, _ = inverse_d_squared(system, hkl, lengths, angles)
    order = np.lexsort((*(-hkl.T[::-1]), np.round(inverse, 9)))
    return Reflections(hkl[order], multiplicity[order])
