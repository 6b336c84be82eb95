"""The work on one sample: read, fit, interpret, store. Runs in this process or in a worker process."""

import math
import traceback
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import xarray as xr

from xrdorder.crystals import A15Composition, phase
from xrdorder.description.measurement import Reading
from xrdorder.description.own_files import OwnFiles
from xrdorder.description.sample import Sample
from xrdorder.description.values import require_files
from xrdorder.exceptions import StudyError, XrdorderError
from xrdorder.fitting import DEFAULT_COMPOSITION, DEFAULT_PHASES, FitOptions, PatternFit, fit_pattern
from xrdorder.fitting.derived import AMOUNTS
from xrdorder.material.lattice import REFERENCE_C
from xrdorder.patterns import read_patterns
from xrdorder.profiles import Instrument
from xrdorder.quantities.of_phase import UPPER_LIMIT, WEIGHT_FRACTION
from xrdorder.quantities.records import Record, symbol_of
from xrdorder.results.parameters import parameter_group
from xrdorder.results.sample_file import (
    NO_A15,
    Provenance,
    StoredSample,
    failure,
    read_sample,
    write_sample,
)
from xrdorder.running.interpretation import GROUP, fit_of, interpret, joined
from xrdorder.running.model_summary import model_words
from xrdorder.uncertainty import ONE_SIDED_95, Contributions

OF_ORDER = ("slit-not-given", "length-not-given", "order-hangs-on-length")
"""Flags that speak of order alone: without an A15 there is nothing to remark."""


@dataclass(frozen=True)
class Task:
    """One sample to fit, or to interpret again.

    Attributes
    ----------
    sample : Sample
    phases : tuple of str
        Names or paths.
    engine : str
    instrument : Instrument
    target : Path
        Where the result goes.
    provenance : Provenance
        Complete but for the time.
    own : OwnFiles
    fitted : bool
        What is stored at `target` is the fit to this input: only its interpretation is asked for.
    """

    sample: Sample
    phases: tuple[str, ...]
    engine: str
    instrument: Instrument
    target: Path
    provenance: Provenance
    own: OwnFiles = field(default_factory=OwnFiles)
    fitted: bool = False


def do_task(task: Task) -> StoredSample:
    """Fit a sample and store the result; whatever is wrong with the pattern becomes its status.

    Returns
    -------
    StoredSample
        What was stored, without its groups.

    Raises
    ------
    StudyError
        The result cannot be stored.
    """
    try:
        result = (_again(task) if task.fitted else None) or _fit(task)
    except XrdorderError as error:
        result = failure(task.sample.name, str(error), task.provenance)
    except Exception as error:  # one bad pattern never stops the rest
        reason = f"unexpected {type(error).__name__}: {error}"
        unknown = replace(task.provenance, fingerprint="")  # tried again in the next run
        result = failure(task.sample.name, reason, unknown, trace=traceback.format_exc())
    stamped = replace(result.provenance, created=datetime.now(UTC).isoformat(timespec="seconds"))
    if GROUP not in result.groups:  # nothing there to interpret again
        stamped = replace(stamped, fit_fingerprint="")
    stored = replace(result, model=model_words(result), provenance=stamped)
    write_sample(stored, task.target)
    return replace(stored, groups={})


def read(paths: tuple[Path, ...], reading: Reading, radiation_name: str, mount: str = "") -> xr.DataArray:
    """Read the pattern of a specimen.

    The radiation of the instrument stands in where d or q must be turned into angles and nothing else was
    told; a radiation in the file that differs is found by the reader or by the fit.
    """
    converted = reading.axis not in (None, "two-theta")
    return read_patterns(
        paths,
        radiation=reading.radiation or (radiation_name if converted else None),
        axis=reading.axis,
        axis_unit=reading.axis_unit,
        geometry=reading.geometry,
        mount=mount or None,
        counting_time_s=reading.counting_time_s,
        diffractogram=reading.diffractogram,
    )


def _fit(task: Task) -> StoredSample:
    sample, instrument = task.sample, task.instrument
    require_files(sample.pattern)
    pattern = read(sample.pattern, sample, instrument.radiation, sample.mount)
    fit = fit_pattern(
        pattern,
        instrument,
        phases=[phase(name) for name in task.phases or DEFAULT_PHASES],
        composition=_composition(sample),
        specimen_length_mm=sample.specimen_length_mm,
        divergence_deg=sample.divergence_deg,
        internal_standard=sample.internal_standard,
        temperature_c=REFERENCE_C if sample.temperature_c is None else sample.temperature_c,
        engine=task.engine,
        options=FitOptions(**sample.choices),
    )
    facts = {
        "a15": fit.a15,
        "tin_held": fit.tin_held,
        "by_tin": fit.by_tin,
        "two_theta_range": [float(pattern["two_theta"][k]) for k in (0, -1)],
        "radiation": instrument.radiation,
        "mount": str(pattern.attrs.get("mount", "")),
        "temperature_c": float(pattern.attrs.get("temperature_c", math.nan)),
    }
    return interpret(replace(of_fit(sample.name, fit, task.provenance), facts=facts), sample, task.own)


