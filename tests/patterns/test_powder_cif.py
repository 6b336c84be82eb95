"""Powder CIF, old and new, as instruments and journals write it."""

import json

import numpy as np
import pytest

from xrdorder.exceptions import PatternError
from xrdorder.patterns import read_pattern

ANGLES = np.round(20.0 + 0.02 * np.arange(50), 2)
COUNTS = np.random.default_rng(1).poisson(200.0, 50)


def _loop(*columns, names):
    rows = "\n".join(" ".join(str(v) for v in row) for row in zip(*columns, strict=True))
    return "loop_\n" + "\n".join(names) + "\n" + rows + "\n"


SCAN = _loop([f"{a:.2f}" for a in ANGLES], COUNTS, names=("_pd_meas_2theta_scan", "_pd_meas_counts_total"))
RANGE = "_pd_meas_2theta_range_min 20.00\n_pd_meas_2theta_range_max 20.98\n_pd_meas_2theta_range_inc 0.02\n"
COUNTS_ONLY = _loop(COUNTS, names=("_pd_meas_counts_total",))


def _read(tmp_path, content, name="scan.cif", **options):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_pattern(path, **options)


FILES = {
    "looped angles": "data_a\n" + SCAN,
    "range and step": "data_a\n" + RANGE + COUNTS_ONLY,
    "start and step": "data_a\n" + RANGE.replace("_pd_meas_2theta_range_max 20.98\n", "") + COUNTS_ONLY,
    "start and end": "data_a\n" + RANGE.replace("_pd_meas_2theta_range_inc 0.02\n", "") + COUNTS_ONLY,
    "end one step beyond": "data_a\n" + RANGE.replace("20.98", "21.00") + COUNTS_ONLY,
    "angles and counts in two loops": "data_a\n"
    + _loop([f"{a:.2f}" for a in ANGLES], names=("_pd_meas_2theta_scan",))
    + COUNTS_ONLY,
    "dotted names": "data_a\n" + SCAN.replace("_pd_meas_", "_pd_meas."),
    "capital names": "data_a\n" + SCAN.replace("_pd_meas_counts_total", "_PD_meas_COUNTS_total"),
    "comments, marker and windows line ends": ("#\\#CIF_1.1\n# made by hand\n\ndata_a\n" + SCAN).replace(
        "\n", "\r\n"
    ),
    "byte-order mark": "\ufeff#\\#CIF_2.0\ndata_a\n" + SCAN,
    "CIF 2.0 with triple quotes, lists and tables": "#\\#CIF_2.0\ndata_a\n_a '''two\nlines with [ and data_'''\n"
    '_b [1 2 [3 "x]"]]\n_c {\'k\':"v" \'l\':[1 2]}\n_d """it\'s"""\n_e\n;text [1\n;\n' + SCAN,
    "several spellings of a number": "data_a\n" + SCAN.replace(f" {COUNTS[0]}\n", f" {COUNTS[0]}.0\n", 1),
}


@pytest.mark.parametrize("case", FILES)
def test_ways_of_writing(tmp_path, case):
    pattern = _read(tmp_path, FILES[case])
    assert pattern["two_theta"].values == pytest.approx(ANGLES, abs=1e-9)
    assert np.array_equal(pattern, COUNTS)
    assert pattern.attrs["intensity_kind"] == "counts"


def test_a_cif_is_recognised_without_its_suffix(tmp_path):
    assert np.array_equal(_read(tmp_path, "# exported\ndata_a\n" + SCAN, name="scan.txt"), COUNTS)


def test_rounded_step_yields_to_the_ends(tmp_path):
    # 0.0131303 printed as 0.013: after 49 steps the angles would be off by 0.006 degrees.
    head = "data_a\n_pd_meas_2theta_range_min 20\n_pd_meas_2theta_range_max 20.6434\n_pd_meas_2theta_range_inc 0.013\n"
    pattern = _read(tmp_path, head + COUNTS_ONLY)
    assert pattern["two_theta"].values[-1] == pytest.approx(20.6434)


