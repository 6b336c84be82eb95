"""Results as text for a terminal."""

import json
import math
import re
import shutil
import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from xrdorder.cli.cautions import ESTIMATES
from xrdorder.profiles.instrument import INSTRUMENT_PARAMETERS
from xrdorder.quantities.formatting import concise, interval, u_text, with_interval
from xrdorder.quantities.grades import trust

if TYPE_CHECKING:
    import xarray as xr

    from xrdorder.estimates.from_numbers import Estimate
    from xrdorder.estimates.from_numbers_rows import Row
    from xrdorder.fitting import Calibration
    from xrdorder.relations import Library

_MISSING = "-"
_FAILED = "failed: "
_LONGEST_NAME, _LONGEST_STATUS = 32, 90
_NAMED = 6  # samples named with a verdict before the rest are counted
_WIRES = {"binary": "binary wire", "doped": "doped wire", "Ta": "tantalum-doped wire", "Ti": "titanium-doped wire"}


def table(head: Sequence[Sequence[str]], rows: Iterable[Sequence[str]]) -> str:
    """Set columns; a row shorter than the head may hold a longer last cell."""
    rows = [list(row) for row in rows]
    n = len(head[0])
    full = [*[list(line) for line in head], *[row for row in rows if len(row) == n]]
    widths = [max(len(row[k]) for row in full) for k in range(n)]
    for row in rows:  # the first column must fit short rows too
        widths[0] = max(widths[0], len(row[0]))
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=False))
        for row in [*head, *rows]
    ]
    lines.insert(len(head), "-" * (sum(widths) + 2 * (n - 1)))
    return "\n".join(line.rstrip() for line in lines)


def results_text(results: "xr.Dataset") -> str:
    """The results of a study: a row a sample, then how to read them and what needs attention."""
    head = (
        ("sample", "a", "order", "tin", "own", "Tc", "Bc2 4.2 K", "domains", "A15", "trust", "flags"),
        ("", "nm", "", "at.%", "at.%", "K", "T", "nm", "weight", "", ""),
    )
    names = [str(name) for name in results["sample"].values]
    status = [str(text) for text in results["status"].values]
    words = [str(text) for text in results["quality"].values]
    flags = [json.loads(str(text)) for text in results["flag_messages"].values]
    rows: list[tuple[str, ...]] = []
    for k, name in enumerate(names):
        shown, about = _shortened(name, _LONGEST_NAME), _shortened(status[k], _LONGEST_STATUS)
        if not math.isfinite(float(results["a_nm"].values[k])):
            rows.append((shown, about))
            continue
        remark = " ".join([str(len(flags[k]))] * bool(flags[k]) + [f"({about})"] * (status[k] != "ok"))
        rows.append((shown, *_numbers(results, k), trust(words[k]), remark))
    parts = [table(head, rows), "", *_other_phases(results), _how_to_read(), *own_line(results)]
    parts += _verdicts(names, words, status)
    parts += _remarks(names, flags, [str(text) for text in results["assumptions"].values])
    return "\n".join(parts) + "\n"


def own_line(results: "xr.Dataset") -> list[str]:
    """Name the scale and relations of the laboratory's own that stand behind results; nothing where there are none."""
    from xrdorder.results.collate import own_words

    own = own_words(results)
    return [wrapped(f"Of the laboratory's own: {own}.")] if own else []


def _verdicts(names: Sequence[str], words: Sequence[str], status: Sequence[str]) -> list[str]:
    """Reasons against full trust, with the samples they hold for; where there is no A15, the table says so."""
    found: dict[str, list[str]] = {}
    for name, text, about in zip(names, words, status, strict=True):
        if about == "ok" and trust(text) in ("care", "no"):
            found.setdefault(text, []).append(name)
    lines = ["\nTrust"] if found else []
    for text, of in found.items():
        some = ", ".join(_shortened(name, _LONGEST_NAME) for name in of[:_NAMED])
        rest = f" and {len(of) - _NAMED} more" if len(of) > _NAMED else ""
        lines.append(wrapped(f"{some}{rest}: {text}", indent=2))
    return lines


