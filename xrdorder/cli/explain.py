"""Say where a number comes from."""

import json
import math
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from xrdorder.cli.cautions import ESTIMATES
from xrdorder.cli.program import SOME_FAILED, complain

if TYPE_CHECKING:
    from xrdorder.explanation.chain import Step
    from xrdorder.explanation.correlations import FittedParameter
    from xrdorder.explanation.explanation import (
        Explanation,
        Opinion,
        QuantityExplained,
        RelationSaid,
        SourceShare,
    )
    from xrdorder.quantities.records import Input

_WIDTH = 100
_LARGEST = 3  # sources named in the short table
_SAID = ("instrument", "dopants", "u_dopants", "undoped")  # said in a line of their own
_NAMED = 3  # samples named before the rest are counted


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.argument("sample")
@click.argument("quantity", required=False)
@click.pass_context
def explain(ctx: click.Context, study: Path, sample: str, quantity: str | None) -> None:
    """Explain a stored result: the QUANTITY of a SAMPLE in the folder STUDY, or all of them in short.

    A quantity may be named as here, as a column of results.csv, or as a heading of the printed table.

    Which file and calibration, how good the fit is, each step from the pattern to the number with formula and source,
    and what its uncertainty is made of and shared with. Nothing is fitted again.
    """
    from xrdorder.explanation.explanation import explain_stored

    found = explain_stored(study, sample, quantity)
    click.echo("\n".join(_head(found)))
    if found.failed:
        complain(f"{found.sample}: {found.status}")
        ctx.exit(SOME_FAILED)
    if found.answer is not None:
        said = found.answer
        text = f"{said.column} = {said.value or 'not told'} ({said.meaning}; from the description, no fit sees it)"
        click.echo("\n".join(["", *_fill(text)]))
        return
    click.echo("\n".join(_short(found) if quantity is None else _whole(found.quantities[0])))
    click.echo("\n".join(_remarks(found)))


def _head(found: "Explanation") -> list[str]:
    """Where the result came from and how good the fit is."""
    origin = found.provenance
    lines = [f"{found.sample}: {found.status}", ""]
    for name, digest in origin.input_sha256.items():
        lines += _entry("Pattern", f"{name}, SHA-256 {digest}")
    lines += _described(found)
    if calibration := found.calibration or origin.calibration:
        lines += _entry("Calibration", calibration)
    if origin.options:
        texts = [f"{key} {_plain(value)}" for key, value in origin.options.items() if key not in _SAID and _told(value)]
        lines += _entry("Options", ", ".join(texts))
    if found.dopants:
        lines += _entry("Dopants", found.dopants)
    if found.model:
        lines += _entry("Model", "; ".join(found.model))
    if origin.version:
        lines += _entry("Made by", f"xrdorder {origin.version}, {origin.created}")
    if found.quality:
        lines += _entry("Fit", _quality(found))
    if found.quality_words:
        lines += _entry("Verdict", found.quality_words)
    for quantity, unit, scale in (("a", "e-6 nm", 1e6), ("order", "", 1.0)):
        said = [_opinion(o, unit, scale) for o in found.opinions if o.quantity == quantity]
        if said:
            lines += _entry(f"{quantity} by others", f"less the whole pattern: {'; '.join(said)}")
    return lines


def _described(found: "Explanation") -> list[str]:
    """Wire, treatment, place and day, as the description told them."""
    told = {one.column: one.value for one in found.told}
    treatment = told.get("treatment", "")
    if treatment:
        above = next((one.meaning for one in found.told if one.column == "hours_above"), "")
        parts = [("hottest hold", "peak_c"), ("held", "hold_at_peak_h"), ("dose", "dose_h"), (above, "hours_above")]
        treatment = ", ".join([treatment, *(f"{words} {told[name]}" for words, name in parts if told.get(name))])
    place, day = told.get("position_m", ""), told.get("date", "")
    rows = (
        ("Lot", told.get("lot", "")),
        ("Treatment", treatment),
        ("Place", f"{place} along the spool" if place else ""),
        ("Measured", day),
    )
    return [line for label, text in rows if text for line in _entry(label, text)]


