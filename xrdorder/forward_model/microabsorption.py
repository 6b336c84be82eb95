"""How much stronger or weaker a phase looks because its grains absorb otherwise than the powder as a whole.

G. W. Brindley, Phil. Mag. 36 (1945) 347 (from memory): grains of one phase among a powder whose mean attenuation is
that of all solid matter. Spheres of one size; no layers of one grain behind another are looked at, so that this is an
estimate and no correction beyond contrasts of about one.
"""

from collections.abc import Mapping
from functools import lru_cache

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import ValidityError
from xrdorder.forward_model.absorption import disc_paths

Array = NDArray[np.float64]

#: Beyond this contrast times diameter Brindley's estimate says nothing (from memory: his "very coarse" powders).
LARGEST_CONTRAST = 1.0

_LATITUDES, _ACROSS, _ALONG = 12, 16, 20  # relative error of tau below 1e-6 up to the largest contrast
_MIDDLE_THETA = 0.25 * np.pi
_MOST_ROUNDS = 200
_TOLERANCE = 1e-12


def particle_factor(contrast: ArrayLike, theta: float = _MIDDLE_THETA) -> Array:
    r"""Return Brindley's tau of spheres: intensity against that of endlessly fine grains.

    .. math:: \tau = \frac{1}{V} \int_V e^{-(\mu - \bar\mu) l} \, dV

    with l the path inside the grain, in and out, of a ray scattered in dV by 2 theta. Cut parallel to both rays, a
    sphere falls into discs, for which the paths are those of `disc_paths`.

    A point of a sphere has its surface at 3/8 of the diameter D in any one direction, on average: the mean of half
    the chord c through it is <c^2> / (2 <c>), and chords in one direction have c dc / (D^2 / 2) as their distribution.
    In and out, the mean path is 3 D / 4 whatever the angle, and tau = 1 - 0.75 (mu - mean mu) D for small contrast.
    Higher orders depend on the angle a little: by 0.1 % of tau at a contrast of 0.1 and by 9 % at 1 between
    2 theta = 0 and 180 degrees. The default is the middle, 2 theta = 90 degrees.

    Parameters
    ----------
    contrast : array_like
        (mu - mean mu) D, any shape, either sign.
    theta : float, optional
        Bragg angle, rad.

    Examples
    --------
    >>> print(particle_factor([-0.1, 0.0, 0.01, 0.1]).round(4))
    [1.0785 1.     0.9925 0.9283]
    """
    path, share = _sphere(float(theta))
    flat = np.atleast_1d(np.asarray(contrast, dtype=np.float64))
    factor = np.array([share @ np.exp(-attenuation * path) for attenuation in flat.ravel()])
    return factor.reshape(np.shape(contrast))


