"""How angle and polarisation weight a line."""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import ValidityError

Array = NDArray[np.float64]


def _ratio(monochromator_two_theta_deg: float | None, polarisation_ratio: float | None) -> float:
    """Return K: how the beam favours the two directions of polarisation."""
    if polarisation_ratio is None:
        if monochromator_two_theta_deg is None:
            return 1.0
        return math.cos(math.radians(monochromator_two_theta_deg)) ** 2
    if monochromator_two_theta_deg is not None:
        raise ValidityError(
            f"monochromator angle {monochromator_two_theta_deg} deg and polarisation ratio {polarisation_ratio} "
            "are both given: they say the same thing twice; give one"
        )
    if not (math.isfinite(polarisation_ratio) and polarisation_ratio >= 0.0):
        raise ValidityError(
            f"polarisation ratio {polarisation_ratio}: give a finite number that is not negative, 1 for an "
            "unpolarised beam, 0 for one polarised at right angles to the diffraction plane"
        )
    return polarisation_ratio


def lorentz_polarisation(
    two_theta_deg: ArrayLike,
    monochromator_two_theta_deg: float | None = None,
    polarisation_ratio: float | None = None,
) -> Array:
    r"""Return the Lorentz-polarisation factor of a powder line.

    .. math:: LP = \frac{2\,(1 + K \cos^2 2\theta)}{(1 + K)\,\sin^2\theta\,\cos\theta},
              \qquad K = \cos^2 2\theta_m

    with K = 1 without monochromator, which is the (1 + cos²2θ)/(sin²θ cosθ) of B. D. Cullity, *Elements of
    X-Ray Diffraction*, 2nd ed. (1978), ch. 4. The factor 2/(1 + K) keeps the small-angle limit 2/sin²θ
    whatever the monochromator. K = cos²2θ_m holds for an ideally mosaic crystal, in the incident or in the
    diffracted beam, whose diffraction plane is parallel to that of the goniometer (International Tables C,
    section 6.2; from memory). A perfect crystal, several reflections, or a synchrotron make another K; it can
    be given as such.

    Parameters
    ----------
    two_theta_deg : array_like
        Diffraction angle 2θ, degree, between 0 and 180 exclusive.
    monochromator_two_theta_deg : float, optional
        Diffraction angle of the monochromator crystal, degree; None for no monochromator.
    polarisation_ratio : float, optional
        K itself, in place of the monochromator: intensity polarised in the diffraction plane over intensity
        polarised at right angles to it, as both would be without the specimen. 1 for an unpolarised beam, 0 for
        one polarised wholly at right angles (synchrotron with a vertical diffraction plane).

    Returns
    -------
    ndarray
        The factor, shape of `two_theta_deg`.

    Raises
    ------
    ValidityError
        If both a monochromator and a ratio are given, or the ratio is negative or not finite.

    Examples
    --------
    >>> print(f"{lorentz_polarisation(40.0):.3f}")
    14.436
    >>> print(f"{lorentz_polarisation(40.0, polarisation_ratio=0.0):.3f}")
    18.195
    """
    two_theta = np.radians(np.asarray(two_theta_deg, dtype=np.float64))
    k = _ratio(monochromator_two_theta_deg, polarisation_ratio)
    theta = 0.5 * two_theta
    top = 2.0 * (1.0 + k * np.cos(two_theta) ** 2)
    return np.asarray(top / ((1.0 + k) * np.sin(theta) ** 2 * np.cos(theta)), dtype=np.float64)
