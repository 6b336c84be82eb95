"""How large are the domains? Laws of their sizes, and the Fourier coefficients of a line that each makes.

A domain of the size D still overlaps its own ghost, moved by L along the scattering vector, with the share V(L, D) of
its volume; the Fourier coefficient A(L) of the line is the mean of that over volume (A. R. Stokes, A. J. C. Wilson,
Proc. Camb. Phil. Soc. 38 (1942) 313; E. F. Bertaut, Acta Cryst. 3 (1950) 14; both from memory). The line is the
transform of A, its integral breadth in 1/nm is 1 / (2 ∫ A dL): the volume-weighted mean length of columns is one over
it, and the Scherrer constant is one whatever the shape. The slope at L = 0 is minus one over the area-weighted mean
length and makes the far tails.
"""

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.special import erfc

from .cells import Array

SHAPES = ("spheres", "columns")


class Sizes(Protocol):
    """What a line has to know about the sizes of domains."""

    @property
    def volume_weighted_nm(self) -> float:
        """Mean length of columns, each counted with its volume: what the integral breadth gives with K = 1."""

    @property
    def area_weighted_nm(self) -> float:
        """Mean length of columns, each counted with its cross-section: minus one over the slope of A at zero."""

    def fourier(self, length_nm: Array) -> Array:
        """A(L), one at zero."""


@dataclass(frozen=True)
class LognormalSizes:
    """Spheres whose diameters, or columns whose lengths, are lognormal in number.

    ``ln`` of the size scatters by `sigma` about that of the median. Spheres overlap by 1 - 3/2 L/D + 1/2 (L/D)³,
    columns of the length D by 1 - L/D. With moments of the law cut off at L, A is a sum of error functions: J. I.
    Langford, D. Louër, P. Scardi, J. Appl. Cryst. 33 (2000) 964; P. Scardi, M. Leoni, Acta Cryst. A 57 (2001) 604
    (both from memory).
    """

    volume_weighted_nm: float
    sigma: float
    shape: str = "spheres"

    def __post_init__(self) -> None:
        if self.shape not in SHAPES:
            raise ValueError(f"unknown shape {self.shape!r}")
        if not (self.sigma > 0.0 and self.volume_weighted_nm > 0.0):
            raise ValueError("sizes and their scatter are positive")

    @property
    def median_nm(self) -> float:
        """Median of the number of spheres by diameter, or columns by length."""
        if self.shape == "spheres":  # 3/4 of the fourth moment over the third
            return self.volume_weighted_nm * 4.0 / 3.0 * math.exp(-3.5 * self.sigma**2)
        return self.volume_weighted_nm * math.exp(-1.5 * self.sigma**2)  # second moment over the first

    @property
    def area_weighted_nm(self) -> float:
        """See `Sizes`."""
        if self.shape == "spheres":
            return 2.0 / 3.0 * self._moment(3) / self._moment(2)
        return self._moment(1)

    def _moment(self, order: int) -> float:
        return float(self.median_nm**order * math.exp(0.5 * (order * self.sigma) ** 2))

    def fourier(self, length_nm: Array) -> Array:
        """See `Sizes`."""
        length = np.maximum(np.asarray(length_nm, dtype=float), 1e-12 * self.median_nm)
        depth = np.log(length / self.median_nm)

        def beyond(order: int) -> Array:
            """Share of a moment that sizes above L make."""
            return np.asarray(0.5 * erfc((depth - order * self.sigma**2) / (math.sqrt(2.0) * self.sigma)))

        if self.shape == "columns":
            return beyond(1) - length / self._moment(1) * beyond(0)
        third = self._moment(3)
        return (
            beyond(3) - 1.5 * length * self._moment(2) / third * beyond(2) + 0.5 * length**3 / third * beyond(0)
        )


@dataclass(frozen=True)
class MixedSizes:
    """Populations of sizes in one material: (mass share, law) each; the shares are made to sum to one."""

    parts: tuple[tuple[float, LognormalSizes], ...]

    def __post_init__(self) -> None:
        total = sum(share for share, _ in self.parts)
        if not self.parts or min(share for share, _ in self.parts) < 0.0 or total <= 0.0:
            raise ValueError("a mixture needs parts of positive share")
        object.__setattr__(self, "parts", tuple((share / total, law) for share, law in self.parts))

    @property
    def volume_weighted_nm(self) -> float:
        """See `Sizes`."""
        return sum(share * law.volume_weighted_nm for share, law in self.parts)

    @property
    def area_weighted_nm(self) -> float:
        """See `Sizes`."""
        return 1.0 / sum(share / law.area_weighted_nm for share, law in self.parts)

    def fourier(self, length_nm: Array) -> Array:
        """See `Sizes`."""
        return np.asarray(sum(share * law.fourier(length_nm) for share, law in self.parts))
