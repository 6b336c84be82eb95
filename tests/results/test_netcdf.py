"""What is written is netCDF-4: xarray, by its own reader of netCDF, finds what was put in, and so do we."""

import io

import h5py
import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from xrdorder.results.netcdf import netcdf, read_groups, read_root


def texts(*words):
    return np.array(words, dtype=object)


DATASETS = {
    "bare dimension": xr.Dataset(
        {"area": ("line", [1.0, np.nan], {"units": "counts"}), "order": ("line", np.array([1, 2], np.int8))},
        coords={"phase": ("line", texts("nb3sn", "nb")), "hkl": ("line", texts("1 1 0", "2 0 0"))},
    ),
    "two dimensions": xr.Dataset(
        {"covariance": (("free", "free_too"), np.eye(2), {"long_name": "covariance of what was free"})},
        coords={"free": texts("a", "b"), "free_too": texts("a", "ü")},
        attrs={"flags": '[["µ", "ä"]]', "range": [18.0, 140.0], "number": 3},
    ),
    "nothing in it": xr.Dataset({"x": ("none", np.array([])), "y": (("none", "some"), np.zeros((0, 2)))}),
    "no numbers": xr.Dataset(coords={"name": texts()}),
}


@pytest.mark.parametrize("name", DATASETS)
def test_what_is_written_is_netcdf(name, tmp_path):
    given, path = DATASETS[name], tmp_path / "a.nc"
    path.write_bytes(netcdf(given, {"inner": given}))
    for group in (None, "inner"):
        read = xr.load_dataset(path, engine="h5netcdf", group=group)
        # attributes of several numbers come back as an array
        xr.testing.assert_identical(read.assign_attrs({k: plain(v) for k, v in read.attrs.items()}), given)
        assert set(read.coords) == set(given.coords)
    content = path.read_bytes()
    for read in (read_root(content), read_groups(content, ["inner", "none"])["inner"]):
        xr.testing.assert_identical(read, given)


def test_equal_results_are_equal_files_whenever_they_are_written():
    """HDF5 stamps what it makes with the time, to the second, unless asked not to."""
    stamped = []
    with h5py.File(io.BytesIO(netcdf(DATASETS["bare dimension"])), "r") as file:
        file.visititems(lambda name, item: stamped.append(h5py.h5g.get_objinfo(item.id).mtime))
    assert set(stamped) == {0}


def plain(value):
    return value.tolist() if isinstance(value, np.ndarray | np.generic) else value


WORDS = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=12)
ATTRS = st.dictionaries(st.sampled_from(["units", "long_name", "note"]), WORDS.filter(bool), max_size=2)
KINDS = ("<f8", "<f4", "<i8", "|i1", "words")


@st.composite
def datasets(draw):
    """Any numbers and texts over any of two dimensions."""
    sizes = {"line": draw(st.integers(0, 4)), "free": draw(st.integers(1, 3))}
    variables = {}
    for number, kind in enumerate(draw(st.lists(st.sampled_from(KINDS), max_size=4))):
        dims = draw(st.sampled_from([(), ("line",), ("free",), ("line", "free")]))
        shape = tuple(sizes[name] for name in dims)
        elements = WORDS if kind == "words" else None
        values = draw(hnp.arrays(object if kind == "words" else np.dtype(kind), shape, elements=elements))
        variables[f"v{number}"] = (dims, values, draw(ATTRS))
    return xr.Dataset(variables, attrs=draw(ATTRS))


@pytest.mark.slow
@settings(max_examples=60)
@given(root=datasets(), inner=datasets())
def test_any_numbers_and_texts_come_back(root, inner):
    content = netcdf(root, {"inner": inner})
    for read, given_ in ((read_root(content), root), (read_groups(content, ["inner"])["inner"], inner)):
        assert set(read.variables) == set(given_.variables) and read.attrs == given_.attrs
        for name, variable in given_.variables.items():
            found = read.variables[name]
            assert (found.dims, found.attrs) == (variable.dims, variable.attrs)
            np.testing.assert_array_equal(found.values, variable.values)
            assert found.dtype.kind == variable.dtype.kind