def _other_phases(results: "xr.Dataset") -> list[str]:
    """Lattices and amounts of the phases in patterns that hold no A15, and limits of those that were not found."""
    rows = []
    for k, sample in enumerate(str(name) for name in results["sample"].values):
        if str(results["status"].values[k]) != "no A15":
            continue
        for name in (str(q) for q in results["quantity"].values):
            match = re.fullmatch(r"lattice_(\w)_nm_(.+)", name)
            value = float(results["value"].sel(quantity=name).values[k])
            if match is None or not math.isfinite(value):
                continue
            u = float(np.sqrt(np.nansum(results["contribution"].sel(quantity=name).values[k] ** 2)))
            # none where atoms are not known
            share, u_share = (
                float(results[stem].reindex(phase=[match[2]]).values[k, 0])
                for stem in ("weight_fraction", "u_weight_fraction")
            )
            rows.append(
                (_shortened(sample, _LONGEST_NAME), match[2], match[1], concise(value, u), concise(share, u_share))
            )
        for phase, limit in zip(results["phase"].values, results["weight_fraction_limit"].values[k], strict=True):
            if math.isfinite(limit):
                rows.append((_shortened(sample, _LONGEST_NAME), str(phase), "", "not found", f"below {limit:.2g}"))
    if not rows:
        return []
    return [table([("sample", "phase", "axis", "length", "weight"), ("", "", "", "nm", "")], rows), ""]


def _shortened(text: str, longest: int) -> str:
    return text if len(text) <= longest else f"{text[: longest - 3]}..."


def _numbers(results: "xr.Dataset", k: int) -> tuple[str, ...]:
    def number(name: str) -> float:
        return float(results[name].values[k])

    def pair(name: str) -> str:
        return concise(number(name), number(f"u_{name}"))

    own = number("u_tin_independent_at_percent")
    return (
        pair("a_nm"),
        pair("site_order"),
        pair("tin_at_percent"),
        u_text(own),
        interval(number("Tc_low_K"), number("Tc_high_K")),
        interval(number("Bc2_4K2_low_T"), number("Bc2_4K2_high_T")),
        pair("domain_size_nm"),
        pair("a15_fraction"),
    )


def _how_to_read() -> str:
    return wrapped(
        "In brackets: standard uncertainty (k = 1) of the last digits. Own: the part of it in tin that no "
        "other sample shares; between samples of one lot measured alike it counts, and a quarter of their "
        "difference in tin. Between lots with different dopants the dopant's unknown effect on the lattice "
        "comes on top. Tc and Bc2: 68 % interval. Trust: whether other routes through the same counts agree and "
        "nothing else speaks against the fit. "
        f"{ESTIMATES}"
    )


def _remarks(
    samples: Sequence[str], flags: Sequence[Sequence[Sequence[str]]], assumptions: Sequence[str]
) -> list[str]:
    """Flags by name, and what was taken for granted, each once."""
    lines = []
    found: dict[str, dict[str, str]] = {}
    for sample, of_sample in zip(samples, flags, strict=True):
        for name, message in of_sample:
            found.setdefault(name, {}).setdefault(sample, message)
    if found:
        lines.append("\nFlags")
    for name, messages in found.items():
        first, message = next(iter(messages.items()))
        many = f"{len(messages)} samples, for example " if len(messages) > 1 else ""
        lines.append(wrapped(f"{name}, {many}{_shortened(first, _LONGEST_NAME)}: {message}", indent=2))
    granted: dict[str, list[str]] = {}
    for sample, text in zip(samples, assumptions, strict=True):
        for part in text.split("; "):
            if part:
                granted.setdefault(part, []).append(_shortened(sample, _LONGEST_NAME))
    if granted:
        lines.append("\nTaken for granted")
    with_any = sum(bool(text) for text in assumptions)
    for part, of in granted.items():
        few = "" if len(of) == with_any else f" ({', '.join(of[:_NAMED])}{' and more' * (len(of) > _NAMED)})"
        lines.append(wrapped(f"{part}{few}", indent=2))
    return lines


def failures(results: "xr.Dataset") -> list[str]:
    """Sample and reason of each pattern that could not be fitted."""
    pairs = zip(results["sample"].values, results["status"].values, strict=True)
    return [
        f"{name}: {str(status).removeprefix(_FAILED)}"
        for name, status in pairs
        if str(status).startswith(_FAILED)
    ]


