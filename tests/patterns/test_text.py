"""Text columns in all the ways laboratories write them."""

import json

import numpy as np
import pytest

from xrdorder.exceptions import PatternError
from xrdorder.patterns import read_pattern

ANGLES = np.round(20.0 + 0.02 * np.arange(60), 2)
COUNTS = np.random.default_rng(1).poisson(200.0, 60)


def _table(separator=" ", comma=False, angles=ANGLES, columns=(COUNTS,), end="\n"):
    rows = [
        separator.join([f"{a:.2f}", *(str(c) for c in row)]) for a, *row in zip(angles, *columns, strict=True)
    ]
    text = end.join(rows) + end
    return text.replace(".", ",") if comma else text


def _read(tmp_path, content, name="scan.xy", **options):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return read_pattern(path, **options)


WAYS = {
    "blanks": _table(),
    "leading blanks": "".join(f"   {line}\n" for line in _table().splitlines()),
    "several blanks": _table("    "),
    "tab": _table("\t"),
    "tab and decimal comma": _table("\t", comma=True),
    "blanks and decimal comma": _table(comma=True),
    "semicolon": _table(";"),
    "semicolon and decimal comma": _table(";", comma=True),
    "semicolon at the end": "".join(f"{line};\n" for line in _table(";").splitlines()),
    "comma": _table(","),
    "comma and blank": _table(", "),
    "quoted": "".join('"{}","{}"\n'.format(*line.split(",")) for line in _table(",").splitlines()),
    "windows line ends": _table(end="\r\n"),
    "old line ends": _table(end="\r"),
    "blank lines between rows": _table(end="\n\n"),
    "end-of-file character": _table() + "\x1a",
    "no line end at the end": _table().rstrip(),
    "byte-order mark": "\ufeff" + _table(),
    "comments": "# a\n! b\n% c\n// d\n* e\n' f\n" + _table(),
    "comment behind a row": _table().replace("\n", "   # hot\n", 3),
    "header": "2theta counts\n[deg] [1]\n" + _table(),
    "header of a sheet": "sep=;\nAngle;Counts\n" + _table(";"),
    "decimal point in the counts": _table(columns=([f"{c}.0" for c in COUNTS],)),
    "exponents": _table(columns=([f"{c:.6e}" for c in COUNTS],)),
    "plus signs": "".join(f"+{line}\n" for line in _table().splitlines()),
}


@pytest.mark.parametrize("way", WAYS)
def test_ways_of_writing(tmp_path, way):
    pattern = _read(tmp_path, WAYS[way])
    assert np.array_equal(pattern["two_theta"], ANGLES)
    assert np.array_equal(pattern, COUNTS)
    assert pattern.dtype == np.float64
    assert pattern.attrs["intensity_kind"] == "counts"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1", "utf-16"])
def test_encodings(tmp_path, encoding):
    pattern = _read(tmp_path, ("# Prüfling, µm, Å\n" + _table()).encode(encoding))
    assert np.array_equal(pattern, COUNTS)


def test_third_column_is_the_standard_uncertainty(tmp_path):
    su = np.round(1.1 * np.sqrt(COUNTS), 3)
    pattern = _read(tmp_path, _table(columns=(COUNTS, su)))
    assert pattern["variance"].values == pytest.approx(su**2)
    assert pattern.attrs["flags"] == "[]"


def test_third_column_that_is_no_uncertainty_is_noticed(tmp_path):
    pattern = _read(tmp_path, _table(columns=(COUNTS, np.full(60, 190.0))))
    assert [name for name, _ in json.loads(pattern.attrs["flags"])] == ["doubtful-uncertainties"]


def test_zero_uncertainty_of_an_empty_channel_takes_the_smallest_of_the_others(tmp_path):
    counts = COUNTS.copy()
    counts[7] = 0
    su = np.sqrt(counts)
    variance = _read(tmp_path, _table(columns=(counts, su)))["variance"].values
    assert variance[7] == pytest.approx(np.min(counts[counts > 0]))


