"""Differences, trends and drifts in plain words."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

from xrdorder.comparison.differences import LEVEL, Comparison, Difference
from xrdorder.comparison.drifts import Drift
from xrdorder.comparison.trends import Trend
from xrdorder.quantities.formatting import listed, rounded
from xrdorder.quantities.registry import Quantity, Scale, quantity, shown


@dataclass(frozen=True)
class Manner:
    """How one speaks of a quantity, or of a column of the table.

    Attributes
    ----------
    about : Quantity
    absolute, difference : Scale
        From the numbers that were compared to those that are told.
    """

    about: Quantity
    absolute: Scale
    difference: Scale

    @property
    def noun(self) -> str:
        """What it is called."""
        return self.about.noun

    @property
    def scale(self) -> float:
        """Factor of differences."""
        return self.difference.factor

    @property
    def unit(self) -> str:
        """Unit of differences."""
        return self.difference.unit

    def amount(self, value: float, u: float, *, signed: bool = False) -> str:
        """Write a difference with its standard uncertainty and unit."""
        return rounded(value * self.scale, u * self.scale, self.unit, signed=signed)

    def size(self, value: float) -> str:
        """Write the size of a difference in two digits with its unit."""
        return f"{_brief(value * self.scale, 2)} {self.unit}".strip()

    def sentence(self, first: str, second: str, amount: str, larger: bool) -> str:
        """Say a difference."""
        word = self.about.words[0 if larger else 1]
        return self.about.sentence.format(noun=self.noun, first=first, second=second, amount=amount, word=word)


def manner(name: str) -> Manner:
    """How to speak of a quantity, by its name or that of its column."""
    return Manner(quantity(name), shown(name), shown(name, difference=True))


def _brief(value: float, digits: int) -> str:
    """So many digits, large numbers without an exponent.

    >>> _brief(103.2, 2), _brief(942.808, 4), _brief(0.0000693, 2)
    ('100', '942.8', '6.9e-05')
    """
    text = f"{value:.{digits}g}"
    return f"{float(text):.0f}" if "e+" in text else text


def verdict(difference: Difference) -> str:
    """Say what a difference means; 'not distinguishable' where chance explains it.

    >>> variants = ("725 °C/100 h", "650 °C/100 h")
    >>> verdict(Difference("tin_at_percent", *variants, 0.81, 0.28, 0, 0, 0.6, 1, 0, 0.01))
    '725 °C/100 h has 0.81 ± 0.28 at.% more tin than 650 °C/100 h'
    >>> verdict(Difference("Tc_K", "A", "B", 0.1, 0.2, 0, 0, 0.39, 0.69, 0.6, 0.6))
    'Tc of A and B is not distinguishable: 0.10 ± 0.20 K, visible from 0.39 K, at most 0.49 K apart (95 %); about 15 \
times as many wires would settle as much'

    So is one that chance explains only among many comparisons:

    >>> verdict(Difference("tin_at_percent", "A", "B", 1.0, 0.3, 0, 0, 0.6, 0.99, 0.001, 0.09))
    'tin content of A and B is not distinguishable: 1.00 ± 0.30 at.%, visible from 0.6 at.%, at most 1.6 at.% apart \
(95 %); alone it would be more than chance, among so many comparisons it is not'

    A difference of many u that a single pair of replicates cannot tell from chance is explained:

    >>> verdict(Difference("domain_size_nm", "A", "B", -74.3, 2.0, 0, 0, 19.0, 0.01, 0.02, 0.1))
    'domain size of A and B is not distinguishable: −74.3 ± 2.0 nm, visible from 19 nm, at most 93 nm apart (95 %); \
too few replicates tell how far equal wires scatter'
    """
    d = difference
    how = manner(d.quantity)
    if not d.distinguishable:
        # else a reader wonders why a difference of many u should be chance
        if abs(d.value) > 1.96 * d.u and d.half_width > 2.5 * d.u:
            why = "too few replicates tell how far equal wires scatter"
        elif d.p < LEVEL:
            why = "alone it would be more than chance, among so many comparisons it is not"
        else:
            why = _times_as_many(d)
        apart = f"visible from {how.size(d.half_width)}, at most {how.size(d.bound)} apart (95 %)"
        pair = f"{how.noun} of {d.first} and {d.second}"
        return f"{pair} is not distinguishable: {how.amount(d.value, d.u)}, {apart}; {why}"
    amount = how.amount(abs(d.value), d.u)
    if how.about.relative and isfinite(d.relative):
        amount = rounded(100.0 * abs(d.relative), 100.0 * d.u_relative, "%")
    return how.sentence(d.first, d.second, amount, d.value > 0.0)


MOST_TIMES = 20
"""How many times as many wires are still told of: beyond that another measurement is wanted (own choice)."""


def _times_as_many(d: Difference) -> str:
    """How many times as many wires would make a difference as large significant, as far as scatter limits it."""
    times = (d.half_width / d.value) ** 2 if d.value else float("inf")
    if times > MOST_TIMES:
        return "no number of wires that anybody reacts would settle it: measure it directly"
    return f"about {max(round(times), 2)} times as many wires would settle as much"


def trend_words(trend: Trend, unit: str = "") -> str:
    """Say what a trend means, by the change over the span of the variable (`unit` is that of the variable)."""
    how = manner(trend.quantity)
    low, high = trend.span
    change, u = trend.change
    logarithm = "the logarithm of " if trend.logarithmic else ""
    where = f"{logarithm}{trend.variable} from {_brief(low, 4)} to {_brief(high, 4)} {unit}".strip()
    if trend.rejected:
        return f"{how.noun} over {where}: a line does not describe the course"
    if not trend.distinguishable:
        return f"{how.noun} shows no trend over {where} that is more than chance: {how.amount(change, u)}"
    course = "by a constant factor, " if trend.of_logarithm else ""
    return f"{how.noun} {'rises' if change > 0.0 else 'falls'} {course}by {how.amount(abs(change), u)} over {where}"


def drift_words(drift: Drift) -> str:
    """Say what a significant drift means."""
    how = manner(drift.quantity)
    amount = how.amount(abs(drift.change), drift.u_change)
    word = "rises" if drift.change > 0.0 else "falls"
    return f"{how.noun} {word} by {amount} over {drift.variable} inside variants, more than chance: a drift"


def probability_words(probability: float) -> str:
    """Write a probability; of none is it said that it is certain.

    >>> probability_words(0.503), probability_words(0.996), probability_words(0.0004)
    ('0.50', 'above 0.99', 'below 0.01')
    """
    if probability > 0.99:
        return "above 0.99"
    return "below 0.01" if probability < 0.01 else f"{probability:.2f}"


_ORIGINS = {
    "replicates": "that between equal wires",
    "variants": "that between the wires of one variant, whose treatments differ,",
    "course": "that about a smooth course over temperature and time, as replicates are too few,",
    "published": "up to some three times that published of equal wires, as no replicates were measured,",
}


def _scatter(comparisons: Sequence[Comparison]) -> str:
    """How far wires scatter beyond their known uncertainties, and where that was taken from, for all quantities."""
    origins: dict[tuple[str, int], list[Comparison]] = {}
    for comparison in comparisons:
        known = comparison.repeatability
        origins.setdefault((known.origin, known.degrees_of_freedom), []).append(comparison)
    parts = []
    for (origin, freedom), some in origins.items():
        whose = (
            ""
            if len(some) == len(comparisons)
            else f"of {listed([manner(entry.quantity).noun for entry in some])} "
        )
        amounts = ", ".join(_amount_of_scatter(entry, named=len(comparisons) > 1) for entry in some)
        text = f" by {freedom} degree{'s' * (freedom != 1)} of freedom" if origin != "published" else ""
        amounts = f": {amounts}" if origin != "published" else ""
        parts.append(f"the scatter {whose}beyond known uncertainties is {_ORIGINS[origin]}{text}{amounts}".rstrip(","))
    return "; ".join(parts)


def _amount_of_scatter(comparison: Comparison, *, named: bool) -> str:
    how, repeatability = manner(comparison.quantity), comparison.repeatability
    if repeatability.u == 0.0:
        amount = "none"
    elif comparison.logarithms is not None:
        amount = f"{_brief(100.0 * repeatability.u, 2)} % of it"
    else:
        amount = how.size(repeatability.u)
    return f"{how.noun} {amount}" if named else amount


def methods_sentence(*comparisons: Comparison) -> str:
    """One sentence for a report: how the variants were compared, by one quantity or several."""
    variants = max(len(comparison.variants) for comparison in comparisons)
    samples = max(int(comparison.counts.sum()) for comparison in comparisons)
    number = max(comparison.first.size for comparison in comparisons)
    each = " of each quantity" if len(comparisons) > 1 else ""
    return (
        f"Differences of {listed([manner(comparison.quantity).noun for comparison in comparisons])} "
        f"between {variants} variants ({samples} samples) were judged with signed contributions, so that "
        f"errors common to two variants cancel; "
        f"{_scatter(comparisons)}; probabilities were averaged over what the scatter may be and corrected for "
        f"{number} comparison{'s' * (number != 1)}{each} (Holm), with {100 * LEVEL:g} % as the limit; uncertainties "
        "are standard (k = 1)."
    )
