"""What makes the spacing of a plane differ from that of the mean lattice: tin, strain, depth.

Three effects, each one parameter and none in an ideal powder:

- a lopsided distribution of the lattice parameter, as a graded layer has: an exponential tail of decay length t toward
  smaller lattices (larger ones for a negative t). The lattice parameter of the phase stays the mean. Variance and
  heavy flanks of the distribution are in the widths that go with tan(theta); what they cannot imitate is its third
  moment, and that is what t carries (-2 t^3);
- elastic strain of cubic grains held in a composite: d changes by e (1 - 5 G), G the fourth-order sum of the indices,
  the linear dependence on direction of cubic crystals in any average between equal strain and equal stress (A. Reuss,
  Z. angew. Math. Mech. 9 (1929) 49; from memory), here without its mean, which the lattice parameter holds;
- a lattice that changes with depth z below the surface: a thick specimen is seen with the weight
  exp(-2 mu z / sin(theta)), so low angles see the surface and high angles further in, each down to some depth. The
  slope is counted from the mean depth seen at theta = 45 degrees.

Tail and depth share their nodes: both are exponential distributions.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from xrdorder.xrays.attenuation import mean_depth

Array = NDArray[np.float64]

_QUADRATURE = 16  # Gauss-Laguerre nodes: neighbours then are half a decay length apart where most of the weight is
_LEAST_WEIGHT = 1e-4
_REFERENCE_SINE = float(np.sqrt(0.5))


class Nodes(NamedTuple):
    """Nodes x of the density exp(-x), and weights that sum to one; the mean of x is one."""

    x: Array
    weight: Array


@lru_cache(maxsize=1)
def _exponential() -> Nodes:
    x, weight = np.polynomial.laguerre.laggauss(_QUADRATURE)
    x, weight = x[weight > _LEAST_WEIGHT], weight[weight > _LEAST_WEIGHT]
    weight = weight / weight.sum()
    return Nodes(x / float(weight @ x), weight)


_SINGLE = Nodes(np.ones(1), np.ones(1))


class Spacings:
    """Relative changes of the spacings of a phase's lines.

    Parameters
    ----------
    lattice_nm
        Lattice parameter to which lengths are related.
    cubic_departure
        1 - 5 G of each line, shape (n,).
    sine
        sin(theta) of each line, shape (n,).
    attenuation_per_nm
        Of the phase; zero where not known, and depth then plays no part.
    """

    def __init__(
        self, lattice_nm: float, cubic_departure: Array, sine: Array, attenuation_per_nm: float
    ) -> None:
        self._lattice_nm, self._departure = lattice_nm, cubic_departure
        self._mean_depth_nm = np.zeros_like(sine)
        self._reference_nm = 0.0
        if attenuation_per_nm > 0.0:
            self._mean_depth_nm = mean_depth(sine, attenuation_per_nm)
            self._reference_nm = mean_depth(_REFERENCE_SINE, attenuation_per_nm)

    @staticmethod
    def nodes(spread: bool) -> Nodes:
        """Nodes of the distribution: a single one where nothing is spread."""
        return _exponential() if spread else _SINGLE

    def stretch(
        self,
        x: Array,
        tail: tuple[str | None, float],
        elastic: tuple[str | None, float],
        depth: tuple[str | None, float],
    ) -> tuple[Array, dict[str, Array]]:
        """Spacing over that of the mean lattice, shape (n, nodes), and its derivatives by the named parameters.

        Parameters
        ----------
        x
            Nodes, shape (nodes,).
        tail, elastic, depth
            Name and value of decay length (nm), elastic shift of (h00) (relative), and slope of the lattice
            parameter with depth (nm for each nm); a name of None for an effect the phase cannot have.
        """
        n, k = len(self._departure), len(x)
        depth_nm = np.outer(self._mean_depth_nm, x) - self._reference_nm
        by = {
            tail[0]: np.broadcast_to((1.0 - x) / self._lattice_nm, (n, k)),
            elastic[0]: np.broadcast_to(self._departure[:, None], (n, k)),
            depth[0]: depth_nm / self._lattice_nm,
        }
        slopes = {name: slope for name, slope in by.items() if name}
        stretch = np.ones((n, k))
        for name, value in (tail, elastic, depth):
            if name and value != 0.0:
                stretch = stretch + value * slopes[name]
        return stretch, slopes
