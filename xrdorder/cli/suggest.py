"""Which heat treatment should be reacted next?"""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from xrdorder.cli.console import File, Progress, details_option, show
from xrdorder.cli.named_files import PICTURE
from xrdorder.cli.options import POSITIVE, Numbers, Pair, all_of, strain_options
from xrdorder.cli.program import complain
from xrdorder.reports.cautions import ESTIMATES

if TYPE_CHECKING:
    from xrdorder.planning import LotPlan

_MOST_FIELDS = 4
_LARGEST_STRAIN = 0.05
_COPPER_MELTS_C = 1084.62  # ITS-90: H. Preston-Thomas, Metrologia 27 (1990) 3, table 1 (from memory)
_TABLE = "suggestions.csv"
SUGGESTIONS = (
    "Suggestions are candidates for evaluation, worked out from the samples so far: no instruction to run a furnace, "
    "no ground to build a magnet on. Furnaces burn, tin leaks, argon and cryogens suffocate: the rules of your "
    "laboratory and of your furnace come first."
)

_furnace_options = all_of(
    click.option("--furnace-min-c", type=POSITIVE, help="Least temperature of the last hold; left out: as reacted."),
    click.option("--furnace-max-c", type=POSITIVE, help="Largest temperature of the last hold; left out: as reacted."),
    click.option("--min-hours", type=POSITIVE, help="Least length of the last hold; left out: as reacted."),
    click.option("--max-hours", type=POSITIVE, help="Largest length of the last hold; left out: as reacted."),
    click.option("--ramp", type=Numbers(), help="Ramp to the last hold in K/h, or least and largest as 20,100."),
    click.option("--total-hours", type=POSITIVE, help="Longest treatment, ramps and earlier holds included."),
    click.option("--step-c", type=POSITIVE, default=5.0, show_default=True, help="Steps of suggested temperatures, K."),
    click.option(
        "--time-as",
        type=click.Choice(("dose", "hold")),
        default="dose",
        show_default=True,
        help="Compare treatments by peak and thermal dose (all ramps and holds, [dose] of study.toml), or last hold.",
    ),
)

