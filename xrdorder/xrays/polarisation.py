"""How angle and polarisation weight a line."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def lorentz_polarisation(two_theta_deg: ArrayLike, monochromator_two_theta_deg: float | None = None) -> Array:
    r"""Return the Lorentz-polarisation factor of a powder line.

    .. math:: LP = \frac{2\,(1 + K \cos^2 2\theta)}{(1 + K)\,\sin^2\theta\,\cos\theta},
              \qquad K = \cos^2 2\theta_m

    with K = 1 without monochromator, which is the (1 + cos²2θ)/(sin²θ cosθ) of B. D. Cullity, *Elements of
    X-Ray Diffraction*, 2nd ed. (1978), ch. 4. The factor 2/(1 + K) keeps the small-angle limit 2/sin²θ
    whatever the monochromator. K = cos²2θ_m holds for an ideally mosaic crystal, in the incident or in the
    diffracted beam, whose diffraction plane is parallel to that of the goniometer (International Tables C,
    section 6.2; from memory).

    Parameters
    ----------
    two_theta_deg : array_like
        Diffraction angle 2θ, degree, between 0 and 180 exclusive.
    monochromator_two_theta_deg : float, optional
        Diffraction angle of the monochromator crystal, degree; None for no monochromator.

    Returns
    -------
    ndarray
        The factor, shape of `two_theta_deg`.

    Examples
    --------
    >>> print(f"{lorentz_polarisation(40.0):.3f}")
    14.436
    """
    two_theta = np.radians(np.asarray(two_theta_deg, dtype=np.float64))
    k = 1.0
    if monochromator_two_theta_deg is not None:
        k = float(np.cos(np.radians(monochromator_two_theta_deg)) ** 2)
    theta = 0.5 * two_theta
    top = 2.0 * (1.0 + k * np.cos(two_theta) ** 2)
    return np.asarray(top / ((1.0 + k) * np.sin(theta) ** 2 * np.cos(theta)), dtype=np.float64)
