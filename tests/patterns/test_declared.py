"""Words of a file are understood or left alone."""

import pytest

from xrdorder.patterns import declared


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1.5406 angstrom", 0.15406),
        ("1.5406 Å", 0.15406),
        ("1.5406(2) A", 0.15406),
        ("0.15406 nm", 0.15406),
        ("0,15406 nm", 0.15406),
        ("0.7093 [angstrom], calibrated", 0.07093),
        ("154.06 pm", 0.15406),
        ("1.5406", 0.15406),
        ("0.07093", 0.07093),
        ("0.22", None),  # nm or angstrom: cannot be told
        ("8.048 keV", None),
        ("unknown", None),
        ("1.5406angstroms", 0.15406),
    ],
)
def test_wavelengths(text, expected):
    assert declared.wavelength_nm(text) == (None if expected is None else pytest.approx(expected))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("22.5 °C", 22.5),
        ("22,5 C", 22.5),
        ("22.5 deg C", 22.5),
        ("295.65 K", 22.5),
        ("22.5", None),
        ("hot", None),
    ],
)
def test_temperatures(text, expected):
    assert declared.celsius(text) == (None if expected is None else pytest.approx(expected))


@pytest.mark.parametrize(
    ("text", "expected"),
    [("2", 2.0), ("2.5 s", 2.5), ("500 ms", 0.5), ("2 min", 120.0), ("3 steps", None), ("", None)],
)
def test_times(text, expected):
    assert declared.seconds(text) == (None if expected is None else pytest.approx(expected))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Cu K\\a", "cu-ka"),
        ("Cu K\\a~1~", "cu-ka1"),
        ("CuK\\a~1,2~", "cu-ka"),
        ("Mo Kα1 and Kα2", "mo-ka"),
        ("Co Kα₁", "co-ka1"),
        ("fe_ka", "fe-ka"),
        ("ag-ka1, mirror", "ag-ka1"),
        ("W K\\a", ""),
        ("copper, Kb filter", ""),
        ("Cu Kb", ""),
        ("", ""),
    ],
)
def test_radiations(text, expected):
    assert declared.radiation_in_words(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("reflection", "reflection"),
        ("Bragg-Brentano, theta-theta", "reflection"),
        ("capillary", "capillary"),
        ("Guinier", "transmission"),
        ("reflection from a capillary", ""),
        ("reflection or transmission", ""),
        ("custom", ""),
    ],
)
def test_geometries(text, expected):
    assert declared.geometry_in_words(text) == expected


@pytest.mark.parametrize("text", ["", "none", "[1]", '[["a"]]', "{", "3"])
def test_flags_of_somebody_else_are_no_flags(text):
    assert declared.flags(text) == []
