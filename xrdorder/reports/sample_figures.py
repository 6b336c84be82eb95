"""Save figures of a study beside its results: one that cannot be drawn is reported and costs nothing else."""

import itertools
import json
from collections.abc import Callable, Collection
from functools import partial
from pathlib import Path
from typing import NamedTuple

import xarray as xr
from matplotlib.figure import Figure

from xrdorder.exceptions import XrdorderError
from xrdorder.figures import fit_figure, trend_figure
from xrdorder.reports.pictures import Missing, save
from xrdorder.results.open_study import sample_file
from xrdorder.results.sample_file import FAILED, read_sample
from xrdorder.results.study_table import in_short
from xrdorder.running.pool import Processes

FOLDER, SAMPLES = "figures", "samples"
TRENDS = "trends.png"
_DRAWN = ("curves", "lines", "phases")

Progress = Callable[[int, int, str], None]
Missed = Callable[[Missing], None]
"""Called with each figure that could not be drawn."""


class _Picture(NamedTuple):
    """A fit to be drawn: its file, where the figure goes, and what stands on it."""

    source: Path
    target: Path
    title: str
    about: str
    results: tuple[str, ...] = ()


class FitFigures:
    """Figures of the fits of a study, drawn in other processes while this one goes on.

    Parameters
    ----------
    study : Path
    pool : Processes
    only : collection of str, optional
        Samples that are drawn; all unless given.
    """

    def __init__(self, study: Path, pool: Processes, only: Collection[str] | None = None) -> None:
        self._results, self._pool, self._only = study / "results", pool, only

    def begin(self, results: xr.Dataset) -> None:
        """Begin to draw each fitted pattern and each calibration whose figure is not there or older than its fit."""
        pictures = []
        for name in map(str, results["sample"].values):
            row = results.sel(sample=name)
            # a file may be there of an earlier fit that this run could not repeat
            fitted = not str(row["status"].item()).startswith(FAILED)
            if fitted and (self._only is None or name in self._only):
                target = self._results / FOLDER / SAMPLES / f"{name}.png"
                source = sample_file(self._results / SAMPLES, name)
                pictures.append(_Picture(source, target, name, _about(row), tuple(in_short(row))))
        for source in sorted(self._results.glob("calibration*.nc")):
            title = source.stem.replace("calibration", "Calibration", 1).replace("-", " ", 1)
            pictures.append(_Picture(source, self._results / FOLDER / f"{source.stem}.png", title, ""))
        wanted = [one for one in pictures if one.source.is_file() and not _up_to_date(one.target, one.source)]
        self._number, self._report = len(wanted), self._pool.begin(_draw, wanted)

    def finish(self, missed: Missed, progress: Progress) -> Path:
        """Wait until all are drawn.

        Returns
        -------
        Path
            The folder of all figures; those of samples are in its folder ``samples``.
        """
        count = itertools.count(1)

        def drawn(picture: _Picture, missing: Missing | None) -> None:
            if missing is not None:
                missed(missing)
            progress(next(count), self._number, picture.title)

        self._report(drawn)
        return self._results / FOLDER


def _draw(picture: _Picture) -> Missing | None:
    """Draw one fit; say why where it cannot be made."""
    missing: list[Missing] = []
    _try(partial(_figure, picture), picture.target, missing.append)
    return missing[0] if missing else None


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


def _up_to_date(target: Path, source: Path) -> bool:
    try:
        return target.stat().st_mtime >= source.stat().st_mtime
    except OSError:
        return False


def _about(row: xr.Dataset) -> str:
    words = [str(row[name].item()) for name in ("lot", "treatment", "mount")]
    flags = dict.fromkeys(name for name, _ in json.loads(str(row["flag_messages"].item())))
    return " · ".join([word for word in words if word] + [f"flags: {', '.join(flags)}"] * bool(flags))


def _figure(picture: _Picture) -> Figure:
    sample = read_sample(picture.source, groups=_DRAWN)
    about = picture.about or str(sample.provenance.options.get("standard", ""))
    quality = f"R_wp {100 * sample.r_wp:.1f} % · reduced χ² {sample.chi2_reduced:.2f}"
    return fit_figure(
        sample.curves, sample.lines, sample.groups.get("phases"), title=picture.title,
        remark=f"{about} · {quality}" if about else quality, results=picture.results,
    )  # fmt: skip
