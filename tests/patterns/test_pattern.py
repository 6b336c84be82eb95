"""One file or several, what options add, and files that cannot be had."""

import hashlib
import json
import os

import numpy as np
import pytest
import xarray as xr
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from xrdorder.exceptions import PatternError, UnknownNameError
from xrdorder.patterns import read_pattern, read_patterns
from xrdorder.xrays import radiation

ANGLES = np.round(20.0 + 0.02 * np.arange(200), 2)


def _scan(path, seed=1, head="", angles=ANGLES, mean=200.0, factor=1.0):
    counts = np.random.default_rng(seed).poisson(mean, len(angles)) * factor
    path.write_text(head + "".join(f"{a:.2f} {c:g}\n" for a, c in zip(angles, counts, strict=True)))
    return path, counts


def _flags(pattern):
    return [name for name, _ in json.loads(pattern.attrs["flags"])]


def test_what_is_returned(tmp_path):
    path, counts = _scan(tmp_path / "a.xy")
    pattern = read_pattern(path, radiation="cu-ka", mount="ground-powder", counting_time_s=2)
    assert pattern.name == "counts"
    assert pattern.dims == ("two_theta",)
    assert set(pattern.coords) == {"two_theta", "counting_time", "variance"}
    assert pattern["two_theta"].attrs["units"] == "degree"
    assert np.all(pattern["counting_time"] == 2.0)
    assert pattern["counting_time"].attrs["assumed"] == 0
    assert np.array_equal(pattern["variance"], np.maximum(counts, 1))
    assert pattern.attrs == {
        "radiation": "cu-ka",
        "wavelength_nm": radiation("cu-ka").wavelength_nm,
        "geometry": "",
        "mount": "ground-powder",
        "source_file": "a.xy",
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        "intensity_kind": "counts",
        "flags": "[]",
    }


def test_without_any_radiation_there_is_no_wavelength(tmp_path):
    pattern = read_pattern(_scan(tmp_path / "a.xy")[0])
    assert pattern.attrs["radiation"] == ""
    assert "wavelength_nm" not in pattern.attrs


def test_a_transmission_mount_means_transmission(tmp_path):
    assert read_pattern(_scan(tmp_path / "a.xy")[0], mount="transmission").attrs["geometry"] == "transmission"


def test_a_capillary_may_be_called_transmission_by_the_file(tmp_path):
    path, _ = _scan(tmp_path / "a.xy", head="# geometry: transmission\n")
    assert read_pattern(path, geometry="capillary").attrs["geometry"] == "capillary"


def test_it_survives_netcdf(tmp_path):
    head = "# temperature_c: 22.0\n# Cu Ka\n"
    pattern = read_pattern(_scan(tmp_path / "a.xy", head=head, factor=0.5)[0])
    pattern.to_netcdf(tmp_path / "a.nc", engine="h5netcdf")
    back = xr.load_dataarray(tmp_path / "a.nc", engine="h5netcdf")
    assert back.identical(pattern)


def test_repeated_scans_are_summed(tmp_path):
    files, counts = zip(*(_scan(tmp_path / f"{n}.xy", seed=n) for n in range(3)), strict=True)
    pattern = read_patterns(files, counting_time_s=2.0)
    assert np.array_equal(pattern, sum(counts))
    assert np.array_equal(pattern["variance"], sum(counts))
    assert np.all(pattern["counting_time"] == 6.0)
    assert pattern.attrs["source_file"] == "0.xy, 1.xy, 2.xy"
    hashes = "".join(hashlib.sha256(f.read_bytes()).hexdigest() for f in files)
    assert pattern.attrs["sha256"] == hashlib.sha256(hashes.encode()).hexdigest()
    assert _flags(pattern) == ["summed-scans"]


def test_encoder_scatter_is_no_other_angle(tmp_path):
    a, first = _scan(tmp_path / "a.xy")
    counts = np.random.default_rng(7).poisson(200.0, 200)
    b = tmp_path / "b.xy"
    b.write_text("".join(f"{x + 0.0001:.4f} {c}\n" for x, c in zip(ANGLES, counts, strict=True)))
    assert np.array_equal(read_patterns([a, b]), first + counts)


