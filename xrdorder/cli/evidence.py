"""What others measured: list published samples, show one."""

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from xrdorder.cli.console import Entry, File, Part, details_option, show
from xrdorder.cli.named_files import NEW_FILE
from xrdorder.quantities.tables import Column, Heading, Table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from xrdorder.relations.published_samples import PublishedSample

_QUANTITIES = {
    "a": ("a", 5, ("a_nm",)),
    "tin": ("tin", 1, ("tin_at_percent",)),
    "order": ("order", 3, ("site_order", "S_a")),
    "Tc": ("Tc", 2, ("Tc_K",)),
    "Bc2": ("Bc2", 1, ("Bc2_T",)),
    "slope": ("|dBc2/dT|", 2, ("slope_T_per_K",)),
    "resistivity": ("resistivity", 1, ("resistivity_uohm_cm",)),
    "grain-size": ("grains", 0, ("grain_size_nm",)),
}
"""What can be asked for: heading, unit, digits of a summary, and the names of the numbers that are it."""

_MOST_LISTED = 30  # samples, as in other tables; of more the summary stands alone

_KNOWN = ("read", "abstract", "secondary", "memory")
"""Of `xrdorder.relations.published_samples`, which help must not load (a test holds them equal)."""
_NOWHERE = ("review", "unknown")  # what stands for the laboratory where it was not named

_CRITERIA = (
    "Criteria differ: from the onset of a transition to its middle Tc falls by half a kelvin; from 10 to 99 % of one "
    "transition Bc2 rises by 0.7 to 2.8 T, Tc by 0.1 to 0.5 K (A. Godeke et al., J. Appl. Phys. 97 (2005) 093909, "
    "table II). Where none stands the source does not say."
)


@click.command()
@click.argument("name", required=False)
@click.option("--route", help="Bulk, wire, film or crystal, or words of the name, such as powder-in-tube or bronze.")
@click.option("--dopant", help="Only those with this dopant, such as Ta; none: without any.")
@click.option("--with", "wanted", type=click.Choice(tuple(_QUANTITIES)), multiple=True,
              help="Only those with this quantity; may be repeated.")  # fmt: skip
@click.option("--laboratory", help="Only those measured in this town.")
@click.option("--known", type=click.Choice(_KNOWN), help="Only those known so.")
@click.option("--find", help="Only those with these words in name, source or remark.")
@click.option("--csv", "table", type=NEW_FILE, help="Write every number and text of those listed into this file.")
@details_option
def evidence(
    name: str | None,
    route: str | None,
    dopant: str | None,
    wanted: tuple[str, ...],
    laboratory: str | None,
    known: str | None,
    find: str | None,
    table: Path | None,
    details: bool,
) -> None:
    """List the published samples, or show the one called NAME.

    Estimates rest on them. Tin, lattice parameter, order, Tc, Bc2, resistivity and grain size as they were published,
    each with source, criterion, and how it is known. Tin is by microanalysis unless said otherwise.
    """
    from xrdorder.relations.published_samples import FORMS, published_sample, select

    if name is not None:
        if any((route, dopant, wanted, laboratory, known, find, table)):
            raise click.UsageError("options choose from the list; leave out NAME")
        return show(*_one(published_sample(name)))
    element, words, town = (dopant or "").capitalize(), (find or "").casefold(), (laboratory or "").casefold()
    if dopant and element not in (elements := {"None", *(dopant for s in select() for dopant in s.dopants)}):
        raise click.UsageError(f"--dopant {dopant}: known are {', '.join(sorted(elements - {'None'}))}, none")
    samples = select(
        where=lambda s: (
            (not route or (s.form == route if route in FORMS else route.casefold() in s.name.casefold()))
            and (not element or (s.undoped if element == "None" else element in s.dopants))
            and all(math.isfinite(_number(s, _QUANTITIES[quantity][2])) for quantity in wanted)
            and town in s.laboratory.casefold()
            and known in (None, s.known)
            and words in f"{s.name} {s.source} {s.remark}".casefold()
        )
    )
    if not samples:
        raise click.UsageError("no published sample is like that; leave out one of the options")
    listed: list[Part] = [f"More than {_MOST_LISTED}: narrow the list by options, or --details lists all."]
    if details or len(samples) <= _MOST_LISTED:
        listed = [_list(samples)]
    show(_summary(samples), "", *listed, "", *_notes(samples))
    if table is not None:
        _write(samples, table)
        show("", File("Table", str(table)))


def _number(sample: "PublishedSample", names: "Sequence[str]") -> float:
    """First of these numbers that was published; NaN for none."""
    return next((x for x in (getattr(sample, name) for name in names) if math.isfinite(x)), math.nan)


def _summary(chosen: "Sequence[PublishedSample]") -> Table:
    """How many have what, and from where to where it goes."""
    from statistics import median

    from xrdorder.quantities.registry import unit_of

    rows = []
    for words, digits, names in _QUANTITIES.values():
        numbers = [x for x in (_number(s, names) for s in chosen) if math.isfinite(x)]
        if numbers:
            texts = (f"{x:.{digits}f}" for x in (min(numbers), median(numbers), max(numbers)))
            unit = unit_of(names[0])
            rows.append((f"{words} ({unit})" if unit else words, str(len(numbers)), *texts))
    places = len({s.laboratory for s in chosen} - set(_NOWHERE))
    samples = f"{len(chosen)} published sample{'s' if len(chosen) > 1 else ''}"
    laboratories = f"{places} laborator{'ies' if places > 1 else 'y'}"
    head = [Heading("", numeric=False), *(Heading(w) for w in ("samples", "least", "median", "most"))]
    return Table.of(head, rows, title=f"{samples} of {laboratories}")


