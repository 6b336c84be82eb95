"""How each kind of result shows itself: its table, its tidy pandas table, its figure, its face in a notebook.

`xrdorder.display.Displayed` looks these up; the terminal draws the same tables. Kinds are known by the names of their
classes, so that an estimate from numbers waits for nothing that fits and compares.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict
from html import escape
from typing import TYPE_CHECKING, Any, Generic, TypeVar

import numpy as np

from xrdorder import figures
from xrdorder.profiles.instrument import INSTRUMENT_PARAMETERS
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.quantities.formatting import MISSING, concise, digits, interval, rounded, u_text
from xrdorder.quantities.registry import known, unit_of
from xrdorder.quantities.tables import Heading, Table

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from xrdorder.comparison.study_comparison import StudyComparison
    from xrdorder.estimates.from_numbers import Estimate
    from xrdorder.fitting import Calibration, PatternFit
    from xrdorder.planning.study import LotPlan
    from xrdorder.planning.suggestion import Row
    from xrdorder.results.open_study import OpenStudy
    from xrdorder.treatments import History

_Shown = TypeVar("_Shown")
_LEAST_POINTS = 3  # of a variable, for a course and not rows
_MOST_TREATMENTS = 24


class _View(Generic[_Shown]):
    """What shows results in one way: a function for each kind of result, found by the name of its class."""

    def __init__(self, lacking: str) -> None:
        self._lacking = lacking
        self._of: dict[str, Callable[..., _Shown]] = {}

    def of(self, kind: str) -> Callable[[Callable[..., _Shown]], Callable[..., _Shown]]:
        """Let a function show results of a kind."""
        return lambda function: self._of.setdefault(kind, function)

    def __call__(self, result: Any, **options: Any) -> _Shown:
        kind = type(result).__name__
        if kind not in self._of:
            raise TypeError(f"a {kind} {self._lacking}")
        return self._of[kind](result, **options)


table: _View[Table] = _View("has no table")
"""The table of a result."""
frame: _View[pd.DataFrame] = _View("has no numbers to tabulate")
"""The numbers of a result as a tidy pandas table."""
title: _View[str] = _View("has no title")
"""What a result is and how good, in one line."""
_figure: _View[Figure] = _View("cannot be drawn")


def plot(result: Any, *, size: str = "screen", **options: Any) -> Figure:
    """Draw a result, or a pattern as `xrdorder.read_pattern` gives it.

    Parameters
    ----------
    result : Displayed or DataArray
    size : str
        "screen" (with title and remark), "two-column" or "one-column" (180 or 89 mm wide).
    **options
        Those of the function of `xrdorder.figures` that draws it.

    Raises
    ------
    ValueError
        If there is no such size.
    TypeError
        If it is nothing that can be drawn.
    """
    from xrdorder.drawing.layout import SIZES  # with matplotlib, which the terminal does without

    if size not in SIZES:
        raise ValueError(f"size '{size}': use {', '.join(SIZES)}")
    return _figure(result, size=SIZES[size], **options)


def text(result: Any) -> str:
    """Give a heading and the table as plain text, for print."""
    return f"{title(result)}\n{table(result).to_dataframe().to_string(index=False)}"


def html(result: Any) -> str:
    """Give a heading and the table, for a notebook."""
    return f"<p><b>{escape(title(result))}</b></p>{table(result)._repr_html_()}"


# A fitted pattern


@title.of("PatternFit")
def _(fit: PatternFit) -> str:
    quality = f"R_wp {100.0 * fit.r_wp:.2f} %, reduced chi square {fit.chi2_reduced:.2f}"
    return f"Fitted pattern, {fit.status}: {quality}; {fit.quality_words}"


@frame.of("PatternFit")
def _(fit: PatternFit) -> pd.DataFrame:
    import pandas as pd

    item = [(name, value, _u(fit, name), unit_of(name)) for name, value in fit.values.items()]
    return pd.DataFrame(item, columns=["quantity", "value", "u", "unit"])


def _u(fit: PatternFit, name: str) -> float:
    """Total standard uncertainty of a value; NaN of one that is none of the measured quantities."""
    return fit.u(name) if name in fit.contributions.quantities else math.nan


@table.of("PatternFit")
def _(fit: PatternFit) -> Table:
    lines = [(name, concise(value, _u(fit, name)), unit_of(name)) for name, value in fit.values.items()]
    flags = [f"{flag.name}: {flag.message}" for flag in fit.flags]
    return Table.of(["quantity", ("value", ""), "unit"], lines, flags)


@_figure.of("PatternFit")
def _(fit: PatternFit, **options: Any) -> Figure:
    remark = f"R_wp {100 * fit.r_wp:.1f} % · reduced χ² {fit.chi2_reduced:.2f}"
    return figures.fit_figure(fit.curves, fit.lines, fit.phases, **{"title": "Fit", "remark": remark, **options})


# A calibration


@title.of("Calibration")
def _(item: Calibration) -> str:
    return f"Instrument calibrated with {item.instrument.standard}"


@frame.of("Calibration")
def _(item: Calibration) -> pd.DataFrame:
    import pandas as pd

    instrument = item.instrument
    lines = [
        (name, instrument.values[name], instrument.total(name), dimension, meaning)
        for name, (dimension, meaning) in INSTRUMENT_PARAMETERS.items()
    ]
    return pd.DataFrame(lines, columns=["parameter", "value", "u", "unit", "meaning"])


@table.of("Calibration")
def _(item: Calibration) -> Table:
    lines = []
    for name, (dimension, meaning) in INSTRUMENT_PARAMETERS.items():
        value, u = item.instrument.values[name], item.instrument.total(name)
        shown = concise(value, u) if u > 0.0 else f"{value:.6g} held"
        lines.append((name, shown, "" if dimension == "1" else dimension, meaning))
    return Table.of(["parameter", ("value", ""), "unit", "meaning"], lines)


@_figure.of("Calibration")
def _(item: Calibration, **options: Any) -> Figure:
    quality = f"R_wp {100 * item.fit.r_wp:.1f} % · reduced χ² {item.fit.chi2_reduced:.2f}"
    remark = f"{item.instrument.standard} · {quality}"
    return _figure(item.fit, **{"title": "Calibration", "remark": remark, **options})


# An estimate from numbers


@title.of("Estimate")
def _(estimate: Estimate) -> str:
    return "Estimate by the joint model, not a measurement"


@frame.of("Estimate")
def _(estimate: Estimate) -> pd.DataFrame:
    import pandas as pd

    names = ["quantity", "by", "value", "u", "low", "high", "unit", "validity", "source", "note"]
    return pd.DataFrame([[getattr(row, name) for name in names] for row in estimate.rows()], columns=names)


@table.of("Estimate")
def _(estimate: Estimate, brief: bool = True) -> Table:
    from xrdorder.estimates.from_numbers_rows import JOINT

    shown = estimate.rows(brief=brief)
    said = ["" if brief and row.by == JOINT else row.note for row in shown]  # what it is by is said beside it
    notes = list(dict.fromkeys(filter(None, said)))
    lines, previous = [], ""
    for row, note in zip(shown, said, strict=True):
        mark = f"[{notes.index(note) + 1}]" if note else ""
        there, symmetric = np.isfinite(row.value), np.isfinite(row.u)
        u = row.u if symmetric else 0.5 * (row.high - row.low)
        span = "" if symmetric or not there else interval(row.low, row.high)
        lines.append(
            (
                "" if row.quantity == previous else row.quantity,
                concise(row.value, u) if there else MISSING,
                "" if row.unit == "1" else row.unit,
                span,
                row.by,
                mark,
            )
        )
        previous = row.quantity
    ends = Heading("68 %", optional=0 if brief else 1)
    head: list[Heading | str] = ["quantity", Heading("value"), "unit", ends, "by", *["remark"] * bool(notes)]
    marked = [f"[{k}] {note}" for k, note in enumerate(notes, start=1)]
    return Table.of(head, [line[: len(head)] for line in lines], [*marked, ESTIMATES])


@_figure.of("Estimate")
def _(estimate: Estimate, **options: Any) -> Figure:
    return figures.estimate_figure(estimate.rows(), **options)


# A study that has been run


@title.of("OpenStudy")
def _(opened: OpenStudy) -> str:
    from xrdorder.results.study_table import study_words

    name = str(opened.results.attrs.get("title", "")) or opened.study.folder.name
    return f"{name}: {study_words(opened.results)}"


@frame.of("OpenStudy")
def _(opened: OpenStudy) -> pd.DataFrame:
    per_sample = [name for name, variable in opened.results.data_vars.items() if variable.dims == ("sample",)]
    return opened.results[per_sample].to_dataframe().reset_index()


@table.of("OpenStudy")
def _(opened: OpenStudy) -> Table:
    from xrdorder.results.study_table import study_table

    return study_table(opened.results)


@_figure.of("OpenStudy")
def _(opened: OpenStudy, **options: Any) -> Figure:
    return figures.trend_figure(opened.results, **options)


# Variants compared


@title.of("StudyComparison")
def _(comparison: StudyComparison) -> str:
    return f"Differences to {comparison.reference}" if not comparison.all_pairs else "Differences of all pairs"


@frame.of("StudyComparison")
def _(comparison: StudyComparison) -> pd.DataFrame:
    import pandas as pd

    from xrdorder.comparison.study_comparison import COLUMNS, difference_rows

    return pd.DataFrame(difference_rows(comparison), columns=list(COLUMNS))


def in_order(comparison: StudyComparison) -> list[str]:
    """Variants by wire lot and reaction temperature, or by the variable that makes them."""
    from xrdorder.results.study_table import by_temperature

    place = {str(comparison.results["sample"].values[k]): n for n, k in enumerate(by_temperature(comparison.results))}
    ranks: dict[str, float] = {}
    for entry in comparison.compared.values():
        for label, sample, number in zip(entry.labels, entry.values.samples, entry.variable, strict=True):
            rank = float(number) if comparison.by != "treatment" and np.isfinite(number) else place[sample]
            ranks[label] = min(ranks.get(label, rank), rank)
    variants = dict.fromkeys(v for entry in comparison.compared.values() for v in entry.comparison.variants)
    return sorted(variants, key=lambda variant: ranks.get(variant, np.inf))


@table.of("StudyComparison")
def _(comparison: StudyComparison, details: bool = False, pairs: Sequence[tuple[str, str]] | None = None) -> Table:
    """Give differences to the reference, or of pairs; with `details` each with u and probability, else u once."""
    from xrdorder.comparison.wording import manner, probability_words

    comparisons = [entry.comparison for entry in comparison.compared.values()]
    if pairs is None:
        chosen = (
            [(v, comparison.reference) for v in in_order(comparison) if v != comparison.reference]
            if not comparison.all_pairs
            else []
        )
        pairs = chosen or list(
            dict.fromkeys(
                (d.first, d.second) for differences in comparisons for d in differences.differences()
            )
        )
    both = comparison.all_pairs
    head = [Heading("pair" if both else "variant", numeric=False), *([] if both else [Heading("wires", optional=1)])]
    for differences in comparisons:
        named = known(differences.quantity)
        words = manner(differences.quantity).noun if named is None else named.heading
        head += [Heading(words, manner(differences.quantity).unit), *[Heading("P", "higher", optional=2)] * details]
    lines: list[list[str]] = []
    us: list[list[float]] = [[] for _ in comparisons]
    for first, second in pairs:
        counts = [
            int(differences.counts[differences.variants.index(first)])
            for differences in comparisons
            if first in differences.variants
        ]
        line = [f"{first} - {second}"] if both else [first, str(max(counts, default=0))]
        for k, differences in enumerate(comparisons):
            if not {first, second} <= set(differences.variants):
                line += [MISSING, *[""] * details]
                continue
            d, scale = differences.pair(first, second), manner(differences.quantity).scale
            us[k].append(scale * d.u)
            text = rounded(scale * d.value, scale * d.u, signed=True)
            text = text if details else text.partition(" ± ")[0]
            star = " *" if d.distinguishable else ""
            line += [f"{text}{star}", *[probability_words(d.probability_positive)] * details]
        lines.append(line)
    if not details:
        lines.append(["largest u", *[""] * (not both), *(u_text(max(of, default=math.nan)) for of in us)])
    return Table.of(head, lines, title=f"Differences to {comparison.reference}" if not both else "First less second")


@_figure.of("StudyComparison")
def _(comparison: StudyComparison, **options: Any) -> Figure:
    from xrdorder.comparison.study_comparison import LOGARITHMIC, UNITS

    compared = list(comparison.compared.values())
    options = {"title": str(comparison.results.attrs.get("title", "")), **options}
    along = np.concatenate([np.asarray(entry.variable, dtype=float) for entry in compared])
    if np.unique(along[np.isfinite(along)]).size < _LEAST_POINTS:
        return figures.difference_rows(compared, **options)
    unit = "m" if comparison.by == "position" else UNITS.get(comparison.by, "")
    logarithmic = comparison.by in LOGARITHMIC
    return figures.difference_courses(
        compared, comparison.by.replace("-", " "), unit, logarithmic=logarithmic, **options
    )


# Treatments of a wire lot


@title.of("LotPlan")
def _(lot_plan: LotPlan) -> str:
    lot = lot_plan.lot or "without a name"
    return f"Lot {lot} {lot_plan.conditions.words()}: candidates for the next heat treatment"


@frame.of("LotPlan")
def _(lot_plan: LotPlan) -> pd.DataFrame:
    import pandas as pd

    from xrdorder.planning.suggestion import rows

    lines = [
        {"lot": lot_plan.lot, "maximised": lot_plan.noun(k), **asdict(row)}
        for k in range(len(lot_plan.plans)) for row in rows(lot_plan, k)
    ]  # fmt: skip
    return pd.DataFrame(lines)


@table.of("LotPlan")
def _(lot_plan: LotPlan, details: bool = True) -> Table:
    """Give treatments reacted and suggested as differences to the best so far; without `details` the first of many."""
    from xrdorder.planning.suggestion import rows

    by_name = [{row.treatment: row for row in rows(lot_plan, k)} for k in range(len(lot_plan.plans))]
    names = list(dict.fromkeys(name for some in by_name for name in some))
    shown = names if details else names[:_MOST_TREATMENTS]
    unit = lot_plan.plans[0].objective.unit
    head = [Heading("treatment", numeric=False), Heading("wires")]
    for k in range(len(lot_plan.plans)):
        at = f" {lot_plan.fields_t[k]:g} T" if lot_plan.maximised == "Ic" else ""
        head += [Heading(f"Δ{lot_plan.maximised}{at}", unit), Heading("measured", unit)]
    head += [Heading("RRR"), Heading("", numeric=False)]
    lines = []
    for name in shown:
        some = [conductor[name] for conductor in by_name if name in conductor]
        texts = [text for conductor in by_name for text in _of_treatment(conductor.get(name))]
        roles = ", ".join(dict.fromkeys(row.role for row in some if row.role))
        lines.append(
            [
                lot_plan.label(_history(lot_plan, name)),
                str(some[0].wires),
                *texts,
                digits(some[0].rrr, 2),
                roles,
            ]
        )
    kept = [
        k
        for k, heading in enumerate(head)
        if heading.words != "measured" or any(line[k] != MISSING for line in lines)
    ]
    more = f" {len(names) - len(shown)} more stand in the table file." if len(shown) < len(names) else ""
    best = lot_plan.label(lot_plan.plans[0].treatments[lot_plan.plans[0].best])
    title = f"Differences to {best}, expected by the kinetics{' and measured' * (len(kept) == len(head))}.{more}"
    return Table.of([head[k] for k in kept], [[line[k] for k in kept] for line in lines], title=title)


def _of_treatment(row: Row | None) -> tuple[str, str]:
    """Differences to the best, expected and measured."""
    if row is None:
        return MISSING, MISSING
    told = "0" if row.u_difference < 1e-9 else rounded(row.difference, row.u_difference)
    measured = np.isfinite(row.measured_difference) and not row.role.startswith("best")
    return told, rounded(row.measured_difference, row.u_measured_difference) if measured else MISSING


def _history(lot_plan: LotPlan, name: str) -> History:
    every = [*lot_plan.wires.treatments, *(proposal.schedule for plan in lot_plan.plans for proposal in plan.proposals)]
    return next(entry for entry in every if entry.short_name == name)


@_figure.of("LotPlan")
def _(lot_plan: LotPlan, **options: Any) -> Figure:
    return figures.planning_figure(lot_plan, **options)