def test_ranges_of_several_files_are_joined(tmp_path):
    a, first = _scan(tmp_path / "a.xy", head="# counting_time_s: 1\n")
    b, second = _scan(tmp_path / "b.xy", head="# counting_time_s: 5\n", angles=ANGLES + 3.0, mean=1000.0)
    pattern = read_patterns([b, a])
    assert pattern.sizes["two_theta"] == 400
    assert np.all(np.diff(pattern["two_theta"]) >= 0.0)
    time = pattern["counting_time"].values
    assert np.array_equal(pattern.values[time == 1.0], first)
    assert np.array_equal(pattern.values[time == 5.0], second)


def test_one_path_is_enough(tmp_path):
    path, _ = _scan(tmp_path / "a.xy")
    assert read_patterns(path).identical(read_pattern(path))
    assert read_patterns(str(path)).identical(read_pattern(str(path)))


def test_scans_that_are_no_counts_add_their_variances(tmp_path):
    files, values = zip(*(_scan(tmp_path / f"{n}.xy", seed=n, factor=0.5) for n in range(2)), strict=True)
    pattern = read_patterns(files)
    assert pattern.attrs["intensity_kind"] == "intensities"
    assert pattern.values == pytest.approx(sum(values))
    assert pattern["variance"].values == pytest.approx(0.5 * sum(values), rel=1e-3)


@pytest.mark.parametrize(
    ("first", "second", "message"),
    [
        ("# Cu Ka\n", "# Mo Ka\n", "radiation is mo-ka, in a.xy it is cu-ka"),
        ("# mount: polished-section\n", "# mount: ground-powder\n", "mount is ground-powder"),
        ("# geometry: transmission\n", "# geometry: reflection\n", "geometry is reflection"),
        ("# temperature_c: 20\n", "# temperature_c: 60\n", "temperature_c is 60"),
        ("# counting_time_s: 2\n", "", "counting time of one is known"),
    ],
)
def test_files_must_agree(tmp_path, first, second, message):
    a, _ = _scan(tmp_path / "a.xy", head=first)
    b, _ = _scan(tmp_path / "b.xy", seed=2, head=second)
    with pytest.raises(PatternError, match=r"b\.xy") as error:
        read_patterns([a, b])
    assert message in str(error.value)


def test_files_may_leave_open_what_another_says(tmp_path):
    a, _ = _scan(tmp_path / "a.xy")
    b, _ = _scan(tmp_path / "b.xy", seed=2, head="# Cu Ka\n# temperature_c: 21\n")
    attrs = read_patterns([a, b]).attrs
    assert (attrs["radiation"], attrs["temperature_c"]) == ("cu-ka", 21.0)


def test_temperatures_of_one_room_agree(tmp_path):
    a, _ = _scan(tmp_path / "a.xy", head="# temperature_c: 22.0\n")
    b, _ = _scan(tmp_path / "b.xy", seed=2, head="# temperature_c: 23.0\n")
    assert read_patterns([a, b]).attrs["temperature_c"] == 22.0


def test_a_scan_is_not_counted_twice(tmp_path):
    a, _ = _scan(tmp_path / "a.xy")
    b = tmp_path / "copy.xy"
    b.write_bytes(a.read_bytes())
    with pytest.raises(PatternError, match=r"copy\.xy: the same content is given twice"):
        read_patterns([a, b])


def test_counts_and_other_things_are_not_summed(tmp_path):
    a, _ = _scan(tmp_path / "a.xy")
    b, _ = _scan(tmp_path / "b.xy", seed=2, factor=0.5)
    with pytest.raises(PatternError, match="one holds counts, another does not"):
        read_patterns([a, b])


def test_no_files():
    with pytest.raises(PatternError, match="no pattern file is named"):
        read_patterns([])