def test_what_the_file_says(tmp_path):
    head = (
        "data_a\n_diffrn_radiation_type 'Mo K\\a'\n_diffrn_radiation_wavelength 0.71073\n"
        "_diffrn_ambient_temperature 295.7(5)\n_pd_spec_mount_mode transmission\n_pd_meas_step_count_time 12.5\n"
        "_pd_spec_mount 'whole-filaments'\n"
    )
    pattern = _read(tmp_path, head + SCAN)
    assert pattern.attrs["radiation"] == "mo-ka"  # 0.71073 angstrom is the mean over its doublet
    assert pattern.attrs["wavelength_nm"] == pytest.approx(0.0709317, rel=1e-5)
    assert pattern.attrs["temperature_c"] == pytest.approx(22.55)
    assert pattern.attrs["geometry"] == "transmission"
    assert pattern.attrs["mount"] == "whole-filaments"
    assert np.all(pattern["counting_time"] == 12.5)
    assert pattern.attrs["flags"] == "[]"


@pytest.mark.parametrize(
    ("words", "radiation"),
    [
        (
            "loop_\n_diffrn_radiation_wavelength\n_diffrn_radiation_wavelength_wt\n1.540593 1.0\n1.544427 0.5\n",
            "cu-ka",
        ),
        ("_diffrn_source_target Co\n_diffrn_radiation_xray_symbol 'K-L~3~'\n", "co-ka1"),
        ("_diffrn_radiation_wavelength 0.41328(2)\n", "0.041328 nm"),
        ("_diffrn_radiation_wavelength 1.5406\n", ""),
        ("_diffrn_radiation.type 'Cu K\\a~1~'\n", "cu-ka1"),
    ],
)
def test_radiation(tmp_path, words, radiation):
    assert _read(tmp_path, "data_a\n" + words + SCAN).attrs["radiation"] == radiation


def test_radiation_may_stand_in_another_block(tmp_path):
    pattern = _read(tmp_path, "data_all\n_diffrn_radiation_type 'Fe K\\a'\ndata_pattern\n" + SCAN)
    assert pattern.attrs["radiation"] == "fe-ka"


def test_uncertainties_in_brackets(tmp_path):
    values = [f"{c / 10:.1f}({round(c**0.5)})" for c in COUNTS]
    text = "data_a\n" + RANGE + _loop(values, names=("_pd_meas_intensity_total",))
    pattern = _read(tmp_path, text)
    assert pattern.values == pytest.approx(COUNTS / 10)
    # 20.0(14) is 20.0 with 1.4.
    assert pattern["variance"].values == pytest.approx((np.round(COUNTS**0.5) / 10) ** 2)
    assert pattern.attrs["intensity_kind"] == "intensities"


@pytest.mark.parametrize(
    ("value", "u"), [("1132(34)", 34.0), ("113.2(34)", 3.4), ("1.132e3(5)", 1.0 * 5), ("0.0012(3)", 3e-4)]
)
def test_digits_in_brackets_belong_to_the_last_ones(tmp_path, value, u):
    rest = ["100.5(10)"] * 49
    pattern = _read(tmp_path, "data_a\n" + RANGE + _loop([value, *rest], names=("_pd_meas_intensity_total",)))
    assert pattern["variance"].values[0] == pytest.approx(u**2)


def test_uncertainties_in_their_own_item_and_by_weight(tmp_path):
    su = np.round(COUNTS**0.5 / 3, 4)
    values = np.round(COUNTS / 3, 3)
    for names, column in (
        (("_pd_meas.intensity_total", "_pd_meas.intensity_total_su"), su),
        (("_pd_proc_intensity_total", "_pd_proc_ls_weight"), [f"{1 / s**2:.10g}" for s in su]),
    ):
        pattern = _read(tmp_path, "data_a\n" + RANGE + _loop(values, column, names=names))
        assert pattern.values == pytest.approx(values)
        assert pattern["variance"].values == pytest.approx(su**2)


def test_counts_are_preferred_to_what_was_made_of_them(tmp_path):
    names = (
        "_pd_meas_2theta_scan",
        "_pd_proc_2theta_corrected",
        "_pd_proc_intensity_total",
        "_pd_meas_counts_total",
    )
    columns = ([f"{a:.2f}" for a in ANGLES], [f"{a + 0.1:.2f}" for a in ANGLES], COUNTS / 2.5, COUNTS)
    pattern = _read(tmp_path, "data_a\n" + _loop(*columns, names=names))
    assert np.array_equal(pattern, COUNTS)
    assert pattern["two_theta"].values == pytest.approx(ANGLES)


def test_net_intensities_are_flagged(tmp_path):
    values = [f"{c}({round(c**0.5)})" for c in COUNTS]
    pattern = _read(tmp_path, "data_a\n" + RANGE + _loop(values, names=("_pd_proc_intensity_net",)))
    assert "background-removed" in [name for name, _ in json.loads(pattern.attrs["flags"])]


