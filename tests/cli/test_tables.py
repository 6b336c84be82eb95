"""Numbers as text: as many digits as the uncertainty allows."""

import math

import numpy as np
import pytest

from tests import descriptions
from tests.drawn import drawn
from tests.results import made
from xrdorder.cli.tables import concise, interval, results_text, table
from xrdorder.results.collate import collate
from xrdorder.results.sample_file import StoredSample
from xrdorder.uncertainty import Contributions


@pytest.mark.parametrize(
    "value, u, text",
    [
        (0.52882076, 5.9e-6, "0.528821(6)"),
        (0.0, 0.0012, "0.0000(12)"),
        (-0.0205, 0.0020, "-0.0205(20)"),
        (23.68, 1.51, "23.7(1.5)"),
        (23.68, 0.0996, "23.68(10)"),
        (65.8, 12.3, "66(12)"),
        (1234.0, 150.0, "1230(150)"),
        (99.96, 9.96, "100(10)"),
        (-0.31, 0.997, "-0.3(1.0)"),
        (0.93, 0.0, "0.93"),
        (0.93, math.nan, "0.93"),
        (math.nan, 0.1, "-"),
    ],
)
def test_a_value_with_its_uncertainty(value, u, text):
    assert concise(value, u) == text


def test_an_interval_that_is_none():
    assert interval(math.nan, 3.0) == "-"


def test_short_rows_may_hold_a_long_last_cell():
    text = table(
        [("a", "b", "c")], [("x", "1", "2"), ("long name", "failed: this is much longer than the columns")]
    )
    head, rule, *lines = text.splitlines()
    assert head.index("b") == lines[0].index("1") == lines[1].index("failed")
    assert set(rule) == {"-"}


def test_the_verdict_stands_beside_the_flags_and_its_reasons_below(tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "120")
    names = ("lattice_a_nm_nb", "lattice_a_nm_unknown")  # the latter of unknown atoms: without a weight
    lattices = Contributions(names, ("counting/0",), np.array([[1e-4], [1e-4]]), ("",))
    samples = [
        made.sample("first"),
        made.sample("second", quality_words="trustworthy"),
        *(made.sample(f"third-{k}") for k in range(7)),
        made.sample("fourth", quality_words="do not use: chi squared is 40"),
        made.sample("fifth", quality_words=""),
        StoredSample(
            "sixth",
            "no A15",
            values={"lattice_a_nm_nb": 0.3301, "weight_fraction_nb": 0.25, "lattice_a_nm_unknown": 0.5},
            contributions=lattices,
            quality_words="do not use: no A15 was found",
        ),
    ]
    described = tuple(descriptions.sample(s.name) for s in samples)
    study = descriptions.study(tmp_path, described, ("nb3sn", "nb"), title="A study")
    tc = [float("nan") if one.name == "sixth" else 16.5 for one in samples]
    text = results_text(drawn(collate(study, samples, ("nb3sn", "nb")), {"Tc_K": tc}))
    head, below = text.split("\nTrust\n")
    rows = {line.split()[0]: line.split() for line in reversed(head.splitlines()) if line}
    assert [rows[name][-2] for name in ("first", "second", "third-0", "fourth", "fifth")] == [
        "care", "yes", "care", "no", "-",
    ]  # fmt: skip
    assert rows["sixth"] == ["sixth", "no", "A15"]
    assert [line.split() for line in head.splitlines() if line.split()[:1] == ["sixth"]][1:] == [
        ["sixth", "nb", "a", "0.33010(10)", "0.25"],
        ["sixth", "unknown", "a", "0.50000(10)", "-"],
    ]
    lines = below.splitlines()
    assert lines[0] == f"  first, third-0, third-1, third-2, third-3, third-4 and 2 more: {made.WORDS}"
    assert lines[1] == "  fourth: do not use: chi squared is 40"
    assert "trustworthy" not in text and "no A15 was found" not in text
