"""One lot planned: what is known of the process, then best so far, the range that is as good, and the next treatments.

`LotProcess` does what all objectives share (the fit of the process, draws); `plan` asks it for one objective.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from xrdorder.kinetics import Courses, Route
from xrdorder.planning.choice import (
    BY_CHANCE,
    LEAST_GAIN,
    NOTHING,
    Direct,
    Futures,
    as_good,
    better,
    resampled,
)
from xrdorder.planning.inference import Observed, Posterior, infer
from xrdorder.planning.process import Leftover, Process, places_of
from xrdorder.planning.window import (
    LEAST_RRR,
    Candidates,
    Limits,
    earlier_steps,
    inside_usual,
    near_reacted,
    usual_distance,
)
from xrdorder.treatments import History, Schedule, Step

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

DRAWS, KEPT = 1200, 400
COARSE_C, COARSE_H = tuple(range(580, 750, 20)), (10.0, 20.0, 40.0, 80.0, 160.0, 320.0)
"""Where the optimum of a draw is looked for, to weigh the draw by how far it lies from the makers' window."""

ALIKE = (2.5, 0.05, 0.1)
"""Treatments are the same that differ by less: K, and logarithms of hours and of hours of earlier plateaus."""

MOST_WIDENED = 16.0
"""Largest factor to what the laws may leave, of a lot whose wires stray farther from them than they should."""

FEWEST_CURRENTS = 2
"""Treatments with measured currents from which the narrow priors hold."""


@dataclass(frozen=True)
class Objective:
    """What is to be large.

    Attributes
    ----------
    kind : str
        A key of `Process.predict`: "current 12", "field" or "tc".
    unit : str
        Of differences: T, K, or % of what is predicted as a logarithm.
    """

    kind: str
    unit: str

    @classmethod
    def current(cls, field_t: float) -> Objective:
        """The critical current at a field."""
        return cls(f"current {field_t:g}", "%")

    @property
    def relative(self) -> bool:
        """Whether it is predicted as a logarithm."""
        return self.unit == "%"

    @property
    def factor(self) -> float:
        """From gains to differences in the unit."""
        return 100.0 if self.relative else 1.0

    def gained(self, difference: Array) -> Array:
        """Gains of what is predicted: parts of the value where it is relative."""
        return np.expm1(difference) if self.relative else difference


FIELD, TC = Objective("field", "T"), Objective("tc", "K")


@dataclass(frozen=True, eq=False)
class Wires:
    """What was measured of the wires of a lot.

    Attributes
    ----------
    treatments : tuple of History
        Each treatment once.
    observed : tuple of Observed
        They refer to treatments by their place.
    direct : mapping of str to Direct
        What was measured of objectives themselves, by kind.
    coming : tuple of str
        What will be measured of a further wire, as kinds; those that were measured of most wires so far.
    noise : array, (k, k)
        Covariance of a measurement of each.
    """

    treatments: tuple[History, ...]
    observed: tuple[Observed, ...]
    direct: Mapping[str, Direct]
    coming: tuple[str, ...]
    noise: Array

    @property
    def fields_t(self) -> tuple[float, ...]:
        """Fields at which currents were measured."""
        return tuple(dict.fromkeys(float(kind.split()[1]) for kind, _ in self._currents()))

    def _currents(self) -> list[tuple[str, NDArray[np.intp]]]:
        return [part for observation in self.observed for part in observation.parts if part[0].startswith("current ")]

    @property
    def with_current(self) -> int:
        """Treatments of which a current was measured."""
        known = [treatment for _, treatment in self._currents()]
        return len(np.unique(np.concatenate(known))) if known else 0


