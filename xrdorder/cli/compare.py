"""Which variant is better, by how much, and is the difference real?"""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

import click

from xrdorder.cli.cautions import ESTIMATES
from xrdorder.cli.progress import Progress
from xrdorder.exceptions import StudyError, XrdorderError

if TYPE_CHECKING:
    import numpy as np
    import xarray as xr
    from numpy.typing import NDArray

    from xrdorder.studies.comparison import Compared, Comparison, Outlier, Repeatability

_BY = ("treatment", "reaction-temperature", "hold-time", "dose", "lot", "position", "date")
_UNITS = {"reaction-temperature": "°C", "hold-time": "h", "dose": "h"}
_MOST_VERDICTS = 3  # of one quantity
_ABREAST = 3  # quantities of the table of differences
_LEAST_POINTS = 3  # of a variable, for a course and not rows
_Found: TypeAlias = "dict[str, Compared]"


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--by", type=click.Choice(_BY), default="treatment", show_default=True, help="What makes a variant.")
@click.option("--quantity", "quantities", multiple=True, help="Column or quantity to compare; may be repeated.")
@click.option("--reference", default="", help="Sample whose variant the others are compared with; left out: the first.")
@click.option("--lot", default="", help="Only samples of this wire lot.")
@click.option("--all-pairs", is_flag=True, help="Compare every variant with every other; without a figure.")
@click.option("--figures/--no-figures", default=True, show_default=True, help="Save a figure of the differences.")
def compare(
    study: Path, by: str, quantities: tuple[str, ...], reference: str, lot: str, all_pairs: bool, figures: bool
) -> None:
    """Compare the variants of a fitted STUDY: differences first, absolutes after, verdicts in words.

    What two variants share cancels; replicates tell how far equal wires scatter; probabilities are corrected for the
    number of comparisons. The table goes to results/comparison.csv, the figure to results/figures/comparison.png.
    Nothing is fitted again.
    """
    from xrdorder.cli.tables import own_line
    from xrdorder.studies import open_study
    from xrdorder.studies.comparison.of_study import (
        QUANTITIES,
        compare_quantity,
        fit_to_compare,
        predicted_values,
    )
    from xrdorder.studies.interpretation import OwnFiles

    held = open_study(study)
    every = _of_lot(held.results, lot)
    results, left_out = fit_to_compare(every)
    if reference in left_out:
        raise StudyError(f"sample '{reference}' cannot be the reference: {left_out[reference]}")
    _require(results, by, reference)
    with Progress("comparing") as progress:
        asked = tuple(_quantity_named(word) for word in quantities) or QUANTITIES
        library = OwnFiles(held.study.tin_scale, held.study.relations).library()
        predicted = predicted_values(results, asked, progress, library)
        found = {}
        skipped = []
        for quantity in asked:
            try:
                found[quantity] = compare_quantity(
                    results, quantity, by, reference, all_pairs=all_pairs, predicted=predicted
                )
            except XrdorderError as error:
                if quantities:
                    raise
                skipped.append(str(error))
    if not found:
        raise StudyError(skipped[0])
    click.echo("\n".join([*_text(results, found, by, all_pairs), *own_line(results)]))
    for name, reason in left_out.items():
        click.echo(f"Left out: {name} ({reason})")
    for reason in skipped:
        click.echo(f"Not compared: {reason}")
    table = study / "results" / "comparison.csv"
    _write(found, table)
    click.echo(f"\nTable        {table}")
    if figures and not all_pairs:
        click.echo(f"Figure       {_draw(found, by, study, str(results.attrs.get('title', '')))}")
    click.echo(f"\n{ESTIMATES}")


def _draw(found: _Found, by: str, study: Path, title: str) -> Path:
    """Save the differences over the variable, or in rows where there is none."""
    import numpy as np

    from xrdorder.cli.drawing import FOLDER, save
    from xrdorder.figures import difference_courses, difference_rows

    compared = list(found.values())
    known = np.concatenate([np.asarray(one.variable, dtype=float) for one in compared])
    if np.unique(known[np.isfinite(known)]).size >= _LEAST_POINTS:
        unit = "m" if by == "position" else _UNITS.get(by, "")
        figure = difference_courses(compared, by.replace("-", " "), unit, title=title)
    else:
        figure = difference_rows(compared, title=title)
    path = study / "results" / FOLDER / "comparison.png"
    save(figure, path)
    return path


def _quantity_named(word: str) -> str:
    """Take the headings of the printed table for the quantities below them, as `explain` does."""
    from xrdorder.studies.asked import HEADINGS

    return HEADINGS.get(word, word)


def _of_lot(results: "xr.Dataset", lot: str) -> "xr.Dataset":
    if not lot:
        return results
    lots = [str(one) for one in results["lot"].values]
    if lot not in lots:
        raise StudyError(f"no sample is of lot '{lot}'; lots are {', '.join(dict.fromkeys(lots))}")
    return results.isel(sample=[k for k, one in enumerate(lots) if one == lot])


