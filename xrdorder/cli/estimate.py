"""From numbers alone."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from xrdorder.cli.console import Entry, Part, details_option, show
from xrdorder.cli.options import ANY, EXISTING_FILE, POSITIVE, dopant_options
from xrdorder.exceptions import ValidityError
from xrdorder.quantities.tables import entries

if TYPE_CHECKING:
    from collections.abc import Iterator

    from xrdorder.estimates.from_numbers import Estimate

_WIRES = {"binary": "binary wire", "doped": "doped wire", "Ta": "tantalum-doped wire", "Ti": "titanium-doped wire"}


@click.command()
@click.option("--lattice-nm", type=POSITIVE, help="Lattice parameter of the A15, free of strain, in nm.")
@click.option("--u-lattice-nm", type=POSITIVE, help="Its standard uncertainty (k = 1).")
@click.option("--site-order", type=ANY, help="Site order r_a + r_b - 1 (4 beta S_a in an undoped wire).")
@click.option("--u-site-order", type=POSITIVE, help="Its standard uncertainty.")
@click.option("--tin-at-percent", type=POSITIVE, help="Tin content where it is known otherwise, in at.%.")
@click.option("--u-tin-at-percent", type=POSITIVE, help="Its standard uncertainty.")
@click.option("--temperature-c", type=ANY, help="Temperature of the lattice parameter in °C; left out: 22.5.")
@dopant_options
@click.option(
    "--bc2-at-k", type=ANY, multiple=True, help="Temperature for Bc2 in K, beside 0 and 4.2; may be repeated."
)
@click.option(
    "--strain",
    type=ANY,
    help="Intrinsic axial strain for which Tc and Bc2 are wanted too: -0.0025 for 0.25 % of compression.",
)
@click.option("--u-strain", type=POSITIVE, help="Its standard uncertainty.")
@click.option(
    "--relations",
    "relation_files",
    type=EXISTING_FILE,
    multiple=True,
    help="File with relations or adjustments of your own (TOML); may be repeated.",
)
@click.option(
    "--tin-scale", type=EXISTING_FILE, help="Your own line from lattice to tin, as xrdorder tin-scale writes it."
)
@details_option
def estimate(
    tin_at_percent: float | None,
    u_tin_at_percent: float | None,
    dopants: dict[str, tuple[float, float | None]],
    undoped: bool,
    relation_files: tuple[Path, ...],
    tin_scale: Path | None,
    details: bool,
    **numbers: Any,
) -> None:
    """Estimate tin, S_a, S_b, Tc and Bc2 from numbers alone.

    These are a lattice parameter, a site order, a tin content, or several of them. Tin, Tc and Bc2 are those that a
    study of this one wire gives. Published relations are chosen by the dopant and applied inside the range they are
    valid in; --details shows each with its source, or why it does not apply.
    """
    from xrdorder.estimates.from_numbers import estimate as estimate_from
    from xrdorder.material import PUBLISHED_SCALE, read_tin_scale
    from xrdorder.relations import PUBLISHED, read_relations

    _check_tin(tin_at_percent)
    estimate = estimate_from(
        **numbers,
        tin_fraction=None if tin_at_percent is None else tin_at_percent / 100.0,
        u_tin_fraction=None if u_tin_at_percent is None else u_tin_at_percent / 100.0,
        dopants={element: content / 100.0 for element, (content, _) in dopants.items()},
        u_dopants={element: u / 100.0 for element, (_, u) in dopants.items() if u is not None},
        undoped=undoped,
        library=PUBLISHED.with_entries(entry for path in relation_files for entry in read_relations(path)),
        scale=PUBLISHED_SCALE if tin_scale is None else read_tin_scale(tin_scale),
    )
    show(*_parts(estimate, details=details))


def _parts(estimate: "Estimate", *, details: bool) -> list[Part]:
    """The joint estimates; with `details` also each published relation, with validity and source."""
    wire = f" of {_WIRES[estimate.wire]}" if estimate.wire in _WIRES else ""
    parts: list[Part] = [
        f"{_said(estimate, 'Tc_K')}, {_said(estimate, 'Bc2_4K2_T')}, "
        f"{_said(estimate, 'tin_fraction')}{wire}, free of strain",
        Entry(
            "Next",
            "measure Tc or Bc2 of one wire of the lot: in a study it anchors the estimates of all wires",
        ),
        "",
        estimate.table(brief=not details),
        "",
    ]
    if details:
        parts += ["Relations", *_sources(estimate), ""]
    lines = [f"Flag {flag.name}: {flag.message}" for flag in estimate.flags]
    parts += [
        *lines,
        *entries("Assumptions", estimate.assumptions),
    ]
    reading = (
        "In brackets: standard uncertainty (k = 1). Joint model (docs/explanation/evidence.md): "
        "median and 68 % interval."
    )
    more = "" if details else " --details shows every relation with its validity and source."
    return [*parts, f"{reading}{more}"]


def _said(estimate: "Estimate", target: str) -> str:
    """Median of the joint draws of a quantity, with their 68 % interval."""
    from xrdorder.estimates.stored_draws import column_of
    from xrdorder.quantities.registry import quantity

    about, draws = quantity(target), estimate.draws[target][None, :]
    text = about.interval_text(*(float(column_of(draws, kind)[0]) for kind in ("value", "low", "high")))
    return f"{about.noun} {text} {about.people.unit}"


def _sources(estimate: "Estimate") -> "Iterator[Part]":
    """Each relation once: formula, validity, publication, how it is known."""
    from xrdorder.relations import LABELS

    for name in dict.fromkeys(name for row in estimate.rows() if row.source for name in row.by.split(" + ")):
        entry = estimate.library.relation(name)
        yield f"  {name}: {entry.formula}"
        yield f"      valid for {entry.inputs[0].name} {entry.validity}"
        yield f"      {entry.source}, {entry.equation} ({LABELS[entry.known]})"


def _check_tin(at_percent: float | None) -> None:
    """Refuse a tin content that no A15 has, in the unit it was given in."""
    from xrdorder.estimates.from_numbers import TIN_RANGE
    from xrdorder.material import A15_FIELD

    low, high = (100.0 * end for end in TIN_RANGE)
    if at_percent is None or low <= at_percent <= high:
        return
    if low <= 100.0 * at_percent <= high:
        raise ValidityError(f"tin content is {at_percent:g} at.%; did you mean {100.0 * at_percent:g}?")
    field = f"{100.0 * A15_FIELD[0]:g} to {100.0 * A15_FIELD[1]:g} at.%"
    raise ValidityError(f"tin content is {at_percent:g} at.%; give that of the A15, whose field is {field}")