@dataclass(frozen=True)
class Proposal:
    """A treatment to react next.

    Attributes
    ----------
    schedule : History
    gain, u_gain : float
        Over the best so far: of its value where the objective is relative, else in its unit.
    chance_better : float
    worth : float
        How far the best reacted treatment is expected to rise, as `gain`.
    rrr : tuple of float
        16th, 50th and 84th percentile of the RRR of the copper.
    limits : tuple of str
        What keeps it from what lies next to it and is expected to be better.
    replicate : bool
        Whether the treatment was reacted already.
    value, u : float
        The objective itself (of a current its logarithm in A).
    """

    schedule: History
    gain: float
    u_gain: float
    chance_better: float
    worth: float
    rrr: tuple[float, float, float]
    limits: tuple[str, ...]
    replicate: bool
    value: float
    u: float


@dataclass(frozen=True, eq=False)
class Plan:
    """Decisions for one objective.

    Attributes
    ----------
    lot : LotProcess
    objective : Objective
    limits : Limits
    candidates : Candidates
        Of the region where proposals are looked for, and what lies next to it.
    here, there : mapping of str to array
        All that is measured, as predicted of the treatments reacted and of the candidates; (draws, m) and (draws, n).
    region : str
        Where proposals are looked for, in words.
    masks : mapping of str to array of bool, (n,)
        What the wire must keep, with the words for each.
    proposals : tuple of Proposal
    may_stop : bool
        Little is to be gained.
    """

    lot: LotProcess
    objective: Objective
    limits: Limits
    candidates: Candidates
    here: Mapping[str, Array]
    there: Mapping[str, Array]
    region: str
    masks: Mapping[str, Mask]
    proposals: tuple[Proposal, ...] = ()
    may_stop: bool = False

    @property
    def treatments(self) -> tuple[History, ...]:
        """Reacted, each once."""
        return self.lot.wires.treatments

    @property
    def draws(self) -> Array:
        """Objective of the reacted treatments, (draws, m)."""
        return self.here[self.objective.kind]

    @property
    def surface(self) -> Array:
        """Objective of the candidates, (draws, n)."""
        return self.there[self.objective.kind]

    @cached_property
    def best(self) -> int:
        """Place of the best so far among the reacted treatments."""
        return int(np.argmax(self.draws.mean(axis=0)))

    @property
    def chance_best(self) -> float:
        """Probability that no other reacted one is better."""
        return float(np.mean(np.argmax(self.draws, axis=1) == self.best))

    @cached_property
    def gains(self) -> Array:
        """Of the reacted treatments over the best so far, (draws, m); differences of logarithms where relative."""
        return self.draws - self.draws[:, [self.best]]

    @cached_property
    def rises(self) -> Array:
        """By how much each candidate is expected to be above the best so far, (n,), as `Proposal.gain`."""
        return self.objective.gained(self.surface.mean(axis=0) - float(self.draws[:, self.best].mean()))

    @property
    def direct(self) -> Direct:
        """What was measured of the objective itself."""
        return self.lot.wires.direct.get(self.objective.kind, NOTHING)

    @property
    def differ(self) -> bool:
        """Whether measured differences are more than chance."""
        return self.direct.p_alike < BY_CHANCE

    @cached_property
    def allowed(self) -> Mask:
        """Candidates that keep to all limits, (n,)."""
        return np.asarray(np.logical_and.reduce(list(self.masks.values())))

    @cached_property
    def as_good(self) -> Mask:
        """Candidates within 1 % of the optimum, (n,)."""
        return as_good(self.surface.mean(axis=0), self.allowed, self.objective.relative)

    @property
    def good(self) -> Array:
        """Their temperatures in °C and hours, (k, 2)."""
        return np.column_stack([self.candidates.temperature_c, self.candidates.hours])[self.as_good]

    @property
    def reason(self) -> str:
        """Why nothing can be proposed: limits that leave nothing; empty where something is left."""
        if self.allowed.any():
            return ""
        empty = [name for name, mask in self.masks.items() if not mask.any()]
        return f"no treatment keeps {' and '.join(empty or self.masks)}"

    def better(self, first: int, second: int) -> bool:
        """Whether a reacted treatment may be called better than another; none is while nothing measured differs."""
        return self.differ and better(self.draws, self.direct, first, second)


