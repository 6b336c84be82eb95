"""A furnace run: thousands of patterns of one specimen while it reacts."""

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from xrdorder.cli.console import Entry, File, Part, Progress, show
from xrdorder.cli.named_files import save_figure
from xrdorder.cli.options import (
    EXISTING_FILE,
    NAMES,
    again_option,
    cluster_option,
    figures_saved,
    workers_option,
)
from xrdorder.cli.program import SOME_FAILED

if TYPE_CHECKING:
    from xrdorder.series.furnace_run import FurnaceRun
    from xrdorder.series.wire_signal import WireSignal


@click.command()
@click.argument("frames", metavar="INPUT", type=click.Path(path_type=Path))
@click.option("--instrument", required=True, type=EXISTING_FILE, help="Instrument file from xrdorder calibrate.")
@click.option(
    "--log", required=True, type=EXISTING_FILE,
    help="CSV of the furnace with time and temperature, as time_s,temperature_c, on the clock of the frames.",
)  # fmt: skip
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Folder for the results.")
@click.option("--phases", type=NAMES, help="Phases to look for, names or paths. By default nb3sn,nb,cu-sn.")
@click.option(
    "--signal", metavar="COLUMN", default="",
    help="Column of the log with resistance or voltage of the wire, as resistance_mohm; recognised unless told.",
)  # fmt: skip
@figures_saved("the figure of the run")
@again_option
@workers_option
@cluster_option
@click.pass_context
def series(
    ctx: click.Context, /, frames: Path, instrument: Path, log: Path, out: Path, phases: tuple[str, ...] | None,
    signal: str, figures: bool, again: bool, workers: int | None, cluster: str | None,
) -> None:  # fmt: skip
    """Fit a furnace run: what forms when, at which temperature.

    INPUT is a NeXus/HDF5 stack, or a folder with patterns and a times.csv; docs/howto/series.md says what stands in
    them. Each frame starts from the one before. A run that was ended goes on where it was.
    """
    from xrdorder.series import run_series

    with Progress("fitting") as progress:
        run = run_series(
            frames, instrument, log, out, phases=phases or (), signal=signal, again=again,
            workers=workers, cluster=cluster, progress=progress,
        )  # fmt: skip
    show(*_parts(run), "", *_places(out))
    if figures:
        from xrdorder.figures import series_figure

        save_figure(series_figure(run, title=f"Furnace run: {frames.name}"), out / "series.png")
    if "failed" in run.table["status"].values:
        ctx.exit(SOME_FAILED)


def _places(out: Path) -> list[Part]:
    from xrdorder.series.furnace_run import SERIES_CSV, SERIES_NC

    return [File("Table", str(out / SERIES_CSV)), File("Data", str(out / SERIES_NC))]


def _parts(run: "FurnaceRun") -> list[Part]:
    """The answer first: onset, end of the run, course of the reaction, phases, frames."""
    parts: list[Part] = [_onset(run), ""]
    parts += [Entry(label, text) for label, text in (("At the end", _end(run)), ("Reaction", _reaction(run))) if text]
    for name in run.phases:
        parts.append(Entry("Phases" if name == run.phases[0] else "", f"{name}: {_when(run, name)}"))
    if run.signal is not None:
        parts.append(Entry(run.signal.name.capitalize(), _steps(run.signal)))
    return [*parts, Entry("Frames", _frames(run)), *_reasons(run)]


def _onset(run: "FurnaceRun") -> str:
    """When the A15 appears, in words."""
    from xrdorder.quantities.formatting import concise
    from xrdorder.quantities.of_phase import WEIGHT_FRACTION
    from xrdorder.series.events import ONSET_FRACTION

    level = f"{100.0 * ONSET_FRACTION:g} wt%"
    if not run.a15:
        return "No A15 among the phases asked for"
    if run.onset is None:
        name = WEIGHT_FRACTION.of(run.a15)
        highest = float(run.table[name].max()) if name in run.table else 0.0
        there = "is there from the first frames on" if highest >= ONSET_FRACTION else "does not appear"
        return f"A15 {there} (onset: {level})"
    when = run.onset
    known = not math.isnan(when.temperature_c)
    heat = f", at {concise(when.temperature_c, when.u_temperature_c)} °C" if known else ""
    return f"A15 appears after {concise(when.time_h, when.u_h)} h{heat} ({level} are there)"


