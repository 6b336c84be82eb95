"""Which heat treatment should be reacted next?"""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from xrdorder.cli.console import File, Progress, details_option, show
from xrdorder.cli.named_files import PICTURE, save_figure
from xrdorder.cli.options import PAIR, POSITIVE, all_of, strain_options
from xrdorder.cli.program import complain
from xrdorder.quantities.caveats import ESTIMATES

if TYPE_CHECKING:
    from xrdorder.planning.study import LotPlan
    from xrdorder.results.open_study import OpenStudy

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
    click.option("--furnace-min-c", "least_c", type=POSITIVE, help="Least temperature of the last hold, °C."),
    click.option("--furnace-max-c", "most_c", type=POSITIVE, help="Largest temperature of the last hold, °C."),
    click.option("--min-hours", "least_hours", type=POSITIVE, help="Least length of the last hold."),
    click.option("--max-hours", "most_hours", type=POSITIVE, help="Largest length of the last hold."),
    click.option("--ramp", "ramp_k_per_h", type=POSITIVE, help="Ramp to the last hold in K/h; left out: as so far."),
    click.option("--total-hours", "total_h", type=POSITIVE, default=math.inf,
                 help="Longest treatment, ramps and earlier holds included."),
    click.option("--step-c", type=POSITIVE, default=5.0, show_default=True, help="Steps of suggested temperatures, K."),
    click.option(
        "--most-hours-above",
        "holds",
        type=PAIR,
        multiple=True,
        help="No more hours at or above a temperature in degrees Celsius, as 680,50; may be repeated.",
    ),
    click.option("--rrr-above", type=POSITIVE, help="Least RRR of the copper; left out: 100."),
    click.option("--niobium-below", type=POSITIVE, help="Largest share of niobium left unreacted, %."),
)


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--maximise", type=click.Choice(("Ic", "Bc2", "Tc")), default="Ic", show_default=True, help="The aim.")
@click.option("--field", "fields_t", type=POSITIVE, multiple=True, help="In T, for Ic; may be repeated.")
@click.option("--temperature", "temperature_k", type=POSITIVE, default=4.2, show_default=True, help="In K.")
@strain_options
@click.option("--lot", default="", help="Only this wire lot; left out: every lot for itself.")
@click.option("--number", type=click.IntRange(1, 3), default=1, show_default=True, help="Treatments to suggest.")
@_furnace_options
@click.option(
    "--add", type=click.IntRange(1, 3), metavar="NUMBER",
    help="Append this suggestion to study.toml as a treatment with its sample; of several lots with --lot.",
)
@click.option("--figure", type=PICTURE, help="Save the maps to this file.")
@details_option
def suggest(
    study: Path,
    maximise: str,
    fields_t: tuple[float, ...],
    temperature_k: float,
    strain: float | None,
    design: str,
    lot: str,
    number: int,
    add: int | None,
    figure: Path | None,
    details: bool,
    **told: Any,
) -> None:
    """Suggest the next heat treatments for the wires of a STUDY.

    By published kinetics, held against its own wires. Shows whether anything measured differs, which treatment is best
    so far and what is as good, and what to react next with the RRR of the copper there and what limits it; --details
    adds all treatments and what stands behind. Measured currents are used wherever study.toml has them. Nothing is
    fitted again.
    """
    from xrdorder.comparison.variants import fit_to_compare
    from xrdorder.planning.adding import waiting
    from xrdorder.planning.suggestion import suggest as suggest_next
    from xrdorder.planning.suggestion import write_suggestions
    from xrdorder.planning.window import HoldBound, Limits
    from xrdorder.results.open_study import open_study
    from xrdorder.superconductivity.currents import Conditions
    from xrdorder.treatments import kelvin_words
    from xrdorder.views.plans import foretold_parts
    from xrdorder.views.study import own_parts

    _refuse(maximise, fields_t, strain, told)
    for option, limit in (("--furnace-max-c", told["most_c"]), ("--furnace-min-c", told["least_c"])):
        if limit is not None and (words := kelvin_words(limit)):
            complain(f"remark: {option}: {words}")
    if told["niobium_below"] is not None:
        told["niobium_below"] /= 100.0
    limits = Limits(**{**told, "holds": tuple(HoldBound(*hold) for hold in told["holds"])})
    opened = open_study(study)
    refused: list[str] = []
    with Progress("planning") as progress:
        plans = suggest_next(
            opened, fields_t, Conditions(temperature_k, strain=strain, design=design), limits, maximise=maximise,
            lot=lot, number=max(number, add or 1), refused=refused.append, progress=progress,
        )  # fmt: skip
    for plan in plans:
        show(*plan.parts(details=details), *foretold_parts(plan, opened), "")
    left_out = fit_to_compare(opened.results)[1]
    show(
        *(f"Left out: {sample} ({reason})" for sample, reason in left_out.items()),
        *own_parts(opened.results),
        *(f"Added before: {name.words}." for plan in plans for name in waiting(opened.study, plan.lot)),
        *(f"Not planned: {reason}" for reason in refused),
        f"{ESTIMATES} {SUGGESTIONS}",
        "",
    )
    table = study / "results" / _TABLE
    write_suggestions(plans, table)
    show(File("Table", str(table)))
    if figure is not None:
        for plan in plans:  # of several lots each has a file with its name
            path = figure if len(plans) == 1 else figure.with_stem(f"{figure.stem}-{plan.lot or 'wires'}")
            save_figure(plan.plot(title=str(opened.results.attrs.get("title", ""))), path)
    if add is not None:
        _add(plans, add, opened)


