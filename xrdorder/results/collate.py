"""All samples in one table: `results.nc` for programs, `results.csv` for people.

What is estimated of all samples together (`xrdorder.estimates.study_draws`) is added to the table afterwards.
"""

import io
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder import __version__, uncertainty
from xrdorder.description.study import Study
from xrdorder.exceptions import StudyError
from xrdorder.files import TableWriter
from xrdorder.files.atomic import disk_reason, write_atomically
from xrdorder.files.sealed import read_sealed, sealed
from xrdorder.material import PUBLISHED_SCALE, TinScale
from xrdorder.quantities.of_phase import UPPER_LIMIT, WEIGHT_FRACTION
from xrdorder.quantities.registry import ESTIMATED, Column, columns, unit_of
from xrdorder.relations import relations
from xrdorder.results.columns import TOLD_COLUMNS, column_names
from xrdorder.results.conventions import about, udunits, units_beside
from xrdorder.results.described_columns import Variables, measured_variables, told_variables
from xrdorder.results.netcdf import netcdf, read_root
from xrdorder.results.sample_file import NO_A15, StoredSample

RESULTS_NC = "results.nc"
RESULTS_CSV = "results.csv"


def collate(
    study: Study,
    samples: Sequence[StoredSample],
    phases: Sequence[str],
    scale: TinScale = PUBLISHED_SCALE,
    own_relations: Sequence[str] = (),
) -> xr.Dataset:
    """Join the results of all samples.

    Parameters
    ----------
    study : Study
        What the samples are; lots and treatments are taken from here: correcting them needs no new fit.
    samples : sequence of StoredSample
        In the order of the table.
    phases : sequence of str
        Names of the phases asked for, in the order of the table; those that fits took in or put together by themselves
        come after them.
    scale : TinScale
        The line from which tin was read.
    own_relations : sequence of str
        Names of the laboratory's own relations that could be asked.

    Returns
    -------
    Dataset
        dims sample, phase, quantity, plain_quantity, source, measurement. A number that could not be given is NaN.
    """
    dataset = uncertainty.collate({sample.name: sample.contributions for sample in samples})
    quantities = [str(name) for name in dataset["quantity"].values]
    variables: Variables = {
        "value": (
            ("sample", "quantity"),
            _values(samples, quantities),
            {"long_name": "value of the quantity in the unit of quantity_units, fractions as fractions"},
        ),
        "quantity_units": ("quantity", *units_beside(map(unit_of, quantities), "value and contribution")),
    }
    _add_plain(variables, samples, quantities)
    for column in columns():
        if column.quantity in ESTIMATED:
            continue
        numbers = np.array([_number(sample, column) for sample in samples], dtype=float)
        said = column.long_name + ", in per cent of the atoms" * (column.units == "at.%")
        attrs = {"units": udunits(column.units), "long_name": said}
        if source := _source(column.quantity):
            attrs["source"] = source
        variables[column.name] = ("sample", numbers, attrs)
    _add_phases(variables, samples, [*phases, *_other_phases(samples, phases)])
    variables.update(told_variables(study, samples))
    variables.update(measured_variables(study.samples))
    dataset = dataset.assign(variables).set_coords(["phase", "plain_quantity"])
    statuses = [sample.status for sample in samples]
    newest = max((sample.provenance.created for sample in samples), default="")
    dataset.attrs = {
        **about(study.title, f"collated by xrdorder {__version__}", newest),
        "xrdorder_version": __version__,
        "samples": len(samples),
        "failed": sum(sample.failed for sample in samples),
        "no_a15": statuses.count(NO_A15),
        "tin_scale": scale.name,
        "tin_scale_source": scale.source,
        "own_relations": ", ".join(own_relations),
    }
    if own := own_words(dataset):
        attrs = {"long_name": "scale of tin of the laboratory's own behind the estimates, and relations beside them"}
        dataset["own"] = ("sample", np.array([own] * len(samples), dtype=object), attrs)
    for name in ("sample", "quantity", "source"):
        dataset[name].attrs["long_name"] = f"name of the {name}"
    return dataset


def own_words(results: xr.Dataset) -> str:
    """Name the scale of the laboratory's own behind the estimates, and its relations beside them; empty without any."""
    scale, own = (str(results.attrs.get(name, "")) for name in ("tin_scale", "own_relations"))
    said = [f"tin scale '{scale}'"] if scale not in ("", PUBLISHED_SCALE.name) else []
    return "; ".join([*said, *([f"relations {own} (beside the estimates)"] if own else [])])


def _source(quantity: str) -> str:
    """Publications behind a quantity of the table; those of estimates stand with their draws."""
    if quantity != "tin_lower_bound":
        return ""
    return "; ".join(dict.fromkeys(entry.source for entry in relations("tin-from-order")))


def _number(sample: StoredSample, column: Column) -> float:
    """Compute one number of the table from what is stored of a sample; NaN where there is none."""
    name = column.quantity
    if column.kind == "value":
        return column.scale * float(sample.values.get(name, sample.quality.get(name, np.nan)))
    # an uncertainty without its value would only puzzle
    return column.scale * sample.u(name) if np.isfinite(sample.values.get(name, np.nan)) else np.nan


