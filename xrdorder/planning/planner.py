"""The best treatment so far and how sure; the next one to three, and what each would tell.

`plan` is for one quantity. Two operating fields are two quantities and two plans, which may rightly differ.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2, norm

from xrdorder.comparison import Repeatability, Values
from xrdorder.comparison.differences import mean_weights
from xrdorder.comparison.replicates import FEW, NONE
from xrdorder.comparison.wording import probability_words
from xrdorder.exceptions import StudyError
from xrdorder.planning.constraints import Constraint, allowed, nearest_miss
from xrdorder.planning.furnace import Space
from xrdorder.planning.gaussian_process import Process, fit
from xrdorder.planning.information import Choice, after, choose, spread_out
from xrdorder.quantities.formatting import digits, rounded
from xrdorder.treatments import History, Schedule

Array = NDArray[np.float64]

LEVEL = 0.01
"""Chance of seeing a difference where there is none, each time one looks. One in a hundred, because a campaign is
looked at after every batch: over a campaign of eight looks it stays below one in twenty."""

LEAST_TREATMENTS = 4
"""Different treatments below which no surface is drawn: a plane over two variables has three parameters."""

MOST_PROPOSALS = 3

HARDLY_WORTH = 0.05
"""What is worth less than this part of the uncertainty of a value is no proposal: not worth a furnace (a choice). With
0.1 one of thirty simulated campaigns stopped with a best 3.5 % of the range off, which 0.05 does not."""

HARDLY_BETTER = 0.05
"""What is better than the best so far with less than this probability is no proposal either: where a surface knows
little, a long tail alone would be worth a furnace (a choice)."""

SURE_ENOUGH = 0.8
"""Least probability of keeping the constraints for a treatment that is called best (a choice)."""

DRAWS = 4000


def _short_name(one: History) -> str:
    return one.short_name


@dataclass(frozen=True)
class Best:
    """The best of the treatments that were reacted.

    Attributes
    ----------
    treatment : str
        Its short name.
    schedule : History
    value, u : float
        By the response surface.
    probability : float
        That no other reacted treatment is truly better.
    rivals : tuple of (str, float)
        Others that may be the best, with their probability, largest first; those above one in twenty.
    expected_gain : float
        By how much the best allowed treatment inside the furnace limits is expected to be better than this one.
    """

    treatment: str
    schedule: History
    value: float
    u: float
    probability: float
    rivals: tuple[tuple[str, float], ...]
    expected_gain: float


@dataclass(frozen=True)
class Proposal:
    """A treatment worth reacting.

    Attributes
    ----------
    schedule : Schedule
    predicted, u : float
        What is expected there; NaN where nothing can be predicted yet.
    difference, u_difference : float
        From the best so far, where what all values share drops out; NaN where there is none.
    chance_better : float
        Probability that it is truly better than the best so far; NaN where there is none.
    worth : float
        Expected rise of the best predicted value once it is measured, in the unit of the quantity; NaN where it is
        proposed to learn whether anything differs.
    allowed : float
        Probability that the constraints are kept.
    u_after : float
        What `u_difference` is expected to become once it is measured; NaN where there is none.
    """

    schedule: Schedule
    predicted: float
    u: float
    difference: float
    u_difference: float
    chance_better: float
    worth: float
    allowed: float
    u_after: float = np.nan


class Direct(NamedTuple):
    """Means of the wires of treatments and their differences to one treatment, with standard uncertainties."""

    value: Array
    u: Array
    difference: Array
    u_difference: Array


@dataclass(frozen=True, eq=False)
class Plan:
    """What the treatments so far say of a quantity, and what to do next.

    Attributes
    ----------
    quantity : str
    maximise : bool
    state : str
        "ok"; "flat" where the values are not distinguishable; "too few" treatments; "not allowed" where no reacted
        treatment keeps the constraints.
    p_equal : float
        Probability of values as different by chance if all treatments were equal; NaN with one.
    process : Process or None
        The response surface, of the quantity (or of minus it where small is good).
    best : Best or None
        None unless the state is "ok".
    proposals : tuple of Proposal
    space : Space
    treatments : tuple of History
        Of the samples that entered.
    notes : tuple of str
    values : Values
        Of the samples that entered.
    scatter : float
        Between equal wires, beside their known uncertainties.
    label : callable
        Gives the name of a treatment.
    """

    quantity: str
    maximise: bool
    state: str
    p_equal: float
    process: Process | None
    best: Best | None
    proposals: tuple[Proposal, ...]
    space: Space
    treatments: tuple[History, ...]
    notes: tuple[str, ...]
    values: Values = field(repr=False)
    scatter: float
    label: Callable[[History], str] = field(default=_short_name, repr=False)

    @property
    def distinguishable(self) -> bool:
        """Whether the treatments differ by more than chance."""
        return self.state in ("ok", "not allowed")

    def surface(self, treatments: Sequence[History]) -> tuple[Array, Array]:
        """Predicted values and their standard uncertainties.

        Raises
        ------
        StudyError
            There are too few treatments for a surface.
        """
        if self.process is None:
            raise StudyError(
                f"{self.quantity}: {len(self.treatments)} treatment(s) are too few for a response surface"
            )
        mean, variance = self.process.predict_each(self.space.coordinates(treatments))
        return (mean if self.maximise else -mean), np.sqrt(variance)

    def differences(self, treatments: Sequence[History], reference: History) -> tuple[Array, Array]:
        """Predicted differences to one treatment, and their standard uncertainties; what all share has dropped out.

        Raises
        ------
        StudyError
            There are too few treatments for a surface.
        """
        value, _ = self.surface([*treatments, reference])
        assert self.process is not None  # surface has refused otherwise
        _, covariance = self.process.predict(self.space.coordinates([*treatments, reference]))
        own = np.diag(covariance)
        square = own[:-1] + own[-1] - 2.0 * covariance[:-1, -1]
        return value[:-1] - value[-1], np.sqrt(np.maximum(square, 0.0))

    def direct(self, treatments: Sequence[History], reference: History) -> Direct:
        """Differences of the wires themselves to those of one treatment, without a surface, as a comparison has them.

        NaN for treatments that were not reacted, and for all where the reference was not.
        """
        asked = np.round(self.space.coordinates([*treatments, reference]), 9)
        wires = np.round(self.space.coordinates(self.treatments), 9)
        belongs = np.all(wires[:, None, :] == asked[None, :, :], axis=2)
        there = np.any(belongs, axis=0)
        value = np.full(len(asked), np.nan)
        covariance = np.full((len(asked), len(asked)), np.nan)
        if np.any(there):
            means = mean_weights(self.values.own, belongs[:, there], self.scatter)
            value[there] = means @ self.values.value
            covariance[np.ix_(there, there)] = means @ self.values.covariance(self.scatter) @ means.T
        own = np.diag(covariance)
        square = own + own[-1] - 2.0 * covariance[:, -1]
        u, u_difference = (np.sqrt(np.maximum(one[:-1], 0.0)) for one in (own, square))
        return Direct(value[:-1], u, value[:-1] - value[-1], u_difference)


def equal_by_chance(values: Values, repeatability: Repeatability = NONE) -> float:
    """Probability of values as different by chance if all were equal: chi square, averaged over the scatter of wires.

    Exact for any choice of treatments, also one that followed from earlier values: under equality the noise of a new
    value does not depend on where it was taken. With nothing but the scatter of replicates it is the F test.
    """
    n = len(values)
    if n < 2:
        return np.nan
    free = np.linalg.qr(np.ones((n, 1)), mode="complete")[0][:, 1:]
    sizes, vectors = np.linalg.eigh(free.T @ values.covariance() @ free)
    squares = (vectors.T @ (free.T @ values.value)) ** 2
    sizes = np.maximum(sizes, 1e-13 * float(np.max(np.diag(values.covariance()))) + 1e-300)
    sums = np.sum(squares[:, None] / (sizes[:, None] + repeatability.nodes**2), axis=0)
    return float(chi2.sf(sums, n - 1) @ repeatability.weights)


def plan(
    values: Values,
    treatments: Sequence[History | None],
    space: Space,
    *,
    maximise: bool = True,
    repeatability: Repeatability = NONE,
    constraints: Sequence[Constraint] = (),
    number: int = 1,
    seed: int = 0,
    label: Callable[[History], str] = _short_name,
) -> Plan:
    """Say which treatment is best so far, and propose the next ones.

    Parameters
    ----------
    values : Values
        Of one quantity.
    treatments : sequence of History or None
        Of the samples of `values`; None leaves the sample out.
    space : Space
        Furnace limits and variables.
    maximise : bool
        Whether large is good.
    repeatability : Repeatability
        What replicates tell of the scatter between equal wires.
    constraints : sequence of Constraint
    number : int
        How many treatments to propose, 1 to 3.
    seed : int
    label : callable
        Gives the name of a treatment; its short name unless given.

    Returns
    -------
    Plan
        With too few treatments, or values that are not distinguishable, there is no best one, and what is proposed is
        there to learn whether anything differs. Otherwise only what is worth a furnace run is proposed, which may be
        fewer than asked for, or nothing; a note says so.

    Raises
    ------
    StudyError
        No treatment inside the furnace limits may keep the constraints.
    ValueError
        Numbers that do not fit together.
    """
    if not 1 <= number <= MOST_PROPOSALS:
        raise ValueError(f"{number} proposals: give 1 to {MOST_PROPOSALS}")
    if len(treatments) != len(values):
        raise ValueError(f"{len(treatments)} treatments for {len(values)} samples; give one a sample")
    known = [k for k, one in enumerate(treatments) if one is not None]
    some = values.select(np.array(known, dtype=int))
    own = [one for one in treatments if one is not None]
    notes = []
    if len(known) < len(values):
        notes.append(f"{len(values) - len(known)} sample(s) without a heat treatment are left out")
    if repeatability.degrees_of_freedom == 0:
        notes.append(
            "no replicates: wires are taken to scatter by known uncertainties alone; a second of one treatment tells"
        )
    elif repeatability.degrees_of_freedom < FEW:
        notes.append("hardly any replicates: the scatter of equal wires is badly known; more of one treatment tell")
    weights = allowed(constraints, space.candidates)
    if np.max(weights) < 0.01:
        nearest = next((words for one in constraints if (words := nearest_miss(one, space.candidates, label))), "")
        raise StudyError(
            "no treatment inside the furnace limits keeps: " + "; ".join(one.words for one in constraints) + nearest
        )
    x = space.coordinates(own)
    places, first = _distinct(x)
    p = equal_by_chance(some, repeatability)
    sign = 1.0 if maximise else -1.0
    sure = np.where(weights >= min(SURE_ENOUGH, float(np.max(weights))), weights, 0.0)
    if len(places) < LEAST_TREATMENTS:
        proposals = _learn(space, spread_out(space.grid, places, sure, number), weights, None)
        return Plan(
            values.quantity, maximise, "too few", p, None, None, proposals, space, tuple(own), tuple(notes), some,
            repeatability.u, label,
        )  # fmt: skip
    process = fit(x, sign * some.value, some.covariance(repeatability.u), seed, widths=space.widths(own))
    if not p < LEVEL:
        proposals = _learn(space, spread_out(space.grid, places, sure, number), weights, (process, sign))
        return Plan(
            values.quantity, maximise, "flat", p, process, None, proposals, space, tuple(own), tuple(notes), some,
            repeatability.u, label,
        )  # fmt: skip
    everything = np.concatenate([places, space.grid])
    mean, covariance = process.predict(everything)
    reacted = [own[k] for k in first]
    keeps = np.concatenate([allowed(constraints, reacted), weights])
    best = _best(mean, covariance, reacted, keeps, sign, seed, label)
    noise = float(np.median(some.own**2)) + repeatability.u**2
    weights_all = np.concatenate([np.zeros(len(places)), weights])
    enough = min(SURE_ENOUGH, float(np.max(keeps)))
    may_win = np.asarray(keeps >= enough, dtype=bool)
    good = np.flatnonzero(may_win[: len(places)])
    # a further wire shares what all have shared so far
    least = 0.0
    if best is not None:
        least = HARDLY_WORTH * float(np.sqrt(noise))
        weights_all = np.where(_promising(mean, covariance, best[1]), weights_all, 0.0)
    chosen = choose(mean, covariance - process.common, noise, weights_all, good, may_win, number, least)
    chosen = [Choice(one.candidate - len(places), one.worth) for one in chosen]
    proposals = tuple(
        _proposal(space, one, mean, covariance - process.common, process.common, noise, keeps, len(places), best, sign)
        for one in chosen
    )
    if best is not None and len(proposals) < number:
        notes.insert(0, _stop(len(proposals)))
    notes += _edges(space, mean[len(places) :], weights >= min(enough, float(np.max(weights))), space.varied(own))
    if best is not None and np.any(np.abs(places[best[1]] - 0.5) > 0.5 + 1e-6):
        notes.append("the best so far lies outside the limits within which treatments are proposed")
    state = "ok" if best is not None else "not allowed"
    found = None if best is None else best[0]
    return Plan(
        values.quantity, maximise, state, p, process, found, proposals, space, tuple(own), tuple(notes), some,
        repeatability.u, label,
    )  # fmt: skip


def _promising(mean: Array, covariance: Array, best: int) -> NDArray[np.bool_]:
    """Mark places that may well be better than the best so far, and the best itself: it may be worth a second wire."""
    own = np.diag(covariance)
    square = own + own[best] - 2.0 * covariance[:, best]
    same = square <= 1e-10 * float(own[best])
    chance = norm.cdf((mean - mean[best]) / np.sqrt(np.maximum(square, 1e-300)))
    return np.asarray(same | (chance >= HARDLY_BETTER))


def _stop(proposed: int) -> str:
    """Say that nothing more is worth a furnace run."""
    if not proposed:
        return "no treatment inside the limits is expected to gain what one could see: the search may stop"
    those = "that one" if proposed == 1 else f"those {proposed}"
    return f"you may stop after {those}: no further treatment is expected to gain what one could see"


def _edges(space: Space, mean: Array, usable: NDArray[np.bool_], varied: NDArray[np.bool_]) -> list[str]:
    """Say where the surface is highest at a limit of the furnace: what lies beyond may be better.

    Of a variable in which no two wires differ the surface knows nothing, so nothing is said of its limits.
    """
    at = space.grid[int(np.argmax(np.where(usable, mean, -np.inf)))]
    found = []
    for name, place, width, known in zip(space.variables, at, np.ptp(space.grid, axis=0), varied, strict=True):
        if not width > 0.0:
            continue
        if not known:
            found.append(f"all wires had about the same {name}: what another does is not known")
        elif place < 1e-9 or place > 1.0 - 1e-9:
            end = "upper" if place > 0.5 else "lower"
            found.append(f"the surface is highest at the {end} limit of the {name}: what lies beyond may be better")
    return found


def _distinct(x: Array) -> tuple[Array, list[int]]:
    """Different places, in the order met, and where each was met first."""
    seen: dict[tuple[float, ...], int] = {}
    for k, row in enumerate(np.round(x, 9)):
        seen.setdefault(tuple(row), k)
    index = list(seen.values())
    return x[index], index


def _best(
    mean: Array, covariance: Array, reacted: Sequence[History], keeps: Array, sign: float, seed: int,
    label: Callable[[History], str],
) -> tuple[Best, int] | None:
    """The best reacted treatment that keeps the constraints, and its place."""
    n = len(reacted)
    good = np.flatnonzero(keeps[:n] >= SURE_ENOUGH)
    if good.size == 0:
        return None
    place = int(good[np.argmax(mean[good])])
    random = np.random.default_rng(seed)
    usable = np.concatenate([good, n + np.flatnonzero(keeps[n:] >= SURE_ENOUGH)])
    part = covariance[np.ix_(usable, usable)]
    size, vectors = np.linalg.eigh(part)
    keep = size > 1e-10 * size[-1]
    root = vectors[:, keep] * np.sqrt(size[keep])
    draws = mean[usable] + random.standard_normal((DRAWS, root.shape[1])) @ root.T
    among = np.bincount(np.argmax(draws[:, : good.size], axis=1), minlength=good.size) / DRAWS
    here = int(np.flatnonzero(good == place)[0])
    gain = float(np.mean(np.max(draws, axis=1) - draws[:, here]))
    names = [label(reacted[int(k)]) for k in good]
    order = [int(k) for k in np.argsort(-among)]
    rivals = tuple((names[k], float(among[k])) for k in order if k != here and among[k] > 0.05)
    found = Best(
        names[here],
        reacted[place],
        sign * float(mean[place]),
        float(np.sqrt(max(covariance[place, place], 0.0))),
        float(among[here]),
        rivals,
        gain,
    )
    return found, place


def _proposal(
    space: Space,
    choice: Choice,
    mean: Array,
    covariance: Array,
    common: float,
    noise: float,
    keeps: Array,
    before: int,
    best: tuple[Best, int] | None,
    sign: float,
) -> Proposal:
    k = before + choice.candidate
    difference = u_difference = chance = u_after = np.nan
    if best is not None:
        b = best[1]
        both = np.ix_([k, b], [k, b])
        now, then = covariance[both], after(covariance[both], 0, noise)
        square, left = (float(one[0, 0] + one[1, 1] - 2.0 * one[0, 1]) for one in (now, then))
        difference, u_difference = float(mean[k] - mean[b]), float(np.sqrt(max(square, 1e-300)))
        u_after = float(np.sqrt(max(left, 0.0)))
        chance = float(norm.cdf(difference / u_difference))
    u = float(np.sqrt(max(covariance[k, k] + common, 0.0)))
    schedule, value = space.candidates[choice.candidate], sign * float(mean[k])
    return Proposal(
        schedule, value, u, sign * difference, u_difference, chance, choice.worth, float(keeps[k]), u_after
    )


def _learn(
    space: Space, chosen: Sequence[Choice], weights: Array, surface: tuple[Process, float] | None
) -> tuple[Proposal, ...]:
    """Proposals that ask whether anything differs."""
    found = []
    for choice in chosen:
        value = u = np.nan
        if surface is not None:
            process, sign = surface
            mean, covariance = process.predict(space.grid[[choice.candidate]])
            value, u = sign * float(mean[0]), float(np.sqrt(max(covariance[0, 0], 0.0)))
        k = choice.candidate
        unknown = np.nan
        found.append(
            Proposal(space.candidates[k], value, u, unknown, unknown, unknown, unknown, float(weights[k]))
        )
    return tuple(found)


def plan_words(found: Plan, unit: str = "", name: str = "") -> list[str]:
    """Say a plan in plain words, one line each.

    Parameters
    ----------
    found : Plan
    unit, name : str
        Unit of the quantity, and its name for people.
    """
    name = name or found.quantity

    def amount(value: float, u: float) -> str:
        return rounded(value, u, unit)

    lines = []
    different = len(_distinct(found.space.coordinates(found.treatments))[1]) if found.treatments else 0
    if found.state == "too few":
        lines.append(
            f"{name}: {different} different treatment(s) are too few to tell which is best; "
            f"{LEAST_TREATMENTS} are needed"
        )
    elif found.state == "flat":
        lines.append(
            f"{name}: the {different} treatments are not distinguishable (as much difference comes by chance with "
            f"probability {probability_words(found.p_equal)}); no best treatment is named"
        )
    elif found.best is None:
        lines.append(f"{name}: none of the {different} treatments keeps the constraints; no best treatment is named")
    else:
        best = found.best
        lines.append(
            f"{name}: best so far is {best.treatment} with {amount(best.value, best.u)}; no other reacted treatment "
            f"is better with probability {probability_words(best.probability)}"
        )
        if best.rivals:
            others = ", ".join(f"{other} ({probability:.2f})" for other, probability in best.rivals)
            lines.append(f"it may also be {others}")
        gain = f"{digits(best.expected_gain, 2)} {unit}".strip()
        lines.append(f"the best treatment inside the limits is expected to be better by {gain}")
    reacted = {tuple(row) for row in np.round(found.space.coordinates(found.treatments), 9)}
    for k, proposal in enumerate(found.proposals):
        text = f"react {found.label(proposal.schedule)}"
        if tuple(np.round(found.space.coordinates([proposal.schedule])[0], 9)) in reacted:
            text += " again"
        if np.isfinite(proposal.predicted):
            text += f": predicted {amount(proposal.predicted, proposal.u)}"
        if proposal.u_difference <= 1e-9 * proposal.u:
            text += "; it is the best so far, which is then known better"
        elif np.isfinite(proposal.chance_better):
            more = amount(proposal.difference, proposal.u_difference)
            text += (
                f"; {more} against the best so far, better with probability "
                f"{probability_words(proposal.chance_better)}; once it is measured{' as well' * (k > 0)} the best is "
                f"expected to gain {'another ' * (k > 0)}{digits(proposal.worth, 2)} {unit}"
            ).rstrip()
            if np.isfinite(proposal.u_after):
                text += f", and the doubt of that difference to shrink to {digits(proposal.u_after, 2)} {unit}".rstrip()
        if not np.isfinite(proposal.worth):
            text += "; far from what was reacted: would tell whether anything differs"
        if proposal.allowed < 0.995:
            text += f"; keeps the constraints with probability {proposal.allowed:.2f}"
        lines.append(text)
    return [*lines, *found.notes]
