"""Where a specimen puts its lines, and how much of the beam it catches and sends on.

Angles theta in rad, shifts of 2 theta in degrees. Displacement and transparency in reflection: B. D. Cullity, Elements
of X-Ray Diffraction, 2nd ed. 1978, and A. J. C. Wilson, Mathematical Theory of X-ray Powder Diffractometry, 1963 (both
from memory); all else is derived where it stands.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xrdorder.exceptions import InstrumentError
from xrdorder.forward_model.absorption import (
    cylinder_absorption,
    cylinder_offset,
    plate_absorption,
    roughness_factor,
)

Array = NDArray[np.float64]

#: Specimens that are modelled.
KINDS = ("reflection", "transmission", "capillary")


@dataclass(frozen=True)
class Geometry:
    """Distances, openings and absorption that decide shifts and intensities.

    Parameters
    ----------
    detector_distance_mm
        Specimen to detector slit; in reflection the source is as far away on the other side.
    divergence_deg, specimen_length_mm
        Fixed divergence slit and specimen length along the beam; None when not known. Without effect on a capillary,
        which the beam bathes at every angle.
    illuminated_length_mm
        Variable slit that keeps this length lit, reflection only; None for a fixed slit.
    kind
        "reflection" (flat, symmetric), "transmission" (flat plate that halves the angle between the beams) or
        "capillary" (cylinder bathed in the beam).
    roughness
        p and q of `roughness_factor`, reflection only; None for a smooth surface.
    mu_t
        Attenuation times thickness of the plate in transmission, at normal incidence.
    mu_r
        Attenuation times radius of the capillary.
    capillary_radius_mm
        Inner radius, for the shift that absorption makes; None leaves that shift out.
    focused
        The beam on a capillary converges on the circle of the detector instead of being parallel.

    Raises
    ------
    InstrumentError
        A length is not positive, two slits are given, a number belongs to another kind, or one is missing.
    """

    detector_distance_mm: float
    divergence_deg: float | None = None
    specimen_length_mm: float | None = None
    illuminated_length_mm: float | None = None
    kind: str = "reflection"
    roughness: tuple[float, float] | None = None
    mu_t: float | None = None
    mu_r: float | None = None
    capillary_radius_mm: float | None = None
    focused: bool = False

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise InstrumentError(f"geometry {self.kind!r} is not known; give one of {', '.join(KINDS)}")
        for name in (
            "detector_distance_mm", "divergence_deg", "specimen_length_mm", "illuminated_length_mm",
            "capillary_radius_mm",
        ):  # fmt: skip
            value = getattr(self, name)
            if value is not None and not 0.0 < value < np.inf:
                raise InstrumentError(f"geometry: {name} = {value} must be positive and finite")
        if self.divergence_deg is not None and self.illuminated_length_mm is not None:
            raise InstrumentError(
                "geometry: a fixed slit (divergence_deg) and a variable one (illuminated_length_mm) are both given; "
                "give the one that was in the beam"
            )
        self._check_kind()

    def _check_kind(self) -> None:
        """Refuse numbers of another kind of specimen, and missing ones."""
        for name, kind in (
            ("illuminated_length_mm", "reflection"),
            ("roughness", "reflection"),
            ("mu_t", "transmission"),
            ("mu_r", "capillary"),
            ("capillary_radius_mm", "capillary"),
        ):
            if getattr(self, name) is not None and self.kind != kind:
                raise InstrumentError(f"geometry: {name} belongs to {kind}, not to {self.kind}; leave it out")
        if self.focused and self.kind != "capillary":
            raise InstrumentError(f"geometry: focused belongs to capillary, not to {self.kind}; leave it out")
        for name, kind, how in (
            ("mu_t", "transmission", "-ln of the share of the direct beam that the plate lets through"),
            ("mu_r", "capillary", "attenuation of the packed powder times the inner radius"),
        ):
            value = getattr(self, name)
            if self.kind == kind and (value is None or not 0.0 <= value < np.inf):
                raise InstrumentError(
                    f"geometry: {kind} needs {name}, zero or positive ({how}), but it is {value}"
                )
        if self.roughness is not None:
            p, q = self.roughness
            if not (0.0 <= p <= 1.0 and 0.0 <= q < np.inf):
                raise InstrumentError(
                    f"geometry: roughness p = {p} must lie between 0 and 1, and q = {q} must not be negative"
                )

    def shift_slopes(self, theta: Array) -> dict[str, Array]:
        """Degrees of 2 theta for one mm of each displacement.

        The beam runs along x, scatters at (b, d) instead of the axis and leaves at 2 theta. Seen along the leaving
        ray, the point lies d cos 2theta - b sin 2theta beside the axis, toward larger angles: at distance R, the
        detector finds it shifted by (d cos 2theta - b sin 2theta) / R.

        Reflection: a surface that lies e outside the axis, away from the beams, is met at b = e / sin theta, d = 0,
        a shift of -2 e cos theta / R.

        Transmission: a plate e outside the axis along its normal, downstream, is met at b = e / cos theta, d = 0, a
        shift of -2 e sin theta / R. This holds for wide beams that converge on the detector circle too: a ray
        through a point off the central one has turned by -d / R, and with b = e cos theta - t sin theta,
        d = e sin theta + t cos theta the place t on the plate drops out. Along its own plane a plate may move freely.
        There is one displacement, therefore.

        Capillary: "specimen_displacement_mm" is d, across the beam and toward positive 2 theta, cos 2theta / R;
        "beam_displacement_mm" is b, downstream, -sin 2theta / R. Where the beam is focused on the detector circle,
        the ray has turned by -d / R, and d gives (cos 2theta - 1) / R.

        Examples
        --------
        >>> slopes = Geometry(200.0, kind="capillary", mu_r=0.5).shift_slopes(np.radians([45.0]))
        >>> print({name: slope.round(4).tolist() for name, slope in slopes.items()})
        {'specimen_displacement_mm': [0.0], 'beam_displacement_mm': [-0.2865]}
        """
        per_mm = np.degrees(1.0 / self.detector_distance_mm)
        if self.kind == "reflection":
            return {"specimen_displacement_mm": np.asarray(-2.0 * per_mm * np.cos(theta))}
        if self.kind == "transmission":
            return {"specimen_displacement_mm": np.asarray(-2.0 * per_mm * np.sin(theta))}
        turned = 1.0 if self.focused else 0.0
        return {
            "specimen_displacement_mm": np.asarray(per_mm * (np.cos(2.0 * theta) - turned)),
            "beam_displacement_mm": np.asarray(-per_mm * np.sin(2.0 * theta)),
        }

    def shift_slopes_by_theta(self, theta: Array) -> dict[str, Array]:
        """Derivatives of `shift_slopes` by theta: degrees of 2 theta for one mm and one rad of theta."""
        per_mm = np.degrees(1.0 / self.detector_distance_mm)
        if self.kind == "reflection":
            return {"specimen_displacement_mm": np.asarray(2.0 * per_mm * np.sin(theta))}
        if self.kind == "transmission":
            return {"specimen_displacement_mm": np.asarray(-2.0 * per_mm * np.cos(theta))}
        return {
            "specimen_displacement_mm": np.asarray(-2.0 * per_mm * np.sin(2.0 * theta)),
            "beam_displacement_mm": np.asarray(-2.0 * per_mm * np.cos(2.0 * theta)),
        }

    def transparency_deg(self, attenuation_per_nm: float, packing: float) -> float:
        """Size of the transparency shift -size * sin 2 theta: 1/(2 mu R), mu the attenuation of the packed powder.

        Zero unless in reflection: a plate in transmission is met symmetrically about its middle, and for a capillary
        there is `absorption_shift`.
        """
        if self.kind != "reflection":
            return 0.0
        attenuation_per_mm = attenuation_per_nm * 1e6 * packing
        return float(np.degrees(1.0 / (2.0 * attenuation_per_mm * self.detector_distance_mm)))

    def absorption_shift(self, theta: Array) -> Array:
        """Mean shift of 2 theta because a capillary sends more from one side; zero where its radius is not known."""
        if self.capillary_radius_mm is None or self.mu_r is None:
            return np.zeros_like(theta)
        per_radius = np.degrees(self.capillary_radius_mm / self.detector_distance_mm)
        return np.asarray(per_radius * cylinder_offset(theta, self.mu_r))

    def lit_fraction(self, theta: Array) -> Array:
        """Share of the beam that falls on the specimen, at most 1; 1 where slit or specimen length are not known.

        The foot of a beam of angular width alpha (rad) is R alpha / sin theta long on a specimen in reflection, and
        R alpha / cos theta on a plate in transmission. A variable slit keeps the foot at `illuminated_length_mm`.
        """
        if self.kind == "capillary" or self.specimen_length_mm is None:
            return np.ones_like(theta)
        if self.illuminated_length_mm is not None:
            return np.full_like(theta, min(1.0, self.specimen_length_mm / self.illuminated_length_mm))
        if self.divergence_deg is None:
            return np.ones_like(theta)
        tilt = np.cos(theta) if self.kind == "transmission" else np.sin(theta)
        foot = self.detector_distance_mm * np.radians(self.divergence_deg) / tilt
        return np.asarray(np.minimum(1.0, self.specimen_length_mm / foot))

    def intensity_factor(self, theta: Array) -> Array:
        """All that geometry makes of the intensity: illumination, absorption and roughness.

        Reflection with a fixed slit: `lit_fraction`. With a variable slit the beam opens like sin theta, and so does
        the intensity: lit_fraction times sin theta, which is the whole beam at theta = 90 degrees. Both times
        `roughness_factor` where roughness is given. A thick flat specimen absorbs alike at all angles.
        Transmission: lit_fraction times `plate_absorption`, one at theta = 0 for a plate that catches all.
        Capillary: `cylinder_absorption`, one without absorption.
        """
        if self.mu_r is not None:
            return cylinder_absorption(theta, self.mu_r)
        lit = self.lit_fraction(theta)
        if self.mu_t is not None:
            return lit * plate_absorption(theta, self.mu_t)
        if self.illuminated_length_mm is not None:
            lit = lit * np.sin(theta)
        return lit if self.roughness is None else lit * roughness_factor(theta, *self.roughness)

    def flat_specimen_shift(self, theta: Array) -> Array:
        """Mean shift of 2 theta because the specimen is flat and not bent to the focusing circle.

        A ray at angle psi from the central one meets the specimen at x = R psi / sin theta from the axis, where the
        focusing circle of diameter R / sin theta has left the plane by x^2 sin(theta) / R. As a displacement
        this shifts 2 theta by -2 psi^2 cot theta; its mean over a beam of width alpha is -alpha^2 cot(theta) / 6.
        Beyond the ends of the specimen no ray counts. A variable slit that lights the length L opens to
        alpha = L sin(theta) / R. Zero where the slit is not known, and unless in reflection.
        """
        if self.kind != "reflection":
            return np.zeros_like(theta)
        if self.illuminated_length_mm is not None:
            opening = self.illuminated_length_mm * np.sin(theta) / self.detector_distance_mm
        elif self.divergence_deg is not None:
            opening = np.full_like(theta, np.radians(self.divergence_deg))
        else:
            return np.zeros_like(theta)
        alpha = opening * self.lit_fraction(theta)
        return np.asarray(np.degrees(-(alpha**2) / (6.0 * np.tan(theta))))