def _require(results: "xr.Dataset", by: str, reference: str) -> None:
    """Refuse what holds for no quantity, once."""
    from xrdorder.studies.comparison import grouping

    labels, _ = grouping(results, by)
    names = [str(name) for name in results["sample"].values]
    if reference and reference not in names:
        raise StudyError(f"no sample '{reference}' to compare with; samples are {', '.join(names)}")
    if reference and not labels[names.index(reference)]:
        raise StudyError(f"sample '{reference}' has no {by}; choose another --reference or --by")


def _text(results: "xr.Dataset", found: _Found, by: str, all_pairs: bool) -> list[str]:
    lines: list[str] = []
    if not all_pairs:
        lines += [*_lead(found), *_pooled(results, by), ""]
        lines += _differences(found)
    lines += _absolutes(found)
    lines += ["Verdicts"]
    for comparison, _, _, _ in found.values():
        lines += _verdicts(comparison)
    lines += _courses(results, found, by)
    from xrdorder.studies.comparison import methods_sentence

    lines += ["", "For a report"]
    return [*lines, *_wrapped(methods_sentence(next(iter(found.values()))[0]))]


def _lead(found: _Found) -> list[str]:
    """The answer first: which variant is ahead, and whether it differs from the reference by more than chance."""
    import numpy as np

    from xrdorder.studies.comparison.of_study import AHEAD_BY
    from xrdorder.studies.comparison.words import manner

    by = next((quantity for quantity in AHEAD_BY if quantity in found), "")
    if not by:
        return []
    one, against = found[by].comparison, found[by].against
    leader = one.variants[int(np.argmax(one.value))]
    start = f"Ahead by {manner(by).noun}: {leader}"
    if leader == against:
        return _flush(f"{start}, the reference itself.")
    clear: list[str] = []
    unclear: list[str] = []
    for item in found.values():
        if leader in item.comparison.variants and against in item.comparison.variants:
            pair = item.comparison.pair(leader, against)
            (clear if pair.distinguishable else unclear).append(manner(pair.quantity).noun)
    said = f"by more than chance in {', '.join(clear)}" if clear else "in nothing by more than chance"
    rest = f"; not in {', '.join(unclear)}" if clear and unclear else ""
    return _flush(f"{start}. Against {against} it differs {said}{rest}.")


def _pooled(results: "xr.Dataset", by: str) -> list[str]:
    """Say what variants by one variable mix, or differ in besides: it may be the cause of their differences."""
    if by == "treatment":
        return []
    mixed = []
    for other, name, what, unit in (
        ("reaction-temperature", "peak_c", "reaction temperatures", "°C"),
        ("hold-time", "hold_at_peak_h", "hold times", "h"),
    ):
        values = sorted({float(x) for x in results[name].values if x == x})
        if by not in (other, "dose") and len(values) > 1:
            mixed.append(f"{what} of {values[0]:.4g} to {values[-1]:.4g} {unit}")
    lots = dict.fromkeys(str(one) for one in results["lot"].values)
    several = by != "lot" and len(lots) > 1
    if several:
        mixed.append(f"wire lots ({', '.join(lots)}), whose dopants may differ")
    if not mixed:
        return []
    words = " and ".join(part for part in (", ".join(mixed[:-1]), mixed[-1]) if part)
    keep = " --lot keeps to one lot." if several else ""
    return _flush(f"Variants by {by} mix {words}: differences may come from these.{keep}")


def _flush(text: str) -> list[str]:
    import textwrap

    return textwrap.wrap(text, 98)


def _wrapped(text: str) -> list[str]:
    import textwrap

    return textwrap.wrap(text, 98, initial_indent="  ", subsequent_indent="    ")


def _differences(found: _Found) -> list[str]:
    against = next(iter(found.values())).against
    lines = [f"Differences to {against}", ""]
    for few in _few_at_once(found):
        lines += [_difference_table(few, against), ""]
    return [
        *lines,
        "* more than chance (5 % for all comparisons of a quantity together). P: probability of being higher.",
        "",
    ]


def _few_at_once(found: _Found) -> "Iterable[list[Comparison]]":
    """Quantities in groups that fit beside each other."""
    comparisons = [one for one, _, _, _ in found.values()]
    return (comparisons[k : k + _ABREAST] for k in range(0, len(comparisons), _ABREAST))


def _difference_table(comparisons: "list[Comparison]", against: str) -> str:
    from xrdorder.cli.tables import table
    from xrdorder.studies.comparison.words import manner, rounded

    variants = dict.fromkeys(v for one in comparisons for v in one.variants if v != against)
    head: list[str] = ["variant", "wires"]
    units = ["", ""]
    for one in comparisons:
        how = manner(one.quantity)
        head += [how.noun, "P"]
        units += [how.unit, "higher"]
    rows = []
    for variant in variants:
        counts = [int(one.counts[one.variants.index(variant)]) for one in comparisons if variant in one.variants]
        row = [variant, str(max(counts))]
        for one in comparisons:
            if variant not in one.variants:
                row += ["-", ""]
                continue
            d, how = one.pair(variant, against), manner(one.quantity)
            row += [
                rounded(d.value * how.scale, d.u * how.scale) + (" *" if d.distinguishable else ""),
                f"{d.probability_positive:.2f}",
            ]
        rows.append(tuple(row))
    return table((tuple(head), tuple(units)), rows)


