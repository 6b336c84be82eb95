"""Field, temperature and strain: what the samples of a study would carry, and where they cross over."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from xrdorder.cli.console import Entry, File, Part, Progress, details_option, show
from xrdorder.cli.options import POSITIVE, figures_saved, strain_options
from xrdorder.cli.program import complain
from xrdorder.exceptions import XrdorderError
from xrdorder.quantities.caveats import ESTIMATES

if TYPE_CHECKING:
    from xrdorder.estimates.field_comparison import FieldComparison

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
    """Estimate Bc2 and current at field, temperature and strain.

    Bc2 of the layer, and current density against a reference sample (correlated errors cancel); with --details also how
    Bc2 spreads over the layer, current densities with their intervals, and the fields at which two samples cross over.
    Grain sizes by microscopy and A15 areas given in study.toml take precedence over the pattern. Nothing is fitted
    again.
    """
    from xrdorder.comparison.variants import fit_to_compare
    from xrdorder.estimates.field_comparison import compare_in_field
    from xrdorder.results.open_study import open_study
    from xrdorder.superconductivity.currents import Conditions
    from xrdorder.views.fields import without_current
    from xrdorder.views.study import own_parts

    opened = open_study(study)
    if words := opened.difference:
        complain(f"remark: {words}")
    fit, unfit = fit_to_compare(opened.results)
    # a sample asked for by name is shown whatever its fit is worth, and its grade with it
    results = opened.results if names or reference in unfit else fit
    with Progress("estimating"):
        comparison = compare_in_field(
            results, fields_t or FIELDS_T, Conditions(temperature_k, strain=strain, design=design), names=names,
            reference=reference, library=opened.library(),
            designs={sample.name: sample.lot.design for sample in opened.study.samples},
        )  # fmt: skip
    at = " ".join(f"--field {field:g}" for field in comparison.fields_t)
    caveats: list[Part] = [*own_parts(opened.results), ESTIMATES, File("Next", f"xrdorder suggest {study} {at}")]
    spoiled = [(name, why) for name, why in unfit.items() if not comparison.named or name in comparison.named]
    show(
        *comparison.parts(details=details, caveats=caveats),
        *(f"{'Left out' if results is fit else 'Use with care'}: {name} ({why})" for name, why in spoiled),
        *without_current(comparison, map(str, results["sample"].values)),
    )
    if figures:
        show("", *_draw(study / "results" / "figures", comparison))


def _draw(folder: Path, comparison: "FieldComparison") -> list[Part]:
    """Save the figures of the reference, the samples asked for and the leaders, and say which."""
    from xrdorder.figures import bc2_figure, current_figure, section_figure
    from xrdorder.reports.pictures import save

    chosen = [choice.sample for choice in comparison.chosen(_MOST_DRAWN)]
    shown = [comparison.reference, *(sample for sample in chosen if sample is not comparison.reference)]
    drawn, without = ["bc2"], ""
    save(bc2_figure(shown, comparison.conditions), folder / "bc2.png")
    if len(shown) > 1:
        compared = [comparison.alike[sample.name] for sample in shown if sample.name in comparison.alike]
        try:
            figure = current_figure(compared, comparison.conditions, reference=comparison.reference.name)
            save(figure, folder / "currents.png")
            drawn.append("currents")
        except XrdorderError as error:
            without = f"; no currents: {error}"
    if layers := {
        sample.name: comparison.sections[sample.name]
        for sample in shown
        if sample.name in comparison.sections
    }:
        save(section_figure(layers, comparison.conditions), folder / "section.png")
        drawn.append("section")
    parts: list[Part] = [File("Figures", f"{folder} ({', '.join(drawn)}){without}")]
    if len(comparison.carried) > len(shown):
        parts.append(Entry("", f"of the reference, {len(shown) - 1} leaders at these fields and --sample NAME"))
    return parts
