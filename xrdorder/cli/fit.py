"""Fit patterns that no study describes."""

from pathlib import Path
from typing import Any

import click

from xrdorder.cli.console import details_option
from xrdorder.cli.options import (
    ANY,
    ENGINES,
    EXISTING_FILE,
    MOUNTS,
    NAMES,
    again_option,
    choice_options,
    dopant_options,
    figures_option,
    given,
    reading_options,
    specimen_options,
    workers_option,
)
from xrdorder.cli.program import SOME_FAILED
from xrdorder.cli.run import run_and_show


@click.command()
@click.argument("patterns", metavar="PATTERN...", nargs=-1, required=True, type=EXISTING_FILE)
@click.option("--instrument", required=True, type=EXISTING_FILE, help="Instrument file from xrdorder calibrate.")
@click.option(
    "--phases",
    type=NAMES,
    help="Phases to look for: catalogue names, or paths of CIF or phase TOML files (docs/howto/phases.md). "
    "By default nb3sn,nb,cu-sn.",
)
@dopant_options
@click.option("--mount", type=click.Choice(MOUNTS), help="How the specimens are mounted: it says which strain is seen.")
@click.option("--temperature-c", type=ANY, help="Temperature of the specimens in °C.")
@specimen_options
@click.option(
    "--internal-standard",
    help="Certified powder mixed into the specimens, as srm-640c: it sets the angles of each.",
)
@reading_options
@choice_options
@click.option("--engine", type=click.Choice(ENGINES), default="own", show_default=True, help="Least-squares engine.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("xrdorder-fit"),
    show_default=True,
    help="Study folder to write.",
)
@figures_option
@again_option
@workers_option
@details_option
@click.pass_context
def fit(
    ctx: click.Context,
    /,
    patterns: tuple[Path, ...],
    instrument: Path,
    phases: tuple[str, ...] | None,
    dopants: dict[str, tuple[float, float | None]],
    undoped: bool,
    choices: dict[str, object],
    engine: str,
    out: Path,
    figures: bool,
    again: bool,
    workers: int | None,
    details: bool,
    **defaults: Any,
) -> None:
    """Fit each PATTERN and write a study folder with the results.

    PATTERN is a text file of two or three columns, a powder CIF or a NeXus file; each is a sample of its own. The
    study.toml in the folder may be edited and run again with xrdorder run.
    """
    from xrdorder.cli.fit_options import require_fit, told_by_options
    from xrdorder.description.new_study import study_from_files, write_study

    lot: dict[str, Any] = {"undoped": True} if undoped else {}
    if dopants:
        lot["dopant_at_percent"] = {element: content for element, (content, _) in dopants.items()}
        lot["u_dopant_at_percent"] = {element: u for element, (_, u) in dopants.items() if u is not None}
    with told_by_options():
        study = study_from_files(
            out,
            patterns,
            instrument,
            phases=phases or (),
            engine=engine,
            lot=lot,
            defaults={**given(defaults), "fit": choices},
        )
    require_fit(study.samples[0], instrument)  # all alike but for their patterns
    write_study(study)
    results = run_and_show(out, described=study, again=again, workers=workers, figures=figures, details=details)
    if results.attrs["failed"]:
        ctx.exit(SOME_FAILED)