def _again(task: Task) -> StoredSample | None:
    """Interpret the stored fit again; None where it cannot be read after all, and must be fitted again."""
    try:
        fit = fit_of(read_sample(task.target))
    except (StudyError, KeyError, ValueError):
        return None
    return interpret(replace(fit, provenance=task.provenance), task.sample, task.own)


def of_fit(name: str, fit: PatternFit, provenance: Provenance) -> StoredSample:
    """Turn a fit into what is stored of it."""
    limits = {UPPER_LIMIT.of(phase): limit for phase, limit in fit.upper_limits.items()}
    flags = [flag for flag in fit.flags if fit.status != NO_A15 or flag.name not in OF_ORDER]
    return StoredSample(
        name=name,
        status=fit.status,
        values={**fit.values, **limits, "order_contrast_by_tin": fit.by_tin.get("order_contrast", math.nan)},
        contributions=with_absent(fit.contributions, fit.values, fit.upper_limits),
        records=_records(fit),
        flags=joined(flags),
        quality={
            "r_wp": fit.r_wp,
            "r_expected": fit.r_expected,
            "chi2_reduced": fit.chi2_reduced,
            "serial_correlation": fit.serial_correlation,
            "iterations": float(fit.iterations),
        },
        groups={
            "curves": fit.curves,
            "lines": fit.lines,
            "phases": _phases(fit),
            "parameters": parameter_group(fit),
            **({} if fit.cross_checks is None else {"cross_checks": fit.cross_checks}),
            **({} if fit.single_lines is None else {"single_lines": fit.single_lines}),
        },
        provenance=provenance,
        quality_words=fit.quality_words,
    )


def _records(fit: PatternFit) -> dict[str, Record]:
    """How the fit computed its quantities, and what they depend on."""
    records = dict(fit.records)
    slope = "order_contrast_by_tin"
    if "order_contrast" in fit.by_tin:
        text = "change of the fitted contrast by unit tin fraction in the mean scattering"
        records[slope] = Record(slope, slope, fit.by_tin["order_contrast"], source="fitted to the pattern", remark=text)
    for of, limit in fit.upper_limits.items():
        name = UPPER_LIMIT.of(of)
        text = f"weight fraction of a scale of zero or above plus {ONE_SIDED_95} standard uncertainties (95 %)"
        records[name] = Record(name, symbol_of(name), limit, source=AMOUNTS, remark=text)
    return records


def with_absent(
    table: Contributions, values: Mapping[str, float], limits: Mapping[str, float]
) -> Contributions:
    """Add to weight fractions that phases which were not found may be there: else a single phase is 1 without doubt.

    Parameters
    ----------
    table : Contributions
    values : mapping of str to float
    limits : mapping of str to float
        Upper limits of weight fractions by phase (95 %); a share x of another phase makes of a fraction w(1 - x).
    """
    for name in table.quantities:
        if WEIGHT_FRACTION.phase(name):
            extra = {
                f"phases not found/{phase}": (-values[name] * limit / ONE_SIDED_95, "")
                for phase, limit in limits.items()
                if math.isfinite(limit)
            }
            table = table.extend(name, {name: 1.0}, extra)
    return table


def _phases(fit: PatternFit) -> xr.Dataset:
    phases = list(fit.phases.values())
    axes = max((len(phase.lengths_nm) for phase in phases), default=0)
    columns = {
        "present": ("1 where the phase stands out", "1"),
        "significance": ("scale over its standard uncertainty", "1"),
        "weight_fraction": ("weight fraction", "1"),
        "u_weight_fraction": ("standard uncertainty", "1"),
        "upper_limit": ("weight fraction it stays below", "1"),
        "lengths_nm": ("free lattice lengths", "nm"),
        "u_lengths_nm": ("their standard uncertainties", "nm"),
    }
    table = xr.Dataset(coords={"phase": np.array(list(fit.phases), dtype=object)})
    for name, (meaning, units) in columns.items():
        values = [getattr(phase, name) for phase in phases]
        attrs = {"units": units, "long_name": meaning}
        if name.endswith("_nm"):
            rows = np.array([[*row, *[np.nan] * (axes - len(row))] for row in values]).reshape(len(phases), axes)
            table[name.replace("lengths_nm", "length")] = ("phase", "axis"), rows, attrs
        else:
            table[name] = "phase", np.array(values, dtype=np.int8 if name == "present" else float), attrs
    return table


def _composition(sample: Sample) -> A15Composition | None:
    """Give the composition that sets the mean scattering in the fit; None takes that of an undoped wire."""
    if not sample.lot.dopants:
        return None
    return replace(
        DEFAULT_COMPOSITION, dopants=sample.lot.dopants, on_tin_site=dict(sample.lot.on_tin_site or {})
    )
