"""How is a sum over very many shifts made short without losing anything that a line could show?"""

import numpy as np
from scipy.linalg import eigh_tridiagonal

from .cells import Array


def condense(shift: Array, weight: Array, nodes: int) -> tuple[Array, Array]:
    """At most `nodes` shifts and positive weights with the same moments up to 2 `nodes` - 1.

    Gauss quadrature belonging to a sum of points: the recursion of its orthogonal polynomials (Lanczos, kept
    orthogonal by force), whose tridiagonal matrix has the new shifts as eigenvalues (G. H. Golub, J. H.
    Welsch, Math. Comput. 23 (1969) 221).
    """
    if len(shift) <= nodes:
        return shift, weight
    mass = weight.sum()
    mean = (weight @ shift) / mass
    reach = np.abs(shift - mean).max()
    if reach == 0.0:
        return np.array([mean]), np.array([mass])
    x = (shift - mean) / reach
    basis = [np.sqrt(weight / mass)]
    diagonal, beside = [], []
    while True:
        image = x * basis[-1]
        diagonal.append(float(image @ basis[-1]))
        if len(diagonal) == nodes:
            break
        known = np.array(basis)
        for _ in range(2):
            image = image - (known @ image) @ known
        length = float(np.linalg.norm(image))
        if length < 1e-7:  # no more than this many different shifts
            break
        beside.append(length)
        basis.append(image / length)
    values, vectors = eigh_tridiagonal(np.array(diagonal), np.array(beside))
    return mean + reach * values, mass * vectors[0] ** 2


def combine(first: tuple[Array, Array], second: tuple[Array, Array]) -> tuple[Array, Array]:
    """Every shift of one with every shift of the other: both act on a line, one after the other."""
    return (first[0][:, None] + second[0]).ravel(), (first[1][:, None] * second[1]).ravel()


def rms(shift: Array, weight: Array) -> float:
    """Standard deviation of weighted shifts."""
    mean = (weight @ shift) / weight.sum()
    return float(np.sqrt((weight @ (shift - mean) ** 2) / weight.sum()))
