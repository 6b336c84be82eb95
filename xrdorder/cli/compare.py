"""Which variant is better, by how much, and is the difference real?"""

from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

import click

from xrdorder.cli.cautions import ESTIMATES
from xrdorder.cli.program import complain
from xrdorder.cli.progress import Progress
from xrdorder.exceptions import StudyError, XrdorderError, did_you_mean, no_such_lot

if TYPE_CHECKING:
    import xarray as xr

    from xrdorder.comparison import Compared

_BY = ("treatment", "reaction-temperature", "hold-time", "dose", "lot", "position", "date")
_OF_TREATMENT = ("treatment", "reaction-temperature", "hold-time", "dose")
_LEAST_POINTS = 3  # of a variable, for a course and not rows
_Found: TypeAlias = "dict[str, Compared]"


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--by", type=click.Choice(_BY), default="treatment", show_default=True, help="What makes a variant.")
@click.option("--quantity", "quantities", multiple=True, help="Column or quantity to compare; may be repeated.")
@click.option("--reference", default="", help="Sample whose variant the others are compared with; left out: the first.")
@click.option("--without", multiple=True, metavar="SAMPLE", help="Leave this sample out; may be repeated.")
@click.option("--lot", default="", help="Only samples of this wire lot.")
@click.option("--all-pairs", is_flag=True, help="Compare every variant with every other; without a figure.")
@click.option("--figures/--no-figures", default=True, show_default=True, help="Save a figure of the differences.")
def compare(
    study: Path,
    by: str,
    quantities: tuple[str, ...],
    reference: str,
    without: tuple[str, ...],
    lot: str,
    all_pairs: bool,
    figures: bool,
) -> None:
    """Compare the variants of a fitted STUDY: differences first, absolutes after, verdicts in words.

    What two variants share cancels; replicates tell how far equal wires scatter; probabilities are corrected for the
    number of comparisons. The table goes to results/comparison.csv, the figure to results/figures/comparison.png.
    Nothing is fitted again. Of one variant only, drifts and samples that do not fit are still told.
    """
    from xrdorder.cli.compare_text import comparison_text, one_variant_text
    from xrdorder.cli.tables import own_line
    from xrdorder.comparison.study import (
        QUANTITIES,
        compare_wires,
        fit_to_compare,
        wires_of,
    )
    from xrdorder.results.open_study import open_study

    held = open_study(study)
    if words := held.difference:
        complain(f"remark: {words}")
    results, left_out = fit_to_compare(_without(_of_lot(held.results, lot), without))
    left_out.update(dict.fromkeys(without, "--without"))
    if reference in left_out:
        raise StudyError(f"sample '{reference}' cannot be the reference: {left_out[reference]}")
    _require(results, by, reference)
    with Progress("comparing"):
        asked = tuple(dict.fromkeys(_quantity_named(word) for word in quantities)) or QUANTITIES
        found, wires = {}, {}
        skipped = []
        for quantity in asked:
            try:
                wires[quantity] = wires_of(results, quantity, by, reference)
                found[quantity] = compare_wires(wires[quantity], all_pairs=all_pairs)
            except XrdorderError as error:
                if quantities and not (quantity in wires and len(wires[quantity].variants) == 1):
                    raise
                skipped.append(str(error))
    if not found and not any(one.variants for one in wires.values()):
        raise StudyError(skipped[0])
    text = comparison_text(results, found, wires, by, all_pairs) if found else one_variant_text(results, wires, by)
    click.echo("\n".join([*text, *own_line(results)]))
    for name, reason in left_out.items():
        click.echo(f"Left out: {name} ({reason})")
    if not found:
        click.echo(f"\n{ESTIMATES}")
        return
    for reason in skipped:
        click.echo(f"Not compared: {reason}")
    table = study / "results" / "comparison.csv"
    _write(found, table)
    click.echo(f"\nTable        {table}")
    picture = study / "results" / "figures" / "comparison.png"
    if figures and not all_pairs:
        _draw(found, by, picture, str(results.attrs.get("title", "")))
        click.echo(f"Figure       {picture}")
    elif picture.exists():
        picture.unlink()  # it would not belong to the new table
        click.echo(f"Removed      {picture}, of an earlier comparison")
    click.echo(f"\n{ESTIMATES}")


