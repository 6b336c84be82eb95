"""One pair of variants, or of wires: what is measured best first, then what follows from it.

The lattice parameter, the order, the domain size and what niobium is left are read off the pattern; tin, Tc, Bc2 and
the current follow from them by published evidence. Nothing is corrected for many comparisons: one pair was asked for.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from xrdorder.comparison.differences import LEVEL, SIGNIFICANT_U, Difference, compare
from xrdorder.comparison.quantity_draws import Values
from xrdorder.comparison.replicates import Repeatability
from xrdorder.comparison.variants import Wires, fit_to_compare, wires_of
from xrdorder.comparison.wording import Manner, manner
from xrdorder.display import Displayed
from xrdorder.estimates.conductors import conductors, with_like_sizes
from xrdorder.estimates.stored_draws import StudyDraws
from xrdorder.exceptions import StudyError, XrdorderError, did_you_mean
from xrdorder.quantities.caveats import NOT_WIDENED
from xrdorder.quantities.formatting import digits, with_interval, with_sign
from xrdorder.relations import Library
from xrdorder.superconductivity.currents import current_draws
from xrdorder.uncertainty import interval

MEASURED = ("a_nm", "site_order", "domain_size_nm", "weight_fraction_nb")
FOLLOWS = ("tin_at_percent", "Tc_K", "Bc2_4K2_T")
FIELD_T = 12.0
"""Field that the current is compared at: where wires are usually measured (common practice, no source)."""

CERTAIN, LIKELY = 0.99, 0.80
"""Probabilities of the sign from which a difference is called certain, and likely (own choice of words)."""

_MOST_WIRES = 20


@dataclass(frozen=True)
class PairLine:
    """One quantity of a pair.

    Attributes
    ----------
    noun : str
    amount : str
        Difference with its standard uncertainty and unit; of a ratio with both ends of its 68 % interval.
    larger : str
        "larger", "smaller", as the quantity is spoken of.
    probability : float
        Of the sign that was found.
    significant : bool
        At 5 %, of this pair alone.
    visible : str
        Smallest difference that would have been significant.
    remedy : str
        What would settle it; empty where it is settled.
    follows : bool
        Estimated of what was measured.
    scatter : str
        Where the scatter between equal wires was taken from.
    """

    noun: str
    amount: str
    larger: str
    probability: float
    significant: bool
    visible: str
    remedy: str
    follows: bool
    scatter: str

    @property
    def sure(self) -> str:
        """How sure it is."""
        if self.significant and self.probability >= CERTAIN:
            return "certain"
        if self.probability >= LIKELY:
            return f"{'very ' if self.significant else ''}likely (P {self.probability:.2f})"
        return "not distinguishable"


@dataclass(frozen=True)
class Pair(Displayed, view="comparison"):
    """A pair compared.

    Attributes
    ----------
    first, second : str
        As compared: variants, or wires of one variant.
    counts : tuple of int
        Wires of each.
    lines : tuple of PairLine
    widening : str
        What the difference of tin would be if disorder did not widen the lattice; empty where order is alike.
    """

    first: str
    second: str
    counts: tuple[int, int]
    lines: tuple[PairLine, ...]
    widening: str


def compare_pair(results: xr.Dataset, first: str, second: str, library: Library | None = None) -> Pair:
    """Compare two variants, or two wires of one variant.

    Parameters
    ----------
    results : Dataset
        Collated results of a study.
    first, second : str
        Names of samples, each of which stands for its variant (lot, treatment, mount), or of variants.
    library : Library, optional
        For the current; none is compared without.

    Raises
    ------
    StudyError
        There is no such sample or variant, or both are one wire.
    """
    usable, left_out = fit_to_compare(results)
    for name in (first, second):
        if name in left_out:
            raise StudyError(f"--pair {name}: cannot be compared: {left_out[name]}")
    labels, counts = _labels(usable, first, second)
    compared = dict(_lines(usable, labels))
    lines = [line for _, line in compared.values()]
    if not lines:
        raise StudyError(f"--pair {first} {second}: no quantity is known of both; look at their fits")
    if library is not None and (current := _current(usable, labels, library)) is not None:
        lines.append(current)
    names = list(dict.fromkeys(label for label in labels.values() if label))
    widening = _without_widening(usable, labels, {quantity: d for quantity, (d, _) in compared.items()})
    return Pair(names[0], names[1], counts, tuple(lines), widening)


def _labels(results: xr.Dataset, first: str, second: str) -> tuple[dict[str, str], tuple[int, int]]:
    """Label of each sample that belongs to the pair, the first side first."""
    wires = next(labels for labels in (_wires(results, name) for name in (*MEASURED, *FOLLOWS)) if labels is not None)
    variant = dict(zip(wires.values.samples, wires.treatments, strict=True))
    sides: list[dict[str, str]] = []
    for name in (first, second):
        label = variant.get(name, name)
        if label not in variant.values():
            hint = did_you_mean(name, [*variant, *wires.variants])
            raise StudyError(f"--pair: no sample or variant '{name}'; {hint}")
        sides.append({sample: label for sample, labels in variant.items() if labels == label})
    if sides[0] == sides[1]:
        if first == second or first not in variant or second not in variant:
            raise StudyError(f"--pair: '{first}' and '{second}' are one and the same; name two samples or variants")
        sides = [{first: first}, {second: second}]
    return {**sides[0], **sides[1]}, (len(sides[0]), len(sides[1]))


def _wires(results: xr.Dataset, quantity: str) -> Wires | None:
    try:
        return wires_of(results, quantity)
    except XrdorderError:
        return None


def _lines(results: xr.Dataset, labels: dict[str, str]) -> Iterator[tuple[str, tuple[Difference, PairLine]]]:
    for quantity in (*MEASURED, *FOLLOWS):
        wires = _wires(results, quantity)
        if wires is None:
            continue
        # the others stay, with labels of their own: their replicates and their course tell the scatter
        mine = [labels.get(name, f"\0{name}") for name in wires.values.samples]
        if len(set(mine) & set(labels.values())) < 2:
            continue
        ordered = list(dict.fromkeys(labels.values()))
        comparison = compare(
            wires.values, mine, replicates=wires.treatments, reference=ordered[1], scatter=wires.course,
            telling=wires.telling,
        )  # fmt: skip
        d = comparison.pair(ordered[0], ordered[1])
        yield quantity, (d, _line(d, comparison.repeatability, quantity in FOLLOWS, wires.values, labels))


def _without_widening(results: xr.Dataset, labels: dict[str, str], differences: Mapping[str, Difference]) -> str:
    """Say what hangs on the widening of the lattice by disorder, where order differs significantly.

    Draws of the difference of tin are regressed on those of the widening.
    """
    order, tin = (differences.get(name) for name in ("site_order", "tin_at_percent"))
    if order is None or tin is None or not order.p < LEVEL:
        return ""
    drawn = StudyDraws.of(results)
    widening = drawn.of_lot(results, "", "", "widening by disorder", math.nan)
    percent = 100.0 * drawn.of_target("tin_fraction")
    first, second = (
        percent[[labels.get(name) == side for name in drawn.samples]].mean(axis=0) for side in (tin.first, tin.second)
    )
    slope = float(np.cov(first - second, widening)[0, 1] / np.var(widening, ddof=1))
    if not math.isfinite(slope):  # estimated apart, or not at all
        return ""
    how = manner(tin.quantity)
    return (
        f"Tin of {tin.first} less that of {tin.second}: {how.amount(tin.value, tin.u, signed=True)} with the widening "
        f"by disorder (used), {with_sign(tin.value * how.scale - slope * float(widening.mean()), '.2f')} {NOT_WIDENED}."
    )


def _line(d: Difference, scatter: Repeatability, follows: bool, values: Values, labels: dict[str, str]) -> PairLine:
    how = manner(d.quantity)
    probability = d.probability_positive if d.value > 0.0 else 1.0 - d.probability_positive
    significant = d.p < LEVEL
    remedy = "" if significant else (_by_measurement(d, how) if follows else _by_wires(d, scatter, values, labels, how))
    visible = f"{digits(d.half_width * how.scale, 2)} {how.unit}".strip()
    word = how.about.words[0 if d.value > 0.0 else 1]
    amount = how.amount(abs(d.value), d.u)
    return PairLine(how.noun, amount, word, probability, significant, visible, remedy, follows, scatter.origin)


def _by_measurement(d: Difference, how: Manner) -> str:
    """Which measurement would settle a difference as large as was found, or as could be seen now."""
    size = max(abs(d.value), 0.25 * d.half_width)
    to = size * how.scale / (SIGNIFICANT_U * np.sqrt(2.0))
    return f"measured on both to {digits(to, 1)} {how.unit}".strip()


def _by_wires(d: Difference, scatter: Repeatability, values: Values, labels: dict[str, str], how: Manner) -> str:
    """How many wires of each would settle a difference as large as was found, or half of what could be seen now."""
    size = max(abs(d.value), 0.5 * d.half_width)
    level = float(np.median(values.value)) if values.by_logarithm else 1.0
    variance = (level * scatter.nodes) ** 2 @ scatter.weights
    mine = [k for k, name in enumerate(values.samples) if name in labels]
    own = float(np.mean(values.own[mine] ** 2))
    common = max(d.u**2 - own * sum(1.0 / _count(labels, name) for name in dict.fromkeys(labels.values())), 0.0)
    left = (size / SIGNIFICANT_U) ** 2 - common
    wires = int(np.ceil(2.0 * (own + variance) / left)) if left > 0.0 else _MOST_WIRES + 1
    if wires > _MOST_WIRES:
        return f"more than {_MOST_WIRES} wires of each"
    return f"{max(wires, 2)} wires of each"


def _count(labels: dict[str, str], name: str) -> int:
    return list(labels.values()).count(name)


def _current(results: xr.Dataset, labels: dict[str, str], library: Library) -> PairLine | None:
    """Layer current of the first over that of the second, by what the estimates say of both."""
    part = results.isel(sample=[k for k, name in enumerate(results["sample"].values) if str(name) in labels])
    try:
        samples = with_like_sizes(conductors(part, library=library), part)
        draws = current_draws(samples, FIELD_T)
    except XrdorderError:
        return None
    sides: Sequence[str] = list(dict.fromkeys(labels.values()))
    rows = [[k for k, sample in enumerate(samples) if labels[sample.name] == side] for side in sides]
    if not all(rows):
        return None
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.mean(draws[rows[0]], axis=0) / np.mean(draws[rows[1]], axis=0)
    ratio = ratio[np.isfinite(ratio) & (ratio > 0.0)]
    if not ratio.size:
        return None
    more = float(np.median(ratio)) > 1.0
    # a ratio is lopsided: its median, its interval and the probability of its sign are all taken from the draws
    percent = 100.0 * (ratio - 1.0 if more else 1.0 - ratio)
    gain, ends = float(np.median(percent)), interval(percent)
    probability = float(np.mean(percent > 0.0))
    significant = probability > 1.0 - LEVEL / 2.0
    wide = SIGNIFICANT_U * float(np.std(np.log(ratio)))
    half = 100.0 * abs(np.expm1(wide if more else -wide))
    to = max(gain, 0.25 * half) / (SIGNIFICANT_U * np.sqrt(2.0))
    remedy = "" if significant else f"Ic measured on both to {digits(to, 1)} %"
    return PairLine(
        f"layer current density at {FIELD_T:g} T", f"{with_interval(gain, *ends)} %", "higher" if more else "lower",
        probability, significant, f"{digits(half, 2)} %", remedy, True, "",
    )  # fmt: skip
