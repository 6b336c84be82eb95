"""The table as it is stored: datasets that survive netCDF, one sample or many."""

import numpy as np
import pytest
import xarray as xr

from xrdorder.results.netcdf import netcdf
from xrdorder.uncertainty import Contributions, collate, from_dataset, separate, to_dataset


def equal(one, two):
    assert (one.quantities, one.sources, one.groups) == (two.quantities, two.sources, two.groups)
    np.testing.assert_array_equal(one.values, two.values)


@pytest.fixture
def one():
    return Contributions(
        ("a", "b"), ("counting/0", "certificate"), np.array([[1.0, -2.0], [0.0, 3.0]]), ("", "srm")
    )


@pytest.fixture
def two():
    return Contributions(("b", "c"), ("wavelength",), np.array([[5.0], [np.nan]]), ("cu-ka",))


def test_one_sample_survives_netcdf(tmp_path, one):
    (tmp_path / "t.nc").write_bytes(netcdf(to_dataset(one)))
    with xr.open_dataset(tmp_path / "t.nc", engine="h5netcdf") as stored:
        equal(from_dataset(stored), one)


def test_many_samples_survive_netcdf_and_come_back_one_by_one(tmp_path, one, two):
    (tmp_path / "t.nc").write_bytes(netcdf(collate({"p": one, "q": two})))
    with xr.open_dataset(tmp_path / "t.nc", engine="h5netcdf") as stored:
        back = from_dataset(stored.sel(sample="p")).select(one.quantities)
        equal(back, one)
        other = from_dataset(stored.sel(sample="q"))
        assert other.total("b") == 5.0
        assert np.isnan(other.total("c"))
        assert np.isnan(other.total("a")), "a quantity a sample does not have is unknown, not exact"
        for name, table in separate(stored.transpose(*reversed(stored["contribution"].dims))).items():
            equal(table, from_dataset(stored.sel(sample=name)))
        assert stored["source_group"].sel(sample="q", source="certificate").item() == ""


def test_the_stored_table_needs_nothing_but_numpy(one, two):
    stored = collate({"p": one, "q": two})
    totals = np.sqrt((stored["contribution"] ** 2).sum("source"))
    assert totals.sel(sample="p", quantity="a").item() == pytest.approx(one.total("a"))


def test_what_the_stored_form_cannot_hold_is_refused():
    c = Contributions(("a",), ("certificate", "certificate"), np.array([[3.0, 4.0]]), ("one", "two"))
    with pytest.raises(ValueError, match=r"'p'.*certificate/1"):
        collate({"p": c})


def test_no_samples():
    assert collate({}).sizes == {"sample": 0, "quantity": 0, "source": 0}
