"""Run a study: fit what is new, keep what is not, collate everything."""

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

import xarray as xr

from xrdorder import __version__
from xrdorder.crystals import DEFAULT_PHASES, phase
from xrdorder.description.own_files import OwnFiles
from xrdorder.description.plausibility import study_flags
from xrdorder.description.sample import Sample
from xrdorder.description.study import DESCRIPTION, Study, read_study
from xrdorder.description.values import require_files
from xrdorder.estimates.study_draws import estimated
from xrdorder.exceptions import StudyError
from xrdorder.files.atomic import file_hash, make_folder, only_run, require_no_folder, sweep
from xrdorder.files.checked_table import FIT, INTERPRETATION
from xrdorder.profiles import Instrument
from xrdorder.quantities.grades import grade
from xrdorder.results.collate import collate, read_results, write_csv, write_results
from xrdorder.results.fingerprint import OF_FIT, code_hash, fingerprint
from xrdorder.results.open_study import RESULTS, SAMPLES, sample_file
from xrdorder.results.sample_file import Provenance, StoredSample, failure, stored_sample
from xrdorder.running.instruments import study_instruments
from xrdorder.running.pool import Processes, processes, run_all
from xrdorder.treatments import LoggedTreatment

if TYPE_CHECKING:
    from xrdorder.running.fit_sample import Task

Progress = Callable[[int, int, str], None]


def run_study(
    folder: str | Path | Study,
    *,
    progress: Progress | None = None,
    again: bool = False,
    workers: int | Processes | None = None,
    cluster: str | None = None,
    collated: Callable[[xr.Dataset], None] = lambda _: None,
) -> xr.Dataset:
    """Fit all samples of a study and collate the results.

    A sample whose input, options and program version are unchanged is not fitted again; where only what the fit does
    not see has changed (strain, relations, scale of tin), the fit is interpreted again. Every sample is
    stored as soon as it is done: an interrupted run (Ctrl-C, a power cut) loses at most the samples in work,
    and the next run goes on from there. A pattern that cannot be fitted becomes a row with the reason in its
    `status`.

    Parameters
    ----------
    folder : str or Path or Study
        The study folder with its `study.toml`, or its description where that was read already (`read_study` with
        `to_run`). Results go to the folder `results` in it.
    progress : callable, optional
        Called with (number done, number to do, name of the sample just done with its quality grade in brackets) as
        samples get done; those that are kept are not counted.
    again : bool
        Fit everything again, the calibration included.
    workers : int or Processes, optional
        Number of processes, or those at hand; by default as many as cores, or this process alone for a few samples.
    cluster : str, optional
        Address of a dask scheduler whose workers fit instead (`xrdorder.running.cluster`).
    collated : callable, optional
        Called with the collated results before the estimates of all samples together, which take this process alone:
        what needs none of them can begin.

    Returns
    -------
    Dataset
        The collated results, as in `results/results.nc`. The attributes count: `samples`, `failed`, `no_a15`,
        and for this run `fitted`, `interpreted` (again, without a fit) and `unchanged`; only the last, and `failed`,
        count samples without a result.

    Raises
    ------
    StudyError
        The description is wrong, the instrument cannot be used, another run is at work in the study, or the
        results cannot be written.
    ValidityError
        The study names a scale of tin or relations that cannot be used.
    """
    study = folder if isinstance(folder, Study) else read_study(folder, to_run=True)
    own = OwnFiles.of(study)
    own.check()
    if study.lacks_calibration:
        file = study.folder / DESCRIPTION
        raise StudyError("\n".join(f"{file}: {place}: {complaint}" for place, complaint in study.absent))
    results = study.folder / RESULTS
    make_folder(results / SAMPLES)
    with only_run(results), processes(workers) as pool:
        sweep(results)
        sweep(results / SAMPLES)
        if cluster is None and (again or not any((results / SAMPLES).iterdir())):
            pool.start(_fitting(), len(study.samples))  # all are to be fitted, after the calibration
        instruments, previous = study_instruments(study, results, again=again), _previous(results)
        if previous is not None and not again:
            if _made_of(study, instruments, own, results) == previous.attrs.get(_MADE_OF):
                write_csv(previous, results)
                collated(previous)
                return previous.assign_attrs(fitted=0, interpreted=0, unchanged=len(study.samples))
        sorted_out = _sort_out(study, instruments, own, results / SAMPLES, again=again)
        todo = sorted_out.tasks
        done = count(1)

        def settle(task: "Task", result: StoredSample) -> None:
            sorted_out.settled[task.sample.name] = result
            number, words = next(done), f"{task.sample.name} ({grade(result.quality_words)})"
            if progress is not None:
                progress(number, len(todo), words)

        run_all(_fitting(), todo, workers=pool, cluster=cluster, done=settle)
        samples = {sample.name: sorted_out.settled[sample.name] for sample in study.samples}
        flags = study_flags(study, {name: sample.provenance.input_sha256 for name, sample in samples.items()})
        stored = [replace(sample, flags=(*sample.flags, *flags[name])) for name, sample in samples.items()]
        fits = collate(study, stored, _phase_names(study), own.scale(), own.names())
        collated(fits)
        dataset = estimated(fits, own.scale(), own.library(), previous=previous)
        if all(sample.provenance.fingerprint for sample in stored):  # else one is to be tried again
            dataset.attrs[_MADE_OF] = _made_of(study, instruments, own, results)
        write_results(dataset, results)
    again_only = [task.fitted for task in todo if not samples[task.sample.name].failed]
    dataset.attrs |= {
        "fitted": again_only.count(False),
        "interpreted": again_only.count(True),
        "unchanged": sorted_out.unchanged,
    }
    return dataset