class LotProcess:
    """The process of a lot, held against all that was measured.

    Parameters
    ----------
    wires : Wires
    route : Route
    fields_t : sequence of float
        Fields of the objectives.
    field_scale : float
        As of `Process`.
    narrow : bool, optional
        Take the narrow priors; from two treatments with measured currents on unless given.
    """

    def __init__(
        self, wires: Wires, route: Route, fields_t: Sequence[float] = (), *, field_scale: float = 1.0,
        narrow: bool | None = None,
    ) -> None:  # fmt: skip
        self.wires, self.route = wires, route
        self.fields_t = tuple(dict.fromkeys((*wires.fields_t, *fields_t)))
        self.courses = Courses(wires.treatments)
        self.places = places_of(self.courses)
        before, self.alike_before = earlier_steps(wires.treatments)
        self.coarse = [(float(t), h) for t in COARSE_C for h in COARSE_H]
        self._coarse = Courses([Schedule((*before, Step(t, h, 50.0))) for t, h in self.coarse])
        leftover = Leftover.over(np.concatenate([self.places, places_of(self._coarse)]))
        enough = wires.with_current >= FEWEST_CURRENTS if narrow is None else narrow
        self.process = Process(route, enough, leftover, field_scale)
        self.posterior = self._inferred()
        self._expected: dict[Objective, Array] = {}

    def _inferred(self) -> Posterior:
        """What is known of the process; what the laws leave is widened until the measurements are described."""
        count = sum(len(observation.value) for observation in self.wires.observed)
        allowed = float(chdtri(count, BY_CHANCE)) if count else 0.0
        while True:
            posterior = infer(self.process, self.courses, self.places, self.wires.observed, self.wires.fields_t)
            if posterior.misfit <= allowed or self.process.widened >= MOST_WIDENED:
                return posterior
            self.process = replace(self.process, widened=2.0 * self.process.widened)

    @property
    def conversion(self) -> tuple[float, float, float, float]:
        """Activation energy (kJ/mol) and hours at 650 °C of the conversion, each with its standard uncertainty."""
        z = self.posterior.draws(DRAWS, np.random.default_rng(0))
        q, tau = (self.process.parameter(z, name) for name in ("q_conversion", "tau_h"))
        return float(q.mean()), float(q.std()), float(tau.mean()), float(tau.std())

    def predict(self, z: Array, courses: Courses) -> dict[str, Array]:
        """Everything measured, of treatments; (draws, m) each."""
        return self.process.predict(z, courses, places_of(courses), self.fields_t)

    def draws(self, objective: Objective, random: np.random.Generator) -> Array:
        """Draws of the process whose optimum lies where makers react wire, (KEPT, p)."""
        z = self.posterior.draws(DRAWS, random)
        top = self._optimum(z, objective)
        at = np.array(self.coarse)[top]
        far = usual_distance(self.route, at[:, 0], at[:, 1])
        weight = np.exp(-0.5 * np.minimum(far, 4.0) ** 2)
        if self.without_currents(objective):
            weight = weight / self._expected_optimum(objective)[top]
        return z[resampled(weight, KEPT, random)]

    def without_currents(self, objective: Objective) -> bool:
        """Whether currents are asked for that were measured of too few treatments to say where they are largest."""
        return objective.relative and self.wires.with_current < FEWEST_CURRENTS

    def _optimum(self, z: Array, objective: Objective) -> NDArray[np.intp]:
        """Where on the coarse grid each draw has its optimum, (draws,)."""
        return np.asarray(np.argmax(self.predict(z, self._coarse)[objective.kind], axis=1))

    def _expected_optimum(self, objective: Objective) -> Array:
        """How often priors of the process alone have their optimum at each place of the coarse grid, (places,).

        Published kinetics hardly say where currents are largest, the schedules of makers do: without currents the
        former is divided out, so that optima lie as makers' do before anything is measured.
        """
        if objective not in self._expected:
            z = np.random.default_rng(1).standard_normal((2 * DRAWS, len(self.process.names)))
            counts = np.bincount(self._optimum(z, objective), minlength=len(self.coarse))
            # a place that hardly any draw has must not be divided by nothing
            self._expected[objective] = np.asarray(counts + 1e-3 * len(z), dtype=float)
        return self._expected[objective]


