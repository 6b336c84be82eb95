"""Field, temperature and strain: what the samples of a study would carry, and where they cross over."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from xrdorder.cli.console import Entry, File, Part, Progress, details_option, show
from xrdorder.cli.options import POSITIVE, figures_saved, strain_options
from xrdorder.cli.program import complain
from xrdorder.exceptions import XrdorderError
from xrdorder.reports.cautions import ESTIMATES

if TYPE_CHECKING:
    import xarray as xr

    from xrdorder.superconductivity.currents import Conditions, Conductor
    from xrdorder.superconductivity.layers import Layer

_MOST_DRAWN = 6  # curves that a figure can keep apart
FIELDS_T = (8.0, 12.0, 16.0)


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--field", "fields_t", type=POSITIVE, multiple=True, help="In T; may be repeated. Left out: 8, 12, 16.")
@click.option("--temperature", "temperature_k", type=POSITIVE, default=4.2, show_default=True, help="In K.")
@strain_options
@click.option("--sample", "names", multiple=True, help="Sample to look at; may be repeated. Left out: all.")
@click.option("--reference", default="", help="Sample to compare currents with; left out: the first.")
@figures_saved("Bc2, currents and superconducting section of up to six samples as figures in results/figures")
@details_option
def fields(
    study: Path,
    fields_t: tuple[float, ...],
    temperature_k: float,
    strain: float | None,
    design: str,
    names: tuple[str, ...],
    reference: str,
    figures: bool,
    details: bool,
) -> None:
    """Estimate Bc2 and current at field, temperature and strain for the samples of a fitted STUDY.

    Bc2 of the layer, and current density against a reference sample (correlated errors cancel); with --details also how
    Bc2 spreads over the layer, current densities with their intervals, and the fields at which two samples cross over.
    Grain sizes by microscopy and A15 areas given in study.toml take precedence over the pattern. Nothing is fitted
    again.
    """
    from xrdorder.cli.fields_screen import current_parts, field_parts
    from xrdorder.cli.study_screen import own_part
    from xrdorder.comparison.variants import fit_to_compare
    from xrdorder.estimates.anchored_currents import anchored_currents
    from xrdorder.estimates.conductors import conductors, layers, with_like_sizes
    from xrdorder.results.open_study import open_study
    from xrdorder.superconductivity.currents import Conditions

    held = open_study(study)
    if words := held.difference:
        complain(f"remark: {words}")
    library = held.library()
    conditions = Conditions(temperature_k, strain=strain, design=design)
    designs = {sample.name: sample.lot.design for sample in held.study.samples}
    asked = tuple(sorted(set(fields_t or FIELDS_T)))
    chosen = tuple(dict.fromkeys((reference, *names))) if names and reference else names
    # a sample asked for by name is shown whatever its fit is worth, and its verdict with it
    fit, unfit = fit_to_compare(held.results)
    results = held.results if chosen or reference in unfit else fit
    with Progress("estimating") as progress:
        progress(0, 3, "layers")
        sections = layers(results, chosen, library=library, designs=designs)
        progress(1, 3, "currents")
        samples = conductors(results, chosen, library=library, designs=designs)
        against = _first(samples, reference)
        alike = {sample.name: sample for sample in with_like_sizes(samples, results)}
        parts = field_parts(sections, samples, alike, conditions, asked, against, details=details)
        measured = anchored_currents(list(alike.values()), results, asked, conditions)
        progress(3, 3, "currents")
    left_out = _left_out(results, fit, unfit, chosen, samples, sections)
    show(*parts, "", *current_parts(measured, temperature_k), *own_part(held.results), *left_out, ESTIMATES)
    if figures:
        shown = [against, *(sample for sample in samples if sample is not against)]
        show("", *_draw(study / "results" / "figures", shown[:_MOST_DRAWN], alike, sections, conditions))
        if len(samples) > _MOST_DRAWN:
            show(Entry("", f"of the first {_MOST_DRAWN} samples; --sample chooses others"))


def _left_out(
    results: "xr.Dataset",
    fit: "xr.Dataset",
    unfit: dict[str, str],
    chosen: tuple[str, ...],
    samples: "Sequence[Conductor]",
    sections: "dict[str, Layer]",
) -> "Iterator[str]":
    """Samples that are not shown, or shown in spite of their grade, and why."""
    for name, reason in unfit.items():
        if not chosen or name in chosen:
            yield f"{'Left out' if results is fit else 'Use with care'}: {name} ({reason})"
    carry = {sample.name for sample in samples}
    for name in map(str, results["sample"].values) if not chosen else ():
        if name not in carry:
            lacks = "no grain size, so no current" if name in sections else "no tin content, so no Tc and no Bc2"
            yield f"Left out: {name} ({lacks})"


def _first(samples: "Sequence[Conductor]", reference: str) -> "Conductor":
    if not reference:
        return samples[0]
    for sample in samples:
        if sample.name == reference:
            return sample
    known = ", ".join(sample.name for sample in samples)
    raise XrdorderError(f"no sample '{reference}' to compare with; those with tin and grain size are: {known}")


def _draw(
    folder: Path,
    samples: "Sequence[Conductor]",
    alike: "Mapping[str, Conductor]",
    sections: "dict[str, Layer]",
    conditions: "Conditions",
) -> "list[Part]":
    """Save the figures, the first sample as the reference, and say which."""
    from xrdorder.figures import bc2_figure, current_figure, section_figure
    from xrdorder.reports.sample_figures import save

    drawn, without = ["bc2"], ""
    save(bc2_figure(samples, conditions), folder / "bc2.png")
    if len(samples) > 1:
        compared = [alike[sample.name] for sample in samples if sample.name in alike]
        try:
            save(current_figure(compared, conditions, reference=samples[0].name), folder / "currents.png")
            drawn.append("currents")
        except XrdorderError as error:
            without = f"; no currents: {error}"
    layers = {sample.name: sections[sample.name] for sample in samples if sample.name in sections}
    if layers:
        save(section_figure(layers, conditions), folder / "section.png")
        drawn.append("section")
    return [File("Figures", f"{folder} ({', '.join(drawn)}){without}")]