def _fitting() -> "Callable[[Task], StoredSample]":
    """What fits a sample, imported with all that fits: a study that is kept does without."""
    from xrdorder.running.fit_sample import do_task

    return do_task


_MADE_OF = "made_of_sha256"
"""Attribute of the results: where it agrees, no sample file is parsed and nothing made again."""


def _made_of(study: Study, instruments: Mapping[str, Instrument], own: OwnFiles, results: Path) -> str:
    """SHA-256 of what collated results are made of: description, files, results of the samples, program.

    Where a file cannot be read it agrees with none.
    """
    try:
        phase_files = _phase_files(study)
        logs = {entry.file for sample in study.samples if isinstance(entry := sample.treatment, LoggedTreatment)}
        content: dict[str, Any] = {
            "code": code_hash((__name__,)),
            "description": study.to_toml(),
            "logs": sorted(file_hash(log) for log in logs if log is not None),
            "own": own.hashes(),
            "samples": [
                (
                    provenance_of(study, sample, instruments[sample.calibration], phase_files).fingerprint,
                    file_hash(sample_file(results / SAMPLES, sample.name)),
                )
                for sample in study.samples
            ],
        }
    except (StudyError, OSError) as error:
        content = {"error": str(error), "at": datetime.now(UTC).isoformat()}
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


def _previous(results: Path) -> xr.Dataset | None:
    """Results of the run before; none where there are none, or they are damaged."""
    try:
        return read_results(results)
    except StudyError:
        return None


@dataclass
class _SortedOut:
    """Samples to fit, and those settled without a fit: unchanged, or without their pattern file."""

    tasks: "list[Task]"
    settled: dict[str, StoredSample]
    unchanged: int = 0


def _sort_out(
    study: Study, instruments: dict[str, Instrument], own: OwnFiles, target: Path, *, again: bool
) -> _SortedOut:
    from xrdorder.running.fit_sample import Task

    phase_files = _phase_files(study)
    result = _SortedOut([], {})
    for sample in study.samples:
        file = sample_file(target, sample.name)
        instrument = instruments[sample.calibration]
        try:
            require_files(sample.pattern)
            require_no_folder(file)  # else the fit would be lost, and the run with it
            provenance = provenance_of(study, sample, instrument, phase_files)
        except (StudyError, OSError) as error:
            # Not stored: an earlier result may be all that is left of a pattern that has gone astray.
            result.settled[sample.name] = failure(sample.name, str(error), Provenance(version=__version__))
            continue
        stored = None if again else stored_sample(file)  # a damaged one is made again
        if stored is not None and stored.name != sample.name:  # of another sample, with all of its own doubt
            stored = None
        if stored is None or stored.provenance.fingerprint != provenance.fingerprint:
            fitted = stored is not None and stored.provenance.fit_fingerprint == provenance.fit_fingerprint
            task = Task(sample, study.phases, study.engine, instrument, file, provenance, own, fitted)
            result.tasks.append(task)
        else:
            result.settled[sample.name] = stored
            result.unchanged += 1
    return result


def _phase_files(study: Study) -> dict[str, str]:
    return {name: file_hash(Path(name)) for name in study.phases if Path(name).is_absolute()}


def provenance_of(
    study: Study, sample: Sample, instrument: Instrument, phase_files: dict[str, str]
) -> Provenance:
    """Collect what a result depends on: what keys of the description say of themselves, files, and the program.

    Raises
    ------
    OSError
        A pattern file cannot be read.
    """
    hashes = {path.name: file_hash(path) for path in sample.pattern}
    lot = sample.lot
    of_fit: dict[str, Any] = {
        "phases": [Path(name).name for name in study.phases] or list(DEFAULT_PHASES),
        "phase_files": {Path(name).name: digest for name, digest in phase_files.items()},
        "engine": study.engine,
        "instrument": instrument.id,
        **sample.seen_by(FIT),
        "lot": lot.seen_by(FIT),
    }
    options = of_fit | {
        **sample.seen_by(INTERPRETATION),
        "lot": {"name": lot.name, **lot.seen_by(FIT, INTERPRETATION)},
        "reaction_temperature_c": sample.reaction_temperature_c,
        "own_files": OwnFiles.of(study).hashes(),
    }
    if isinstance(sample.treatment, LoggedTreatment) and (log := sample.treatment.file) is not None:
        options["treatment_log"] = {log.name: file_hash(log)}  # the temperature of the reaction was read from it
    return Provenance(
        fingerprint=fingerprint(hashes, options),
        fit_fingerprint=fingerprint(hashes, of_fit, OF_FIT),
        input_sha256=hashes,
        version=__version__,
        options=options,
        calibration=instrument.id,
    )


def _phase_names(study: Study) -> list[str]:
    return [phase(name).name for name in study.phases or DEFAULT_PHASES]