def calibration_text(found: "Calibration") -> str:
    """The instrument with its uncertainties, what belongs to the specimen of the standard, and advice."""
    instrument, fit = found.instrument, found.fit
    rows = []
    for name, (unit, meaning) in INSTRUMENT_PARAMETERS.items():
        u = instrument.total(name)
        value = concise(instrument.values[name], u) if u > 0.0 else f"{instrument.values[name]:.6g} held"
        rows.append((name, value, "" if unit == "1" else unit, meaning))
    lines = [
        table([("instrument", "value", "unit", "meaning")], rows),
        "",
        "Specimen of the standard, not stored",
        f"  displacement  {concise(found.displacement_mm, found.u_displacement_mm)} mm (correlation with the offset "
        f"{found.offset_displacement_correlation:.3f})",
        f"  transparency  {found.transparency_deg:.4f} degrees",
        f"Fit             R_wp {100.0 * fit.r_wp:.2f} %, reduced chi square {fit.chi2_reduced:.2f}",
        f"Standard        {instrument.standard}, {' and '.join(f'{x:.8g}' for x in instrument.standard_lattice_nm)} nm "
        f"at {instrument.temperature_c:g} °C",
    ]
    lines += [wrapped(f"Advice: {remark}") for remark in instrument.remarks]
    lines += [wrapped(f"Flag {flag.name}: {flag.message}") for flag in fit.flags]
    return "\n".join(lines)


def estimate_text(found: "Estimate", *, brief: bool = False) -> str:
    """Everything that follows from the numbers given, by each relation; then validity and source of each."""
    rows = found.rows(brief=brief)
    notes = list(dict.fromkeys(row.note for row in rows if row.note))
    lines = []
    previous = ""
    for row in rows:
        mark = f"[{notes.index(row.note) + 1}]" if row.note else ""
        lines.append(("" if row.quantity == previous else row.quantity, _value(row), row.by, mark))
        previous = row.quantity
    parts = [table([("quantity", "value", "by", "remark")], lines), ""]
    parts += [wrapped(f"[{k}] {note}", indent=2) for k, note in enumerate(notes, start=1)]
    if not brief:
        parts += ["", "Relations", *_sources(rows, found.library)]
    parts.append("")
    parts.append(
        wrapped("In brackets: standard uncertainty (k = 1). Tc, resistivity, slope, Bc2: median and 68 % interval.")
    )
    if found.prediction.wire != "any":
        parts.append(wrapped(f"Relations chosen: those for {_WIRES[found.prediction.wire]}, or for any."))
    if found.assumptions:
        parts.append(wrapped(f"Taken for granted: {'; '.join(found.assumptions)}."))
    parts += [wrapped(f"Flag {flag.name}: {flag.message}") for flag in found.flags]
    parts.append(wrapped(ESTIMATES))
    return "\n".join(parts)


def _value(row: "Row") -> str:
    if not math.isfinite(row.value):
        return _MISSING
    unit = "" if row.unit == "1" else f" {row.unit}"
    if math.isfinite(row.u):
        return f"{concise(row.value, row.u)}{unit}"
    return f"{with_interval(row.value, row.low, row.high)}{unit}"


def _sources(rows: Sequence["Row"], library: "Library") -> list[str]:
    """Each relation once: formula, validity, publication, how it is known."""
    from xrdorder.relations import LABELS

    names = dict.fromkeys(name for row in rows if row.source for name in row.by.split(" + "))
    lines = []
    for name in names:
        entry = library.relation(name)
        lines.append(f"  {name}: {entry.formula}")
        lines.append(wrapped(f"valid for {entry.inputs[0].name} {entry.validity}", indent=6))
        lines.append(wrapped(f"{entry.source}, {entry.equation} ({LABELS[entry.known]})", indent=6))
    return lines


def wrapped(text: str, indent: int = 0) -> str:
    """Break lines at the width of the terminal, 120 at most."""
    width = int(np.clip(shutil.get_terminal_size((100, 24)).columns, 60, 120))
    start = "\n" if text.startswith("\n") else ""
    pad = " " * indent
    return start + textwrap.fill(
        text.strip(), width, break_on_hyphens=False, initial_indent=pad, subsequent_indent=pad
    )
