"""Tables of docs/contributing that campaigns write have the form that today's scripts write; values may be older."""

import re
from collections.abc import Sequence
from pathlib import Path

import pytest

from tests.benchmarks import corrupted, coverage, evidence_page, mishaps, real_wires, repeats
from tests.benchmarks.bound import QUANTITIES

WITH_BREADTH = [name for q in QUANTITIES for name in ([q, f"1 / {q}"] if q == coverage.SIZE else [q])]
UNSEEN = ", ".join(sorted(mishaps.UNSEEN))
FORMS: dict[str, tuple[Path, list[tuple[Sequence[str], list[str]]]]] = {
    "repeated specimens": (
        evidence_page.COVERAGE,
        [(coverage.HEADER, WITH_BREADTH), (coverage.BOUND_HEADER, list(QUANTITIES))] * len(coverage.LEVELS),
    ),
    "real wires": (
        evidence_page.COVERAGE,
        [(real_wires.HEADER, [*real_wires.KINDS, *real_wires.RADIATIONS, "**all**", "normal errors"])]
        * len(real_wires.LEVELS),
    ),
    "repeats": (evidence_page.COVERAGE, [(repeats.HEADER, ["0"] * len(QUANTITIES) + ["1"] * len(QUANTITIES))]),
    "mishaps": (
        evidence_page.ROBUSTNESS,
        [(corrupted.HEADER, [corrupted.CLEAN, *mishaps.KINDS, f"**all but clean and {UNSEEN}**", "**all but clean**"])],
    ),
}


def tables(lines: list[str]) -> list[tuple[list[str], list[str]]]:
    """Headers, and first cells of the rows, of each table."""
    blocks = [block.splitlines() for block in re.split(r"\n(?!\|)", "\n" + "\n".join(lines)) if "\n|" in block]
    made = [[line for line in block if line.startswith("|")] for block in blocks]
    return [(one[:2], [line.split("|")[1].strip() for line in one[2:]]) for one in made]


@pytest.mark.parametrize("name", FORMS)
def test_tables_have_the_form_of_today(name: str) -> None:
    page, form = FORMS[name]
    found = tables(evidence_page.rows(name, page))
    assert found == [(list(header), rows) for header, rows in form]


@pytest.mark.parametrize("name", FORMS)
def test_rows_are_as_wide_as_their_header(name: str) -> None:
    lines = [line for line in evidence_page.rows(name, FORMS[name][0]) if line.startswith("|")]
    widths = [line.count("|") for line in lines]
    headers = [k for k, line in enumerate(lines) if set(line) <= set("|- ")]
    for k, end in zip(headers, [*headers[1:], len(lines) + 1], strict=True):
        assert set(widths[k - 1 : end - 1]) == {widths[k]}
