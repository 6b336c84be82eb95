"""All keys of study.toml, from the models that read it."""

from collections.abc import Iterator

from xrdorder.description.calibration import Calibration, InstrumentTable
from xrdorder.description.lots import Lot
from xrdorder.description.measured_values import MEASURABLE, MeasuredValue
from xrdorder.description.measurement import Choices, Measurement
from xrdorder.description.sample import Sample
from xrdorder.description.study import DoseReference, FitTable, Study
from xrdorder.files.checked_table import CheckedTable
from xrdorder.treatments import Repeat, Schedule, Step

TABLES: dict[str, type[CheckedTable]] = {
    "Top of the file": Study,
    "`[instrument]`": InstrumentTable,
    "`[instrument.calibrate]`, `[calibrations.<name>]`": Calibration,
    "`[fit]`": FitTable,
    "`[dose]`": DoseReference,
    "`[lots.<name>]`": Lot,
    "`[defaults]`, `[[samples]]`": Measurement,
    "`fit = { ... }` of `[defaults]` and `[[samples]]`": Choices,
    "`[[samples]]` alone": Sample,
    "`[treatments.<name>]`, or `treatment` of a sample": Schedule,
    "A step of a treatment": Step,
    "A block of steps": Repeat,
    "Values of `[samples.measured]`": MeasuredValue,
}


def by_table() -> Iterator[tuple[str, list[tuple[str, str]]]]:
    """Where keys stand, and each with what belongs there; keys of both samples and defaults stand once."""
    for where, table in TABLES.items():
        inherited = Measurement.keys() if table is Sample else {}
        rows = [
            (f"`{key}`", info.description or "") for key, info in table.keys().items() if key not in inherited
        ]
        yield where, rows


def measurable() -> str:
    """Keys of `[samples.measured]`."""
    return ", ".join(f"`{name}`" for name in MEASURABLE)