def _opinion(said: "Opinion", unit: str, scale: float) -> str:
    if math.isnan(said.difference):
        return f"{said.route}: none, {said.reason}"
    decimals = 1 if scale > 1.0 else 3
    return f"{said.route} {scale * said.difference:+.{decimals}f} ± {scale * said.u:.{decimals}f}{unit}"


def _quality(found: "Explanation") -> str:
    of = {name: value for name, value in found.quality.items() if math.isfinite(value)}
    texts = []
    if "r_wp" in of:
        expected = f" (expected {100 * of['r_expected']:.2f} %)" if "r_expected" in of else ""
        texts.append(f"R_wp {100 * of['r_wp']:.2f} %{expected}")
    if "chi2_reduced" in of:
        texts.append(f"reduced chi square {of['chi2_reduced']:.3f}")
    if "serial_correlation" in of:
        texts.append(f"counting uncertainties times {of['serial_correlation']:.2f} for serial correlation")
    if found.free_parameters:
        texts.append(f"{found.free_parameters} free parameters")
    return ", ".join(texts)


def _short(found: "Explanation") -> list[str]:
    """All quantities, each with its largest sources."""
    from xrdorder.cli.tables import table
    from xrdorder.quantities.formatting import concise, with_interval

    left = []
    for q in found.quantities:
        if math.isnan(q.value):
            left.append((q.name, "cannot be given", "", [""]))
        elif q.relations:
            count = sum(not said.reason for said in q.relations)
            by = "relation" if count == 1 else "relations"
            left.append((q.name, with_interval(q.value, q.low, q.high), q.unit, [f"68 %, by {count} {by}"]))
        else:
            left.append((q.name, concise(q.value, q.u), q.unit, _largest(q)))
    room = _WIDTH - 6 - sum(max(len(str(row[k])) for row in left) for k in range(3))
    rows = []
    for name, value, unit, sources in left:
        first, *more = _broken(sources, room)
        rows += [(name, value, unit, first), *[("", "", "", line) for line in more]]
    note = (
        "In brackets: standard uncertainty (k = 1) of the last digits. Of the sources: share of its square. Amounts "
        "are fractions. For the steps and all sources of one quantity name it behind the sample. " + ESTIMATES
    )
    head = [("quantity", "value", "unit", "three largest sources of uncertainty")]
    return ["", table(head, rows), "", *_fill(note)]


def _largest(q: "QuantityExplained") -> list[str]:
    """Name the largest sources, each with its share of the squared uncertainty."""
    return [f"{s.title} {100.0 * (s.u / q.u) ** 2:.0f} %" for s in q.budget[:_LARGEST]]


def _broken(texts: Sequence[str], width: int) -> list[str]:
    """Join texts by commas in lines of a width, breaking between them and not within; at least one line."""
    lines = [""]
    for text in texts:
        longer = f"{lines[-1]}, {text}" if lines[-1] else text
        if len(longer) < width:
            lines[-1] = longer
        else:
            lines[-1] += ","
            lines.append(text)
    return lines


def _whole(q: "QuantityExplained") -> list[str]:
    """One quantity with everything behind it."""
    from xrdorder.quantities.formatting import concise, with_interval

    unit = f" {q.unit}" if q.unit else ""
    if math.isnan(q.value):
        lines = ["", f"{q.name} cannot be given; the flags say why"]
    elif q.relations:
        lines = ["", f"{q.name} = {with_interval(q.value, q.low, q.high)}{unit}, median and 68 % interval"]
    else:
        lines = ["", f"{q.name} = {concise(q.value, q.u)}{unit}"]
    if math.isfinite(q.u) and q.u > 0.0:
        lines[-1] += f", u = {q.u:.3g}: own part {q.private:.3g}, part shared with others {q.common:.3g}"
    if q.remark:
        lines += _fill(f"({q.remark})")
    if q.steps:
        lines += ["", "How it came about"]
        for k, step in enumerate(q.steps, start=1):
            lines += _step(k, step)
    if q.asked:
        lines += ["", "Asked with"]
        for text in q.asked:
            lines += _fill(text, indent=2, hang=2)
    if q.relations:
        lines += ["", "Relations, in equal parts where they apply"]
        for said in q.relations:
            lines += _relation(said)
        lines += ["", *_fill(ESTIMATES)]
    if q.budget:
        lines += ["", "What its uncertainty is made of (squares add up)", *_budget(q.budget, q.u)]
    for fitted in q.fitted:
        lines += _fitted(fitted)
    return lines


