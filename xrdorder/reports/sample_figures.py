"""Save figures of a study beside its results: one that cannot be drawn is reported and costs nothing else."""

import json
from collections.abc import Callable, Collection, Sequence
from functools import partial
from pathlib import Path
from typing import NamedTuple

import xarray as xr
from matplotlib.figure import Figure

from xrdorder.exceptions import XrdorderError
from xrdorder.figures import fit_figure, trend_figure
from xrdorder.reports.pictures import Missing, save
from xrdorder.results.sample_file import StoredSample, read_sample
from xrdorder.results.study_table import in_short
from xrdorder.running.pool import run_all

FOLDER, SAMPLES = "figures", "samples"
TRENDS = "trends.png"
_DRAWN = ("curves", "lines", "phases")

Progress = Callable[[int, int, str], None]
Missed = Callable[[Missing], None]
"""Called with each figure that could not be drawn."""


class _Picture(NamedTuple):
    """Fit of one sample to be drawn: its file, where the figure goes, and what stands on it."""

    source: Path
    target: Path
    name: str
    about: str
    results: tuple[str, ...]


def draw_samples(
    study: Path,
    results: xr.Dataset,
    missed: Missed,
    *,
    only: Collection[str] | None = None,
    progress: Progress | None = None,
    workers: int | None = None,
) -> Path:
    """Save a figure of each fitted pattern, unless one is there that is younger than the fit.

    `workers` as for `xrdorder.running.pool.run_all`.

    Returns
    -------
    Path
        The folder of all figures; those of samples are in its folder ``samples``.
    """
    folder = study / "results" / FOLDER
    names = [str(name) for name in results["sample"].values if only is None or str(name) in only]
    pictures = []
    for name in names:
        source = study / "results" / "samples" / f"{name}.nc"
        target = folder / SAMPLES / f"{name}.png"
        row = results.sel(sample=name)
        # a file may be there of an earlier fit that this run could not repeat
        fitted = not str(row["status"].item()).startswith("failed") and source.is_file()
        if fitted and not _up_to_date(target, source):
            pictures.append(_Picture(source, target, name, _about(row), tuple(in_short(row))))
    done = len(names) - len(pictures)

    def drawn(picture: _Picture, missing: Missing | None) -> None:
        nonlocal done
        done += 1
        if missing is not None:
            missed(missing)
        if progress is not None:
            progress(done, len(names), picture.name)

    run_all(_draw, pictures, workers=workers, done=drawn)
    return folder


def _draw(picture: _Picture) -> Missing | None:
    """Draw one sample; say why where it cannot be made."""
    missing: list[Missing] = []
    make = partial(_of_sample, picture.source, picture.name, picture.about, picture.results)
    _try(make, picture.target, missing.append)
    return missing[0] if missing else None


def draw_calibration(study: Path, missed: Missed) -> None:
    """Save a figure of each calibration that the study made itself."""
    for source in sorted((study / "results").glob("calibration*.nc")):
        target = study / "results" / FOLDER / f"{source.stem}.png"
        if not _up_to_date(target, source):
            _try(partial(_of_calibration, source), target, missed)


def draw_study(study: Path, results: xr.Dataset, missed: Missed) -> None:
    """Save trends over the reaction temperature, where at least two samples have a treatment.

    A figure that is younger than the results and all fits is left as it is.
    """
    usable = results["peak_c"].notnull() & results["a_nm"].notnull()
    path = study / "results" / FOLDER / TRENDS
    sources = [study / "results" / "results.nc", *(study / "results" / "samples").glob("*.nc")]
    if int(usable.sum()) >= 2 and not all(_up_to_date(path, source) for source in sources):
        _try(partial(trend_figure, results), path, missed)


def _try(make: Callable[[], Figure], path: Path, missed: Missed) -> None:
    """Save a figure, or say why it cannot be made; what the disk or the results refuse is raised."""
    try:
        figure = make()
        save(figure, path)
    except XrdorderError:
        raise
    except Exception as error:
        missed(Missing.of(path.name, error))


def _of_sample(source: Path, name: str, about: str, results: Sequence[str]) -> Figure:
    return _figure(read_sample(source, groups=_DRAWN), name, about, results)


def _of_calibration(source: Path) -> Figure:
    sample = read_sample(source, groups=_DRAWN)
    title = source.stem.replace("calibration", "Calibration", 1).replace("-", " ", 1)
    return _figure(sample, title, str(sample.provenance.options.get("standard", "")))


def _up_to_date(target: Path, source: Path) -> bool:
    try:
        return target.stat().st_mtime >= source.stat().st_mtime
    except OSError:
        return False


def _about(row: xr.Dataset) -> str:
    words = [str(row[name].item()) for name in ("lot", "treatment", "mount")]
    flags = dict.fromkeys(name for name, _ in json.loads(str(row["flag_messages"].item())))
    return " · ".join([word for word in words if word] + [f"flags: {', '.join(flags)}"] * bool(flags))


def _figure(sample: StoredSample, title: str, about: str, results: Sequence[str] = ()) -> Figure:
    quality = f"R_wp {100 * sample.r_wp:.1f} % · reduced χ² {sample.chi2_reduced:.2f}"
    remark = f"{about} · {quality}" if about else quality
    return fit_figure(
        sample.curves, sample.lines, sample.groups.get("phases"), title=title, remark=remark, results=results
    )
