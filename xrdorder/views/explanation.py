"""Where a stored number of a sample comes from: the answer, steps, sources of uncertainty; the rest in detail."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence

from xrdorder.explanation.correlations import FittedParameter
from xrdorder.explanation.explanation import (
    CrossCheck,
    Explanation,
    QuantityExplained,
    RelationSaid,
    SourceShare,
    Step,
    quantities_table,
)
from xrdorder.quantities.caveats import ANCHORED, ESTIMATES
from xrdorder.quantities.formatting import with_interval, with_sign
from xrdorder.quantities.grades import graded, missing_information
from xrdorder.quantities.records import Input
from xrdorder.quantities.registry import quantity
from xrdorder.quantities.tables import Column, Entry, Heading, Part, Table
from xrdorder.views.showing import parts, table, title

_READING = "In brackets: standard uncertainty (k = 1) of the last digits, or 68 % interval. Of sources: share of u²."
_BRIEFLY = 5  # sources of one quantity that are shown without --details
_SAID = ("instrument", "dopants", "u_dopants", "undoped")  # said in a line of their own
_NAMED = 3  # samples named before the rest are counted


@title.register(Explanation)
def _(explanation: Explanation) -> str:
    sample = explanation.sample
    lot = next((entry.value for entry in explanation.told if entry.column == "lot"), "")
    return f"{sample.name}: {sample.status}{f', lot {lot}' if lot else ''}"


@table.register(Explanation)
def _(explanation: Explanation, every: bool = False) -> Table:
    return quantities_table(explanation, every=every)


@parts.register(Explanation)
def _(explanation: Explanation, details: bool = False, following: Sequence[Part] = ()) -> list[Part]:
    """All quantities in a table, or one with its sources and steps; `following` stands below what the sample is."""
    about = about_parts(explanation)
    if explanation.sample.failed:
        return about
    if said := explanation.answer:
        answer = f"{said.column} = {said.value or 'not given'} ({said.meaning}; from the description, no fit sees it)"
        return [answer, *about]
    rest = origin_parts(explanation) if details else _brief_remarks(explanation)
    if len(explanation.quantities) != 1:
        return [*about, ESTIMATES, *following, "", table(explanation, every=details), "", _READING, *rest]
    (only,) = explanation.quantities
    return [_value(only), *([ESTIMATES] if only.estimated else []), "", *about, *_behind(only, details), *rest]


def about_parts(explanation: Explanation) -> list[Part]:
    """What the sample is, how good its fit is, what nobody told, what its estimates are anchored to."""
    sample = explanation.sample
    said: list[Part] = [title(explanation), *_described(explanation)]
    if words := sample.quality_words:
        missing = missing_information(name for name, _ in sample.flags) or "none"
        said.append(Entry("Grade", f"{graded(words)} · information missing: {missing}"))
        said.append(Entry("Fit", _quality(explanation)))
    anchored = [text for text in sample.assumptions if text.startswith(ANCHORED)]
    return [*said, *(Entry("Estimates", text.removeprefix("estimates ")) for text in anchored)]


def _brief_remarks(explanation: Explanation) -> list[Part]:
    flags = ", ".join(dict.fromkeys(name for name, _ in explanation.sample.flags)) or "none"
    count = len(explanation.sample.assumptions)
    said = f"{count} assumption{'s' * (count != 1)}"
    return ["", f"Flags: {flags}; {said}. --details shows these, formulas and all sources of uncertainty."]


def origin_parts(explanation: Explanation) -> list[Part]:
    """Where the result came from; cross-checks, flags, assumptions."""
    origin = explanation.sample.provenance
    options = [f"{key} {_plain(value)}" for key, value in origin.options.items() if key not in _SAID and _told(value)]
    rows = [
        *(("Pattern", f"{name}, SHA-256 {digest}") for name, digest in origin.input_sha256.items()),
        ("Calibration", explanation.calibration or origin.calibration),
        ("Options", ", ".join(options)),
        ("Dopants", explanation.dopants),
        ("Model", "; ".join([*explanation.model, f"{explanation.free_parameters} free parameters"])),
        ("Made by", f"xrdorder {origin.version}, {origin.created}" if origin.version else ""),
    ]
    for word, name in (("a", "a_nm"), ("order", "order_contrast")):
        checks = [_cross_check(check, name) for check in explanation.cross_checks if check.quantity == word]
        text = f"difference from the whole-pattern fit: {'; '.join(checks)}"
        rows.append((f"{word} checked", text if checks else ""))
    said: list[Part] = ["", *(Entry(label, text) for label, text in rows if text)]
    if explanation.order_correlations:
        pairs = ", ".join(f"{name} {with_sign(r, '.2f')}" for name, r in explanation.order_correlations)
        said += ["", f"Correlation of the order contrast with displacement parameters: {pairs}"]
    told = {
        "Flags": [f"{name}: {message}" for name, message in explanation.sample.flags],
        "Assumptions": list(explanation.sample.assumptions),
    }
    for heading, texts in told.items():
        said += ["", heading, *(f"  {text}" for text in texts or ["none"])]
    return said


def _described(explanation: Explanation) -> list[Part]:
    """Wire, treatment, place and day, as the description gives them."""
    told = {entry.column: entry.value for entry in explanation.told}
    treatment = told.get("treatment", "")
    if treatment:
        above = next((entry.meaning for entry in explanation.told if entry.column == "hours_above"), "")
        words_of = {"final reaction plateau": "peak_c", "held": "hold_at_peak_h", quantity("dose_h").noun: "dose_h"}
        words_of[above] = "hours_above"
        more = (f"{words} {told[name]}" for words, name in words_of.items() if told.get(name))
        treatment = ", ".join([treatment, *more])
    place, day = told.get("position_m", ""), told.get("date", "")
    rows = (("Treatment", treatment), ("Place", f"{place} along the spool" if place else ""), ("Measured", day))
    return [Entry(label, text) for label, text in rows if text]


def _cross_check(said: CrossCheck, name: str) -> str:
    if math.isnan(said.difference):
        return f"{said.route}: none, {said.reason}"
    return f"{said.route} {quantity(name).difference_text(said.difference, said.u, signed=True)}"


def _quality(explanation: Explanation) -> str:
    of = {name: value for name, value in explanation.sample.quality.items() if math.isfinite(value)}
    texts = []
    if "r_wp" in of:
        expected = f" (expected {100 * of['r_expected']:.2f} %)" if "r_expected" in of else ""
        texts.append(f"R_wp {100 * of['r_wp']:.2f} %{expected}")
    if "chi2_reduced" in of:
        texts.append(f"reduced chi square {of['chi2_reduced']:.3f}")
    if of.get("serial_correlation", 1.0) > 1.005:
        texts.append(f"counting u enlarged {of['serial_correlation']:.2f} times (serial correlation)")
    return ", ".join(texts)


def _value(q: QuantityExplained) -> str:
    """The answer: value, uncertainty, and how much of it is shared."""
    about = q.about
    unit = f" {about.people.unit}" if about.people.unit else ""
    line = f"{about.noun} ({q.name})" if about.noun != q.name else q.name
    if math.isnan(q.value):
        line += " cannot be given; the flags say why"
    elif q.estimated:
        text = about.interval_text(q.value, q.low, q.high)
        line += f" = {text}{unit}, median and 68 % interval of the joint estimates"
    else:
        line += f" = {about.value_text(q.value, q.u)}{unit}"
    if math.isfinite(q.u) and q.u > 0.0:
        u, independent, shared = (about.u_text(x) for x in (q.u, q.private, q.common))
        line += f", u = {u}: independent part {independent}, part shared with others {shared}"
    return f"{line} ({q.remark})" if q.remark else line


def _behind(q: QuantityExplained, details: bool) -> list[Part]:
    """Sources of uncertainty, what each relation says, and the steps from the pattern."""
    said: list[Part] = ["", *_budget(q, details)] if q.budget else []
    if q.relations:
        why = "why the joint estimate may differ: docs/explanation/relations.md"
        said += ["", f"What each relation says alone ({why})"]
        said += [part for said in q.relations for part in _relation(said, details)]
    if q.steps:
        to = "the inputs of the joint estimates" if q.estimated else "the number"
        said += ["", f"Steps from the pattern to {to}"]
        said += [part for k, step in enumerate(q.steps, start=1) for part in _step(k, step, details)]
    if not details:
        return said
    inputs = ["", "Inputs", *(f"  {text}" for text in q.asked)] if q.asked else []
    return [*said, *inputs, *(part for fitted in q.fitted for part in _fitted(fitted))]


def _step(k: int, step: Step, details: bool) -> list[Part]:
    record = step.record
    how = "" if details else f": {record.formula or record.remark}"
    said: list[Part] = [f"{k:2d}  {step.quantity} = {step.value:.8g}{how}"]
    if step.reproduced is False:
        said.append(f"      this version computes {step.recomputed:.8g} from the same inputs")
    if not details:
        return said
    inputs = [f"{_meaning(given)} = {given.value:.8g}" for given in record.inputs]
    inputs += [f"{name} = {value:.8g}" for name, value in record.numbers.items()]
    with_, source = f"with {', '.join(inputs)}", f"source: {record.source}"
    texts = [record.formula, with_ if inputs else "", record.remark, source if record.source else ""]
    return [*said, *(f"      {text}" for text in texts if text)]


def _meaning(given: Input) -> str:
    """Name in the formula, and the quantity it stands for where that is called otherwise."""
    return given.symbol if given.symbol == given.quantity else f"{given.symbol} ({given.quantity})"


def _relation(said: RelationSaid, details: bool) -> list[Part]:
    value = "does not apply" if said.reason else with_interval(said.median, said.low, said.high)
    if not details:
        return [f"  {said.name}: {value}{f', {said.reason}' if said.reason else ''}"]
    more = [f"      {text}" for text in (said.reason, said.formula, said.source) if text]
    return [f"  {said.name}: {value}", *more]


def _budget(q: QuantityExplained, details: bool) -> list[Part]:
    shares, factor, unit = q.budget if details else q.budget[:_BRIEFLY], q.about.people.factor, q.about.people.unit
    columns: tuple[Column[SourceShare], ...] = (
        ("source", lambda share: share.title),
        (Heading("u", unit), lambda share: f"{factor * share.u:.2g}"),
        (Heading("share of u²", "%"), lambda share: f"{100.0 * (share.u / q.u) ** 2:.1f}"),
        ("group", lambda share: share.group or "-"),
        ("shared with", _whose),
    )
    title = "Sources of its uncertainty (squares add up)" if details else "Largest sources of its uncertainty"
    said: list[Part] = [Table.by(shares, columns, title=title)]
    if not details:
        return said
    said.append("")
    for share in shares:
        members = ", ".join(f"{name} {factor * part:.2g}" for name, part in share.members)
        text = " ".join(x for x in (share.meaning, f"({members})" if members else "") if x)
        if text:
            said.append(f"  {share.title}: {text}")
    return said


def _whose(share: SourceShare) -> str:
    if not share.group:
        return "nobody"
    if share.samples is None:
        return "whoever has the same group"
    if not share.samples:
        return "no other in this study"
    text, rest = "", 0
    for k, name in enumerate(share.samples):
        if k == _NAMED or len(text) + len(name) > 40:
            rest = len(share.samples) - k
            break
        text += f", {name}" if text else name
    return f"{text} and {rest} more" if rest and text else f"{len(share.samples)} samples" if rest else text


def _fitted(fitted: FittedParameter) -> list[Part]:
    """What the counting uncertainty of a fitted parameter owes to the others."""
    if not fitted.nuisances or fitted.u == 0.0:
        return []
    said: list[Part] = ["", f"Of the counting uncertainty {fitted.u:.2g} of {fitted.name} is due to not knowing"]
    for item in fitted.nuisances:
        name, r = item.strongest
        said.append(f"  {item.name}: {item.u:.2g} (correlation with {name} {with_sign(r, '.2f')})")
    return said


def _told(value: object) -> bool:
    """Whether an option says anything."""
    if isinstance(value, dict):
        return any(map(_told, value.values()))
    return value is not None and value is not False and value not in ("", [])


def _plain(value: object) -> str:
    """An option as text without quotes and brackets; what a table leaves open is left out."""
    if isinstance(value, dict):
        return " ".join(f"{key}={_plain(item)}" for key, item in value.items() if item is False or _told(item))
    if isinstance(value, list):
        return ("+" if all(isinstance(item, str) for item in value) else ",").join(_plain(item) for item in value)
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