def _list(chosen: "Sequence[PublishedSample]") -> Table:
    columns: tuple[Column[PublishedSample], ...] = (
        ("sample", lambda s: s.name),
        (("tin", "at.%"), lambda s: _text(s.tin_at_percent)),
        (("a", "nm"), lambda s: _text(s.a_nm, ".5f")),
        (Heading("order", optional=5), lambda s: _text(_number(s, ("site_order", "S_a")))),
        (("Tc", "K"), lambda s: _text(s.Tc_K)),
        ("by", lambda s: s.Tc_criterion),
        (("Bc2", "T"), _field),
        (Heading("by ", numeric=False, optional=1), lambda s: s.Bc2_criterion),
        (Heading("resistivity", "µΩ cm", optional=4), lambda s: _text(s.resistivity_uohm_cm)),
        (Heading("grains", "nm", optional=6), lambda s: _text(s.grain_size_nm)),
        (Heading("known", numeric=False, optional=2), lambda s: s.known),
        (Heading("laboratory", numeric=False, optional=7), lambda s: s.laboratory),
    )
    return Table.by(chosen, columns, filled=True)


def _text(number: float, form: str = "g") -> str:
    return f"{number:{form}}" if math.isfinite(number) else ""


def _field(sample: "PublishedSample") -> str:
    """Bc2 with its temperature, where that is not 0 K."""
    return _text(sample.Bc2_T) + (f" at {sample.Bc2_at_k:g} K" if sample.Bc2_at_k > 0.0 else "")


def _notes(chosen: "Sequence[PublishedSample]") -> list[Part]:
    transition = any(s.Tc_criterion or s.Bc2_criterion for s in chosen)
    return [*([_CRITERIA] if transition else []), "xrdorder evidence NAME shows source, treatment and remarks of one."]


def _one(sample: "PublishedSample") -> list[Part]:
    """Everything about one sample."""
    from xrdorder.quantities.registry import unit_of
    from xrdorder.relations.entry import LABELS

    def value(name: str, unit: str = "", form: str = "g") -> str:
        """A number with its uncertainty; a quantity of the registry brings its unit along."""
        number, u = getattr(sample, name), getattr(sample, f"u_{name}", math.nan)
        if not math.isfinite(number):
            return ""
        shown = unit or unit_of(name)
        return f"{number:{form}}{f' ± {u:g}' if math.isfinite(u) else ''} {shown}".strip()

    def told(text: str, *how: str) -> str:
        return ", ".join(word for word in (text, *how) if word) if text else ""

    contents = ", ".join(f"{x:g} at.% {element}" for element, x in sample.dopant_at_percent.items())
    at_k = f"at {sample.Bc2_at_k:g} K" if sample.Bc2_at_k else "at 0 K"
    rows = [
        ("Form", told(sample.form, "irradiated" if sample.irradiated else "")),
        ("Dopants", contents or ", ".join(sample.dopants) or "none"),
        ("Alloy", sample.alloy),
        ("Treatment", told(value("treatment_c", "°C"), value("treatment_h", "h"))),
        ("Tin", told(value("tin_at_percent"), sample.tin_by)),
        ("a", told(value("a_nm", form=".5f"), f"at {sample.a_at_c:g} °C")),
        ("Site order", told(value("site_order"), sample.order_by)),
        ("S_a", told(value("S_a"), sample.order_by)),
        ("Tc", told(value("Tc_K"), sample.Tc_criterion or "criterion not told", sample.Tc_by)),
        ("Bc2", told(value("Bc2_T"), at_k, sample.Bc2_criterion or "criterion not told", sample.Bc2_by)),
        ("|dBc2/dT|", value("slope_T_per_K", "T/K")),
        ("Resistivity", value("resistivity_uohm_cm")),
        ("Ratio", value("resistivity_ratio", "(300 K over just above Tc)")),
        ("Grain size", value("grain_size_nm")),
        ("Laboratory", sample.laboratory),
        ("Source", sample.source),
        ("Known", LABELS[sample.known]),
        ("Tests", ", ".join(sample.judges) or "nothing: see the remark, or no pair of values"),
        ("Remark", sample.remark),
    ]
    return [sample.name, "", *(Entry(title, text) for title, text in rows if text)]


def _write(chosen: "Sequence[PublishedSample]", path: Path) -> None:
    from dataclasses import fields
    from io import StringIO

    from xrdorder.files import TableWriter
    from xrdorder.files.atomic import write_text

    names = [field.name for field in fields(chosen[0])]
    text = StringIO()
    TableWriter(text).writerows([names, *([_cell(getattr(sample, name)) for name in names] for sample in chosen)])
    write_text(path, text.getvalue())


def _cell(value: object) -> object:
    if isinstance(value, float):
        return value if math.isfinite(value) else ""
    if isinstance(value, tuple):
        return " ".join(value)
    if isinstance(value, dict):
        return " ".join(f"{element}={content:g}" for element, content in value.items())
    return value
