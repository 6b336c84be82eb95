"""One line of a table of estimates, and how each kind of result becomes one."""

from __future__ import annotations

import math
from dataclasses import dataclass

from xrdorder.relations import LABELS, Relation
from xrdorder.superconductivity.prediction import TARGETS, Combined, RelationResult

QUANTITY_TITLES = {"Tc_K": "Tc", "Bc2_0K_T": "Bc2(0 K)", "Bc2_4K2_T": "Bc2(4.2 K)"}


@dataclass(frozen=True)
class Row:
    """One line of a table.

    Attributes
    ----------
    quantity : str
        What it is.
    by : str
        How: name of the relation, "combined", "given"...
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


def plain_row(quantity: str, by: str, value: float, u: float, unit: str, note: str = "") -> Row:
    """Row of a number with a symmetric uncertainty."""
    return Row(quantity, by, value, u, value - u, value + u, unit, value, note=note)


def relation_row(
    quantity: str, entry: Relation, value: float, u: float, unit: str, note: str = "", scale: float = 1.0
) -> Row:
    """Row of a number by one relation with a symmetric uncertainty; `scale` brings it to the unit."""
    value, u = scale * value, scale * u
    return Row(
        quantity,
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


def result_row(result: RelationResult) -> Row:
    """Row of what one relation says about Tc or Bc2."""
    note = result.reason
    if result.applies and result.share_inside < 0.995:
        note = f"{100 * result.share_inside:.0f} % of the draws inside its validity"
    return Row(
        QUANTITY_TITLES[result.target],
        result.name,
        result.median,
        math.nan,
        result.low,
        result.high,
        TARGETS[result.target],
        result.value,
        "; ".join(entry.formula for entry in result.relations),
        "; ".join(f"{entry.source}, {entry.equation}" for entry in result.relations),
        "; ".join(f"{entry.inputs[0].name} {entry.validity}" for entry in result.relations),
        "; ".join(dict.fromkeys(LABELS[entry.known] for entry in result.relations)),
        note,
    )


def combined_row(combined: Combined) -> Row:
    """Row of what all applicable relations say together."""
    if combined.count:
        unit = TARGETS[combined.target]
        note = f"{combined.count} relations in equal parts, {combined.spread:.1f} {unit} apart"
    else:
        note = "no relation applies"
    return Row(
        QUANTITY_TITLES[combined.target],
        "combined",
        combined.median,
        math.nan,
        combined.low,
        combined.high,
        TARGETS[combined.target],
        note=note,
    )
