"""Fit what a study describes."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from xrdorder.cli.options import again_option, figures_option, workers_option
from xrdorder.cli.program import SOME_FAILED, complain
from xrdorder.cli.progress import Progress

if TYPE_CHECKING:
    import xarray as xr

    from xrdorder.description.study import Study


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@figures_option
@again_option
@workers_option
@click.pass_context
def run(ctx: click.Context, study: Path, figures: bool, again: bool, workers: int | None) -> None:
    """Fit the samples that study.toml in the folder STUDY describes.

    Wire lots, dopants, mounts and heat treatments stand in study.toml. Results go to the folder results in STUDY:
    results.csv, results.nc, one file a sample and figures. What has not changed is not fitted again.
    """
    from xrdorder.description.plausibility import remarks
    from xrdorder.description.study import read_study

    described = read_study(study, to_run=True)
    for remark in remarks(described):
        complain(f"remark: {remark}")
    results = run_and_show(described, study, again=again, workers=workers, figures=figures)
    if results.attrs["failed"]:
        ctx.exit(SOME_FAILED)


def run_and_show(
    described: "Study", study: Path, *, again: bool, workers: int | None, figures: bool
) -> "xr.Dataset":
    """Run a study, print the table, what went wrong and where everything is; the folder as the user named it."""
    from xrdorder.cli.drawing import draw_calibration, draw_samples, draw_study
    from xrdorder.cli.models import model_text
    from xrdorder.cli.tables import failures, results_text
    from xrdorder.running.run import run_study

    with Progress("fitting") as progress:
        results = run_study(described, progress=progress, again=again, workers=workers)
    click.echo(results_text(results))
    if models := model_text(results):
        click.echo(models)
    for line in failures(results):
        complain(line)
    click.echo(where_text(study))
    if figures:
        with Progress("drawing") as progress:
            folder = draw_samples(study, results, progress=progress)
            draw_calibration(study)
            draw_study(study, results)
        click.echo(figures_text(folder))
    click.echo(done_text(results))
    return results


def done_text(results: "xr.Dataset") -> str:
    """Say what the run did with how many samples.

    >>> from xarray import Dataset
    >>> done_text(Dataset(attrs={"fitted": 1, "interpreted": 0, "unchanged": 7, "failed": 0}))
    '1 fitted, 7 kept'
    """
    fitted, again, kept, failed = (int(results.attrs[k]) for k in ("fitted", "interpreted", "unchanged", "failed"))
    text = f"{fitted} fitted, {f'{again} interpreted again, ' if again else ''}{kept} kept"
    return f"{text}; {failed} without a result" if failed else text


def where_text(study: Path) -> str:
    """Say where the results are."""
    folder = study / "results"
    return f"Table        {folder / 'results.csv'}\nEverything   {folder / 'results.nc'}"


def figures_text(folder: Path) -> str:
    """Say where the figures are and which there are."""
    names = [path.stem for path in sorted(folder.glob("*.png"))]
    count = len(list(folder.glob("samples/*.png")))
    return f"Figures      {folder} ({', '.join([*names, f'{count} of samples'])})"