def test_declarations(tmp_path):
    head = (
        "# radiation: Co Kα\n# counting time: 2.5 s\n# geometry: Bragg-Brentano\n# mount: polished-section\n"
        "# temperature: 295.65 K\n"
    )
    pattern = _read(tmp_path, head + _table())
    assert pattern.attrs["radiation"] == "co-ka"
    assert pattern.attrs["geometry"] == "reflection"
    assert pattern.attrs["mount"] == "polished-section"
    assert pattern.attrs["temperature_c"] == pytest.approx(22.5)
    assert np.all(pattern["counting_time"] == 2.5)
    assert pattern["counting_time"].attrs["assumed"] == 0


@pytest.mark.parametrize(
    ("line", "radiation"),
    [
        ("# silicon, Cu K-alpha 1+2 (Ni filter)", "cu-ka"),
        ("# MoKa1, focusing mirror", "mo-ka1"),
        ("# Cu Kα1/Kα2 = 0.5", "cu-ka"),
        ("# Cu Ka, then Mo Ka", ""),
        ("# cokayne 3", ""),
        ("wavelength = 0.35 angstrom, calibrated", "0.035 nm"),
        ("# wavelength (Å): 0.35", "0.035 nm"),
    ],
)
def test_radiation_in_comments(tmp_path, line, radiation):
    assert _read(tmp_path, line + "\n" + _table()).attrs["radiation"] == radiation


def test_wavelength_alone_leaves_the_radiation_open(tmp_path):
    # 0.15406 nm may be Kα1 alone or the name of a doublet by its stronger line.
    pattern = _read(tmp_path, "# wavelength_nm: 0.15406\n" + _table())
    assert pattern.attrs["radiation"] == ""
    assert pattern.attrs["wavelength_nm"] == pytest.approx(0.15406)


def test_ranges_with_their_own_step_and_time(tmp_path):
    second = np.round(20.5 + 0.05 * np.arange(40), 2)
    text = (
        "# counting_time_s: 1\n"
        + _table()
        + "# counting_time_s: 4\n"
        + _table(angles=second, columns=(COUNTS[:40],))
    )
    pattern = _read(tmp_path, text)
    assert pattern.sizes["two_theta"] == 100
    assert np.all(np.diff(pattern["two_theta"]) >= 0.0)
    assert sorted(set(pattern["counting_time"].values)) == [1.0, 4.0]
    long = pattern[pattern["counting_time"].values == 4.0]
    assert np.array_equal(long["two_theta"], second)
    assert np.array_equal(long, COUNTS[:40])


def test_angle_that_jumps_back_after_a_blank_line_begins_a_range(tmp_path):
    later = np.round(21.0 + 0.04 * np.arange(60), 2)
    pattern = _read(tmp_path, _table() + "\n" + _table(angles=later), counting_time_s=[1.0, 3.0])
    assert pattern.sizes["two_theta"] == 120
    assert np.array_equal(pattern["two_theta"][pattern["counting_time"].values == 3.0], later)
    # Where ranges overlap an angle may stand twice, the first range first.
    assert list(pattern["counting_time"].sel(two_theta=21.0).values) == [1.0, 3.0]


def test_unknown_times_of_several_ranges_are_flagged(tmp_path):
    later = np.round(21.0 + 0.04 * np.arange(60), 2)
    pattern = _read(tmp_path, _table() + "\n" + _table(angles=later))
    assert "counting-time-unknown" in pattern.attrs["flags"]
    assert pattern["counting_time"].attrs["assumed"] == 1


def test_repeated_scan_in_one_file_is_summed(tmp_path):
    pattern = _read(tmp_path, _table() + "\n# again\n" + _table())
    assert np.array_equal(pattern, 2 * COUNTS)
    assert np.all(pattern["counting_time"] == 2.0)
    assert "summed-scans" in pattern.attrs["flags"]