def _draw(found: _Found, by: str, path: Path, title: str) -> None:
    """Save the differences over the variable, or in rows where there is none."""
    import numpy as np

    from xrdorder.cli.compare_text import LOGARITHMIC, UNITS
    from xrdorder.cli.drawing import save
    from xrdorder.figures import difference_courses, difference_rows

    compared = list(found.values())
    known = np.concatenate([np.asarray(one.variable, dtype=float) for one in compared])
    if np.unique(known[np.isfinite(known)]).size >= _LEAST_POINTS:
        unit = "m" if by == "position" else UNITS.get(by, "")
        figure = difference_courses(
            compared, by.replace("-", " "), unit, logarithmic=by in LOGARITHMIC, title=title
        )
    else:
        figure = difference_rows(compared, title=title)
    save(figure, path)


def _quantity_named(word: str) -> str:
    """Take the headings of the printed table for the columns they head."""
    from xrdorder.results.quantity_lookup import headed

    one = headed(word)
    return word if one is None else one.column


def _of_lot(results: "xr.Dataset", lot: str) -> "xr.Dataset":
    if not lot:
        return results
    lots = [str(one) for one in results["lot"].values]
    if lot not in lots:
        raise StudyError(no_such_lot(lot, lots))
    return results.isel(sample=[k for k, one in enumerate(lots) if one == lot])


def _without(results: "xr.Dataset", names: tuple[str, ...]) -> "xr.Dataset":
    if not names:
        return results
    known = [str(name) for name in results["sample"].values]
    for name in names:
        if name not in known:
            raise StudyError(f"no sample '{name}' to leave out; {did_you_mean(name, known)}")
    return results.isel(sample=[k for k, name in enumerate(known) if name not in names])


def _require(results: "xr.Dataset", by: str, reference: str) -> None:
    """Refuse what holds for no quantity, once."""
    from xrdorder.comparison import grouping

    labels, _ = grouping(results, by)
    if not any(labels):
        key, needed = ("treatment", "a treatment") if by in _OF_TREATMENT else (by, f"a {by}")
        raise StudyError(
            f"no sample has {needed}, so there are no variants to compare: give {key} with each sample in study.toml "
            "and run it again, or choose another --by"
        )
    names = [str(name) for name in results["sample"].values]
    if reference and reference not in names:
        raise StudyError(f"no sample '{reference}' to compare with; {did_you_mean(reference, names)}")
    if reference and not labels[names.index(reference)]:
        raise StudyError(f"sample '{reference}' has no {by}; choose another --reference or --by")


def _write(found: _Found, path: Path) -> None:
    """One row a comparison."""
    from xrdorder.files import TableWriter
    from xrdorder.files.atomic import write_atomically
    from xrdorder.quantities.registry import UNIT_1, unit_of

    def write(temporary: Path) -> None:
        with temporary.open("w", newline="", encoding="utf-8") as file:
            writer = TableWriter(file)
            writer.writerow(
                ["quantity", "first", "second", "difference", "u", "probability_positive", "p", "p_adjusted",
                 "distinguishable", "unit"]
            )  # fmt: skip
            for comparison, _, _, _ in found.values():
                for d in comparison.differences():
                    writer.writerow(
                        [d.quantity, d.first, d.second, f"{d.value:.8g}", f"{d.u:.4g}", f"{d.probability_positive:.4f}",
                         f"{d.p:.4g}", f"{d.p_adjusted:.4g}", int(d.distinguishable), unit_of(d.quantity) or UNIT_1]
                    )  # fmt: skip

    write_atomically(path, write)