def plan(
    lot: LotProcess, objective: Objective, candidates: Candidates, limits: Limits, number: int = 1, seed: int = 0
) -> Plan:
    """Decide for one objective.

    Parameters
    ----------
    lot : LotProcess
    objective : Objective
    candidates : Candidates
    limits : Limits
    number : int
        Treatments to propose.
    seed : int
    """
    random = np.random.default_rng(seed)
    z = lot.draws(objective, random)
    region, words = _region(lot, candidates, lot.wires.direct.get(objective.kind, NOTHING).p_alike < BY_CHANCE)
    grown = _grown(candidates, region)
    some = candidates.select(grown)
    here, there = lot.predict(z, lot.courses), lot.predict(z, some.courses)
    masks = {words: region[grown], **_masks(some, there, limits)}
    return _with_proposals(Plan(lot, objective, limits, some, here, there, words, masks), number, random)


def _region(lot: LotProcess, candidates: Candidates, differ: bool) -> tuple[Mask, str]:
    """Where proposals are looked for: near what was reacted once wires differ, else in the makers' window."""
    if differ:
        return near_reacted(lot.places, candidates.temperature_c, candidates.hours), "one step beyond what was reacted"
    usual = lot.route.usual
    low, high = usual.temperature_c - usual.u_temperature_k, usual.temperature_c + usual.u_temperature_k
    short, long = usual.hours / usual.factor, usual.hours * usual.factor
    words = f"the makers' usual window ({low:g}-{high:g} °C, {short:.0f}-{long:.0f} h)"
    return inside_usual(lot.route, candidates.temperature_c, candidates.hours), words


def _grid(candidates: Candidates) -> NDArray[np.intp]:
    """Places of the candidates on their grid of temperatures and hours, (n, 2)."""
    axes = [np.unique(axis, return_inverse=True)[1] for axis in (candidates.temperature_c, candidates.hours)]
    return np.stack(axes, axis=1)


def _grown(candidates: Candidates, region: Mask) -> Mask:
    """The region and what lies next to it."""
    grid = _grid(candidates)
    shape = grid.max(axis=0) + 3
    there = np.zeros(shape, dtype=bool)
    there[tuple((grid[region] + 1).T)] = True
    near = there.copy()
    near[1:] |= there[:-1]
    near[:-1] |= there[1:]
    near[:, 1:] |= there[:, :-1]
    near[:, :-1] |= there[:, 1:]
    return np.asarray(near[tuple((grid + 1).T)])


def _masks(candidates: Candidates, there: Mapping[str, Array], limits: Limits) -> dict[str, Mask]:
    """What the wire must keep, as masks with the words for each."""
    least = LEAST_RRR if limits.rrr_above is None else limits.rrr_above
    masks = {f"RRR of {least:g}": np.median(np.exp(-there["rrr"]), axis=0) >= least}
    for bound in limits.holds:
        masks[bound.words] = np.array([bound.keeps(schedule) for schedule in candidates.schedules], dtype=bool)
    if limits.niobium_below is not None:
        left = 1.0 - np.median(there["niobium"], axis=0)
        masks[f"niobium left below {100.0 * limits.niobium_below:g} %"] = left <= limits.niobium_below
    return masks


