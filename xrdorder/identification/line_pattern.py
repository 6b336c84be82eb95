"""What a search for the origin of unindexed lines knows of the pattern they stand in."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from xrdorder.identification.peak_search import UNINDEXED_SIGNIFICANCE, UnindexedLine
from xrdorder.xrays import Radiation

Array = NDArray[np.float64]

TOLERANCE_WIDTHS = 0.7  # an unindexed line is located to a fraction of its width; own choice
REACH_WIDTHS = 2.5  # nearer to a line of a phase no unindexed one is seen; `peak_search` looks from two widths on


class PresentLines(NamedTuple):
    """Lines of a phase that is in the fit, as the fit has them.

    Attributes
    ----------
    name : str
        Of the phase, as in the catalogue.
    hkl : ndarray of int, shape (n, 3)
        Miller indices.
    d_nm : ndarray, shape (n,)
        Spacings, nm.
    two_theta : ndarray, shape (n,)
        Where the pattern has them with the reference wavelength, all shifts included, degrees.
    height : ndarray, shape (n,)
        Height over background, counts.
    """

    name: str
    hkl: NDArray[np.int64]
    d_nm: Array
    two_theta: Array
    height: Array

    @property
    def labels(self) -> list[str]:
        """Phase and indices of each line, as "nb3sn 2 1 1"."""
        return [line_label(self.name, hkl) for hkl in self.hkl]


def line_label(phase_name: str, hkl: NDArray[np.int64]) -> str:
    """Phase and indices of a line, as "nb3sn 2 1 1"."""
    return f"{phase_name} {' '.join(str(index) for index in hkl)}"


def bragg_angle(d_nm: Array, wavelength_nm: float) -> Array:
    """Bragg angles 2 theta in degrees; 180 for spacings too small to reflect.

    >>> print(f"{bragg_angle(np.array([0.216]), 0.154059)[0]:.2f}")
    41.79
    """
    return np.asarray(2.0 * np.degrees(np.arcsin(np.minimum(0.5 * wavelength_nm / d_nm, 1.0))))


@dataclass(frozen=True)
class LinePattern:
    """Unindexed lines of a pattern beside the lines of its known phases.

    Parameters
    ----------
    unindexed
        Lines of unknown origin.
    present
        Lines of the phases in the fit: they hide others, have counterparts in other emission lines, and tell the
        shift of the angles.
    radiation
        Main radiation; its anode says which contaminating lines there may be.
    two_theta_range
        First and last angle of the pattern, degrees.
    width_deg
        Full width of a typical line.
    """

    unindexed: Sequence[UnindexedLine]
    present: Sequence[PresentLines]
    radiation: Radiation
    two_theta_range: tuple[float, float]
    width_deg: float

    @cached_property
    def angle(self) -> Array:
        """Angles of the unindexed lines, degrees."""
        return np.array([line.two_theta for line in self.unindexed])

    @cached_property
    def height(self) -> Array:
        """Heights of the unindexed lines, counts."""
        return np.array([line.height_counts for line in self.unindexed])

    @cached_property
    def weakest_height(self) -> float:
        """Height that an unindexed line typically needs to be found, counts: of lines of that significance."""
        ratios = [line.height_counts / line.significance for line in self.unindexed]
        return UNINDEXED_SIGNIFICANCE * float(np.median(ratios))

    @cached_property
    def _present_angle(self) -> Array:
        return np.concatenate([lines.two_theta for lines in self.present] or [np.zeros(0)])

    @cached_property
    def _shifts(self) -> tuple[Array, Array]:
        """Bragg angles of the present lines, ascending, and how far each line stands from its own."""
        d_nm = np.concatenate([lines.d_nm for lines in self.present] or [np.zeros(0)])
        order = np.argsort(self._present_angle)
        bragg = bragg_angle(d_nm[order], self.radiation.wavelength_nm)
        return bragg, self._present_angle[order] - bragg

    def shift(self, bragg: Array) -> Array:
        """How far lines stand from these Bragg angles by offset, displacement and the rest, degrees."""
        known, shifts = self._shifts
        return np.asarray(np.interp(bragg, known, shifts)) if len(known) else np.zeros_like(bragg)

    def visible(self, two_theta: Array) -> NDArray[np.bool_]:
        """Tell at which angles an unindexed line would be seen: inside the range, hidden by no line of a phase."""
        low, high = self.two_theta_range
        distance = np.abs(two_theta[:, None] - self._present_angle[None, :])
        hidden = (distance < REACH_WIDTHS * self.width_deg).any(axis=1)
        return np.asarray((two_theta > low) & (two_theta < high) & ~hidden)
