"""What the laboratory measured itself, against what the patterns say."""

from pathlib import Path

import click

from xrdorder.cli.console import Entry, File, details_option, show
from xrdorder.cli.named_files import NEW_FILE, save_figure
from xrdorder.cli.options import figures_saved


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--lot", help="Look at this wire lot only.")
@click.option(
    "--adopt",
    type=NEW_FILE,
    help="Write the offset of the best relation for Tc and for Bc2, where it is clear, to a new file of relations.",
)
@click.option(
    "--relation", "names", multiple=True, help="Adopt the offset of this relation, clear or not; may be repeated."
)
@click.option("--slope", is_flag=True, help="Adopt offset and slope.")
@figures_saved("estimates against measurements as results/figures/measured.png")
@details_option
def measured(
    study: Path,
    lot: str | None,
    adopt: Path | None,
    names: tuple[str, ...],
    slope: bool,
    figures: bool,
    details: bool,
) -> None:
    """Compare estimates with what was measured on the samples.

    Measured values stand in study.toml under [samples.measured]: Tc, fields, composition, grain size, currents. Says
    for each wire lot which published relation fits best and with what probability, and which offset may be adopted.
    --details adds how each relation agrees. The table goes to results/measured.csv.
    """
    from xrdorder.exceptions import StudyError
    from xrdorder.measured.held import chosen_adjustments, hold, write_rows
    from xrdorder.measured.relation_adjustment import write_adjustments
    from xrdorder.results.open_study import open_study

    if (names or slope) and adopt is None:
        raise StudyError("--relation and --slope say what is adopted; give --adopt FILE as well")
    held = hold(open_study(study), lot)
    table = study / "results" / "measured.csv"
    write_rows(held.rows, table)
    show(*held.parts(details=details), "", File("Table", str(table)))
    if figures:
        from xrdorder.figures.measured import measured_figure

        save_figure(measured_figure(held), study / "results" / "figures" / "measured.png")
    if adopt is not None:
        chosen = chosen_adjustments(held, names, slope=slope)
        write_adjustments(chosen.entries, adopt)
        if chosen.left_out:
            show(Entry("Left out", "; ".join(chosen.left_out)))
        put = f'put relations = "{adopt.name}" (the path from the study) at the top of study.toml'
        show(File("Adopted", f"{adopt}: {put}"))
