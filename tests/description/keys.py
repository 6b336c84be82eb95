"""The table of all keys in docs/study-folder.md, from the models; `python -m tests.description.keys` writes it anew."""

from pathlib import Path

from xrdorder.description.calibration import Calibration, InstrumentTable
from xrdorder.description.lots import Lot
from xrdorder.description.measured_values import QUANTITIES, Measured
from xrdorder.description.measurement import Choices, Measurement
from xrdorder.description.sample import Sample
from xrdorder.description.study import DoseReference, FitTable, Study
from xrdorder.description.table import Table

DOCS = Path(__file__).parents[2] / "docs" / "study-folder.md"
HEADING = "## All keys\n"

TABLES: dict[str, type[Table]] = {
    "top of the file": Study,
    "`[instrument]`": InstrumentTable,
    "`[instrument.calibrate]`, `[calibrations.<name>]`": Calibration,
    "`[fit]`": FitTable,
    "`[dose]`": DoseReference,
    "`[defaults]`, `[[samples]]`": Measurement,
    "`fit = { … }` of these two": Choices,
    "`[lots.<name>]`": Lot,
    "`[[samples]]`": Sample,
    "a value of `[samples.measured]`": Measured,
}


def text() -> str:
    """The section: one row a key, where it stands and what belongs there."""
    lines = [HEADING, "What belongs there is also what messages say.", "", "| where | key | what |", "|---|---|---|"]
    for where, table in TABLES.items():
        inherited = Measurement.keys() if table is Sample else {}
        for key, info in table.keys().items():
            if key not in inherited:
                lines.append(f"| {where} | `{key}` | {info.description} |")
    measurable = ", ".join(f"`{name}`" for name in QUANTITIES)
    return "\n".join([*lines, "", f"Keys of `[samples.measured]`: {measurable}.", ""])


def written() -> tuple[str, str, str]:
    """The docs before the section, the section, and what comes after it."""
    before, _, rest = DOCS.read_text(encoding="utf-8").partition(HEADING)
    section, mark, after = rest.partition("\n## ")
    return before, HEADING + section, mark + after


if __name__ == "__main__":
    before, _, after = written()
    DOCS.write_text(before + text() + after, encoding="utf-8")