def _end(run: "FurnaceRun") -> str:
    """What the last frames that have a number say: amounts, then the A15."""
    from xrdorder.quantities.of_phase import WEIGHT_FRACTION
    from xrdorder.quantities.registry import quantity
    from xrdorder.series.chunks import U

    names = [*map(WEIGHT_FRACTION.of, run.phases), "a_nm", "order_contrast", "domain_size_nm"]
    said = []
    for name in names:
        if U + name not in run.table:
            continue
        known = run.table[name].notnull().values.nonzero()[0]
        if len(known):
            about, last = quantity(name), run.table.isel(frame=int(known[-1]))
            number = about.value_text(float(last[name]), float(last[U + name]))
            phase = WEIGHT_FRACTION.phase(name)
            text = f"{phase} {number}" if phase else f"{about.noun} {number}"
            said.append(f"{text} {about.people.unit}".rstrip() + (" (at 22.5 °C)" if name == "a_nm" else ""))
    return ", ".join(said)


def _reaction(run: "FurnaceRun") -> str:
    """The conversion law, or why there is none."""
    from xrdorder.quantities.formatting import concise

    if run.curve is None:
        return ""
    curve = run.curve
    law = concise(curve.exponent, curve.u_exponent), concise(curve.tau_h, curve.u_tau_h)
    tail = f"exponent {law[0]}, {law[1]} h at 650 °C for 1 - 1/e"
    if not curve.told:
        return f"{tail}; this run does not tell the activation energy: it needs two temperatures"
    return f"activation energy {concise(curve.q_kj_per_mol, curve.u_q_kj_per_mol)} kJ/mol, {tail}"


def _when(run: "FurnaceRun", name: str) -> str:
    """Periods of a phase in words."""
    spans = run.periods.get(name, [])
    if not spans:
        return "not seen"
    hours = run.table["time_h"].values
    if len(spans) == 1 and spans[0].from_h <= hours[0] and spans[0].to_h >= hours[-1]:
        return "throughout"
    return ", ".join(f"{span.from_h:.4g} to {span.to_h:.4g} h" for span in spans)


def _frames(run: "FurnaceRun") -> str:
    """How many frames came out how."""
    status, warm = run.table["status"].values, run.table["warm"].values
    counts = {word: int((status == word).sum()) for word in dict.fromkeys(status)}
    number = f"{len(status)} frame{'s' if len(status) > 1 else ''}"
    done = f"{number}, {int((warm == 1).sum())} fitted from the one before, {int((warm == 0).sum())} from nothing"
    words = {"no beam": "without beam", "failed": "without a result"}
    odd = [f"{number} {words[word]}" for word, number in counts.items() if word in words]
    kept = (f"; {run.chunks_kept} of {run.chunks_kept + run.chunks_fitted} chunks kept" if run.chunks_kept else "")
    return ", ".join([done, *odd]) + kept


_MOST_STEPS = 4


def _steps(signal: "WireSignal") -> str:
    """Where the signal of the wire steps, and what the pattern shows then."""
    from xrdorder.quantities.formatting import concise

    words = [
        f"step of {concise(step.change, step.u_change)} {signal.unit} at {concise(step.time_h, step.u_h)} h, "
        f"{step.temperature_c:.0f} °C" + (f" ({step.matched})" if step.matched else "")
        for step in signal.steps[:_MOST_STEPS]
    ]
    more = len(signal.steps) - _MOST_STEPS
    return "; ".join([*words, *([f"{more} more in series.nc"] if more > 0 else [])]) or "no step"


_MOST_REASONS = 3


def _reasons(run: "FurnaceRun") -> list[Part]:
    """Why frames have no result; the rest stands in the table."""
    failed = (run.table["status"].values == "failed").nonzero()[0]
    lines: list[Part] = [f"Frame {k}: {run.table['reason'].values[k]}" for k in failed[:_MOST_REASONS]]
    more = len(failed) - _MOST_REASONS
    return [*lines, f"... and {more} more, see the column reason"] if more > 0 else lines
