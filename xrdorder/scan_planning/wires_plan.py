"""How many wires: where the scatter of wires comes from, and the cheapest way to see a difference."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from xrdorder.comparison.published_scatter import SCATTER
from xrdorder.comparison.replicates import repeatability
from xrdorder.comparison.variants import fit_to_compare, wires_of
from xrdorder.display import Displayed
from xrdorder.exceptions import ValidityError
from xrdorder.quantities.registry import quantity as registered
from xrdorder.results.open_study import open_study
from xrdorder.scan_planning.forecast import Course, Forecast
from xrdorder.scan_planning.power import (
    BY_X_RAYS,
    MEASURABLE,
    MOST_WIRES,
    Costs,
    Mix,
    cheapest,
    wires_for,
)

CRITICAL_CURRENT, _OF_CURRENT = "Ic", "critical_current_a"


@dataclass(frozen=True)
class Scatter:
    """How far wires scatter about their treatment.

    Attributes
    ----------
    u : float
        Standard deviation.
    freedom : int
        Degrees of freedom by which it is known; 0 where it was told or published.
    source : str
    """

    u: float
    freedom: int
    source: str


@dataclass(frozen=True)
class WiresPlan(Displayed, view="scan"):
    """How to see a difference between two treatments.

    Attributes
    ----------
    quantity : str
    difference : float
    scatter : Scatter
    course : Course or None
        Of the difference of two wires by scans.
    seconds : float
        Of the scan that was planned; 0 without.
    costs : Costs
    u_measured : float or None
    power, alpha : float
    mixes : tuple of Mix
        Cheapest first, one of each kind; none where `MOST_WIRES` are not enough.
    at_best : int or None
        Wires of each treatment if nothing but their own scatter were there; None beyond `MOST_WIRES`.
    """

    quantity: str
    difference: float
    scatter: Scatter
    course: Course | None
    seconds: float
    costs: Costs
    u_measured: float | None
    power: float
    alpha: float
    mixes: tuple[Mix, ...]
    at_best: int | None

    @property
    def words(self) -> str:
        """Why there is no way, or nothing."""
        if self.mixes:
            return ""
        if self.at_best is None:
            return f"more than {MOST_WIRES} wires of each treatment: wires scatter too far about their treatment"
        return f"more than {MOST_WIRES} wires of each treatment, as neither scans nor measurements tell enough of each"


def plan_wires(
    quantity: str,
    difference: float,
    forecast: Forecast | None,
    costs: Costs,
    *,
    scatter: float | None = None,
    study: Path | None = None,
    u_measured: float | None = None,
    power: float = 0.8,
    alpha: float = 0.05,
) -> WiresPlan:
    """Plan how many wires it takes to see a difference.

    Parameters
    ----------
    quantity
        Name in the registry, or "Ic", whose numbers are fractions.
    difference
        Between the means of two treatments.
    found
        What a scan tells; None without X-rays.
    costs
    scatter
        Standard deviation of wires about their treatment, where it is told.
    study
        Folder of a fitted study whose replicates tell it.
    u_measured
        Standard uncertainty of a measured value.
    power, alpha
        Probabilities of seeing the difference, and of seeing one that is not there.

    Raises
    ------
    ValidityError
        The quantity is unknown, or nothing tells the scatter or the wires.
    StudyError
        The study cannot be read, or has no replicates.
    """
    if quantity not in {*BY_X_RAYS, *MEASURABLE}:
        raise ValidityError(f"'{quantity}' is not planned for; choose among {', '.join({*BY_X_RAYS, *MEASURABLE})}")
    if u_measured is not None and quantity not in MEASURABLE:
        raise ValidityError(f"{registered(quantity).noun} is not measured beside the scan here; leave --u-measured out")
    course = None if forecast is None else forecast.difference.get(quantity)
    if course is None and u_measured is None:
        need = "a specimen (DESCRIPTION or --from-pattern)" if quantity in BY_X_RAYS else "--u-measured"
        raise ValidityError(f"nothing tells a wire from the next in {quantity}: give {need}")
    spread = _scatter(quantity, forecast, scatter, study)
    seconds = 0.0 if forecast is None else forecast.seconds
    mixes = cheapest(
        difference, spread.u, course, seconds, costs,
        u_measured=u_measured, power=power, alpha=alpha, known=spread.freedom,
    )  # fmt: skip
    at_best = wires_for(difference, spread.u, power=power, alpha=alpha, known=spread.freedom)
    return WiresPlan(
        quantity, difference, spread, course, seconds, costs, u_measured, power, alpha, tuple(mixes), at_best
    )


def _scatter(quantity: str, forecast: Forecast | None, told: float | None, study: Path | None) -> Scatter:
    if told is not None:
        return Scatter(told, 0, "as told")
    if study is not None:
        return of_study(quantity, study)
    published = SCATTER[_OF_CURRENT if quantity == CRITICAL_CURRENT else quantity]
    u = published.u
    if quantity in BY_X_RAYS and registered(quantity).by_logarithm:  # a part of the value
        u *= 1.0 if forecast is None else forecast.values[quantity]
    return Scatter(u, 0, f"{published.known}: {published.source}")


def of_study(quantity: str, folder: Path) -> Scatter:
    """Scatter of replicates in a fitted study; where it came out as none, the most that it may be (68 %).

    Raises
    ------
    ValidityError
        No treatment of it has two wires, or it is a critical current.
    """
    if quantity == CRITICAL_CURRENT:
        raise ValidityError("scatter of critical currents is not taken from a study; give that of Ic with --scatter")
    results, _ = fit_to_compare(open_study(folder).results)
    wires = wires_of(results, quantity)
    scatter = repeatability(wires.values, list(wires.treatments))
    if not scatter.degrees_of_freedom:
        raise ValidityError(f"{folder}: no treatment has two wires with {quantity}; give their scatter with --scatter")
    u = scatter.u if scatter.u > 0.0 else scatter.high
    freedom = scatter.degrees_of_freedom
    return Scatter(u, freedom, f"replicates of {folder.name}, {freedom} degrees of freedom")
