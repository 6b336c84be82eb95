"""How does the time grow with what there is? ``python -m tests.benchmarks.growth STUDY [--write]``.

STUDY is the fitted demo. Processor time of one process, the least of a few repeats: of the model and its derivatives
over points, reflections, phases and free parameters; of the frames of a furnace run; of reading the results of a
study. Each is given over that of its smallest size, as is the size: 1 to 1 is proportional. ``--write`` draws
docs/figures/growth.png. Nothing is asserted.
"""

import argparse
import os

os.environ.setdefault("OMP_NUM_THREADS", "1")

import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullLocator

from tests.benchmarks.fit_speed import demo, seconds
from tests.benchmarks.study_scale import write_study
from tests.series.furnace import furnace_run, write_calibration, write_log, write_stack
from xrdorder.drawing.layout import sheet, style
from xrdorder.drawing.palette import FOG, LOT_MARKS, SLATE, STROKES
from xrdorder.fitting.whole_pattern import prepare
from xrdorder.forward_model.pattern_model import PatternModel
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.results.open_study import open_study
from xrdorder.results.sample_file import read_sample
from xrdorder.series import run_series

PICTURE = Path(__file__).parents[2] / "docs" / "figures" / "growth.png"
PHASES = ("nb3sn", "nb", "cu-sn", "cu", "nbo", "si", "lab6", "sic-3c")  # cubic ones: of few lines each
RANGE = 18.0, 140.0
POINTS = 6100
Course = dict[float, float]
"""Seconds by size."""


class Model:
    """The model of a pattern of so many points, reflections and phases, at the values of a search."""

    def __init__(self) -> None:
        pattern, instrument = demo()[0]
        self.job = prepare(pattern, instrument, phases=PHASES)
        self.job.search()

    def spent(
        self, points: int = POINTS, to_deg: float = RANGE[1], phases: int = 3, names: int = 0
    ) -> tuple[int, float]:
        """Reflections, and seconds of one evaluation with derivatives; by all that a fit frees unless told."""
        job = self.job
        lines = [PhaseLines(one.phase, job.optics, (RANGE[0], to_deg)) for one in job.lines[:phases]]
        model = PatternModel(np.linspace(*RANGE, points), np.ones(points), lines, len(job.model.background_names))
        of_phases = [name for one in lines for name in (one.scale_name, *one.length_names, *one.width_names)]
        wanted = [*model.background_names, *model.displacement_names, *of_phases]
        wanted = list(model.names)[:names] if names else wanted
        values = job.fit.values() | {one.scale_name: 1.0 for one in lines}
        model.counts_with_jacobian(values, wanted)
        spent = seconds(lambda: model.counts_with_jacobian(values, wanted), 15)
        return sum(len(one.hkl) for one in lines), spent


def of_frames(frames: Sequence[int] = (50, 100, 200)) -> Course:
    """Frames of a furnace run, read, fitted and written by one process."""
    course: Course = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_calibration(folder / "instrument.toml")
        for number in frames:
            truth = furnace_run(number, step_k=10.0)
            write_stack(truth, folder / "stack.nxs")
            write_log(truth, folder / "log.csv")
            parts = folder / "stack.nxs", folder / "instrument.toml", folder / "log.csv", folder / f"out{number}"
            course[number] = seconds(lambda parts=parts: run_series(*parts, workers=1), 1)
    return course


def of_samples(study: Path, samples: Sequence[int] = (15, 30, 60, 120)) -> Course:
    """Results of a study, all their tables and curves read."""
    course, source = {}, open_study(study)
    for number in samples:
        with tempfile.TemporaryDirectory() as name:
            write_study(source, Path(name), number)
            files = sorted(Path(name).glob("results/samples/*.nc"))
            course[number] = seconds(lambda files=files: [read_sample(file) for file in files], 2)
    return course


def measured(study: Path) -> dict[str, Course]:
    """All courses, by what grows."""
    model = Model()
    return {
        "points": {n: model.spent(points=n)[1] for n in (1500, 3000, 6000, 12000, 24000)},
        "reflections": dict(model.spent(to_deg=last) for last in (45.0, 60.0, 80.0, 105.0, 140.0)),
        "phases": {n: model.spent(phases=n)[1] for n in (1, 2, 3, 4, 6, 8)},
        "parameters": {n: model.spent(names=n)[1] for n in (5, 10, 20, 40, 70)},
        "frames": of_frames(),
        "samples": of_samples(study),
    }


def drawn(courses: dict[str, Course]) -> Figure:
    """Time over size, each in units of its smallest."""
    figure = sheet(5.6, 3.6)
    axes = figure.add_axes((0.11, 0.14, 0.86, 0.83))
    style(axes, x_label="size over the smallest", y_label="time over that of the smallest")
    axes.set(xscale="log", yscale="log")
    axes.plot([1, 18], [1, 18], color=FOG, linewidth=1.0, zorder=0)
    for place, (what, course) in enumerate(courses.items()):
        sizes, times = np.array(list(course)), np.array(list(course.values()))
        smallest = f"{sizes[0]:g} to {sizes[-1]:g} {what}, from {_time(times[0])}"
        axes.plot(sizes / sizes[0], times / times[0], color=STROKES[place], marker=LOT_MARKS[place], markersize=4.5,
                  linewidth=1.2, label=smallest)  # fmt: skip
    axes.text(17.8, 13.2, "proportional", color=SLATE, ha="right", va="top", fontsize=7.5)
    axes.legend(loc="upper left", frameon=False, prop={"size": 7.5})
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(FixedLocator([1, 2, 5, 10, 20]))
        axis.set_major_formatter("{x:g}")
        axis.set_minor_locator(NullLocator())
    return figure


def _time(seconds_: float) -> str:
    return f"{1e3 * seconds_:.2g} ms" if seconds_ < 0.0995 else f"{seconds_:.2g} s"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("study", type=Path)
    parser.add_argument("--write", action="store_true")
    told = parser.parse_args()
    courses = measured(told.study)
    for what, course in courses.items():
        print(f"{what:12s}", "  ".join(f"{size:g}: {_time(spent)}" for size, spent in course.items()))
    if told.write:
        drawn(courses).savefig(PICTURE)


if __name__ == "__main__":
    main()
