"""Emission lines: names, weights, wavelengths with a unit, and what is refused."""

import math
import tomllib
from importlib.resources import files

import pytest

from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.xrays import radiation, radiation_names
from xrdorder.xrays.emission import HC_1998_EV_NM

DOUBLETS = [name for name in radiation_names() if not name.endswith("1")]


def test_six_tubes_with_and_without_alpha2() -> None:
    tubes = {"ag", "co", "cr", "cu", "fe", "mo"}
    assert set(radiation_names()) == {f"{tube}-ka{one}" for tube in tubes for one in ("", "1")}


@pytest.mark.parametrize("name", radiation_names())
def test_weights_add_up_and_lines_are_sane(name: str) -> None:
    found = radiation(name)
    assert math.fsum(line.weight for line in found.lines) == pytest.approx(1.0, abs=1e-12)
    assert all(1e-4 < line.width_relative < 1e-3 for line in found.lines)
    assert 1e-7 < found.u_wavelength_relative < 1e-5
    assert found.source


@pytest.mark.parametrize("name", DOUBLETS)
def test_sum_of_lorentzians_peaks_where_the_table_says(name: str) -> None:
    """Peak energy and Lorentzian parameters were tabulated apart; a slip in either moves the maximum."""
    text = (files("xrdorder.xrays") / "emission.toml").read_text(encoding="utf-8")
    entry = next(e for e in tomllib.loads(text)["radiation"] if e["name"] == name)
    first = [line for line in entry["lines"] if line["group"] == "Ka1"]

    def intensity(energy: float) -> float:
        return sum(
            line["weight"] / line["fwhm_ev"] / (1 + (2 * (energy - line["energy_ev"]) / line["fwhm_ev"]) ** 2)
            for line in first
        )

    grid = [entry["peak_ev"] + 0.001 * step for step in range(-4000, 4001)]
    values = [intensity(energy) for energy in grid]
    top = max(range(len(grid)), key=values.__getitem__)
    # 0.02 eV of 5415 eV is 4 ppm; the printed fits agree with the printed peaks to 0.01 eV.
    assert grid[top] == pytest.approx(entry["peak_ev"], abs=0.02)
    above = [energy for energy, value in zip(grid, values, strict=True) if value > values[top] / 2]
    # Only Ag is wider than the +-4 eV looked at. The FWHM is printed to 0.01 eV.
    if name != "ag-ka":
        assert above[-1] - above[0] == pytest.approx(entry["peak_fwhm_ev"], abs=0.01)


@pytest.mark.parametrize("name", DOUBLETS)
def test_alpha2_is_half_and_longer(name: str) -> None:
    found = radiation(name)
    # Statistical weight of the levels is 1:2, many-electron effects move it by a few hundredths.
    assert 0.46 < found.alpha2_ratio < 0.56
    second = min(line.wavelength_nm for line in found.lines if line.group == "Ka2")
    assert second > max(line.wavelength_nm for line in found.lines if line.group == "Ka1")


def test_alpha2_ratio_can_be_changed_and_taken_away() -> None:
    found = radiation("cu-ka").with_alpha2_ratio(0.3)
    assert found.alpha2_ratio == pytest.approx(0.3, rel=1e-12)
    assert sum(line.weight for line in found.lines) == pytest.approx(1.0)
    first = [line.weight for line in found.lines if line.group == "Ka1"]
    assert first[1] / first[0] == pytest.approx(0.080 / 0.579)
    assert radiation("cu-ka").with_alpha2_ratio(0.0).alpha2_ratio == 0.0
    assert radiation("cu-ka1").with_alpha2_ratio(0.0).alpha2_ratio == 0.0


@pytest.mark.parametrize("ratio", [-0.1, math.nan, math.inf])
def test_impossible_ratio(ratio: float) -> None:
    with pytest.raises(ValidityError, match="not negative"):
        radiation("cu-ka").with_alpha2_ratio(ratio)


def test_single_line_has_no_alpha2_to_set() -> None:
    with pytest.raises(ValidityError, match="no Ka2"):
        radiation("cu-ka1").with_alpha2_ratio(0.5)


def test_reference_wavelength_is_the_heaviest_first_line() -> None:
    assert radiation("cu-ka").wavelength_nm == HC_1998_EV_NM / 8047.837
    # Even when the doublet is turned upside down the reference stays.
    assert radiation("cu-ka").with_alpha2_ratio(5.0).wavelength_nm == radiation("cu-ka").wavelength_nm


@pytest.mark.parametrize(
    "text", ["0.15406 nm", "1.5406 angstrom", "1.5406 A", "1.5406 Å", ".15406nm", "1.5406e0 a"]
)
def test_wavelength_with_unit(text: str) -> None:
    found = radiation(text)
    assert found.wavelength_nm == pytest.approx(0.15406, rel=1e-12)
    assert found.alpha2_ratio == 0.0
    assert found.lines[0].width_relative == 0.0
    # Half of the last digit, rectangular.
    assert found.u_wavelength_relative == pytest.approx(0.5e-5 / math.sqrt(3) / 0.15406)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("cu-kb", "not known"),
        ("", "not known"),
        ("1.5406", "needs its unit"),
        ("1.5406 m", "not nm or angstrom"),
        ("-0.15 nm", "outside"),
        ("0 nm", "outside"),
        ("154 nm", "outside"),
    ],
)
def test_refused_in_one_line_that_lists_what_there_is(text: str, reason: str) -> None:
    with pytest.raises(UnknownNameError, match=reason) as caught:
        radiation(text)
    assert "cu-ka" in str(caught.value)
    assert "\n" not in str(caught.value)
