"""Which variant is better, by how much, and is the difference real?"""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from xrdorder.cli.console import File, Progress, details_option, show
from xrdorder.cli.named_files import save_figure
from xrdorder.cli.program import complain

if TYPE_CHECKING:
    from xrdorder.comparison.study_comparison import StudyComparison

_BY = ("treatment", "reaction-temperature", "hold-time", "dose", "lot", "position", "date")


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--by", type=click.Choice(_BY), default="treatment", show_default=True, help="What makes a variant.")
@click.option("--quantity", "quantities", multiple=True, help="Column or quantity to compare; may be repeated.")
@click.option("--reference", default="", help="Sample whose variant the others are compared with; left out: the first.")
@click.option("--without", multiple=True, metavar="SAMPLE", help="Leave this sample out; may be repeated.")
@click.option("--lot", default="", help="Only samples of this wire lot.")
@click.option("--pair", nargs=2, metavar="A B", help="Only these two: samples, or variants by treatment.")
@click.option("--all-pairs", is_flag=True, help="Compare every variant with every other; without a figure.")
@click.option("--figures/--no-figures", default=True, show_default=True, help="Save a figure of the differences.")
@details_option
def compare(study: Path, pair: tuple[str, str] | None, figures: bool, details: bool, **chosen: Any) -> None:
    """Compare variants: which is best, by how much, how surely.

    Correlated errors cancel in differences; replicates show how far equal wires scatter; probabilities are corrected
    for the number of comparisons. --details adds uncertainties and probabilities of all differences, absolute values,
    and a sentence for a report. The table goes to results/comparison.csv, the figure to results/figures/comparison.png.
    Nothing is fitted again. Of one variant only, drifts and outliers are still looked for. --pair A B takes two of them
    alone: what is measured best first, then what follows for tin, Tc, Bc2 and current; at different order also what tin
    would be if disorder did not widen the lattice.
    """
    from xrdorder.comparison.pair import compare_pair
    from xrdorder.comparison.study_comparison import compare_study, write_differences
    from xrdorder.results.open_study import open_study

    opened = open_study(study)
    if words := opened.difference:
        complain(f"remark: {words}")
    if pair:
        _refuse_beside(**chosen)
        show(*compare_pair(opened.results, *pair, opened.library()).parts())
        return
    with Progress("comparing"):
        comparison = compare_study(opened, **chosen)
    show(*comparison.parts(details=details), "")
    if comparison.compared:
        table = study / "results" / "comparison.csv"
        write_differences(comparison, table)
        show(File("Table", str(table)))
        _draw(comparison, study / "results" / "figures" / "comparison.png", figures)


def _refuse_beside(by: str, **others: object) -> None:
    """Refuse options that say what is compared beside a pair that does."""
    if any(others.values()) or by != "treatment":
        raise click.BadParameter("--pair says what is compared; leave out the options that say so otherwise")


def _draw(comparison: "StudyComparison", picture: Path, figures: bool) -> None:
    """Save the figure where one is wanted; else one of an earlier comparison goes, which does not match the table."""
    if figures and not comparison.all_pairs:
        save_figure(comparison.plot(), picture)
    elif picture.exists():
        picture.unlink()
        show(File("Removed", f"{picture}, of an earlier comparison"))
