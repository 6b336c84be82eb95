"""What others found: list published relations, show one."""

import re
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import click

from xrdorder.cli.console import Entry, Part, show
from xrdorder.cli.options import EXISTING_FILE
from xrdorder.quantities.tables import Column, Heading, Table
from xrdorder.quantities.tables import entries as beside

if TYPE_CHECKING:
    from xrdorder.relations import Library, Relation

_SOURCE = 30
"""Letters of the source in the list: who wrote the first work named, and when."""


@click.command()
@click.argument("name", required=False)
@click.option("--kind", help="Only those that answer this question, such as tc-from-tin, or begin like it: bc2.")
@click.option("--wire", help="Only those that hold for this wire: binary, doped, Ta or Ti.")
@click.option("--known", help="Only those known so: read, abstract, secondary, memory, derived, own.")
@click.option("--find", help="Only those with these words in question, name, title, formula or source.")
@click.option(
    "--file",
    "files",
    type=EXISTING_FILE,
    multiple=True,
    help="Add relations or adjustments of your own (TOML); may be repeated.",
)
def relations(
    name: str | None,
    kind: str | None,
    wire: str | None,
    known: str | None,
    find: str | None,
    files: tuple[Path, ...],
) -> None:
    """List the published relations, or show the one called NAME.

    Estimates are made of them. Formula, units, source and place, range of validity, scatter, how it is known, what
    contradicts it, and its test points. Outside its range a relation is not applied. The samples behind them: xrdorder
    evidence.
    """
    from xrdorder.relations import LABELS, PUBLISHED, read_relations

    library = PUBLISHED.with_entries(entry for file in files for entry in read_relations(file))
    if name is not None:
        if any(word is not None for word in (kind, wire, known, find)):
            raise click.UsageError("--kind, --wire, --known and --find choose from the list; leave out NAME")
        return show(*_relation(library.relation(name)))
    if known is not None and known not in LABELS:
        raise click.UsageError(f"--known {known}: known are {', '.join(LABELS)}")
    entries = [
        entry
        for entry in _of_kind(library, kind, wire)
        if known in (None, entry.known) and (find is None or find.casefold() in _text_of(entry).casefold())
    ]
    if not entries:
        raise click.UsageError("no relation is like that; leave out one of the options")
    show(*_listed(entries))


def _of_kind(library: "Library", kind: str | None, wire: str | None) -> "list[Relation]":
    """Relations of a kind, or of all kinds that begin like it."""
    from xrdorder.relations import KINDS

    begin_so = [] if kind is None or kind in KINDS else [word for word in KINDS if word.startswith(kind)]
    if not begin_so:
        return list(library.relations(kind, wire))
    return [entry for kind in begin_so for entry in library.relations(kind, wire)]


def _text_of(entry: "Relation") -> str:
    from xrdorder.relations import KINDS

    question = KINDS[entry.kind]
    return " ".join((entry.name, question, entry.title, entry.formula, entry.output.meaning, entry.source, entry.notes))


def _listed(entries: "list[Relation]") -> list[Part]:
    """Give a list of relations, by the question they answer."""
    from xrdorder.relations import KINDS

    columns: tuple[Column[Relation], ...] = (
        ("relation", lambda entry: entry.name), ("known", lambda entry: entry.known),
        ("wire", lambda entry: entry.wire), ("valid", lambda entry: str(entry.validity)), ("criterion", _criterion),
        (Heading("source", numeric=False, optional=1), _short_source),
    )  # fmt: skip
    count = f"{len(entries)} relation{'s' if len(entries) > 1 else ''}"
    parts: list[Part] = [f"{count}; xrdorder relations NAME shows one, xrdorder evidence the samples"]
    for kind, question in KINDS.items():
        if some := [entry for entry in entries if entry.kind == kind]:
            parts += ["", f"{question} ({kind})", "", Table.by(some, columns, filled=True)]
    return parts


def _criterion(entry: "Relation") -> str:
    """How the transition was read; of Tc and fields it is told that nobody said so."""
    of_transition = entry.kind.startswith(("tc-from-", "bc2-0-from-", "bc2-temperature", "bc2-slope"))
    return entry.criterion or ("not told" if of_transition else "")


def _short_source(entry: "Relation") -> str:
    """First author and year of the first work of a source; else its first words."""
    first = re.split(r"; |, fitted to|, as (?:given|named) by", entry.source)[0]
    year = re.search(r"\((\d{4})\)", first)
    words = f"{first.split(',')[0]} ({year[1]})" if year else first
    return textwrap.shorten(words, _SOURCE, placeholder=" ...")


def _relation(entry: "Relation") -> list[Part]:
    """Give everything about one relation."""
    from xrdorder.relations import KINDS, LABELS

    symbols = [_symbol(symbol.name, symbol.meaning, symbol.unit, symbol.usual) for symbol in entry.inputs]
    output = entry.output
    rows = [
        ("Question", f"{KINDS[entry.kind]} ({entry.kind})"),
        ("Title", entry.title),
        ("Formula", entry.formula),
        *beside("Input", symbols),
        ("Output", f"{output.name}: {output.meaning}" + (f", in {output.unit}" if output.unit != "1" else "")),
        ("Source", f"{entry.source}, {entry.equation}"),
        ("Known", LABELS[entry.known]),
        ("Holds for", f"{entry.wire} wire"),
        ("Criterion", _criterion(entry)),
        ("Adopted on", ", ".join(entry.samples)),
        ("Valid", f"{entry.inputs[0].name} {entry.validity}; outside it is not applied"),
        ("Scatter", entry.scatter.source),
        ("Notes", entry.notes),
        ("Against it", entry.contradicts),
    ]
    parts: list[Part] = [entry.name, "", *(Entry(title, text) for title, text in rows if text)]
    for k, point in enumerate(entry.checks):
        at = ", ".join(f"{symbol.name} = {x:g}" for symbol, x in zip(entry.inputs, point.inputs, strict=False))
        text = f"{at}: {point.output:.5g} ± {point.tolerance:.2g}{_unit(output.unit)} ({point.source})"
        parts.append(Entry("Test points" if k == 0 else "", text))
    return parts


def _unit(unit: str) -> str:
    return "" if unit == "1" else f" {unit}"


def _symbol(name: str, meaning: str, unit: str, usual: float) -> str:
    return f"{name}: {meaning} (such as {usual:g}{_unit(unit)})"
