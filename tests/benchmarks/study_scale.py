"""Does a large study stay quick? ``python -m tests.benchmarks.study_scale STUDY [--samples 125 250 500]``.

Writes studies of many samples out of a fitted one: pattern files, sample files and a samples table, with fingerprints
that agree, so that a run finds nothing to fit. Values differ between copies by what is uncertain in each sample alone.
Prints seconds, and as ratios how the time of each step grows with the number of samples (1 is proportional). Nothing is
asserted.
"""

import argparse
import contextlib
import csv
import io
import os
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from xrdorder.cli import main as command
from xrdorder.description.own_files import OwnFiles
from xrdorder.description.study import read_study
from xrdorder.profiles import read_instrument
from xrdorder.results.open_study import OpenStudy, open_study, sample_file
from xrdorder.results.sample_file import StoredSample, read_sample, write_sample
from xrdorder.running.interpretation import fit_of, interpret
from xrdorder.running.run import RESULTS, SAMPLES, provenance_of, run_study

REPLICATES = 4
"""Samples of each variant, as many as a careful laboratory would react."""

HEADER = """title = "many"
phases = {phases}
samples_table = "samples.csv"
[instrument]
file = "instrument.toml"
[defaults]
radiation = "cu-ka"
mount = "ground-powder"
temperature_c = 22.5
u_temperature_k = 0.5
specimen_length_mm = 20.0
divergence_deg = 0.5
[lots.plain]
undoped = true
"""


def write_study(source: OpenStudy, folder: Path, number: int) -> float:
    """Write a study of so many samples with its results; return seconds for each sample file."""
    real = [source.sample(str(name)) for name in source.results["sample"].values]
    samples = folder / RESULTS / SAMPLES
    samples.mkdir(parents=True)
    (folder / "instrument.toml").write_bytes((source.study.folder / RESULTS / "instrument.toml").read_bytes())
    (folder / "study.toml").write_text(HEADER.format(phases=list(source.study.phases)))
    with (folder / "samples.csv").open("w", newline="") as file:
        table = csv.writer(file)
        table.writerow(["name", "pattern", "lot", "hold_c", "hours"])
        for k in range(number):
            scan = source.study.samples[k % len(real)].pattern[0].read_bytes()
            (folder / f"s{k}.xy").write_bytes(f"# another wire, {k}\n".encode() + scan)  # else all were one wire
            variant = k // REPLICATES
            table.writerow([f"s{k}", f"s{k}.xy", "plain", 600 + variant % 25 * 5, 50 + variant // 25 * 25])
    study, instrument = read_study(folder), read_instrument(folder / "instrument.toml")
    spent = 0.0
    for k, sample in enumerate(study.samples):
        told = provenance_of(study, sample, instrument, {})
        copy = replace(jittered(real[k % len(real)], k), name=sample.name, provenance=told)
        spent += seconds(lambda copy=copy, name=sample.name: write_sample(copy, sample_file(samples, name)))
    return spent / number


def jittered(sample: StoredSample, seed: int) -> StoredSample:
    """Another specimen of the same wire: what is uncertain in it alone came out otherwise."""
    table = sample.contributions
    private = np.array([not group for group in table.groups])
    moved = table.values[:, private] @ np.random.default_rng(seed).normal(size=int(private.sum()))
    values = dict(sample.values)
    for name, change in zip(table.quantities, moved, strict=True):
        values[name] = values.get(name, np.nan) + change
    return replace(sample, values=values)


def seconds(work: Callable[[], Any]) -> float:
    """Processor time of one run, so that a busy machine does not count; what it prints is kept from the terminal."""
    start = time.process_time()
    with contextlib.redirect_stdout(io.StringIO()):
        work()
    return time.process_time() - start


def xrdorder(*words: str | Path) -> None:
    """Run a command in this process, whose imports are paid for already."""
    command([str(word) for word in words], standalone_mode=False)


def times(folder: Path) -> dict[str, float]:
    """Seconds of every step in a finished study."""
    files = sorted((folder / RESULTS / SAMPLES).iterdir())
    found = {
        "read the small files, tables": seconds(lambda: [read_sample(file, groups=()) for file in files]),
        "read the small files, all of them": seconds(lambda: [read_sample(file) for file in files]),
        "run_study, estimates made": seconds(lambda: run_study(folder)),
        "run_study, nothing has changed": seconds(lambda: run_study(folder)),
        "open_study": seconds(lambda: open_study(folder)),
        "xrdorder run --no-figures, nothing has changed": seconds(lambda: xrdorder("run", folder, "--no-figures")),
    }
    drawn = folder / RESULTS / "figures" / SAMPLES
    drawn.mkdir(parents=True)
    for file in files:
        (drawn / f"{file.stem}.png").touch()
    found["xrdorder run, figures of samples there"] = seconds(lambda: xrdorder("run", folder))
    for by in ("treatment", "reaction-temperature"):
        found[f"xrdorder compare --by {by}"] = seconds(lambda by=by: xrdorder("compare", folder, "--by", by))
    return found


def interpretation_s(folder: Path, number: int = 10) -> float:
    """Seconds for the interpretation of a stored fit."""
    study = read_study(folder)
    stored = [read_sample(sample_file(folder / RESULTS / SAMPLES, one.name)) for one in study.samples[:number]]
    together = zip(map(fit_of, stored), study.samples, strict=False)
    return seconds(lambda: [interpret(*one, OwnFiles()) for one in together]) / number


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("study", type=Path)
    parser.add_argument("--samples", type=int, nargs="+", default=[125, 250, 500])
    told = parser.parse_args(arguments)
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    source = open_study(told.study)
    found: dict[int, dict[str, float]] = {}
    for number in told.samples:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            written = write_study(source, folder, number)
            found[number] = times(folder)
            one = interpretation_s(folder)
        print(f"{number} samples: a sample file is written in {written:.3f} s, a fit interpreted in {one:.3f} s")
    first, last = told.samples[0], told.samples[-1]
    print(f"seconds for {', '.join(map(str, told.samples))} samples; time per sample of {last} over that of {first}")
    for step in found[first]:
        row = [found[number][step] for number in told.samples]
        growth = (row[-1] / last) / (row[0] / first)
        print(f"  {step:46s} {' '.join(f'{value:7.2f}' for value in row)}   {growth:.2f}")


if __name__ == "__main__":
    main()