def weight_factors(
    attenuations: Mapping[str, float],
    weights: Mapping[str, float],
    diameter_nm: float | Mapping[str, float],
    densities: Mapping[str, float] | None = None,
    theta: float = _MIDDLE_THETA,
) -> dict[str, float]:
    """Return what to multiply each apparent weight fraction by, so that the grains' own absorption is allowed for.

    Apparent fractions are the true ones times tau. The mean attenuation, over the volume of the true fractions, and
    tau are found together by iteration. The sum of all fractions stays as it was.

    Parameters
    ----------
    attenuations : mapping
        Linear attenuation of each solid phase, 1/nm.
    weights : mapping
        Apparent weight fractions of the same phases, from intensities; they need not sum to one.
    diameter_nm : float or mapping
        Diameter of the grains (not of coherent domains), for all or for each phase, nm.
    densities : mapping, optional
        Of each phase, any one unit, to turn weights into volumes; left out, all are taken as equal, and `weights` may
        just as well be volume shares.
    theta : float, optional
        Bragg angle of the lines that count, rad.

    Raises
    ------
    ValidityError
        Phases do not match, numbers are not positive, or the grains are too coarse for the estimate.

    Examples
    --------
    Nb3Sn (1/mu = 6.6 um) and copper (21 um) with Cu K-alpha, half and half by volume, grains of 2 um:

    >>> found = weight_factors({"nb3sn": 1 / 6600, "cu": 1 / 21000}, {"nb3sn": 0.5, "cu": 0.5}, 2000.0)
    >>> {name: round(factor, 3) for name, factor in found.items()}
    {'nb3sn': 1.078, 'cu': 0.922}
    """
    names = list(weights)
    if not names:
        return {}
    mu, apparent = _column("attenuation", attenuations, names), _column("weight", weights, names)
    diameter = (
        _column("diameter", diameter_nm, names)
        if isinstance(diameter_nm, Mapping)
        else np.full(len(names), float(diameter_nm))
    )
    density = np.ones(len(names)) if densities is None else _column("density", densities, names)
    for what, numbers in (("attenuation", mu), ("diameter", diameter), ("density", density)):
        if not (np.all(numbers > 0.0) and np.all(np.isfinite(numbers))):
            raise ValidityError(f"microabsorption: every {what} must be positive; got {numbers.tolist()}")
    if not (np.all(apparent >= 0.0) and 0.0 < apparent.sum() < np.inf):
        raise ValidityError(
            f"microabsorption: weights must not be negative nor all zero; got {apparent.tolist()}"
        )
    factors, contrast = _self_consistent(mu, apparent, diameter, density, theta)
    if np.abs(contrast).max() > LARGEST_CONTRAST:
        worst = int(np.argmax(np.abs(contrast)))
        raise ValidityError(
            f"microabsorption: grains of {names[worst]} of {diameter[worst]:g} nm are too coarse, contrast "
            f"{contrast[worst]:.2f} (at most {LARGEST_CONTRAST:g}); grind the powder finer"
        )
    return dict(zip(names, factors.tolist(), strict=True))


def _self_consistent(
    mu: Array, apparent: Array, diameter: Array, density: Array, theta: float
) -> tuple[Array, Array]:
    """Factors on the weights and the contrasts (mu - mean mu) D that go with them."""
    factors = np.ones_like(mu)
    mean = 0.0
    for _ in range(_MOST_ROUNDS):
        volume = apparent * factors / density
        last, mean = mean, float(volume @ mu / volume.sum())
        contrast = (mu - mean) * diameter
        # contrasts far outside the validity are refused in the end; here they only must not overflow
        inverse = 1.0 / particle_factor(np.clip(contrast, -20.0, 20.0), theta)
        factors = inverse * apparent.sum() / (apparent @ inverse)
        if abs(mean - last) < _TOLERANCE * mean:
            return factors, contrast
    raise ValidityError(
        "microabsorption: mean attenuation and grain absorption do not settle; the grains are too coarse, grind finer"
    )


def _column(what: str, numbers: Mapping[str, float], names: list[str]) -> Array:
    """Numbers in the order of the names."""
    missing = [name for name in names if name not in numbers]
    if missing:
        raise ValidityError(f"microabsorption: no {what} for {', '.join(missing)}; give one for every phase")
    return np.array([numbers[name] for name in names], dtype=np.float64)


@lru_cache(maxsize=16)
def _sphere(theta: float) -> tuple[Array, Array]:
    """Paths in and out in a sphere, in diameters, and shares of its volume; both flat."""
    path, _, share = disc_paths(np.array([theta]), _ACROSS, _ALONG)
    node, weight = leggauss(_LATITUDES)
    latitude = 0.25 * np.pi * (node + 1.0)
    # a disc at height sin(latitude) has the radius cos(latitude): volume cos^2 times the step cos in height
    radius = np.cos(latitude)
    part = 1.5 * radius**3 * 0.25 * np.pi * weight
    return (0.5 * np.outer(radius, path.ravel())).ravel(), np.outer(part, share.ravel()).ravel()