def _add_plain(variables: Variables, samples: Sequence[StoredSample], quantities: Sequence[str]) -> None:
    """Add what has no uncertainty table in any sample: bounds, second values, rates of change."""
    plain = [name for sample in samples for name in sample.values if not UPPER_LIMIT.phase(name)]
    names = [name for name in dict.fromkeys(plain) if name not in quantities]
    long_name = "value of a quantity without an uncertainty table; fractions as fractions"
    variables["plain_value"] = ("sample", "plain_quantity"), _values(samples, names), {"long_name": long_name}
    variables["plain_quantity_units"] = ("plain_quantity", *units_beside(map(unit_of, names), "plain_value"))
    about = {"long_name": "name of a quantity without an uncertainty table"}
    variables["plain_quantity"] = "plain_quantity", np.array(names, dtype=object), about


def _values(samples: Sequence[StoredSample], names: Sequence[str]) -> NDArray[np.float64]:
    """Values of quantities, (samples, names); NaN where a sample has none."""
    rows = [[sample.values.get(name, np.nan) for name in names] for sample in samples]
    return np.array(rows, dtype=float).reshape(len(samples), len(names))


def _other_phases(samples: Sequence[StoredSample], phases: Sequence[str]) -> list[str]:
    """Phases with a weight fraction or a limit of it that nobody asked for by this name, in the order met."""
    names = [
        phase
        for sample in samples
        for quantity in sample.values
        for kind in (WEIGHT_FRACTION, UPPER_LIMIT)
        if (phase := kind.phase(quantity))
    ]
    return [name for name in dict.fromkeys(names) if name not in phases]


def _add_phases(variables: Variables, samples: Sequence[StoredSample], phases: Sequence[str]) -> None:
    meaning = "weight fraction of the phase among the crystalline phases fitted"
    names, limits = ([kind.of(phase) for phase in phases] for kind in (WEIGHT_FRACTION, UPPER_LIMIT))
    u = np.array([[sample.u(name) for name in names] for sample in samples], dtype=float)
    for name, said, numbers in (
        ("weight_fraction", meaning, _values(samples, names)),
        ("u_weight_fraction", f"standard uncertainty (k = 1) of: {meaning}", u.reshape(len(samples), len(phases))),
        (
            "weight_fraction_limit",
            f"upper limit for a phase that was not found, of: {meaning}",
            _values(samples, limits),
        ),
    ):
        variables[name] = ("sample", "phase"), numbers, {"units": "1", "long_name": said}
    variables["phase"] = "phase", np.array(phases, dtype=object), {"long_name": "name of the phase"}


def write_results(dataset: xr.Dataset, folder: Path) -> None:
    """Write `results.nc` and `results.csv`, each whole or not at all; what is there already keeps its date.

    Raises
    ------
    StudyError
        The disk refuses.
    """
    _renew(folder / RESULTS_NC, sealed(netcdf(dataset)))
    write_csv(dataset, folder)


def write_csv(dataset: xr.Dataset, folder: Path) -> None:
    """Write `results.csv` alone, as `write_results` does."""
    _renew(folder / RESULTS_CSV, _csv(dataset))


def _renew(path: Path, content: bytes) -> None:
    if not (path.is_file() and path.read_bytes() == content):
        write_atomically(path, lambda part: part.write_bytes(content))


def _csv(dataset: xr.Dataset) -> bytes:
    stream = io.StringIO(newline="")
    writer = TableWriter(stream)
    names = column_names([str(name) for name in dataset["phase"].values])
    writer.writerow(names)
    writer.writerows(zip(*[_column(dataset, name) for name in names], strict=True))
    return stream.getvalue().encode("utf-8")


def _column(dataset: xr.Dataset, name: str) -> list[str]:
    """One column of the table as text: empty where there is no number."""
    for stem in ("u_weight_fraction", "weight_fraction_limit", "weight_fraction"):
        phase = name.removeprefix(f"{stem}_")
        if phase != name and phase in dataset["phase"].values:
            values = dataset[stem].sel(phase=phase).values
            break
    else:
        name = TOLD_COLUMNS.get(name, name)
        if name not in dataset.variables:  # no sample tells it
            return [""] * dataset.sizes["sample"]
        values = dataset[name].values
    if values.dtype.kind != "f":
        return [str(value) for value in values]
    # ten digits: a lattice parameter to 1e-10 nm, far below any uncertainty
    return ["" if np.isnan(value) else f"{value:.10g}" for value in values]


def read_results(folder: Path) -> xr.Dataset:
    """Read the collated results of a results folder.

    Raises
    ------
    StudyError
        There are none, or they cannot be read.
    """
    path = folder / RESULTS_NC
    try:
        return read_root(read_sealed(path))
    except FileNotFoundError:
        raise StudyError(f"{path}: no such results; run the study first") from None
    except Exception as error:  # as of sample files
        reason = disk_reason(error) if isinstance(error, OSError) else " ".join(str(error).split())
        raise StudyError(f"{path}: cannot be read ({reason}); run the study again to renew it") from error