@pytest.mark.parametrize(
    ("head", "options"),
    [
        ("# wavelength_nm: 0.070932\n", {"radiation": "cu-ka"}),
        ("# Mo Ka\n", {"radiation": "cu-ka"}),
        ("# wavelength_nm: 0.15430\n", {"radiation": "cu-ka1"}),  # 0.16 % off a single line
        ("# geometry: transmission\n", {"geometry": "reflection"}),
        ("# mount: polished-section\n", {"mount": "ground-powder"}),
        ("# counting_time_s: 2\n", {"counting_time_s": 3.0}),
    ],
)
def test_file_against_option_is_an_error(tmp_path, head, options):
    path, _ = _scan(tmp_path / "a.xy", head=head)
    with pytest.raises(PatternError, match=r"^a\.xy: .*(leave the option out or correct the file)") as error:
        read_pattern(path, **options)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("head", "name"),
    [
        ("# wavelength_nm: 0.154059\n", "cu-ka"),
        ("# wavelength_nm: 0.15418\n", "cu-ka"),  # mean of the doublet, 0.08 % off its stronger line
        ("# wavelength_nm: 0.071073\n", "mo-ka"),  # mean of the doublet, 0.2 % off its stronger line
        ("# Cu Ka\n", "cu-ka1"),  # the caller knows of a monochromator
        ("# wavelength_nm: 0.0413\n", "0.0413 nm"),
    ],
)
def test_file_and_option_that_mean_the_same(tmp_path, head, name):
    path, _ = _scan(tmp_path / "a.xy", head=head)
    assert read_pattern(path, radiation=name).attrs["radiation"] == name


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"axis": "energy"}, "axis 'energy' is not known; use one of two-theta, d, q"),
        ({"axis": "d", "radiation": "cu-ka"}, "give axis_unit, nm or angstrom"),
        ({"axis": "q", "axis_unit": "1/angstrom"}, "give the radiation"),
        ({"axis": "q", "axis_unit": "nm"}, "does not go with the axis q"),
        ({"axis": "q", "axis_unit": "1/angstrom", "radiation": "cu-ka"}, "out of reach"),
        ({"mount": "glued"}, "mount 'glued' is not known; use one of ground-powder"),
        ({"geometry": "oblique"}, "geometry 'oblique' is not known"),
        ({"counting_time_s": 0.0}, "give seconds a point"),
        ({"counting_time_s": float("nan")}, "give seconds a point"),
        ({"counting_time_s": [1.0, 2.0]}, "2 counting times to 1 range"),
    ],
)
def test_bad_options(tmp_path, options, message):
    path, _ = _scan(tmp_path / "a.xy")
    with pytest.raises(PatternError) as error:
        read_pattern(path, **options)
    assert message in str(error.value)
    assert "\n" not in str(error.value)


def test_unknown_radiation(tmp_path):
    path, _ = _scan(tmp_path / "a.xy")
    with pytest.raises(UnknownNameError, match="cu-ka"):
        read_pattern(path, radiation="unobtainium")


def test_files_that_cannot_be_had(tmp_path):
    with pytest.raises(PatternError, match="no such file"):
        read_pattern(tmp_path / "missing.xy")
    with pytest.raises(PatternError, match="a directory"):
        read_pattern(tmp_path)
    with pytest.raises(PatternError, match="cannot be read"):
        read_pattern("a\0b")
    with pytest.raises(PatternError, match=r"no such file|cannot be read"):
        read_pattern(_scan(tmp_path / "a.xy")[0] / "below a file")
    with pytest.raises(PatternError, match="not a regular file"):
        read_pattern(os.devnull)


def test_no_permission(tmp_path, monkeypatch):
    path, _ = _scan(tmp_path / "a.xy")
    path.chmod(0)
    if os.access(path, os.R_OK):  # the superuser may read everything

        def refuse(path, *_):
            raise PermissionError(13, "Permission denied", str(path))

        monkeypatch.setattr("os.open", refuse)
    with pytest.raises(PatternError, match="no permission to read the file"):
        read_pattern(path)