def _step(k: int, step: "Step") -> list[str]:
    record = step.record
    lines = _fill(f"{k:2d}  {step.quantity} = {step.value:.8g}", hang=4)
    inputs = [f"{_meaning(given)} = {given.value:.8g}" for given in record.inputs]
    inputs += [f"{name} = {value:.8g}" for name, value in record.numbers.items()]
    for text in (
        record.formula,
        f"with {', '.join(inputs)}" if inputs else "",
        record.remark,
        f"source: {record.source}" if record.source else "",
    ):
        lines += _fill(text, indent=6)
    if step.reproduced is False:
        lines += _fill(f"this version computes {step.recomputed:.8g} from the same inputs", indent=6)
    return lines


def _meaning(given: "Input") -> str:
    """Name in the formula, and the quantity it stands for where that is called otherwise."""
    return given.symbol if given.symbol == given.quantity else f"{given.symbol} ({given.quantity})"


def _relation(said: "RelationSaid") -> list[str]:
    from xrdorder.quantities.formatting import with_interval

    value = "does not apply" if said.reason else with_interval(said.median, said.low, said.high)
    lines = _fill(f"{said.name}: {value}", indent=2, hang=2)
    if said.reason:
        lines += _fill(said.reason, indent=6)
    if said.formula:
        lines += _fill(said.formula, indent=6)
    return lines + _fill(said.source, indent=6)


def _budget(shares: Sequence["SourceShare"], u: float) -> list[str]:
    from xrdorder.cli.tables import table

    rows = [
        (share.title, f"{share.u:.2g}", f"{100.0 * (share.u / u) ** 2:.1f}", share.group or "-", _whose(share))
        for share in shares
    ]
    head = [("source", "u", "% of u²", "group", "shared with")]
    lines = table(head, rows).splitlines()
    lines.append("")
    for share in shares:
        members = ", ".join(f"{name} {part:.2g}" for name, part in share.members)
        text = " ".join(x for x in (share.meaning, f"({members})" if members else "") if x)
        if text:
            lines += _fill(f"{share.title}: {text}", indent=2, hang=2)
    return lines


def _whose(share: "SourceShare") -> str:
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


def _fitted(fitted: "FittedParameter") -> list[str]:
    """What the counting uncertainty of a fitted parameter owes to the others."""
    if not fitted.nuisances or fitted.u == 0.0:
        return []
    lines = ["", *_fill(f"Of the counting uncertainty {fitted.u:.2g} of {fitted.name} is due to not knowing")]
    for item in fitted.nuisances:
        name, r = item.strongest
        lines += _fill(f"{item.name}: {item.u:.2g} (correlation with {name} {r:+.2f})", indent=2, hang=2)
    return lines


def _remarks(found: "Explanation") -> list[str]:
    lines: list[str] = []
    if found.order_correlations:
        pairs = ", ".join(f"{name} {r:+.2f}" for name, r in found.order_correlations)
        lines += ["", *_fill(f"Correlation of the order contrast with displacement parameters: {pairs}")]
    if found.flags:
        lines += ["", "Flags"]
        for name, message in found.flags:
            lines += _fill(f"{name}: {message}", indent=2, hang=2)
    if found.assumptions:
        lines += ["", "Taken for granted"]
        for text in found.assumptions:
            lines += _fill(text, indent=2, hang=2)
    return lines or ["", "No flags, nothing taken for granted."]


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


def _entry(label: str, text: str) -> list[str]:
    return _fill(f"{label:<12} {text}", hang=13)


def _fill(text: str, indent: int = 0, hang: int = 0) -> list[str]:
    pad = " " * indent
    return textwrap.wrap(
        text, _WIDTH, initial_indent=pad, subsequent_indent=pad + " " * hang, break_on_hyphens=False
    )