def test_masked_points_are_left_out(tmp_path):
    counts = [str(c) for c in COUNTS]
    counts[10], counts[11] = "?", "."
    pattern = _read(tmp_path, "data_a\n" + RANGE + _loop(counts, names=("_pd_meas_counts_total",)))
    assert pattern.sizes["two_theta"] == 48
    assert 20.2 not in pattern["two_theta"].values.round(2)


def test_points_may_have_their_own_times(tmp_path):
    times = np.where(ANGLES < 20.5, 1, 4)
    names = ("_pd_meas_2theta_scan", "_pd_meas_counts_total", "_pd_meas_step_count_time")
    pattern = _read(tmp_path, "data_a\n" + _loop([f"{a:.2f}" for a in ANGLES], COUNTS, times, names=names))
    assert np.array_equal(pattern["counting_time"], times)


def test_blocks_are_ranges(tmp_path):
    second = SCAN.replace(" 2", " 2")
    for a in reversed(ANGLES):
        second = second.replace(f"{a:.2f}", f"{a + 0.5:.2f}")
    text = f"data_a\n_pd_meas_step_count_time 1\n{SCAN}data_b\n_pd_meas_step_count_time 2\n{second}"
    pattern = _read(tmp_path, text)
    assert pattern.sizes["two_theta"] == 100
    assert np.all(np.diff(pattern["two_theta"]) >= 0.0)
    assert np.array_equal(pattern[pattern["counting_time"].values == 1.0], COUNTS)


def test_blocks_of_one_scan_are_summed(tmp_path):
    assert np.array_equal(_read(tmp_path, f"data_a\n{SCAN}data_b\n{SCAN}"), 2 * COUNTS)


def test_d_spacings_and_q_need_no_telling(tmp_path):
    wavelength = 0.1540590
    sine = np.sin(np.radians(ANGLES / 2))
    head = "data_a\n_diffrn_radiation_wavelength 1.540590\n"
    for item, column in (
        ("_pd_proc_d_spacing", 10 * wavelength / (2 * sine)),
        ("_pd_proc_recip_len_Q", 0.4 * np.pi * sine / wavelength),
    ):
        text = head + _loop([repr(float(v)) for v in column], COUNTS, names=(item, "_pd_meas_counts_total"))
        assert _read(tmp_path, text)["two_theta"].values == pytest.approx(ANGLES, abs=1e-9)


DOTTED = ("_pd_meas.2theta_scan", "_pd_meas.counts_total")
TWO = "".join(
    f"data_{name}\n_pd_diffractogram.id {name}\n"
    + _loop([f"{angle:.2f}" for angle in ANGLES + shift], COUNTS + add, names=DOTTED)
    for name, shift, add in (("lab6", 0.0, 0), ("wire", 0.01, 1))
)


def test_which_of_two_diffractograms_is_for_the_user_to_say(tmp_path):
    with pytest.raises(PatternError, match=r"scan\.cif: holds the diffractograms 'lab6', 'wire'.*option diffractogram"):
        _read(tmp_path, TWO)
    assert np.array_equal(_read(tmp_path, TWO, diffractogram="lab6"), COUNTS)
    assert np.array_equal(_read(tmp_path, TWO, diffractogram="wire"), COUNTS + 1)
    assert _read(tmp_path, TWO, diffractogram="all").sizes["two_theta"] == 100
    with pytest.raises(PatternError, match="no diffractogram 'si', the file holds 'lab6', 'wire'"):
        _read(tmp_path, TWO, diffractogram="si")
    with pytest.raises(PatternError, match="no diffractogram 'si', the file names none"):
        _read(tmp_path, "data_a\n" + SCAN, diffractogram="si")


@pytest.mark.parametrize("item", ["_pd_diffractogram.id", "_pd_diffractogram_id"])
def test_blocks_of_one_diffractogram_are_its_scans(tmp_path, item):
    text = "".join(f"data_{name}\n{item} one\n{SCAN}" for name in "ab")
    assert np.array_equal(_read(tmp_path, text), 2 * COUNTS)
    assert np.array_equal(_read(tmp_path, text.replace("one", "?", 1)), 2 * COUNTS)  # one that names none