@pytest.mark.parametrize(
    "data",
    [
        bytes(range(256)) * 20,
        np.random.default_rng(1).bytes(5000),
        b"\x89PNG\r\n\x1a\n" + bytes(200),
        b"PK\x03\x04" + bytes(100),
        b"\x1f\x8b\x08" + np.random.default_rng(2).bytes(500),
        b"\xff\xfe" + b"\xd8" * 11,
    ],
)
@pytest.mark.parametrize("name", ["scan.xy", "scan.raw", "scan.cif"])
def test_binary_rubbish(tmp_path, data, name):
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(PatternError) as error:
        read_pattern(path)
    assert "\n" not in str(error.value)
    assert str(error.value).startswith(name)


def _is_pattern_or_error(path, data, **options):
    path.write_bytes(data)
    try:
        pattern = read_pattern(path, **options)
    except PatternError as error:
        assert "\n" not in str(error)
        assert path.name in str(error)
    else:
        assert np.all(np.isfinite(pattern))
        assert np.all(pattern >= 0.0)
        assert np.all(np.diff(pattern["two_theta"]) >= 0.0)
        assert np.all(pattern["variance"] > 0.0)
        assert np.all(np.isfinite(pattern["variance"]))
        assert 0.0 < pattern["two_theta"].values[0] <= pattern["two_theta"].values[-1] < 180.0


@given(data=st.binary(max_size=300), name=st.sampled_from(["a.xy", "a.cif", "a.nxs"]))
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes_are_a_pattern_or_a_pattern_error(tmp_path, data, name):
    _is_pattern_or_error(tmp_path / name, data)


@pytest.mark.slow
@given(text=st.text(alphabet="0123456789.,;\t \n\r-+eE#\"'_nafi", max_size=200))
@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_numbers_are_a_pattern_or_a_pattern_error(tmp_path, text):
    _is_pattern_or_error(tmp_path / "a.xy", text.encode())


@pytest.mark.slow
@given(
    lines=st.lists(
        st.lists(
            st.sampled_from(
                [
                    "20",
                    "20.1",
                    "20,2",
                    "21",
                    "25.5",
                    "0",
                    "7",
                    "3.5",
                    "1e3",
                    "nan",
                    "-1",
                    ",",
                    ";",
                    "\t",
                    "#",
                    "x",
                    '"',
                ]
            )
            | st.integers(0, 179).map(str),
            max_size=5,
        ).map(" ".join)
        | st.integers(1, 170).map(lambda n: f"{n} {n * n % 37}")
        | st.sampled_from(["", "# counting_time_s: 2", "# Cu Ka", "! wavelength: 1.5", "# flags: [1]"]),
        max_size=40,
    ),
    axis=st.sampled_from([None, "d", "q"]),
)
@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_rows_are_a_pattern_or_a_pattern_error(tmp_path, lines, axis):
    unit = {None: None, "d": "angstrom", "q": "1/nm"}[axis]
    _is_pattern_or_error(tmp_path / "a.xy", "\n".join(lines).encode(), axis=axis, axis_unit=unit)


@given(
    tokens=st.lists(
        st.sampled_from(
            ["data_a", "data_b", "loop_", "_pd_meas_2theta_scan", "_pd_meas_counts_total", "_pd_meas_2theta_range_min",
             "_pd_meas_2theta_range_inc", "_pd_proc_ls_weight", "_pd_meas_step_count_time", "20", "20.1", "20.2", "21",
             "3(1)", "?", ".", "'x'", "\n;\n", "[", "]", "'''", "#", "\n"]
        ),
        max_size=40,
    )
)  # fmt: skip
@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@pytest.mark.slow
def test_any_cif_is_a_pattern_or_a_pattern_error(tmp_path, tokens):
    _is_pattern_or_error(tmp_path / "a.cif", ("#\\#CIF_2.0\ndata_0\n" + " ".join(tokens)).encode())
