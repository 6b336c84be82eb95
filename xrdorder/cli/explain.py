"""Say where a number comes from."""

from pathlib import Path

import click

from xrdorder.cli.console import File, details_option, show
from xrdorder.cli.program import SOME_FAILED, complain


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.argument("sample")
@click.argument("quantity", required=False)
@details_option
@click.pass_context
def explain(ctx: click.Context, study: Path, sample: str, quantity: str | None, details: bool) -> None:
    """Explain where a stored number of a SAMPLE comes from.

    All quantities in short, or one in full. A QUANTITY may be named as here, as a column of results.csv, or as a
    heading of the printed table.

    How good the fit is, each step from the pattern to the number, and what its uncertainty is made of and shared with;
    with --details file and calibration, formulas with their sources, all sources of uncertainty, flags and assumptions.
    Nothing is fitted again.
    """
    from xrdorder.explanation.explanation import explain_stored

    explanation = explain_stored(study, sample, quantity)
    following = File("Next", f"xrdorder explain {study} {sample} QUANTITY shows steps and all sources of one")
    show(*explanation.parts(details=details, following=[following]))
    if explanation.sample.failed:
        complain(f"{explanation.sample.name}: {explanation.sample.status}")
        ctx.exit(SOME_FAILED)
