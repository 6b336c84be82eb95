"""Fit what a study describes."""

from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING

import click

from xrdorder.cli.console import File, Part, Progress, details_option, rendered, show
from xrdorder.cli.options import again_option, cluster_option, figures_option, workers_option
from xrdorder.cli.program import SOME_FAILED, complain
from xrdorder.files.atomic import write_atomically

if TYPE_CHECKING:
    import xarray as xr

    from xrdorder.description.study import Study
    from xrdorder.reports.pictures import Missing


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@figures_option
@again_option
@workers_option
@cluster_option
@details_option
@click.pass_context
def run(
    ctx: click.Context, study: Path, figures: bool, again: bool, workers: int | None, cluster: str | None, details: bool
) -> None:
    """Fit the samples that study.toml in STUDY describes.

    Wire lots, dopants, mounts and heat treatments stand in study.toml. Results go to the folder results in STUDY:
    results.csv, results.nc, one file a sample and figures. What has not changed is not fitted again.
    """
    from xrdorder.description.plausibility import remarks
    from xrdorder.description.study import read_study

    described = read_study(study, to_run=True)
    for remark in remarks(described):
        complain(f"remark: {remark}")
    results = run_and_show(
        study, described=described, again=again, workers=workers, cluster=cluster, figures=figures, details=details
    )
    if results.attrs["failed"]:
        ctx.exit(SOME_FAILED)


def run_and_show(
    study: Path,
    *,
    described: "Study | None" = None,
    again: bool,
    workers: int | None,
    cluster: str | None = None,
    figures: bool,
    details: bool = False,
    introduction: str = "",
    drawn: "Collection[str] | None" = None,
) -> "xr.Dataset":
    """Run a study, show the table, what went wrong and where everything is.

    `described` is the description of the study where it was read already; `drawn` names the samples whose fits are
    drawn, all unless given.
    """
    from xrdorder.results.study_table import failures
    from xrdorder.running.pool import Processes
    from xrdorder.running.run import run_study
    from xrdorder.views.study import study_parts

    with Processes(workers) as pool:
        drawn_beside = {}
        if figures:
            from xrdorder.reports.sample_figures import FitFigures, draw_study

            drawing = FitFigures(study, pool, drawn)
            drawn_beside = {"collated": drawing.begin}
        with Progress("fitting") as progress:
            results = run_study(
                described or study, progress=progress, again=again, workers=pool, cluster=cluster, **drawn_beside
            )
        start: list[Part] = [introduction, ""] if introduction else []
        show(*start, *study_parts(results, study, details=details), *_files(results, study))
        for line in failures(results):
            complain(line)
        if figures:
            with Progress("drawing") as progress:
                draw_study(study, results, undrawn)
                folder = drawing.finish(undrawn, progress)
            show(figures_part(folder))
    show(done_text(results))
    return results


def _files(results: "xr.Dataset", study: Path) -> list[Part]:
    """Write the log, which holds all that the screen leaves out, and name the files of the results."""
    from xrdorder.views.study import study_parts

    folder = study / "results"
    log = folder / "log.txt"
    text = rendered(*study_parts(results, study, details=True)) + "\n"
    write_atomically(log, lambda part: part.write_text(text, encoding="utf-8"))
    names = {"Table": "results.csv", "Everything": "results.nc", "Log": log.name}
    return ["", *(File(label, str(folder / name)) for label, name in names.items())]


def undrawn(missing: "Missing") -> None:
    """Say which figure could not be drawn."""
    complain(f"figure not drawn: {missing.words}")


def done_text(results: "xr.Dataset") -> str:
    """Say what the run did with how many samples, each counted once.

    >>> from xarray import Dataset
    >>> done_text(Dataset(attrs={"samples": 10, "fitted": 2, "interpreted": 0, "failed": 1}))
    '2 fitted, 7 kept; 1 without a result'
    """
    samples, fitted, again, failed = (int(results.attrs[k]) for k in ("samples", "fitted", "interpreted", "failed"))
    kept = samples - fitted - again - failed
    text = f"{fitted} fitted, {f'{again} interpreted again, ' if again else ''}{kept} kept"
    return f"{text}; {failed} without a result" if failed else text


def figures_part(folder: Path) -> Part:
    """Say where the figures are and which there are."""
    names = [path.stem for path in sorted(folder.glob("*.png"))]
    count = len(list(folder.glob("samples/*.png")))
    return File("Figures", f"{folder} ({', '.join([*names, f'{count} of samples'])})")
