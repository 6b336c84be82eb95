"""Field, temperature and strain: what the samples of a study would carry, and where they change places."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from xrdorder.cli.cautions import ESTIMATES
from xrdorder.cli.options import ANY, POSITIVE, figures_option
from xrdorder.cli.progress import Progress
from xrdorder.exceptions import XrdorderError

if TYPE_CHECKING:
    from xrdorder.superconductivity.currents import Conditions, Conductor
    from xrdorder.superconductivity.layers import Layer
    from xrdorder.superconductivity.mixture import Band

_DRAWS = 20_000  # enough for a per cent in an interval's end; the table of a study comes in seconds
_MOST_DRAWN = 6  # curves that a figure can keep apart
FIELDS_T = (8.0, 12.0, 16.0)


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--field", "fields_t", type=POSITIVE, multiple=True, help="In T; may be repeated. Left out: 8, 12, 16.")
@click.option("--temperature", "temperature_k", type=POSITIVE, default=4.2, show_default=True, help="In K.")
@click.option("--strain", type=ANY, help="Intrinsic axial strain; left out: the thermal pre-strain of the design.")
@click.option(
    "--design", default="", help="Design of the wire, for its pre-strain: bronze, internal-tin, powder-in-tube, none."
)
@click.option("--sample", "names", multiple=True, help="Sample to look at; may be repeated. Left out: all.")
@click.option("--reference", default="", help="Sample to compare currents with; left out: the first.")
@figures_option
def fields(
    study: Path,
    fields_t: tuple[float, ...],
    temperature_k: float,
    strain: float | None,
    design: str,
    names: tuple[str, ...],
    reference: str,
    figures: bool,
) -> None:
    """Estimate Bc2 and current at field, temperature and strain for the samples of a fitted STUDY.

    Bc2 of the layer and how it spreads over it, current density against a reference sample (what both share cancels),
    and the field at which two samples change places. Grain sizes by microscopy and A15 areas given in study.toml go
    before what the pattern tells. Nothing is fitted again.
    """
    from xrdorder.studies import open_study
    from xrdorder.studies.interpretation import OwnFiles
    from xrdorder.superconductivity.currents import Conditions
    from xrdorder.superconductivity.currents_study import conductors, layers

    held = open_study(study)
    library = OwnFiles(held.study.tin_scale, held.study.relations).library()
    conditions = Conditions(temperature_k, strain=strain, design=design)
    asked = tuple(sorted(fields_t or FIELDS_T))
    chosen = tuple(dict.fromkeys((reference, *names))) if names and reference else names
    with Progress("estimating") as progress:
        progress(0, 3, "layers")
        sections = layers(held.results, chosen, library=library)
        progress(1, 3, "currents")
        samples = conductors(held.results, chosen, n=_DRAWS, library=library)
        lines = _text(sections, samples, conditions, asked, _first(samples, reference))
        progress(3, 3, "currents")
    click.echo("\n".join(lines))
    if figures:
        folder = study / "results" / "figures"
        shown = [sample for sample in samples if sample.name == reference]
        shown += [sample for sample in samples if sample.name != reference]
        _draw(folder, shown[:_MOST_DRAWN], sections, conditions, reference)
        more = f" (the first {_MOST_DRAWN} samples; --sample chooses)" if len(samples) > _MOST_DRAWN else ""
        click.echo(f"\nFigures      {folder} (bc2, currents, section){more}")
    click.echo(f"\n{ESTIMATES}")


def _first(samples: "Sequence[Conductor]", reference: str) -> "Conductor":
    if not reference:
        return samples[0]
    for sample in samples:
        if sample.name == reference:
            return sample
    known = ", ".join(sample.name for sample in samples)
    raise XrdorderError(f"no sample '{reference}' to compare with; those with tin and grain size are: {known}")


def _band(band: "Band", k: int | None = None, decimals: int = 1) -> str:
    """Median and 68 % interval.

    >>> from xrdorder.superconductivity.mixture import Band
    >>> import numpy as np
    >>> _band(Band(np.array(25.04), np.array(23.1), np.array(26.6)))
    '25.0 (23.1 to 26.6)'
    """
    middle, low, high = (float(x if k is None else x[k]) for x in band)
    if middle != middle:
        return "-"
    return f"{middle:.{decimals}f} ({low:.{decimals}f} to {high:.{decimals}f})"


def _text(
    sections: "dict[str, Layer]",
    samples: "Sequence[Conductor]",
    conditions: "Conditions",
    asked: Sequence[float],
    reference: "Conductor",
) -> list[str]:
    from xrdorder.cli.tables import table
    from xrdorder.superconductivity.currents import bc2_curve, crossing, layer_current, relative_current
    from xrdorder.superconductivity.layers import UNIFORM
    from xrdorder.superconductivity.mixture import Band

    lines = [f"Upper critical field {conditions.words()}", ""]
    rows: list[tuple[str, ...]] = []
    for sample in samples:
        section = sections[sample.name]
        spread = section.over_section(section.bc2_0)
        rows.append(
            (
                sample.name,
                _band(bc2_curve(sample, conditions.temperature_k, conditions), 0),
                _band(Band.of(sample.bc2_0)),
                "the same"
                if section.kind == UNIFORM
                else f"{float(spread.worst_decile.median):.1f} to {float(spread.best_decile.median):.1f}",
                section.kind,
                f"{float(sample.grain.band.median):.0f} nm by {sample.grain.by}",
            )
        )
    head: tuple[str, ...] = ("sample", "Bc2", "Bc2(0 K), no strain", "worst and best tenth", "layer", "grains")
    lines += [table((head, ("", "T", "T", "T of the section", "", "")), rows), ""]
    lines += [f"Layer current density over that of {reference.name}", ""]
    rows, remarks = [], []
    for sample in samples:
        own = layer_current(sample, list(asked), conditions)
        cells = [sample.name]
        if sample is reference:
            cells += ["1"] * len(asked)
        else:
            ratio = relative_current(sample, reference, list(asked), conditions)
            cells += [
                f"{_band(ratio.ratio, k, 2)}, P {float(ratio.probability_larger[k]):.2f}" for k in range(len(asked))
            ]
            remarks.append(crossing(sample, reference, conditions).words)
        what = own.layer if own.non_copper is None else own.non_copper
        cells.append(f"{'at most ' if own.at_most else ''}{float(what.median[-1]):.0f}")
        cells.append("layer" if own.non_copper is None else "non-copper")
        rows.append(tuple(cells))
    head = ("sample", *(f"{b:g} T" for b in asked), f"J at {asked[-1]:g} T", "over")
    lines += [table((head, ("", *("median (68 %)" for _ in asked), "A/mm2", "")), rows), ""]
    lines += [*remarks, "", "P: probability of carrying more than the reference. J is good to a factor at best."]
    told = dict.fromkeys(
        f"{sample.name}: {flag.message}"
        for sample in samples
        for flag in sample.flags
        if flag.name in ("layer-not-uniform", "grain-size-at-least")
    )
    return [*lines, *told]


def _draw(
    folder: Path,
    samples: "Sequence[Conductor]",
    sections: "dict[str, Layer]",
    conditions: "Conditions",
    reference: str,
) -> None:
    from xrdorder.cli.drawing import save
    from xrdorder.figures import bc2_figure, current_figure, section_figure

    save(bc2_figure(samples, conditions), folder / "bc2.png")
    if len(samples) > 1:
        save(current_figure(samples, conditions, reference=reference or samples[0].name), folder / "currents.png")
    layers = {sample.name: sections[sample.name] for sample in samples}
    strain = conditions.strain or 0.0
    save(section_figure(layers, conditions.temperature_k, strain=strain), folder / "section.png")