def _with_proposals(plan: Plan, number: int, random: np.random.Generator) -> Plan:
    """Choose treatments one after the other, each as if the ones before had been measured as expected.

    The first is that of the largest worth; where no currents say which treatment is better, that of the largest mean.
    """
    wires, reacted = plan.lot.wires, plan.draws
    allowed = np.flatnonzero(plan.allowed & ~_reacted_already(plan.lot.places, plan.candidates))
    if not len(allowed) or not wires.coming:
        return plan

    def of(kind: str) -> Array:  # replicates compete: those reacted stand behind the candidates
        return np.concatenate([plan.there[kind][:, allowed], plan.here[kind]], axis=1)

    proposed, shown = of(plan.objective.kind), np.stack([of(kind) for kind in wires.coming], axis=2)
    proposals: list[Proposal] = []
    chosen: list[int] = []
    for turn in range(min(number, proposed.shape[1])):
        future = Futures(shown, wires.noise)
        worth = future.worth(reacted, proposed, random)
        worth[chosen] = -np.inf  # at one time each is reacted once
        rank = worth + 1e-3 * (proposed.mean(axis=0) - proposed.mean())
        if not turn and plan.lot.without_currents(plan.objective):
            # patterns tell too little of currents to be reacted for
            rank = np.where(np.arange(len(rank)) < len(allowed), proposed.mean(axis=0), -np.inf)
        k = int(np.argmax(rank))
        chosen.append(k)
        proposals.append(_proposal(plan, allowed, k, float(worth[k])))
        if turn + 1 < number:
            reacted, proposed, shown = future.after(k, reacted, proposed, shown)
            reacted = np.concatenate([reacted, proposed[:, [k]]], axis=1)
    top = 1.0 if plan.objective.relative else float(np.max(plan.draws.mean(axis=0)))
    return replace(plan, proposals=tuple(proposals), may_stop=proposals[0].worth < LEAST_GAIN * top)


def _reacted_already(places: Array, candidates: Candidates) -> Mask:
    """Which candidates are treatments reacted so far, by temperature and hours: they are replicates."""
    apart = np.abs(places_of(candidates.courses)[:, None, :] - places[None, :, :])
    return np.asarray(np.any(np.all(apart < np.array(ALIKE), axis=2), axis=1))


def _proposal(plan: Plan, allowed: NDArray[np.intp], k: int, worth: float) -> Proposal:
    replicate = k >= len(allowed)
    place = k - len(allowed) if replicate else int(allowed[k])
    source = plan.here if replicate else plan.there
    mine = source[plan.objective.kind][:, place]
    gain = mine - plan.draws[:, plan.best]
    low, middle, high = (float(x) for x in np.quantile(np.exp(-source["rrr"][:, place]), [0.16, 0.5, 0.84]))
    return Proposal(
        plan.treatments[place] if replicate else plan.candidates.schedules[place],
        float(np.median(plan.objective.gained(gain))),
        float(np.std(gain)),
        0.5 if replicate and place == plan.best else float(np.mean(gain > 0.0)),
        worth,
        (low, middle, high),
        () if replicate else _limited(plan, place),
        replicate,
        float(np.mean(mine)),
        float(np.std(mine)),
    )


def _limited(plan: Plan, place: int) -> tuple[str, ...]:
    """Limits behind which a neighbour of a candidate is expected to be better."""
    grid, mean = _grid(plan.candidates), plan.surface.mean(axis=0)
    at = {tuple(row): k for k, row in enumerate(grid.tolist())}
    t, h = (int(x) for x in grid[place])
    limits: dict[str, None] = {}
    furnace = plan.limits
    edges = (-1, 0, furnace.least_c), (1, 0, furnace.most_c), (0, -1, furnace.least_hours), (0, 1, furnace.most_hours)
    for dt, dh, edge in edges:
        beside, inward = at.get((t + dt, h + dh)), at.get((t - dt, h - dh))
        if beside is not None and mean[beside] > mean[place]:
            limits |= {name: None for name, mask in plan.masks.items() if not mask[beside]}
        elif beside is None and inward is not None and mean[place] > mean[inward]:
            here = plan.candidates.temperature_c[place] if dt else plan.candidates.hours[place]
            if edge is not None and edge == here:
                limits["the furnace limits"] = None
            elif dh > 0 and np.isfinite(furnace.total_h):
                limits[f"{furnace.total_h:g} h in all"] = None
    return tuple(limits)