def test_comment_inside_a_range_does_not_cut_it(tmp_path):
    lines = _table().splitlines()
    text = "\n".join([*lines[:30], "# shutter checked", "", *lines[30:]])
    pattern = _read(tmp_path, text)
    assert np.array_equal(pattern["two_theta"], ANGLES)
    assert np.array_equal(pattern, COUNTS)


@pytest.mark.parametrize(("unit", "factor"), [("nm", 1.0), ("angstrom", 10.0)])
@pytest.mark.parametrize("falling", [True, False])
def test_d_spacings(tmp_path, unit, factor, falling):
    wavelength = 0.1540590
    d = factor * wavelength / (2.0 * np.sin(np.radians(ANGLES / 2.0)))
    order = slice(None) if falling else slice(None, None, -1)
    text = "".join(f"{a!r} {c}\n" for a, c in zip(d.tolist()[order], COUNTS[order], strict=True))
    pattern = _read(tmp_path, text, axis="d", axis_unit=unit, radiation=f"{wavelength} nm")
    assert pattern["two_theta"].values == pytest.approx(ANGLES, abs=1e-10)
    assert np.array_equal(pattern, COUNTS)


@pytest.mark.parametrize(("unit", "factor"), [("1/nm", 1.0), ("1/angstrom", 0.1)])
def test_q(tmp_path, unit, factor):
    wavelength = 0.1540590
    q = factor * 4.0 * np.pi / wavelength * np.sin(np.radians(ANGLES / 2.0))
    text = "".join(f"{a!r} {c}\n" for a, c in zip(q.tolist(), COUNTS, strict=True))
    pattern = _read(tmp_path, text, axis="q", axis_unit=unit, radiation=f"{wavelength} nm")
    assert pattern["two_theta"].values == pytest.approx(ANGLES, abs=1e-10)


def test_d_of_a_file_is_converted_with_the_wavelength_of_the_file(tmp_path):
    # The older scale is 20 ppm shorter; d was calculated with it, so only it leads back to the measured angle.
    old = 0.1540562
    d = old / (2.0 * np.sin(np.radians(ANGLES / 2.0)))
    text = f"# wavelength_nm: {old}\n" + "".join(
        f"{a!r} {c}\n" for a, c in zip(d.tolist(), COUNTS, strict=True)
    )
    pattern = _read(tmp_path, text, axis="d", axis_unit="nm", radiation="cu-ka")
    assert pattern["two_theta"].values == pytest.approx(ANGLES, abs=1e-10)
    assert "wavelength-scale" in pattern.attrs["flags"]
    assert pattern.attrs["wavelength_nm"] == pytest.approx(0.154059, abs=1e-6)


BAD_ROWS = {
    "letters": ("20.50 abc", "line 4: 'abc' is not a number"),
    "the letter O": ("2O.50 17", "line 4: '2O.50' is not a number"),
    "an underscore": ("20.50 1_000", "line 4: '1_000' is not a number"),
    "a lost column": ("20.50", "line 4: 1 number(s)"),
    "a column too many": ("20.50 17 3", "line 4: 3 number(s)"),
    "NaN": ("20.50 nan", "line 4: the intensity is not a finite number"),
    "infinite": ("inf 17", "line 4: the angle is not a finite number"),
    "negative": ("20.50 -3", "line 4: negative counts"),
    "too much": ("20.50 1e16", "line 4: intensity above 1e15"),
    "backwards": ("19.00 17", "line 4: angle 19 runs backwards"),
    "duplicate": ("20.02 17", "line 4: angle 20.02 twice"),
    "beyond 180": ("180.5 17", "line 4: 2 theta = 180.5 is not below 180"),
    "text between rows": ("Range two", "line 4: 'Range' is not a number"),
}


@pytest.mark.parametrize("case", BAD_ROWS)
def test_bad_rows_name_line_and_remedy(tmp_path, case):
    row, message = BAD_ROWS[case]
    text = f"# head\n20.00 10\n20.02 12\n{row}\n"
    if case != "beyond 180":
        text += "20.60 11\n20.62 9\n"
    with pytest.raises(PatternError) as error:
        _read(tmp_path, text)
    assert str(error.value).startswith(f"scan.xy: {message}")
    assert "\n" not in str(error.value)
    assert ";" in str(error.value)  # cause; remedy