_constraint_options = all_of(
    click.option(
        "--most-hours-above",
        "holds",
        type=Pair(),
        multiple=True,
        help="No more hours at or above a temperature in degrees Celsius, as 680,50; may be repeated.",
    ),
    click.option("--rrr-above", type=POSITIVE, help="Least resistivity ratio of the copper, by measured rrr_copper."),
    click.option("--niobium-below", type=POSITIVE, help="Largest leftover of niobium, wt.% of the crystalline phases."),
)


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--field", "fields_t", type=POSITIVE, multiple=True, required=True, help="In T; may be repeated.")
@click.option("--temperature", "temperature_k", type=POSITIVE, default=4.2, show_default=True, help="In K.")
@strain_options
@click.option("--lot", default="", help="Only this wire lot; left out: every lot for itself.")
@click.option("--number", type=click.IntRange(1, 3), default=1, show_default=True, help="Treatments to suggest.")
@click.option("--measured", is_flag=True, help="Go by measured critical currents, Bc2 and Tc, not estimates.")
@_furnace_options
@_constraint_options
@click.option(
    "--figure", type=PICTURE, help="Save maps and the Pareto front to this file."
)
@details_option
def suggest(
    study: Path,
    fields_t: tuple[float, ...],
    temperature_k: float,
    strain: float | None,
    design: str,
    lot: str,
    number: int,
    measured: bool,
    furnace_min_c: float | None,
    furnace_max_c: float | None,
    min_hours: float | None,
    max_hours: float | None,
    ramp: tuple[float, ...] | None,
    total_hours: float | None,
    step_c: float,
    time_as: str,
    holds: tuple[tuple[float, float], ...],
    rrr_above: float | None,
    niobium_below: float | None,
    figure: Path | None,
    details: bool,
) -> None:
    """Suggest the next heat treatments for the wires of a fitted STUDY at a field, temperature and strain in service.

    Shows which treatment is best so far and with what probability, which are worth reacting inside the limits of the
    furnace, or that the wires do not differ significantly; --details adds every plan in words and the Pareto front of
    Bc2 and grain size. The table goes to results/suggestions.csv. Nothing is fitted again.
    """
    from xrdorder.cli.study_screen import own_part
    from xrdorder.cli.suggest_screen import lot_parts
    from xrdorder.comparison.variants import fit_to_compare
    from xrdorder.planning import HoldBound, Limits
    from xrdorder.planning.suggestion import suggest as suggest_next
    from xrdorder.planning.suggestion import write_suggestions
    from xrdorder.results.open_study import open_study
    from xrdorder.superconductivity.currents import Conditions
    from xrdorder.treatments import kelvin_words

    _refuse(tuple(dict.fromkeys(fields_t)), strain, ramp, niobium_below, furnace_max_c)
    for option, limit in (("--furnace-max-c", furnace_max_c), ("--furnace-min-c", furnace_min_c)):
        if limit is not None and (words := kelvin_words(limit)):
            complain(f"remark: {option}: {words}")
    opened = open_study(study)
    opened.require_as_run()
    limits = Limits(
        furnace_min_c,
        furnace_max_c,
        min_hours,
        max_hours,
        tuple(ramp or ()),
        float("inf") if total_hours is None else total_hours,
        step_c,
        (opened.study.dose.q_kj_per_mol, opened.study.dose.reference_c) if time_as == "dose" else None,
        tuple(HoldBound(*one) for one in holds),
        rrr_above,
        None if niobium_below is None else niobium_below / 100.0,
    )
    refused: list[str] = []
    with Progress("planning") as progress:
        plans = suggest_next(
            opened, fields_t, Conditions(temperature_k, strain=strain, design=design), limits,
            lot=lot, number=number, measured=measured, refused=refused.append, progress=progress,
        )  # fmt: skip
    for plan in plans:
        show(*lot_parts(plan, details=details), "")
    left_out = fit_to_compare(opened.results)[1]
    estimated = any(response.origin == "estimate" for one in plans for response in one.responses)
    show(
        *(f"Left out: {sample} ({reason})" for sample, reason in left_out.items()),
        *own_part(opened.results),
        *(f"Not planned: {reason}" for reason in refused),
        f"{ESTIMATES} {SUGGESTIONS}" if estimated else SUGGESTIONS,
        "",
    )
    table = study / "results" / _TABLE
    write_suggestions(plans, table)
    show(File("Table", str(table)))
    if figure is not None:
        for path in _draw(plans, figure, str(opened.results.attrs.get("title", ""))):
            show(File("Figure", str(path)))


def _refuse(
    fields_t: Sequence[float],
    strain: float | None,
    ramp: Sequence[float] | None,
    niobium_below: float | None,
    furnace_max_c: float | None,
) -> None:
    """Refuse what holds for no study."""
    if len(fields_t) > _MOST_FIELDS:
        raise click.BadParameter(f"{len(fields_t)} fields are given; at most {_MOST_FIELDS} stand side by side")
    if strain is not None and abs(strain) > _LARGEST_STRAIN:
        raise click.BadParameter(f"--strain {strain:g} is {100 * strain:g} %; give a fraction, as -0.002 for -0.2 %")
    if ramp is not None and len(ramp) > 2:
        raise click.BadParameter("--ramp takes one ramp, or the least and the largest joined by a comma")
    if furnace_max_c is not None and furnace_max_c >= _COPPER_MELTS_C:
        raise click.BadParameter(f"--furnace-max-c {furnace_max_c:g}: copper melts at 1085 °C; give a lower limit")
    if niobium_below is not None and niobium_below >= 100.0:
        raise click.BadParameter(f"--niobium-below {niobium_below:g} is no limit; give wt.% below 100")


def _draw(plans: "Sequence[LotPlan]", path: Path, title: str) -> list[Path]:
    """Save a figure for each lot; with several the name of the lot is put into that of the file."""
    from xrdorder.reports.sample_figures import save

    drawn = []
    for one in plans:
        target = path if len(plans) == 1 else path.with_stem(f"{path.stem}-{one.lot or 'wires'}")
        save(one.plot(title=title), target)
        drawn.append(target)
    return drawn
