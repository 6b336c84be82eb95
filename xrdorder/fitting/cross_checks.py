"""Do independent routes through the same counts agree, and what does that say about the result?

The whole-pattern fit is the best estimate if its model is right; the other routes need less of the model and are worse
for it. Estimates of one quantity from the same data, of which one is efficient, differ with the variance u2^2 - u1^2:
J. A. Hausman, Econometrica 46 (1978) 1251 (from memory). A difference beyond that is misfit, not chance.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.exceptions import Flag
from xrdorder.fitting.curves_and_lines import described
from xrdorder.fitting.free_intensities import pawley_lattice
from xrdorder.fitting.from_lines import (
    LineLattice,
    LineOrder,
    lattice_from_lines,
    nelson_riley,
    order_from_lines,
    single_line_table,
)
from xrdorder.fitting.single_lines import ORDER_LINE, SECOND_ORDER, SingleLine, fit_single_lines
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.least_squares.quality import WORST_CHI2
from xrdorder.least_squares.refinement import Refinement, Solution
from xrdorder.quantities.formatting import with_sign

Array = NDArray[np.float64]

WHOLE, FREE, SINGLE = "whole pattern", "free intensities", "single lines"
EXTRAPOLATED, SAME_DIRECTION = "extrapolated lines", "same direction"

DISAGREE = 3.5  # standard uncertainties of a difference; by chance one comparison in two thousand
_LEANS = 2.5  # of each of two routes, on the same side; own choice
_FAR = 2.0  # times that: not to be used
# Floors of the uncertainty of a difference, own choice. Routes share lines and shapes but not all approximations; where
# one is as good as the other, u2^2 - u1^2 vanishes and would make a case of rounding.
_LEAST_SHARE = 0.25  # of the larger uncertainty
_LEAST_U_A_NM = 3e-7  # what fits of exact simulated counts by different routes differ by
_LEAST_U_ORDER = 1e-3

_CARE_U_ORDER, _WORST_U_ORDER = 0.05, 0.2  # uncertainty of the contrast from counting


@dataclass(frozen=True)
class CrossChecks:
    """Routes side by side.

    Attributes
    ----------
    table
        Per `route`: ``a_nm``, ``order_contrast``, each with ``u_`` (counting and scatter only: what all routes share is
        left out), ``_difference`` from the whole pattern, ``u_..._difference`` and ``..._reason`` where there is no
        value. Routes: whole pattern; free intensities (lattice only); single lines (least squares of the centres;
        order from (110) against (211) and (321)); extrapolated lines (lattice only, as Nelson and Riley; its
        difference is cleared of what a displacement leaves in it); same direction (order only, (110) against (440)).
    lines
        The single lines.
    flags
        Where routes disagree.
    enlargement
        Factor for misfit in the counting uncertainties of the whole pattern.
    line_table
        The single lines as stored (`xrdorder.fitting.from_lines.single_line_table`); None where there are none.
    """

    table: xr.Dataset
    lines: tuple[SingleLine, ...]
    flags: list[Flag]
    enlargement: float = 1.0
    line_table: xr.Dataset | None = None

    @property
    def u_order(self) -> float:
        """Uncertainty of the order of the whole pattern from counting; NaN where it was not fitted."""
        return float(self.table["u_order_contrast"].sel(route=WHOLE))


def difference_u(u_efficient: float, u_other: float, least: float) -> float:
    """Standard uncertainty of the difference of two estimates from the same counts.

    Parameters
    ----------
    u_efficient, u_other
        Of the two estimates.
    least
        Below this no difference means anything.

    Examples
    --------
    >>> difference_u(3.0, 5.0, 0.0)
    4.0
    >>> difference_u(3.0, 3.0, 0.0)  # a quarter of the larger one is the floor
    0.75
    """
    square = u_other**2 - u_efficient**2
    floor = max(_LEAST_SHARE * max(u_other, u_efficient), least)
    return float(np.sqrt(max(square, floor**2)))


def cross_check(
    fit: Refinement,
    a15: PhaseLines,
    solution: Solution,
    enlargement: float = 1.0,
    lines: tuple[SingleLine, ...] | None = None,
) -> CrossChecks:
    """Lattice and order of a cubic phase by all routes.

    Parameters
    ----------
    fit
        Whole-pattern fit at its minimum; it is not changed.
    a15
        Lines of the phase in it.
    solution
        Free parameters of the fit and their covariance, not enlarged.
    enlargement
        Factor on counting uncertainties.
    lines
        Single lines of the phase, where they have been fitted already.
    """
    values, nan = fit.values(), float("nan")
    length, contrast = a15.length_names[0], a15.contrast_name
    whole_lattice = LineLattice(values[length], solution.u(length) * enlargement)
    whole_order = LineOrder(nan, nan, ())
    if contrast is not None:
        whole_order = LineOrder(values[contrast], solution.u(contrast) * enlargement, ())
    reason = _unfit(fit, a15)
    if reason:
        lines = ()
        free = centres = extrapolated = LineLattice(nan, nan, reason=reason)
        near, same = (LineOrder(nan, nan, (), reason) for _ in range(2))
    else:
        free = pawley_lattice(fit, a15, enlargement)
        lines = fit_single_lines(fit, a15, enlargement) if lines is None else lines
        centres, extrapolated = lattice_from_lines(lines, fit, a15), nelson_riley(lines, fit, a15)
        near = order_from_lines(lines, fit, a15, solution, enlargement)
        same = order_from_lines(lines, fit, a15, solution, enlargement, (SECOND_ORDER,))
    lattices = {
        WHOLE: whole_lattice,
        FREE: free,
        SINGLE: centres,
        EXTRAPOLATED: extrapolated,
        SAME_DIRECTION: LineLattice(nan, nan, reason="order only"),
    }
    no_order = LineOrder(nan, nan, (), "lattice only")
    orders = {
        WHOLE: whole_order,
        FREE: no_order,
        SINGLE: near,
        EXTRAPOLATED: no_order,
        SAME_DIRECTION: same,
    }
    table = _table(lattices, orders)
    line_table = single_line_table(lines, fit, a15) if lines else None
    return CrossChecks(table, lines, _disagreements(table), enlargement, line_table)


def _unfit(fit: Refinement, a15: PhaseLines) -> str:
    """Why a phase has no single lines to speak of; empty when it has."""
    if a15.phase.system != "cubic":
        return "only for cubic phases"
    for lines in fit.model.phases:
        if lines is not a15 and lines.phase.name == a15.phase.name and not lines.share_name:
            return "two populations of the phase lie on each other"
    return ""


def _table(lattices: dict[str, LineLattice], orders: dict[str, LineOrder]) -> xr.Dataset:
    """Routes side by side, with differences from the first."""
    routes = list(lattices)
    a = np.array([x.a_nm for x in lattices.values()])
    u_a = np.array([x.u_a_nm for x in lattices.values()])
    bias = np.array([x.bias_nm for x in lattices.values()])
    contrast = np.array([x.contrast for x in orders.values()])
    u_contrast = np.array([x.u_contrast for x in orders.values()])

    def u_of(u: Array, least: float) -> Array:
        return np.array([0.0, *(difference_u(float(u[0]), float(other), least) for other in u[1:])])

    def text(reasons: list[str]) -> NDArray[np.object_]:
        return np.array(reasons, dtype=object)

    columns = (
        ("a_nm", a, "nm", "lattice parameter"),
        ("u_a_nm", u_a, "nm", "standard uncertainty from counting and scatter of lines"),
        ("a_difference_nm", a - bias - a[0], "nm", "lattice parameter less that of the whole pattern"),
        ("u_a_difference_nm", u_of(u_a, _LEAST_U_A_NM), "nm", "standard uncertainty of the difference"),
        ("order_contrast", contrast, "1", "contrast between the sites"),
        ("u_order_contrast", u_contrast, "1", "standard uncertainty from counting and displacement parameters"),
        ("order_difference", contrast - contrast[0], "1", "contrast less that of the whole pattern"),
        ("u_order_difference", u_of(u_contrast, _LEAST_U_ORDER), "1", "standard uncertainty of the difference"),
    )  # fmt: skip
    reasons = {
        "a_reason": ("route", text([x.reason for x in lattices.values()]), {"long_name": "why no lattice"}),
        "order_reason": ("route", text([x.reason for x in orders.values()]), {"long_name": "why no order"}),
    }
    names = np.array(routes, dtype=object)
    return xr.Dataset(described("route", columns) | reasons, coords={"route": ("route", names)})


def _ratio(table: xr.Dataset, quantity: str, route: str) -> float:
    """Difference of a route over its standard uncertainty; zero where there is none."""
    row = table["route"].values.tolist().index(route)
    suffix = "_nm" if quantity == "a" else ""
    u = float(table[f"u_{quantity}_difference{suffix}"].values[row])
    value = float(table[f"{quantity}_difference{suffix}"].values[row])
    return value / u if np.isfinite(value) and u > 0.0 else 0.0


def _disagreements(table: xr.Dataset) -> list[Flag]:
    """Routes that differ from the whole pattern by more than chance makes likely."""
    flags = []
    for route in (FREE, SINGLE):
        ratio = _ratio(table, "a", route)
        if abs(ratio) > DISAGREE:
            difference = 1e6 * float(table["a_difference_nm"].sel(route=route))
            text = (
                f"the lattice parameter by {route} differs from that of the whole pattern by "
                f"{with_sign(difference, '.1f')}e-6 nm, {abs(ratio):.1f} standard uncertainties of the difference"
            )
            flags.append(Flag("routes-disagree-lattice", text))
    for route in (SINGLE, SAME_DIRECTION):
        ratio = _ratio(table, "order", route)
        if abs(ratio) > DISAGREE:
            difference = float(table["order_difference"].sel(route=route))
            text = (
                f"the order by {route} differs from that of the whole pattern by {with_sign(difference, '.3f')}, "
                f"{abs(ratio):.1f} standard uncertainties of the difference"
            )
            flags.append(Flag("routes-disagree-order", text))
    return flags


def _why_uncertain(cross_checks: CrossChecks, limit: float) -> str:
    """Why the order is less certain than this limit: nothing known, a line missing, misfit, or few counts."""
    u_order = cross_checks.u_order
    if not np.isfinite(u_order):
        return "the order was not fitted"
    if cross_checks.lines and all(line.hkl != ORDER_LINE for line in cross_checks.lines):
        return f"without (110) the order is known to ± {u_order:.2f} only"
    if u_order / cross_checks.enlargement < limit:
        return f"misfit makes the order uncertain, ± {u_order:.2f}"
    few = "too few" if limit == _WORST_U_ORDER else "few"
    return f"{few} counts in (110): the order is known to ± {u_order:.2f} only"


_CARE = {
    "clipped-lines": "the strongest lines are clipped",
    "routes-disagree-lattice": "routes to the lattice parameter disagree",
    "routes-disagree-order": "routes to the order disagree",
    "poor-fit": "the model misses something",
    "at-bound": "a parameter rests at its bound",
    "intensities-at-low-angle": "intensities at low angle do not fit slit and specimen length",
    "lines-shifted-by-strain": "lines are shifted against each other as by strain",
    "lattice-changes-with-depth": "the lattice seems to change with depth",
    "goniometer-moved": "the goniometer seems to have moved since its calibration",
    "near-absorption-edge": "the radiation is near an absorption edge",
    "internal-standard-weak": "the internal standard is too weak",
    "few-grains": "few grains reflect",
    "scans-differ": "scans that were summed differ by more than counting",
    "smoothed": "the scan was smoothed or resampled: lines may be wider than they were",
    "dead-time": "strong lines lack counts as by dead time",
    "angles-corrected": "the angles were corrected before, and the offset is taken off once more",
    "ended-early": "the file ends before the scan does",
}

_GRAVE = {
    "alpha2-not-of-the-tube": "K-alpha2 over K-alpha1 is not that of the tube",
    "roots-of-counts": "the values are square roots of counts",
    "intensities-bent": "strong lines are weaker than any detector makes them",
    "angles-off": "the angles are off",
}
"""Flags of what makes lattice or order another quantity than their names say."""


def quality_words(cross_checks: CrossChecks | None, flags: Sequence[Flag], chi2_reduced: float) -> str:
    """Say in plain words how far a result can be trusted, and why.

    Parameters
    ----------
    cross_checks
        Of the A15; None where there is none.
    flags
        All flags of the fit, those of the cross-checks included or not.
    chi2_reduced
        Of the whole fit.

    Returns
    -------
    str
        "trustworthy", or "use with care: ..." or "do not use: ..." with the reasons, gravest first.

    Examples
    --------
    >>> quality_words(None, [], 1.0)
    'do not use: no A15 was found'
    """
    if cross_checks is None:
        return "do not use: no A15 was found"
    names = {flag.name: None for flag in [*flags, *cross_checks.flags]}
    grave = _grave_reasons(cross_checks, names, chi2_reduced)
    care = _reasons_for_care(cross_checks)
    if unindexed := len({flag for flag in flags if flag.name == "unexplained-line"}):
        care.append(f"{unindexed} unindexed line{'s' if unindexed > 1 else ''}")
    care += [words for name, words in _CARE.items() if name in names and not any(words in reason for reason in grave)]
    if not grave and not care:
        return "trustworthy"
    return ("do not use: " if grave else "use with care: ") + "; ".join([*grave, *care])


def _grave_reasons(cross_checks: CrossChecks, flag_names: Collection[str], chi2_reduced: float) -> list[str]:
    """Why a result is not to be used."""
    reasons = []
    if "not-converged" in flag_names:
        reasons.append("the fit did not converge")
    if chi2_reduced > WORST_CHI2:
        reasons.append(f"chi squared is {chi2_reduced:.0f}")
    reasons += [words for name, words in _GRAVE.items() if name in flag_names]
    for quantity, words in (("a", "lattice parameter"), ("order", "order")):
        ratio = max(abs(_ratio(cross_checks.table, quantity, route)) for route in (FREE, SINGLE, SAME_DIRECTION))
        if ratio > _FAR * DISAGREE:
            reasons.append(f"routes to the {words} disagree by {ratio:.0f} standard uncertainties")
    if not cross_checks.u_order < _WORST_U_ORDER:  # NaN included
        reasons.append(_why_uncertain(cross_checks, _WORST_U_ORDER))
    return reasons


def _reasons_for_care(cross_checks: CrossChecks) -> list[str]:
    """What makes the order less certain than usual."""
    reasons = []
    if _CARE_U_ORDER < cross_checks.u_order < _WORST_U_ORDER:
        reasons.append(_why_uncertain(cross_checks, _CARE_U_ORDER))
    reason = str(cross_checks.table["order_reason"].sel(route=SINGLE).item())
    order_line = next((line for line in cross_checks.lines if line.hkl == ORDER_LINE), None)
    if not cross_checks.lines and reason:
        reasons.append(f"the order has no cross-check: {reason}")
    elif order_line is None:
        reasons.append("the order line (110) is not in the measured range")
    ratios = [_ratio(cross_checks.table, "order", route) for route in (SINGLE, SAME_DIRECTION)]
    if min(ratios) > _LEANS or max(ratios) < -_LEANS:
        reasons.append("both cross-checks of the order deviate to the same side")
    if order_line is not None and order_line.reason:
        reasons.append(f"the order line (110) has no cross-check: {order_line.reason}")
    return reasons
