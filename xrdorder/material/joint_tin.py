"""Tin by two routes and their joint estimate.

Unknown are the tin fraction beta and the order S_a of the niobium sites. Three things are known about them:

1. the lattice parameter, read as tin by the a(tin) line: ``tin_fraction`` = beta + k (S_0 - S_a), as disorder widens
   the lattice; k is a length over the slope of the line, and S_0 the order of the samples the line was fitted to;
2. the site order of tin alone, x = 4 beta S_a. It was referred to the tin of the first route by c
   (``contrast_by_tin``), which is taken back here, so that the routes are independent but for what truly is common:
   x - c tin_fraction = 4 beta S_a - c beta;
3. what S_a usually is, before anything was measured (`usual_order`).

Three statements, two unknowns: weighted least squares with the full covariance of the statements, linearised and
repeated until it settles. The result is a linear combination of the three, and passes as such through the table of
contributions: signs and groups survive, so that what two samples share cancels in their difference as far as it goes.

The second route alone is ``tin_fraction_order``, free of the a(tin) line. Where what is left over of the first
statement is larger than all uncertainties allow, this is evidence about the line: flag `tin-scale`, and the joint
estimate is that much less sure.

For differences between samples measured alike ``tin_fraction`` is better: its line cancels, while a difference in order
would pass for one in tin here.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from xrdorder.material.derived_quantities import DerivedQuantities
from xrdorder.material.order import TIN_ORDER
from xrdorder.material.specimen import Specimen
from xrdorder.material.tin_scale import PUBLISHED_SCALE, TinScale
from xrdorder.quantities.formatting import rounded
from xrdorder.relations.tin_from_order import U_USUAL_S_A, USUAL_S_A

Array = NDArray[np.float64]

ORDER = "tin_fraction_order"
JOINT = "tin_fraction_joint"
BY_TIN = "order_contrast_by_tin"

DISORDER_NM = 0.005
U_DISORDER_NM = 0.004
"""Change of the lattice parameter when S_a falls by one, nm, and its standard uncertainty. That disorder by irradiation
widens the lattice was read (T. Spina, thesis, Univ. Geneva); how much was not: 0.2-0.5 % at heavy irradiation, where a
fifth to two fifths of the order are lost, from memory and unsure, which is 0.003 to 0.013 nm. The lower part of that is
taken, with a doubt that reaches down to nearly nothing."""

ORDER_OF_LINE = USUAL_S_A
"""S_a of the samples that the a(tin) lines were fitted to: annealed bulk, as in the usual order."""

_PUBLISHED = "published"
_ROUNDS = 50
_SETTLED = 1e-12
# Variance of a statement held as exact: far below anything measured, far above rounding.
_EXACT = 1e-14
# Two standard uncertainties with one degree of freedom: by chance in one of twenty samples.
_CONTRADICTION = 4.0


class Prior(NamedTuple):
    """What S_a is before anything was measured, its standard uncertainty, of whom, and how that is known."""

    s_a: float
    u: float
    of: str
    words: str


def usual_order(specimen: Specimen) -> Prior:
    """What S_a is in specimens of this kind.

    Undoped bulk before irradiation has 0.98 ± 0.02 (one specimen measured about twelve times, T. Spina, thesis, Univ.
    Geneva). Doped wires have weighted order parameters of 0.911 to 0.965 (five wires, S. M. Heald et al., Sci. Rep. 8
    (2018) 4798, table V); as these are defined a little differently, the middle between the two with twice the doubt
    stands for doped wires. Where dopants are not declared, their share of the contrast may pass for order (judged:
    0.06).
    """
    if specimen.undoped:
        return Prior(USUAL_S_A, U_USUAL_S_A, "undoped", "undoped bulk")
    if specimen.dopants:
        return Prior(0.95, 0.04, "doped", "undoped bulk and doped wires")
    return Prior(0.95, 0.06, "undeclared", "undoped bulk and doped wires, dopants not declared")


class Solution(NamedTuple):
    """Tin and order from the three statements.

    Attributes
    ----------
    tin, s_a : float
    gains : array, (2, 3)
        How tin and order follow from a small change of each statement.
    covariance : array, (2, 2)
    chi2 : float
        Of what is left over, one degree of freedom.
    """

    tin: float
    s_a: float
    gains: Array
    covariance: Array
    chi2: float


def solve(
    statements: Array,
    covariance: Array,
    *,
    contrast_by_tin: float = 0.0,
    widening: float = 0.0,
    u_widening: float = 0.0,
) -> Solution:
    """Solve the three statements for tin and order.

    Parameters
    ----------
    statements : array, 3
        Tin by the lattice; site order of tin alone with the reference to that tin taken back; usual S_a.
    covariance : array, (3, 3)
        Of the statements, without the doubt about the widening.
    contrast_by_tin : float, optional
        Change of the second statement by unit tin, other than 4 S_a.
    widening, u_widening : float, optional
        Tin fraction that the lattice gains when S_a falls by one, and its standard uncertainty.

    Examples
    --------
    >>> u = np.array([0.015, 0.010, 0.02])
    >>> solution = solve(np.array([0.2353, 0.9310, 0.98]), np.diag(u**2))
    >>> print(f"{solution.tin:.4f} {solution.s_a:.3f} {solution.covariance[0, 0] ** 0.5:.4f}")
    0.2372 0.981 0.0051
    """
    tin, s_a = statements[0], statements[2]
    for _ in range(_ROUNDS):
        away = ORDER_OF_LINE - s_a
        total = covariance + _EXACT * np.eye(3)
        # What is not known about the widening counts by how far the order is from that of the line, or may be. What it
        # may be is the usual spread, not what is left of it in the end: that is small only if the widening is as taken.
        total[0, 0] += u_widening**2 * (away**2 + covariance[2, 2])
        weights = np.linalg.inv(total)
        model = np.array([tin + widening * away, (4.0 * s_a - contrast_by_tin) * tin, s_a])
        jacobian = np.array([[1.0, -widening], [4.0 * s_a - contrast_by_tin, 4.0 * tin], [0.0, 1.0]])
        inverse = np.linalg.inv(jacobian.T @ weights @ jacobian)
        gains = inverse @ jacobian.T @ weights
        left = statements - model
        step = gains @ left
        tin, s_a = tin + float(step[0]), s_a + float(step[1])
        if float(np.max(np.abs(step))) < _SETTLED:
            break
    return Solution(float(tin), float(s_a), gains, inverse, float(left @ weights @ left))


def add_joint(
    derived: DerivedQuantities,
    specimen: Specimen,
    scale: TinScale = PUBLISHED_SCALE,
    contrast_by_tin: float = 0.0,
    tin_held: float = math.nan,
) -> None:
    """Add ``tin_fraction_order`` and ``tin_fraction_joint``; flag routes that contradict each other.

    Order and lattice must have had their turn (`add_tin`, `add_order_parameters`), and the tin fraction must be that of
    the lattice.

    Parameters
    ----------
    derived : DerivedQuantities
    specimen : Specimen
        Whether it is doped decides what its order usually is.
    scale : TinScale, optional
        The one that gave ``tin_fraction``.
    contrast_by_tin : float, optional
        By which the contrast was referred to that tin fraction.
    tin_held : float, optional
        Tin fraction held in the fit: that of the contrast where there is none by the lattice.
    """
    if not derived.given(TIN_ORDER) or derived.values[TIN_ORDER] <= 0.0:
        for quantity in (ORDER, JOINT):
            derived.absent(quantity, "there is no site order above zero")
        return
    prior, c = usual_order(specimen), contrast_by_tin
    x, by_lattice = derived.values[TIN_ORDER], derived.values.get("tin_fraction", math.nan)
    referred_to = by_lattice if math.isfinite(by_lattice) else tin_held
    if not math.isfinite(referred_to):
        c, referred_to = 0.0, 0.0
    derived.assumptions.append(f"S_a = {prior.s_a:g} ± {prior.u:g} before the measurement, as of {prior.words}")

    per_tin = 4.0 * prior.s_a - c
    tin = (x - c * referred_to) / per_tin
    derivatives = {TIN_ORDER: 1.0 / per_tin}
    if math.isfinite(by_lattice):
        derivatives["tin_fraction"] = -c / per_tin
    held = "tin_fraction" if math.isfinite(by_lattice) else "tin_held"
    derived.add(
        ORDER,
        tin,
        derivatives,
        _prior_columns(prior, -4.0 * tin / per_tin),
        formula=f"(x - {BY_TIN} * {held}) / (4 * usual_S_a - {BY_TIN})",
        numbers={BY_TIN: c, "usual_S_a": prior.s_a, "tin_held": referred_to},
        source="site balance x = 4 tin S_a, T. Spina, thesis, Univ. Geneva, and S. M. Heald et al., Sci. Rep. 8 (2018) "
        "4798",
        remark=f"S_a = {prior.s_a:g} ± {prior.u:g} before the measurement (as of {prior.words}); {BY_TIN} takes back "
        "that the contrast was referred to the tin of the lattice",
    )
    if not math.isfinite(by_lattice):
        derived.absent(JOINT, "there is no tin fraction by the lattice")
        return
    _add_joint(derived, specimen, scale, prior, c)


def _add_joint(derived: DerivedQuantities, specimen: Specimen, scale: TinScale, prior: Prior, c: float) -> None:
    widening, u_widening = DISORDER_NM / scale.slope_nm, U_DISORDER_NM / scale.slope_nm
    if "disorder" in specimen.off:
        widening = u_widening = 0.0
        derived.assumptions.append("correction for disorder that widens the lattice switched off")
    by_lattice, x = derived.values["tin_fraction"], derived.values[TIN_ORDER]
    rows = np.zeros((2, len(derived.contributions.sources)))
    for k, name in enumerate(("tin_fraction", TIN_ORDER)):
        if name in derived.contributions.quantities:
            rows[k] = derived.contributions.row(name)
    rows[1] -= c * rows[0]
    (of_lattice, mixed), (_, of_order) = rows @ rows.T
    told = {
        BY_TIN: c,
        "usual_S_a": prior.s_a,
        "u_usual_S_a": prior.u,
        "variance_by_lattice": float(of_lattice),
        "covariance": float(mixed),
        "variance_by_order": float(of_order),
        "widening": widening,
        "u_widening": u_widening,
    }
    solution = joint_solution(by_lattice, x, *told.values())
    to_lattice, to_order, to_prior = (float(gain) for gain in solution.gains[0])
    extra = _prior_columns(prior, to_prior)
    if u_widening > 0.0:
        away = ORDER_OF_LINE - solution.s_a
        extra["disorder in the lattice/effect"] = (-to_lattice * away * u_widening, _PUBLISHED)
        extra["disorder in the lattice/order"] = (to_lattice * prior.u * u_widening, "")
    if solution.chi2 > _CONTRADICTION:
        # As sure as the routes agree: with one degree of freedom chi squared is the square of their disagreement.
        extra["routes disagree"] = (math.sqrt(solution.covariance[0, 0] * (solution.chi2 - 1.0)), "")
        _remark_on_scale(derived, scale, prior, solution)
    derived.add(
        JOINT,
        solution.tin,
        {"tin_fraction": to_lattice - c * to_order, TIN_ORDER: to_order},
        extra,
        formula=f"joint_tin(tin_fraction, x, {', '.join(told)})",
        numbers=told,
        source="docs/tin.md; gains of each statement are in the budget, with their signs",
        remark="tin and S_a that suit three statements best (least squares with their covariance): tin by the lattice, "
        f"which disorder makes read high; x = 4 tin S_a; S_a = {prior.s_a:g} ± {prior.u:g} (as of {prior.words})",
    )


def joint_solution(
    by_lattice: float,
    x: float,
    contrast_by_tin: float,
    s_a: float,
    u_s_a: float,
    variance_by_lattice: float,
    covariance: float,
    variance_by_order: float,
    widening: float,
    u_widening: float,
) -> Solution:
    """Solve the three statements from plain numbers: tin by the lattice, site order of tin alone, usual S_a."""
    matrix = np.diag([variance_by_lattice, variance_by_order, u_s_a**2])
    matrix[0, 1] = matrix[1, 0] = covariance
    return solve(
        np.array([by_lattice, x - contrast_by_tin * by_lattice, s_a]),
        matrix,
        contrast_by_tin=contrast_by_tin,
        widening=widening,
        u_widening=u_widening,
    )


def _prior_columns(prior: Prior, derivative: float) -> dict[str, tuple[float, str]]:
    """Contributions of the usual order: half of its variance common to all specimens of a kind (judged)."""
    part = derivative * prior.u / math.sqrt(2.0)
    return {"usual order/kind": (part, prior.of), "usual order/sample": (part, "")}


def _remark_on_scale(derived: DerivedQuantities, scale: TinScale, prior: Prior, solution: Solution) -> None:
    if any(flag.name == "tin-scale" for flag in derived.flags):
        return
    by_lattice, by_order = derived.values["tin_fraction"], derived.values[ORDER]
    gap = by_order - by_lattice
    derived.flag(
        "tin-scale",
        f"the lattice parameter gives {rounded(100 * by_lattice, 100 * derived.u('tin_fraction'), 'at.%')} tin, the "
        f"order {rounded(100 * by_order, 100 * derived.u(ORDER))} (S_a = {prior.s_a:g} ± {prior.u:g}), "
        f"{math.sqrt(solution.chi2):.1f} standard uncertainties apart: either the a(tin) scale ({scale.name}) lies "
        f"{1e3 * abs(gap) * scale.slope_nm:.2f} pm too {'high' if gap > 0.0 else 'low'} for this sample, or strain, "
        "an undeclared dopant or an unusual order is in play",
    )