BAD_FILES = {
    "empty": ("", "empty"),
    "blank": ("\n \n", "empty"),
    "only comments": ("# a\n# b\n", "no rows of numbers"),
    "only letters": ("first line\nsecond line\n", "line 2: no rows of numbers"),
    "one column": ("10\n12\n13\n", "line 1: one number"),
    "ten columns": ("1 2 3 4 5 6 7 8 9 10\n", "line 1: 10 columns"),
    "first row with a slip": ("2O.00 10\n20.02 12\n20.04 11\n", "line 1: '2O.00' is not a number"),
    "first count with a slip": ("20.00 l0\n20.02 12\n20.04 11\n", "line 1: 'l0' is not a number"),
    "thousands separators": ("20.00 1,132\n20.02 1,095\n", "line 2: no rows of numbers"),
    "thousands after semicolons": ("20.00;1,132\n20.02;1,095\n", "line 2: no rows of numbers"),
    "commas for everything": ("20,00,1132\n20,02,1095\n20,04,1116\n", "line 2: angle 20 twice"),
    "empty column": ("20.00;10\n20.02;;12\n", "line 2: an empty column"),
    "radians": ("".join(f"{0.35 + 0.00035 * i:.5f} 10\n" for i in range(5000)), "look like radians"),
    "zero angle": ("0.0 10\n0.02 12\n0.04 11\n", "line 1: 2 theta = 0 is not above 0"),
    "all zero": ("20.00 0\n20.02 0\n20.04 0\n", "all counts are zero"),
    "two points": ("20.00 10\n20.02 12\n", "only 2 point(s)"),
    "markup": ("<?xml version='1.0'?>\n<scan/>\n", "line 1: XML"),
    "all su zero": ("20.00 10 0\n20.02 12 0\n20.04 11 0\n", "line 1: all standard uncertainties are zero"),
    "negative su": ("20.00 10 3\n20.02 12 -3\n20.04 11 3\n", "line 2: negative standard uncertainty"),
    "time of zero": ("# counting_time_s: 0\n20.00 10\n20.02 12\n20.04 11\n", "line 2: counting time"),
    "falling and rising": ("20.04 10\n20.02 12\n20.00 11\n20.01 11\n", "line 3: angle 20 runs backwards"),
    "unknown radiation": ("# radiation: unobtainium\n" + _table(), "names the radiation 'unobtainium'"),
}


@pytest.mark.parametrize("case", BAD_FILES)
def test_bad_files_get_one_clear_line(tmp_path, case):
    text, message = BAD_FILES[case]
    with pytest.raises(PatternError) as error:
        _read(tmp_path, text)
    assert str(error.value).startswith("scan.xy: ")
    assert message in str(error.value)
    assert "\n" not in str(error.value)


def test_falling_scans_are_turned_round(tmp_path):
    falling = "".join(f"{line}\n" for line in reversed(_table().splitlines()))
    for text in (falling, falling.replace("\n", "\n\n")):
        pattern = _read(tmp_path, text)
        assert np.array_equal(pattern["two_theta"], ANGLES)
        assert np.array_equal(pattern, COUNTS)


def test_up_and_down_again_are_two_scans(tmp_path):
    falling = "".join(f"{line}\n" for line in reversed(_table().splitlines()))
    for text in (f"{_table()}\n{falling}", f"{falling}\n{_table()}", f"{falling}\n{falling}"):
        pattern = _read(tmp_path, text)
        assert np.array_equal(pattern, 2 * COUNTS)
        assert "summed-scans" in pattern.attrs["flags"]


NEUTRONS = [
    "# lambda 2.57 A, spallation source",
    "# neutron powder diffractometer",
    "# radiation: neutron",
    "# Source: Neutrons",
    "# probe = neutron",
    "# instrument: time-of-flight",
]


