"""Cubic harmonics: the functions of direction in which texture of a cubic phase is written.

In symmetric reflection every line is seen by the crystallites whose planes lie in the surface, whatever the texture
looks like otherwise. So one function of direction, the inverse pole figure of the surface normal, changes the
intensities; with cubic symmetry it is a series in the invariants of x, y, z that are orthogonal on the sphere
(F. C. von der Lage, H. A. Bethe, Phys. Rev. 71 (1947) 612; H. J. Bunge, Texture Analysis in Materials Science, 1982;
both from memory). Here they come out of their definition: x^4+y^4+z^4, x^2 y^2 z^2 and the square of the first, made
orthogonal to each other and to one, and given unit mean square, so that coefficients of all orders compare.
"""

from functools import lru_cache
from math import prod

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

TEXTURE_ORDERS = (4, 6, 8)

# Invariants as sums of monomials x^2a y^2b z^2c: {(a, b, c): coefficient}; one for each order, 0 first.
_INVARIANTS: tuple[dict[tuple[int, int, int], float], ...] = (
    {(0, 0, 0): 1.0},
    {(2, 0, 0): 1.0, (0, 2, 0): 1.0, (0, 0, 2): 1.0},
    {(1, 1, 1): 1.0},
    {(4, 0, 0): 1.0, (0, 4, 0): 1.0, (0, 0, 4): 1.0, (2, 2, 0): 2.0, (2, 0, 2): 2.0, (0, 2, 2): 2.0},
)


def cubic_harmonic(order: int, hkl: ArrayLike) -> Array:
    """Cubic harmonic of a direction, normalised to a mean square of one over the sphere.

    Parameters
    ----------
    order
        4, 6 or 8.
    hkl
        Directions (Miller indices of a cubic phase), shape (n, 3); their length does not matter.

    Returns
    -------
    Array
        Shape (n,).

    Examples
    --------
    Up to its normalisation the fourth order is x^4 + y^4 + z^4 - 3/5: the same for (110) and (211).

    >>> k = cubic_harmonic(4, [[1, 0, 0], [1, 1, 0], [2, 1, 1], [1, 1, 1]])
    >>> [float(round(v / k[0], 6)) for v in k]
    [1.0, -0.25, -0.25, -0.666667]
    """
    directions = np.atleast_2d(np.asarray(hkl, dtype=np.float64))
    row = _coefficients()[TEXTURE_ORDERS.index(order) + 1]
    return np.asarray(row[: len(_INVARIANTS)] @ _invariants(directions.tobytes()))


@lru_cache(maxsize=64)
def _invariants(directions: bytes) -> Array:
    """Invariants of directions, given as the bytes of an array (n, 3), shape (invariants, n); all orders share them."""
    squares = np.frombuffer(directions).reshape(-1, 3) ** 2
    squares = squares / np.sum(squares, axis=1, keepdims=True)
    return np.array(
        [
            sum(weight * np.prod(squares ** np.array(powers), axis=1) for powers, weight in invariant.items())
            for invariant in _INVARIANTS
        ]
    )


def fourth_order_sum(hkl: ArrayLike) -> Array:
    """Return G = (h²k² + k²l² + l²h²) / (h² + k² + l²)², on which elastic properties of cubic crystals depend.

    Parameters
    ----------
    hkl
        Directions, shape (n, 3).

    Returns
    -------
    Array
        Shape (n,): 0 along (100), 1/4 along (110), 1/3 along (111), 1/5 on average over the sphere.

    Examples
    --------
    >>> fourth_order_sum([[2, 0, 0], [1, 1, 0]]).tolist()
    [0.0, 0.25]
    """
    squares = np.atleast_2d(np.asarray(hkl, dtype=np.float64)) ** 2
    pairs = squares * np.roll(squares, 1, axis=1)
    return np.asarray(pairs.sum(axis=1) / squares.sum(axis=1) ** 2)


def _sphere_mean(a: int, b: int, c: int) -> float:
    """Mean of x^2a y^2b z^2c over the unit sphere: (2a-1)!! (2b-1)!! (2c-1)!! / (2(a+b+c)+1)!!."""

    def odd(n: int) -> int:
        return prod(range(1, 2 * n, 2))

    return odd(a) * odd(b) * odd(c) / odd(a + b + c + 1)


@lru_cache(maxsize=1)
def _coefficients() -> Array:
    """Rows: orthonormal harmonics of order 0, 4, 6, 8 in terms of the invariants (Gram and Schmidt)."""
    n = len(_INVARIANTS)
    gram = np.zeros((n, n))
    for i, left in enumerate(_INVARIANTS):
        for j, right in enumerate(_INVARIANTS):
            gram[i, j] = sum(
                u * v * _sphere_mean(p[0] + q[0], p[1] + q[1], p[2] + q[2])
                for p, u in left.items()
                for q, v in right.items()
            )
    # with gram = L L', the rows of L^-1 are the orthonormal combinations, each of its own and lower orders
    return np.asarray(np.linalg.inv(np.linalg.cholesky(gram)))