def _refuse(maximise: str, fields_t: Sequence[float], strain: float | None, told: dict[str, Any]) -> None:
    """Refuse what holds for no study."""
    if maximise == "Ic" and not fields_t:
        raise click.BadParameter("--field is missing: give the field in T, or --maximise Bc2 or Tc")
    if len(set(fields_t)) > _MOST_FIELDS:
        raise click.BadParameter(f"{len(set(fields_t))} fields are given; at most {_MOST_FIELDS} stand side by side")
    if strain is not None and abs(strain) > _LARGEST_STRAIN:
        raise click.BadParameter(f"--strain {strain:g} is {100 * strain:g} %; give a fraction, as -0.002 for -0.2 %")
    if (most_c := told["most_c"]) is not None and most_c >= _COPPER_MELTS_C:
        raise click.BadParameter(f"--furnace-max-c {most_c:g}: copper melts at 1085 °C; give a lower limit")
    if (niobium_below := told["niobium_below"]) is not None and niobium_below >= 100.0:
        raise click.BadParameter(f"--niobium-below {niobium_below:g} is no limit; give % below 100")


def _add(plans: "Sequence[LotPlan]", number: int, opened: "OpenStudy") -> None:
    """Write a suggestion into the study."""
    from xrdorder.exceptions import StudyError
    from xrdorder.planning.adding import add_treatment
    from xrdorder.planning.plan_words import next_words
    from xrdorder.treatments import Schedule

    if len(plans) > 1:
        raise StudyError(f"--add: {len(plans)} lots are planned; name one with --lot")
    (plan,) = plans
    proposals = plan.plans[0].proposals
    if number > len(proposals):
        raise StudyError(f"--add {number}: there are {len(proposals)} suggestions; nothing was written")
    schedule = proposals[number - 1].schedule
    if not isinstance(schedule, Schedule):
        raise StudyError(f"--add {number}: {schedule.short_name} is a log; repeat it by a sample with the same log")
    made = add_treatment(opened.study, plan.lot, schedule, next_words(plan, 0, number - 1))
    show(
        f"Added to {made.file}: treatment {made.treatment}, sample {made.sample}. React it, put its pattern at "
        f"{made.pattern}, and run the study; suggest then says how well it was predicted."
    )
