"""Where lines stand: spacings of any lattice, with their derivatives.

One formula serves all crystal systems. With the angles held, the reciprocal metric is K_ij/(a_i a_j), where
K is the inverse of the matrix of cosines between the axes, so that

    1/d² = sum_ij h_i h_j K_ij / (a_i a_j)

and the derivative by each length follows without a case per system. Lengths that symmetry ties together (all
three of a cubic cell) share one free length.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import PhaseError

Array = NDArray[np.float64]

#: Of each system: the names of its free lengths, and which of them is axis 1, 2 and 3.
_TIES: dict[str, tuple[tuple[str, ...], tuple[int, int, int]]] = {
    "cubic": (("a",), (0, 0, 0)),
    "tetragonal": (("a", "c"), (0, 0, 1)),
    "hexagonal": (("a", "c"), (0, 0, 1)),
    "trigonal": (("a", "c"), (0, 0, 1)),
    "rhombohedral": (("a",), (0, 0, 0)),
    "orthorhombic": (("a", "b", "c"), (0, 1, 2)),
    "monoclinic": (("a", "b", "c"), (0, 1, 2)),
    "triclinic": (("a", "b", "c"), (0, 1, 2)),
}


def _tie(system: str) -> tuple[tuple[str, ...], tuple[int, int, int]]:
    try:
        return _TIES[system]
    except KeyError:
        raise PhaseError(f"crystal system '{system}' is not one of {', '.join(_TIES)}") from None


def free_lengths(system: str) -> tuple[str, ...]:
    """Return the names of the independent cell lengths of a crystal system.

    Parameters
    ----------
    system : str
        "cubic", "tetragonal", "hexagonal", "trigonal" (hexagonal axes), "rhombohedral" (trigonal on
        rhombohedral axes), "orthorhombic", "monoclinic", "triclinic".

    Raises
    ------
    PhaseError
        If there is no such system.

    Examples
    --------
    >>> free_lengths("trigonal")
    ('a', 'c')
    """
    return _tie(system)[0]


def all_lengths(system: str, lengths: ArrayLike) -> Array:
    """Return the three cell lengths (3,) that the free lengths (k,) stand for; same unit."""
    names, axes = _tie(system)
    free = np.asarray(lengths, dtype=np.float64)
    if free.shape != (len(names),):
        raise PhaseError(f"a {system} cell has the lengths {', '.join(names)}: {free.size} given")
    return free[list(axes)]


def _cosines(angles_deg: ArrayLike) -> Array:
    alpha, beta, gamma = np.cos(np.radians(np.asarray(angles_deg, dtype=np.float64)))
    return np.array([[1.0, gamma, beta], [gamma, 1.0, alpha], [beta, alpha, 1.0]])


@lru_cache(maxsize=64)
def _inverse_cosines(angles_deg: tuple[float, ...]) -> Array:
    return np.asarray(np.linalg.inv(_cosines(angles_deg)))


def inverse_d_squared(
    system: str, hkl: ArrayLike, lengths: ArrayLike, angles_deg: ArrayLike = (90.0, 90.0, 90.0)
) -> tuple[Array, Array]:
    """Return 1/d² of reflections and its derivative by the free lengths.

    Parameters
    ----------
    system : str
        Crystal system, see `free_lengths`.
    hkl : array_like, shape (n, 3)
        Miller indices.
    lengths : array_like, shape (k,)
        Free lengths, nm.
    angles_deg : array_like, shape (3,)
        Cell angles α, β, γ, degree; held. Hexagonal and trigonal cells need (90, 90, 120).

    Returns
    -------
    value : ndarray, shape (n,)
        1/d², 1/nm².
    derivative : ndarray, shape (n, k)
        d(1/d²)/d(length), 1/nm³.

    Raises
    ------
    PhaseError
        If the number of lengths does not fit the system.

    Examples
    --------
    For a cubic cell 1/d² = (h² + k² + l²)/a², so its derivative is -2/a of it:

    >>> value, derivative = inverse_d_squared("cubic", [[2, 1, 1]], [0.529])
    >>> print(f"{1 / value[0] ** 0.5:.5f} {derivative[0, 0] / value[0] * 0.529:.1f}")
    0.21596 -2.0
    """
    names, axes = _tie(system)
    sides = all_lengths(system, lengths)
    indices = np.atleast_2d(np.asarray(hkl, dtype=np.float64))
    if system == "cubic":
        value = np.einsum("ij,ij->i", indices, indices) / sides[0] ** 2
        return value, (-2.0 / sides[0] * value)[:, None]
    reduced = indices / sides
    mixed = reduced @ _inverse_cosines(tuple(map(float, np.asarray(angles_deg))))
    terms = reduced * mixed
    derivative = np.zeros((len(terms), len(names)))
    for axis, owner in enumerate(axes):
        derivative[:, owner] -= 2.0 * terms[:, axis] / sides[axis]
    return terms.sum(axis=1), derivative


def cell_volume(system: str, lengths: ArrayLike, angles_deg: ArrayLike = (90.0, 90.0, 90.0)) -> float:
    """Return the cell volume in nm³.

    Parameters are those of `inverse_d_squared`.

    Examples
    --------
    >>> print(f"{cell_volume('hexagonal', [1.0, 1.0], (90, 90, 120)):.4f}")
    0.8660
    """
    return float(np.prod(all_lengths(system, lengths)) * np.sqrt(np.linalg.det(_cosines(angles_deg))))
