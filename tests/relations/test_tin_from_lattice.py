"""The two lines a(tin) have one home: nobody else writes their constants, and a new default is one assignment."""

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

from xrdorder.relations import tin_from_lattice
from xrdorder.relations.tin_from_lattice import DEFAULT, ENTRIES, PIVOT_TIN, SECOND

PACKAGE = Path(tin_from_lattice.__file__).parents[1]
TESTS = Path(__file__).parents[1]
INDEPENDENT = ("generator", "outside")
"""Judges of the package share no number with it; tests/test_generator.py compares the line of one with the entry."""

OTHER_DEFAULT = """
from xrdorder.relations import tin_from_lattice as lines
lines.DEFAULT, lines.SECOND = lines.SECOND, lines.DEFAULT
from xrdorder.estimates.hyperparameters import PUBLISHED
from xrdorder.material import PUBLISHED_SCALE, Specimen, characterise
from xrdorder.uncertainty import Contributions
from xrdorder.xrays import radiation
import numpy as np
table = Contributions(("a_nm",), ("counting",), np.array([[1e-6]]), ("",))
specimen = Specimen(mount="ground-powder", temperature_c=22.5, undoped=True)
material = characterise({"a_nm": 0.5288}, table, specimen, radiation=radiation("cu-ka"))
found = material.values["tin_fraction_lattice"]
print(PUBLISHED_SCALE.slope_nm, PUBLISHED_SCALE.tin(0.5288), found, PUBLISHED["slope_pm"] / 10)
"""


def test_no_other_module_writes_a_constant_of_a_line():
    constants = [number for line in ENTRIES for number in (line.slope_nm, line.intercept_nm)]
    texts = {
        path: path.read_text(encoding="utf-8")
        for root in (PACKAGE, TESTS)
        for path in root.rglob("*.py")
        if not set(path.relative_to(root).parts) & set(INDEPENDENT)
    }
    places = [
        (path, node.value)
        for path, text in texts.items()
        if any(str(constant).lstrip("0") in text for constant in constants)
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Constant) and type(node.value) is float and node.value in constants
    ]
    assert places == [(Path(tin_from_lattice.__file__), constant) for constant in constants]


def test_another_default_line_is_one_assignment():
    environment = {**os.environ, "OMP_NUM_THREADS": "1"}
    words = [sys.executable, "-c", OTHER_DEFAULT]
    done = subprocess.run(words, capture_output=True, text=True, check=False, env=environment)
    assert done.returncode == 0, done.stderr
    slope, tin, found, modelled = map(float, done.stdout.split())
    assert (slope, modelled) == (SECOND.slope_nm, pytest.approx(SECOND.slope_nm))
    assert tin == pytest.approx(float(SECOND(0.5288))) == pytest.approx(found)
    assert tin != pytest.approx(float(DEFAULT(0.5288)), abs=1e-3)


def test_both_lines_meet_where_it_is_said():
    """A. Godeke (2006): both 0.5290 nm at 25 at.%; to the rounding of the two intercepts."""
    assert pytest.approx(0.25, abs=1e-9) == PIVOT_TIN
    assert float(DEFAULT.inverse(PIVOT_TIN)) == pytest.approx(float(SECOND.inverse(PIVOT_TIN)), abs=1e-12)