@pytest.mark.parametrize("line", NEUTRONS)
def test_neutrons_are_no_counts_of_x_rays(tmp_path, line):
    with pytest.raises(PatternError, match=r"^scan\.xy: .*measured with neutrons; only X-ray patterns can be read$"):
        _read(tmp_path, f"{line}\n{_table()}")


@pytest.mark.parametrize("line", ["# wire, neutron irradiated, 1e22/m2", "# electron density map", "# reactor 3"])
def test_words_of_a_specimen_are_no_radiation(tmp_path, line):
    assert np.array_equal(_read(tmp_path, f"{line}\n{_table()}"), COUNTS)


@pytest.mark.parametrize("line", ["# lambda: 2.57 A", "# Lambda = 0.257 nm"])
def test_lambda_is_a_wavelength(tmp_path, line):
    assert _read(tmp_path, f"{line}\n{_table()}").attrs["wavelength_nm"] == pytest.approx(0.257)


def test_a_reflectivity_scan_is_not_told_of_radians(tmp_path):
    angles = np.arange(0.2, 3.0, 0.005)
    counts = np.minimum(1e6, 1e6 * (0.4 / angles) ** 4) + 3.0  # Fresnel's law far above the critical angle
    text = "".join(f"{a:.3f} {c:.0f}\n" for a, c in zip(angles, counts, strict=True))
    with pytest.raises(PatternError, match="look like a reflectivity scan, which holds no lines of a phase"):
        _read(tmp_path, text)


@pytest.mark.parametrize("said", [61, 5001])
def test_fewer_points_than_the_file_says(tmp_path, said):
    pattern = _read(tmp_path, f"# number of points: {said}\n{_table()}")
    message = dict(json.loads(pattern.attrs["flags"]))["ended-early"]
    assert f"it says {said} points and holds 60" in message


def test_points_of_ranges_are_added_up(tmp_path):
    two = f"# number_of_points: 60\n{_table()}# number_of_points: 60\n{_table(angles=ANGLES + 5.0)}"
    assert "ended-early" not in _read(tmp_path, two).attrs["flags"]


@pytest.mark.parametrize(
    ("angles", "last"), [(ANGLES, 1), (ANGLES, 2), (np.round(20.0 + 0.0131 * np.arange(60), 2), 2)]
)  # fmt: skip
def test_a_file_that_ends_in_the_middle_of_a_number(tmp_path, angles, last):
    # counts of about 200: one or two digits of the last are not there
    pattern = _read(tmp_path, _table(angles=angles).rstrip()[:-last])
    assert np.array_equal(pattern, COUNTS[:-1])
    assert "lacks digits; the point is left out" in dict(json.loads(pattern.attrs["flags"]))["ended-early"]


def test_digits_that_are_missing_behind_the_point(tmp_path):
    text = _table(columns=([f"{c}.00" for c in COUNTS],)).rstrip()
    assert "ended-early" in _read(tmp_path, text[:-1]).attrs["flags"]
    assert "ended-early" not in _read(tmp_path, text).attrs["flags"]


@pytest.mark.parametrize("end", ["", "\n", "\n\n"])
def test_a_file_that_ends_in_the_middle_of_an_angle(tmp_path, end):
    pattern = _read(tmp_path, _table().rstrip()[:-5] + end)
    assert np.array_equal(pattern, COUNTS[:-1])
    message = dict(json.loads(pattern.attrs["flags"]))["ended-early"]
    assert "its last row, line 60, lacks 1 number(s) and is left out" in message


def test_a_row_that_lacks_a_number_before_the_end_is_refused(tmp_path):
    with pytest.raises(PatternError, match=r"line 60: 1 number\(s\) where the rows before have 2; complete the row"):
        _read(tmp_path, _table().rstrip()[:-5] + "\n30.00 200\n")


def test_flags_of_a_file_nest_to_any_depth(tmp_path):
    assert _read(tmp_path, f"# flags: {'[' * 100_000}\n{_table()}").size == 60
