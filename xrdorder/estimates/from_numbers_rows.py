"""One line of a table of estimates, and how each kind of result becomes one."""

from __future__ import annotations

import math
from dataclasses import dataclass

from xrdorder.estimates.stored_draws import column_of
from xrdorder.quantities.registry import UNIT_1, quantity, unit_of
from xrdorder.relations import LABELS, Relation
from xrdorder.superconductivity.mixture import Answer
from xrdorder.uncertainty import Array

JOINT = "joint model"
"""By what the estimates are made."""


@dataclass(frozen=True)
class Row:
    """One line of a table.

    Attributes
    ----------
    quantity : str
        What it is.
    by : str
        How: name of the relation, "joint model", "given"...
    value, u, low, high : float
        Value (or median), standard uncertainty, 68 % interval; NaN where not given. Skewed results have an
        interval and no standard uncertainty.
    unit : str
    central : float
        Value at the central inputs, where `value` is a median of draws; the two differ where the result is
        skewed or part of the draws is outside the validity.
    formula, source, validity : str
        Of the relation; empty where there is none.
    known : str
        How the formula is known, in words.
    note : str
        Reason of a refusal, or a remark.
    """

    quantity: str
    by: str
    value: float
    u: float
    low: float
    high: float
    unit: str
    central: float = math.nan
    formula: str = ""
    source: str = ""
    validity: str = ""
    known: str = ""
    note: str = ""


def plain_row(name: str, by: str, value: float, u: float, note: str = "") -> Row:
    """Row of a quantity of this name, value and uncertainty as stored, with a symmetric uncertainty."""
    noun, unit, value, u = _to_people(name, value, u)
    return Row(noun, by, value, u, value - u, value + u, unit, value, note=note)


def _to_people(name: str, value: float, u: float) -> tuple[str, str, float, float]:
    about = quantity(name)
    factor = about.people.factor
    return about.noun, about.people.unit or UNIT_1, factor * value, factor * u


def relation_row(name: str, entry: Relation, value: float, u: float, note: str = "") -> Row:
    """Row of a quantity of this name by one relation, value and uncertainty as stored."""
    noun, unit, value, u = _to_people(name, value, u)
    return Row(
        noun,
        entry.name,
        value,
        u,
        value - u,
        value + u,
        unit,
        value,
        entry.formula,
        f"{entry.source}, {entry.equation}",
        f"{entry.inputs[0].name} {entry.validity}",
        LABELS[entry.known],
        note,
    )


def result_row(result: Answer, at: str = "") -> Row:
    """Row of what one relation says about Tc, resistivity or Bc2; `at` names a state in words."""
    note = result.reason
    median, low, high = (float(end) for end in result.band)
    if result.applies and result.share_inside < 0.995:
        note = f"{100 * result.share_inside:.0f} % of the draws inside its validity"
    return Row(
        f"{quantity(result.target).noun}{at}",
        result.name,
        median,
        math.nan,
        low,
        high,
        unit_of(result.target),
        result.value,
        "; ".join(entry.formula for entry in result.relations),
        "; ".join(f"{entry.source}, {entry.equation}" for entry in result.relations),
        "; ".join(f"{entry.inputs[0].name} {entry.validity}" for entry in result.relations),
        "; ".join(dict.fromkeys(LABELS[entry.known] for entry in result.relations)),
        note,
    )


def draws_row(name: str, draws: Array, note: str = "", at: str = "") -> Row:
    """Row of joint draws of a quantity, (draws,): median and 68 % interval as in the columns of a study."""
    about = quantity(name)
    median, low, high = (
        about.people.factor * float(column_of(draws[None, :], kind)[0]) for kind in ("value", "low", "high")
    )
    unit = about.people.unit or unit_of(name)
    return Row(f"{about.noun}{at}", JOINT, median, math.nan, low, high, unit, note=note)
