"""A laboratory's own a(tin): a line through samples of known composition, with errors in both variables.

The line minimises the sum of (a - line)² / (u_a² + slope² (u_tin² + scatter²)), which is least squares with errors in
both variables (D. York et al., Am. J. Phys. 72 (2004) 367, from memory; independent errors). Its minimum is found by
reweighting: with the weights held, the line is an ordinary weighted one through tin contents moved onto it.

Few laboratories have samples over the whole field of the A15. Where theirs lie close together the slope is that of the
published line, which takes part as one more observation (slope and doubt of `PUBLISHED_SCALE`) unless it is left out.

An error that all compositions share, that of the standards of the microprobe, does not go down with the number of
samples; it is added to the level of the line.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import ValidityError
from xrdorder.material.tin_scale import PUBLISHED_SCALE, REFERENCE_TIN, TinScale
from xrdorder.relations import tin_from_lattice

Array = NDArray[np.float64]

U_TIN_COMMON = 0.0025
"""Standard uncertainty of tin that all samples of one microprobe share: 1 % of the tin content (common practice with
pure element standards, no source)."""

_ROUNDS = 200
# Weights change the line by less than their own uncertainty; 1e-12 nm is far below any lattice parameter.
_CLOSE_NM = 1e-12
_LARGEST_GAP = 3.0


@dataclass(frozen=True)
class KnownSamples:
    """Samples of known composition.

    Attributes
    ----------
    names : tuple of str, n
    a_nm, u_a_nm : array, n
        Lattice parameter at 22.5 °C, free of strain, as the laboratory measures it, and its standard uncertainty, nm.
    tin, u_tin : array, n
        Tin fraction and its standard uncertainty, that of the single sample alone.
    """

    names: tuple[str, ...]
    a_nm: Array
    u_a_nm: Array
    tin: Array
    u_tin: Array


@dataclass(frozen=True)
class FittedScale:
    """A scale and how well it describes its samples.

    Attributes
    ----------
    scale : TinScale
    samples : KnownSamples
    residuals_nm : array, n
        Measured less line, nm.
    pulls : array, n
        Residuals over what is expected of them.
    chi2_reduced : float
        NaN with as many unknowns as observations.
    """

    scale: TinScale
    samples: KnownSamples
    residuals_nm: Array
    pulls: Array
    chi2_reduced: float

    @property
    def outliers(self) -> tuple[str, ...]:
        """Samples more than three standard uncertainties off the line."""
        return tuple(
            name
            for name, pull in zip(self.samples.names, self.pulls, strict=True)
            if abs(pull) > _LARGEST_GAP
        )


def fit_tin_scale(
    a_nm: ArrayLike,
    u_a_nm: ArrayLike,
    tin: ArrayLike,
    u_tin: ArrayLike,
    *,
    name: str = "own",
    names: tuple[str, ...] | None = None,
    u_tin_common: float = U_TIN_COMMON,
    published_slope: bool = True,
    source: str = "",
) -> FittedScale:
    """Fit a(tin) to samples of known composition.

    Parameters
    ----------
    a_nm, u_a_nm : array_like, n
        Lattice parameter at 22.5 °C and its standard uncertainty, nm.
    tin, u_tin : array_like, n
        Tin fraction and its standard uncertainty.
    name : str, optional
        Name of the scale; samples read from scales of the same name share its error.
    names : tuple of str, optional
        Names of the samples.
    u_tin_common : float, optional
        Standard uncertainty of tin that all of them share.
    published_slope : bool, optional
        Let the published slope take part; without it the samples must tell the slope alone.
    source : str, optional
        Who measured what; says how many samples unless given.

    Returns
    -------
    FittedScale
        Where residuals are larger than expected, the covariance is enlarged by their reduced chi squared.

    Raises
    ------
    ValidityError
        Too few samples, numbers that cannot be, or compositions too close together to tell a slope.

    Examples
    --------
    >>> tin = np.array([0.20, 0.22, 0.24, 0.25])
    >>> fitted = fit_tin_scale(0.5287 + 0.014 * (tin - 0.24), [2e-5] * 4, tin, [0.002] * 4, published_slope=False)
    >>> print(f"{fitted.scale.a_at_24_nm:.4f} {fitted.scale.slope_nm:.4f}")
    0.5287 0.0140
    """
    if name == PUBLISHED_SCALE.name:
        raise ValidityError(f"name '{name}' stands for the published line; give the scale another")
    columns = [np.atleast_1d(np.asarray(x, dtype=np.float64)) for x in (a_nm, u_a_nm, tin, u_tin)]
    n = len(columns[0])
    names = tuple(f"sample {k + 1}" for k in range(n)) if names is None else names
    if any(column.shape != (n,) for column in columns) or len(names) != n:
        raise ValidityError("samples of known composition: lists of different length; give one number a sample")
    known = KnownSamples(names, *columns)
    _check(known, u_tin_common, published_slope)
    level, slope, covariance, expected = _line(known, published_slope)
    residuals = known.a_nm - level - slope * (known.tin - REFERENCE_TIN)
    chi2 = float(np.sum((residuals / expected) ** 2))
    spare = n - 2
    if published_slope:
        chi2 += ((slope - PUBLISHED_SCALE.slope_nm) / PUBLISHED_SCALE.u_slope_nm) ** 2
        spare += 1
    reduced = chi2 / spare if spare else math.nan
    covariance = covariance * max(1.0, 0.0 if math.isnan(reduced) else reduced)
    covariance[0, 0] += (slope * u_tin_common) ** 2
    (level_variance, mixed), (_, slope_variance) = covariance.tolist()
    scale = TinScale(
        name,
        level,
        slope,
        ((level_variance, mixed), (mixed, slope_variance)),
        source or f"fitted to {n} sample{'s' if n > 1 else ''} of known composition",
        names,
    )
    return FittedScale(scale, known, residuals, residuals / expected, reduced)


def _check(known: KnownSamples, u_tin_common: float, published_slope: bool) -> None:
    least = 1 if published_slope else 2
    if len(known.names) < least:
        raise ValidityError(
            f"a tin scale needs at least {least} sample{'s' if least > 1 else ''} of known composition; add some"
        )
    for what, column, low, high, hint in (
        ("lattice parameter", known.a_nm, 0.52, 0.54, "give nm, for Nb3Sn near 0.529"),
        ("uncertainty of the lattice parameter", known.u_a_nm, 1e-9, 0.001, "give nm, above zero"),
        ("tin content", known.tin, 0.17, 0.27, "the A15 holds 17 to 27 at.%"),
        ("uncertainty of the tin content", known.u_tin, 1e-6, 0.05, "above zero, at most 5 at.%"),
    ):
        for name, value in zip(known.names, column, strict=True):
            if not low <= value <= high:
                shown = f"{100 * value:g} at.%" if "tin" in what else f"{value:g} nm"
                raise ValidityError(f"sample '{name}': {what} is {shown}; {hint}")
    if not 0.0 <= u_tin_common <= 0.05:
        raise ValidityError(f"uncertainty of tin common to all samples is {100 * u_tin_common:g} at.%; give 0 to 5")
    span = float(np.ptp(known.tin))
    doubt = float(np.median(known.u_tin))
    if not published_slope and span < 2.0 * doubt:
        raise ValidityError(
            f"samples of known composition span {100 * span:.2f} at.% tin, known to {100 * doubt:.2f} each: too close "
            "together to tell a slope; let the published one take part"
        )


def _line(known: KnownSamples, published_slope: bool) -> tuple[float, float, Array, Array]:
    """Level at 24 at.%, slope, their covariance, and the expected size of each residual, nm."""
    scatter = float(tin_from_lattice.DEFAULT.scatter.at(known.a_nm, known.tin)[0])
    u_tin = np.hypot(known.u_tin, scatter)
    x, y = known.tin - REFERENCE_TIN, known.a_nm
    level, slope = PUBLISHED_SCALE.a_at_24_nm, PUBLISHED_SCALE.slope_nm
    for _ in range(_ROUNDS):
        weights = 1.0 / (known.u_a_nm**2 + (slope * u_tin) ** 2)
        # Where on the line each sample most likely lies: its tin content moves by its share of the misfit.
        on_line = x + slope * u_tin**2 * weights * (y - level - slope * x)
        normal = np.array([[weights.sum(), weights @ on_line], [weights @ on_line, weights @ on_line**2]])
        # Derivative of the criterion by the slope: the samples as measured, against where they lie on the line.
        design = np.array([[weights.sum(), weights @ x], [weights @ on_line, (weights * on_line) @ x]])
        right = np.array([weights @ y, (weights * on_line) @ y])
        if published_slope:
            held = 1.0 / PUBLISHED_SCALE.u_slope_nm**2
            normal[1, 1] += held
            design[1, 1] += held
            right[1] += held * PUBLISHED_SCALE.slope_nm
        new_level, new_slope = (float(number) for number in np.linalg.solve(design, right))
        change = abs(new_level - level) + 0.05 * abs(new_slope - slope)
        level, slope = new_level, new_slope
        if change < _CLOSE_NM:
            break
    else:
        raise ValidityError(
            "the line through the samples of known composition does not settle; their errors are too large to tell it"
        )
    expected = np.sqrt(known.u_a_nm**2 + (slope * u_tin) ** 2)
    return level, slope, np.linalg.inv(normal), expected