def _absolutes(found: _Found) -> list[str]:
    from xrdorder.cli.tables import table
    from xrdorder.studies.comparison.words import manner, rounded
    from xrdorder.superconductivity.targets import TARGETS

    comparisons = [one for one, _, _, _ in found.values()]
    variants = dict.fromkeys(v for one in comparisons for v in one.variants)
    head = ["variant", *(manner(one.quantity).noun for one in comparisons)]
    units = ["", *(manner(one.quantity).unit for one in comparisons)]
    rows = []
    for variant in variants:
        row = [variant]
        for one in comparisons:
            how = manner(one.quantity)
            k = one.variants.index(variant) if variant in one.variants else None
            row.append("-" if k is None else rounded(one.value[k] * how.scale, one.u[k] * how.scale))
        rows.append(tuple(row))
    lines = ["Absolutes, with all that samples share", "", table((tuple(head), tuple(units)), rows), ""]
    if any(one.quantity in TARGETS for one in comparisons):
        lines += _wrapped(
            "Tc and Bc2 here are those of the tin by the lattice alone, whose scale cancels in differences; the table "
            "of results has the best absolute estimates."
        )
        lines.append("")
    return lines


def _verdicts(comparison: "Comparison") -> list[str]:
    from xrdorder.studies.comparison import verdict

    clear = [d for d in comparison.differences() if d.distinguishable]
    shown = clear[:_MOST_VERDICTS] or comparison.differences(1)
    lines = [line for d in shown for line in _wrapped(verdict(d))]
    if len(clear) > len(shown):
        lines.append(f"    and {len(clear) - len(shown)} more that are more than chance")
    return lines


def _courses(results: "xr.Dataset", found: _Found, by: str) -> list[str]:
    """Trends over the variable, drifts along spool and over dates, samples that do not fit."""
    import numpy as np

    from xrdorder.studies.comparison import drift, drift_words, grouping, outliers, trend, trend_words

    lines: list[str] = []
    place = {str(name): k for k, name in enumerate(results["sample"].values)}
    for comparison, values, labels, variable in found.values():
        x = np.array(variable)
        scatter: Repeatability = comparison.repeatability
        if by in _UNITS and np.unique(x[np.isfinite(x)]).size > 1 and np.isfinite(x).sum() > 2:
            lines += _wrapped(trend_words(trend(values, x, by.replace("-", " "), scatter), _UNITS[by]))
        for odd in outliers(values, labels):
            lines += _wrapped(_odd_words(odd, values.quantity))
        for order in ("position", "date"):
            if order not in results:
                continue
            numbers = _as_numbers(results[order].values)[[place[name] for name in values.samples]]
            equal = grouping(results, "treatment")[0]
            moved = drift(values, numbers, [equal[place[name]] for name in values.samples], order, scatter)
            if moved is not None and moved.distinguishable:
                lines += _wrapped(drift_words(moved))
    return ["", "Courses and oddities", *(lines or ["  nothing that is more than chance"])]


def _odd_words(odd: "Outlier", quantity: str) -> str:
    from xrdorder.studies.comparison.words import manner, rounded

    how = manner(quantity)
    amount = f"{rounded(odd.deviation * how.scale, odd.u * how.scale)} {how.unit}".strip()
    doubt = "; its only replicate may as well be the odd one" if odd.partner else ""
    return f"{odd.sample} does not fit the others of {odd.variant}: {how.noun} off by {amount}{doubt}"


def _as_numbers(values: "Iterable[object]") -> "NDArray[np.float64]":
    from datetime import date

    import numpy as np

    numbers = []
    for value in values:
        try:
            numbers.append(float(str(value)))
        except (TypeError, ValueError):
            try:
                numbers.append(float(date.fromisoformat(str(value)[:10]).toordinal()))
            except ValueError:
                numbers.append(float("nan"))
    return np.array(numbers)


def _write(found: _Found, path: Path) -> None:
    """One row a comparison."""
    import csv

    from xrdorder.studies.files import write_atomically

    def write(temporary: Path) -> None:
        with temporary.open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file)
            writer.writerow(
                ["quantity", "first", "second", "difference", "u", "probability_positive", "p", "p_adjusted",
                 "distinguishable"]
            )  # fmt: skip
            for comparison, _, _, _ in found.values():
                for d in comparison.differences():
                    writer.writerow(
                        [d.quantity, d.first, d.second, f"{d.value:.8g}", f"{d.u:.4g}", f"{d.probability_positive:.4f}",
                         f"{d.p:.4g}", f"{d.p_adjusted:.4g}", int(d.distinguishable)]
                    )  # fmt: skip

    write_atomically(path, write)
