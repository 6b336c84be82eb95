"""Where a flat specimen in symmetric reflection puts its lines, and how much of the beam it catches.

Angles theta in rad, shifts of 2 theta in degrees. Displacement and transparency: B. D. Cullity, Elements of X-Ray
Diffraction, 2nd ed. 1978, and A. J. C. Wilson, Mathematical Theory of X-ray Powder Diffractometry, 1963 (both from
memory); the flat-specimen term is derived below.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Geometry:
    """Distances and openings that decide shifts and illumination.

    Parameters
    ----------
    detector_distance_mm
        Specimen to detector slit; the source is as far away on the other side.
    divergence_deg, specimen_length_mm
        Fixed divergence slit and specimen length along the beam; None when not known.
    """

    detector_distance_mm: float
    divergence_deg: float | None = None
    specimen_length_mm: float | None = None

    def displacement_slope(self, theta: Array) -> Array:
        """Shift of 2 theta for each mm that the surface lies outside the axis, -(2/R) cos theta."""
        return np.asarray(np.degrees(-2.0 * np.cos(theta) / self.detector_distance_mm))

    def transparency_deg(self, attenuation_per_nm: float, packing: float) -> float:
        """Size of the transparency shift -size * sin 2 theta: 1/(2 mu R), mu the attenuation of the packed powder."""
        attenuation_per_mm = attenuation_per_nm * 1e6 * packing
        return float(np.degrees(1.0 / (2.0 * attenuation_per_mm * self.detector_distance_mm)))

    def lit_fraction(self, theta: Array) -> Array:
        """Share of the beam that falls on the specimen: L sin(theta) / (R divergence), at most 1.

        The foot of a beam of angular width alpha (rad) on a specimen at angle theta is R alpha / sin theta long. One
        where slit or specimen length are not known.
        """
        if self.divergence_deg is None or self.specimen_length_mm is None:
            return np.ones_like(theta)
        foot = self.detector_distance_mm * np.radians(self.divergence_deg) / np.sin(theta)
        return np.asarray(np.minimum(1.0, self.specimen_length_mm / foot))

    def flat_specimen_shift(self, theta: Array) -> Array:
        """Mean shift of 2 theta because the specimen is flat and not bent to the focusing circle.

        A ray at angle psi from the central one meets the specimen at x = R psi / sin theta from the axis, where the
        focusing circle of diameter R / sin theta has left the plane by x^2 sin(theta) / R. As a displacement
        this shifts 2 theta by -2 psi^2 cot theta; its mean over a beam of width alpha is -alpha^2 cot(theta) / 6.
        Beyond the ends of the specimen no ray counts. Zero where the slit is not known.
        """
        if self.divergence_deg is None:
            return np.zeros_like(theta)
        alpha = np.radians(self.divergence_deg) * self.lit_fraction(theta)
        return np.asarray(np.degrees(-(alpha**2) / (6.0 * np.tan(theta))))