def test_points_of_two_diffractograms_in_one_loop_are_refused(tmp_path):
    names = ("_pd_data.diffractogram_id", "_pd_meas.2theta_scan", "_pd_meas.counts_total")
    ids = np.where(ANGLES < 20.5, "x", "y")
    with pytest.raises(PatternError, match="block data_a: points of the diffractograms x, y in one block"):
        _read(tmp_path, "data_a\n" + _loop(ids, ANGLES, COUNTS, names=names))


BAD = {
    "no pattern": ("data_a\n_cell_length_a 5.29\n", "without a measured powder pattern"),
    "a structure": (
        "data_a\nloop_\n_atom_site_label\n_atom_site_fract_x\nSn1 0\nNb1 0.25\n",
        "a crystal structure; it may serve as a phase",
    ),
    "only calculated": (
        "data_a\n" + COUNTS_ONLY.replace("meas_counts", "calc_intensity"),
        "only a calculated one",
    ),
    "no angles": ("data_a\n" + COUNTS_ONLY, "block data_a, 50 intensities but no angles"),
    "letters": (
        "data_a\n" + RANGE + "loop_\n_pd_meas_counts_total\n10 x 12\n",
        "value 2: 'x' is not a number",
    ),
    "NaN": (
        "data_a\n" + RANGE + "loop_\n_pd_meas_counts_total\n10 nan 12\n",
        "value 2: 'nan' is not a finite",
    ),
    "negative": (
        "data_a\n"
        + RANGE.replace("_pd_meas_2theta_range_max 20.98\n", "")
        + "loop_\n_pd_meas_intensity_total\n10 -3 12\n",
        "point 2: negative counts",
    ),
    "range and number disagree": (
        "data_a\n" + RANGE + _loop(COUNTS[:40], names=("_pd_meas_counts_total",)),
        "do not end at 20.98",
    ),
    "damaged": (
        "data_a\nloop_\n_pd_meas_2theta_scan\n_pd_meas_counts_total\n20.0 10\n20.02\n",
        "line 2: Wrong number",
    ),
    "no block": ("hello\n", "line 1: expected block header"),
    "an item twice": ("data_a\n_x 1\n_x 2\n", "duplicate tag _x"),
    "unfinished quote": ("data_a\n_x 'abc\n", "line 2: unterminated"),
    "neutrons": ("data_a\n_diffrn_radiation_probe neutron\n" + SCAN, "measured with neutrons"),
    "time of flight": (
        "data_a\n" + _loop(range(50), COUNTS, names=("_pd_meas_time_of_flight", "_pd_meas_counts_total")),
        "time-of-flight",
    ),
    "wavelength against type": (
        "data_a\n_diffrn_radiation_type 'Mo K\\a'\n_diffrn_radiation_wavelength 1.5406\n" + SCAN,
        "contradicts itself",
    ),
    "two specimens": (
        f"data_a\n_diffrn_ambient_temperature 293\n{SCAN}data_b\n_diffrn_ambient_temperature 900\n{SCAN}",
        "block data_b: temperature_c is 626.85, further up it is 19.85",
    ),
    "two axes": (
        f"data_a\n{SCAN}data_b\n" + SCAN.replace("_pd_meas_2theta_scan", "_pd_proc_d_spacing"),
        "different horizontal axes",
    ),
    "some times": (
        f"data_a\n_pd_meas_step_count_time 2\n{SCAN}data_b\n{SCAN}",
        "the counting time of one is known",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_files_get_one_clear_line(tmp_path, case):
    text, message = BAD[case]
    with pytest.raises(PatternError) as error:
        _read(tmp_path, text)
    assert message in str(error.value)
    assert "\n" not in str(error.value)
    assert "scan.cif" in str(error.value)


def _flags(pattern):
    return dict(json.loads(pattern.attrs["flags"]))


CORRECTED = _loop(
    [f"{a - 0.05:.2f}" for a in ANGLES], COUNTS, names=("_pd_proc_2theta_corrected", "_pd_meas_counts_total")
)


def test_measured_angles_come_before_corrected_ones(tmp_path):
    # An instrument takes its offset off: it must not have been taken off before.
    pattern = _read(tmp_path, "data_a\n" + RANGE + CORRECTED)
    assert pattern["two_theta"].values == pytest.approx(ANGLES, abs=1e-9)
    assert "angles-corrected" not in _flags(pattern)


def test_corrected_angles_alone_are_flagged(tmp_path):
    for head in ("", RANGE.replace("20.98", "99.0")):  # a range of another scan does not help
        pattern = _read(tmp_path, "data_a\n" + head + CORRECTED)
        assert pattern["two_theta"].values == pytest.approx(ANGLES - 0.05, abs=1e-9)
        assert "an instrument takes its offset off once more" in _flags(pattern)["angles-corrected"]


SPALLATION = "_diffrn_radiation_wavelength 2.57\n_diffrn_source 'spallation source'\n"


@pytest.mark.parametrize(
    "text",
    [
        "data_a\n" + SPALLATION + SCAN,
        "data_a\n" + SPALLATION.replace("_diffrn_source", "_diffrn_source.source") + SCAN,
        "data_a\n_diffrn_source 'nuclear reactor'\n" + SCAN,
        "data_a\n_diffrn_radiation.probe neutron\n" + SCAN,
        "data_b\n" + SPALLATION + "data_a\n" + SCAN,
    ],
)
def test_neutrons_are_no_counts_of_x_rays(tmp_path, text):
    with pytest.raises(PatternError, match="measured with neutrons; only X-ray patterns can be read"):
        _read(tmp_path, text)


def test_a_neutron_pattern_beside_does_not_matter(tmp_path):
    text = "data_b\n" + SPALLATION + "data_a\n_diffrn_radiation_type 'Cu K\\a'\n" + SCAN
    assert np.array_equal(_read(tmp_path, text), COUNTS)


@pytest.mark.parametrize(
    ("head", "why"),
    [
        ("_pd_meas_number_of_points 61\n", "it says 61 points and holds 50"),
        ("_pd_meas.number_of_points 61\n", "it says 61 points and holds 50"),
        ("_pd_meas_2theta_range_max 80.9\n", "it says 80.9 degrees and ends at 20.98"),
    ],
)
def test_a_file_that_holds_less_than_it_says(tmp_path, head, why):
    assert why in _flags(_read(tmp_path, "data_a\n" + head + SCAN))["ended-early"]


@pytest.mark.parametrize("head", ["_pd_meas_number_of_points 50\n", "_pd_meas_2theta_range_max 21.00\n", ""])
def test_a_whole_file_is_not_flagged(tmp_path, head):
    for text in ("data_a\n" + head + SCAN, ("data_a\n" + head + SCAN).rstrip()):
        assert _flags(_read(tmp_path, text)) == {}


@pytest.mark.parametrize("digits", [1, 2])
def test_a_file_that_ends_in_the_middle_of_a_number(tmp_path, digits):
    for text in ("data_a\n" + SCAN, "data_a\n" + RANGE.partition("_pd_meas_2theta_range_max")[0]
                 + "_pd_meas_2theta_range_inc 0.02\n" + COUNTS_ONLY):  # fmt: skip
        pattern = _read(tmp_path, text.rstrip()[:-digits])
        assert np.array_equal(pattern, COUNTS[:-1])
        assert "lacks digits; the point is left out" in _flags(pattern)["ended-early"]


def test_a_file_that_ends_in_the_middle_of_a_row_or_a_range(tmp_path):
    with pytest.raises(PatternError, match="damaged or cut short"):
        _read(tmp_path, "data_a\n" + SCAN.rstrip()[:-4])
    with pytest.raises(PatternError, match="complete the loop"):
        _read(tmp_path, "data_a\n" + RANGE + COUNTS_ONLY[:-40])


@pytest.mark.parametrize(
    "value", ["1e999(3)", "1e-5(3e9)", f"1({'9' * 400})", f"1({'9' * 5000})", "1e99999999(1)", "1_0"]
)
def test_numbers_that_no_computer_holds(tmp_path, value):
    text = "data_a\n" + SCAN.replace(f" {COUNTS[3]}\n", f" {value}\n", 1)
    with pytest.raises(PatternError, match=r"block data_a, _pd_meas_counts_total, value \d+: .*is not a") as error:
        _read(tmp_path, text)
    assert len(str(error.value)) < 200


@pytest.mark.parametrize(
    "item", ["_diffrn_ambient_temperature", "_diffrn_radiation_wavelength", "_pd_meas_number_of_points"]
)
@pytest.mark.parametrize("value", ["1e999", "-1e999(3)", "nan", f"1({'9' * 400})", "."])
def test_numbers_about_a_scan_that_no_computer_holds(tmp_path, item, value):
    try:
        pattern = _read(tmp_path, f"data_a\n{item} {value}\n{SCAN}")
    except PatternError as error:
        assert "\n" not in str(error)
    else:
        assert np.array_equal(pattern, COUNTS)
