"""Write the report of a study."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from xrdorder.cli.console import File, Part, Progress, details_option, show
from xrdorder.cli.program import SOME_FAILED, complain
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.reports.cautions import BRIEF

if TYPE_CHECKING:
    from xrdorder.reports.pictures import Missing

_MOST_NAMED = 8  # files; of more the page, the summary and the table are named


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--only", multiple=True, help="page, summary, figures, tables, or the name of a figure or panel.")
@click.option(
    "--format", "form", type=click.Choice(("png", "svg", "pdf")), default="svg", show_default=True, help="Of figures."
)
@click.option(
    "--size", type=click.Choice(("screen", "two-column", "one-column")), default="screen", show_default=True,
    help="Of figures: for the screen with title and remark, or as wide as two columns or one of a printed page.",
)
@click.option(
    "--sample", "samples", multiple=True, help="Samples that figures of single samples show; may be repeated."
)
@details_option
def report(study: Path, only: tuple[str, ...], form: str, size: str, samples: tuple[str, ...], details: bool) -> None:
    """Write the report of a STUDY: page, summary, figures, table.

    Everything goes to results/report. The page asks no network; the answer stands first. Nothing is fitted again. A
    figure that cannot be drawn is left out and said to be missing, on the page and here; the exit code is then 1.
    """
    from xrdorder.reports.summary import DOCUMENT, PDF
    from xrdorder.reports.writing import PAGE, TABLE, write_report
    from xrdorder.results.open_study import open_study

    with Progress("writing") as progress:
        missing: list[Missing] = []
        written = write_report(open_study(study), only, form, size, samples, progress, missing.append)
    pages = (PAGE, TABLE, DOCUMENT, PDF)
    first = [path for path in written if details or len(written) <= _MOST_NAMED or path.name in pages]
    parts: list[Part] = [File("Written", str(path)) for path in first]
    if further := len(written) - len(first):
        parts.append(File("Figures", f"{further} further files beside them; --details names all"))
    show(*parts, *([""] if parts else []), ESTIMATES, *BRIEF)
    for missing_file in missing:
        complain(f"figure not drawn: {missing_file.words}")
    if missing:
        sys.exit(SOME_FAILED)
