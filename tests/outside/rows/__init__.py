"""The table of outside checks: what the package gives beside what somebody else printed, certified or computes.

A row is one number. `tests/outside/test_table.py` holds each to its tolerance, `python -m tests.docs.reference` writes
them to docs/reference/outside.md. Modules of this folder hold rows by subject.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import import_module
from typing import Literal

Kind = Literal["independent", "shared input", "transcription"]
"""Whether both sides came about apart; share a table or a constant; or were copied from the same paper, so that only a
slip of the pen would show."""

SUBJECTS = {
    "certificates": "Certified powders and their Bragg angles",
    "intensities": "Intensities and structure factors",
    "xray_tables": "X-ray tables",
    "line_shapes": "Line shapes and absorption",
    "order": "Order and composition",
    "handbook": "Worked examples, densities, spacings",
    "statistics": "Least squares, uncertainties and digits",
    "superconductors": "Tc and Bc2",
    "published": "Samples of laboratories left out",
    "scan_planning": "Planning of scans",
    "heat_treatments": "Heat treatments and rules of the trade",
}


@dataclass(frozen=True)
class Row:
    """One number of ours beside one of somebody else.

    Attributes
    ----------
    quantity
        What it is, and of what.
    unit
        Of both numbers and the tolerance; empty for plain numbers.
    ours, outside
        The package's number, computed when asked; the other one, a number or computed by somebody else's code.
    tolerance
        Largest difference that is agreement.
    reason
        Why that large.
    source
        Where the other number stands.
    known
        How it is known: "read", "computed" (by the source's code or formula), "from memory", "no source" for what is
        common practice.
    kind
        See `Kind`.
    disagrees
        Why the two are known not to agree; the row then has to disagree, so that a change shows either way.
    """

    quantity: str
    unit: str
    ours: Callable[[], float]
    outside: float | Callable[[], float]
    tolerance: float
    reason: str
    source: str
    known: Literal["read", "secondary", "computed", "from memory", "no source"]
    kind: Kind = "independent"
    disagrees: str = ""

    def values(self) -> tuple[float, float]:
        """Our number and the other."""
        other = self.outside() if callable(self.outside) else self.outside
        return float(self.ours()), float(other)


def rows(subject: str) -> list[Row]:
    """Rows of one subject."""
    return list(import_module(f"{__name__}.{subject}").ROWS)


def all_rows() -> Iterator[tuple[str, Row]]:
    """Every row with its subject."""
    for subject in SUBJECTS:
        for row in rows(subject):
            yield subject, row


def digits(value: float, tolerance: float) -> str:
    """Write a number to a tenth of the tolerance: further digits decide nothing.

    >>> digits(8.92345, 0.05), digits(1.25e-7, 1e-9), digits(52000.0, 300.0), digits(3e-16, 1e-9)
    ('8.923', '1.250e-07', '52000', '0')
    """
    last = math.floor(math.log10(tolerance)) - 1
    rounded = round(value, -last)
    if rounded and abs(rounded) < 1e-3:
        return f"{rounded:.{math.floor(math.log10(abs(rounded))) - last}e}"
    return f"{rounded:.{max(-last, 0)}f}" if rounded else "0"
