"""What is written reads back as the same pattern."""

import json
import os

import numpy as np
import pytest
import xarray as xr
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.patterns.curves import expected
from xrdorder.exceptions import PatternError
from xrdorder.patterns import read_pattern, write_pattern
from xrdorder.xrays import radiation

SUFFIXES = [".xy", ".txt", ".dat", ".csv", ".cif", ".nxs"]


def _pattern(counts, two_theta, time=1.0, assumed=1, variance=None, **attrs):
    counts = np.asarray(counts, dtype=np.float64)
    n = len(counts)
    variance = np.maximum(counts, 1.0) if variance is None else variance
    times = np.broadcast_to(np.asarray(time, dtype=np.float64), n).copy()
    base = {"radiation": "", "geometry": "reflection", "mount": "", "intensity_kind": "counts", "flags": "[]"}
    return xr.DataArray(
        counts,
        dims="two_theta",
        name="counts",
        coords={
            "two_theta": ("two_theta", np.asarray(two_theta, dtype=np.float64)),
            "counting_time": ("two_theta", times, {"assumed": assumed}),
            "variance": ("two_theta", variance),
        },
        attrs=base | attrs,
    )


def _same(pattern, back, path):
    assert np.array_equal(back["two_theta"], pattern["two_theta"])
    assert np.array_equal(back, pattern)
    assert np.array_equal(back["counting_time"], pattern["counting_time"])
    assert back["counting_time"].attrs["assumed"] == pattern["counting_time"].attrs["assumed"]
    # The file holds standard uncertainties; root and square cost a digit.
    assert back["variance"].values == pytest.approx(pattern["variance"].values, rel=1e-14)
    for key in set(pattern.attrs) - {"source_file", "sha256", "flags"}:
        assert back.attrs[key] == pattern.attrs[key], key
    if path.suffix != ".cif":
        assert back.attrs["flags"] == pattern.attrs["flags"]
    assert back.attrs["source_file"] == path.name


def _round_trip(pattern, path):
    write_pattern(pattern, path)
    back = read_pattern(path)
    _same(pattern, back, path)
    return back


@pytest.fixture(scope="module")
def counts():
    x, y = expected(step=0.05)
    return x, np.random.default_rng(3).poisson(y).astype(float)


@pytest.mark.slow
@pytest.mark.parametrize("suffix", SUFFIXES)
@pytest.mark.parametrize("name", ["cu-ka", "cu-ka1", "mo-ka", "0.0413 nm", ""])
def test_counts(tmp_path, counts, suffix, name):
    x, y = counts
    attrs = {"radiation": name, "mount": "wires-laid-flat", "temperature_c": 22.5}
    if name:
        attrs["wavelength_nm"] = radiation(name).wavelength_nm
    _round_trip(_pattern(y, x, time=1.5, assumed=0, **attrs), tmp_path / f"a{suffix}")


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_wavelength_without_a_name(tmp_path, counts, suffix):
    x, y = counts
    _round_trip(_pattern(y, x, wavelength_nm=0.154056), tmp_path / f"a{suffix}")


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_intensities_with_uncertainties_and_flags(tmp_path, counts, suffix):
    x, y = counts
    flags = json.dumps([["not-counts", "processed; µ and ; and # inside"]], ensure_ascii=False)
    pattern = _pattern(
        y / 3.7,
        x,
        variance=y / 3.7**2 + 0.1,
        intensity_kind="intensities",
        flags=flags,
        geometry="transmission",
    )
    _round_trip(pattern, tmp_path / f"a{suffix}")


@pytest.mark.parametrize("suffix", SUFFIXES)
@pytest.mark.parametrize("geometry", ["", "capillary"])
def test_geometries(tmp_path, counts, suffix, geometry):
    x, y = counts
    _round_trip(_pattern(y, x, geometry=geometry), tmp_path / f"a{suffix}")


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_counts_with_other_uncertainties(tmp_path, counts, suffix):
    x, y = counts
    _round_trip(_pattern(y, x, variance=1.3 * np.maximum(y, 1.0)), tmp_path / f"a{suffix}")


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_overlapping_ranges_with_their_times(tmp_path, suffix):
    rng = np.random.default_rng(1)
    a, b = np.arange(200, 400) / 10, np.arange(300, 600, 2) / 10
    x = np.concatenate([a, b, [39.9]])
    times = np.concatenate([np.full(200, 1.0), np.full(150, 4.0), [2.5]])
    order = np.argsort(x, kind="stable")
    pattern = _pattern(rng.poisson(50, 351), x[order], time=times[order], assumed=0)
    back = _round_trip(pattern, tmp_path / f"a{suffix}")
    assert len(set(back["counting_time"].values)) == 3


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_what_was_read_can_be_written_and_read_again(tmp_path, counts, suffix):
    x, y = counts
    first = tmp_path / "first.xy"
    rows = "\n".join(f"{a:.4f} {c / 4:g}" for a, c in zip(x, y, strict=True))
    first.write_text(f"# Cu K-alpha\n# counting_time_s: 4\n{rows}\n")
    pattern = read_pattern(first)
    assert pattern.attrs["intensity_kind"] == "intensities"
    back = _round_trip(pattern, tmp_path / f"again{suffix}")
    assert pattern.drop_vars("variance").drop_attrs().identical(back.drop_vars("variance").drop_attrs())


@pytest.mark.slow
@given(
    points=st.lists(
        st.tuples(st.integers(1, 1_700_000), st.integers(0, 10**7), st.sampled_from([0.5, 1.0, 2.25])),
        min_size=3,
        max_size=40,
        unique_by=lambda p: p[0],
    ),
    suffix=st.sampled_from([".xy", ".csv", ".cif", ".nxs"]),
    known=st.booleans(),
    noise=st.booleans(),
)
@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_round_trips(tmp_path, points, suffix, known, noise):
    points = sorted(points)
    x = 4.0 + np.array([p[0] for p in points]) / 1e4
    y = np.array([float(p[1]) for p in points]) + (np.pi - 3.0 if noise else 0.0)
    if not y.any():
        y[0] = 1.0
    times = [p[2] for p in points] if known else 1.0
    kind = "intensities" if noise else "counts"
    variance = y + 0.7 if noise else None
    pattern = _pattern(y, x, time=times, assumed=int(not known), variance=variance, intensity_kind=kind)
    path = tmp_path / f"a{suffix}"
    write_pattern(pattern, path)
    back = read_pattern(path)
    if back.attrs["intensity_kind"] != kind:  # twenty counts and more with a common divisor are no counts
        pattern.attrs["intensity_kind"] = back.attrs["intensity_kind"]
        pattern["variance"] = back["variance"]
    pattern.attrs["flags"] = back.attrs["flags"]
    _same(pattern, back, path)


def test_a_failed_write_leaves_the_old_file(tmp_path, counts, monkeypatch):
    x, y = counts
    path = tmp_path / "a.xy"
    path.write_text("old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(PatternError, match=r"a\.xy: cannot be written \(No space left on device\)"):
        write_pattern(_pattern(y, x), path)
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.xy"]


def test_bad_targets(tmp_path, counts):
    x, y = counts
    pattern = _pattern(y, x)
    with pytest.raises(PatternError, match=r"no format for the suffix '\.doc'; use one of \.xy"):
        write_pattern(pattern, tmp_path / "a.doc")
    with pytest.raises(PatternError, match="cannot be written"):
        write_pattern(pattern, tmp_path / "missing" / "a.xy")
    (tmp_path / "folder.xy").mkdir()
    with pytest.raises(PatternError, match="cannot be written"):
        write_pattern(pattern, tmp_path / "folder.xy")
