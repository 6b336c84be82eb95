"""What was stored comes back, and a damaged file is named as one."""

import os
from dataclasses import replace

import h5py
import numpy as np
import pytest
import xarray as xr

from tests.explanation import explained
from tests.results import made
from xrdorder.exceptions import StudyError
from xrdorder.files import atomic as files
from xrdorder.files.sealed import read_sealed
from xrdorder.results import sample_file as store
from xrdorder.results.sample_file import Provenance, StoredSample, read_sample, stored_sample, write_sample
from xrdorder.running.instruments import calibration_words
from xrdorder.running.interpretation import GROUP, fit_of, handed_on


@pytest.fixture
def path(tmp_path):
    return tmp_path / "a.nc"


def same(one, two):
    """Compare two stored samples field by field."""
    for name in ("name", "status", "values", "flags", "assumptions", "quality", "provenance", "quality_words", "trace",
                 "facts", "records"):  # fmt: skip
        assert getattr(one, name) == getattr(two, name), name
    for name in ("quantities", "sources", "groups"):
        assert getattr(one.contributions, name) == getattr(two.contributions, name)
    np.testing.assert_array_equal(one.contributions.values, two.contributions.values)
    assert set(one.groups) == set(two.groups)
    for name, group in one.groups.items():
        assert group.identical(two.groups[name]), name


def test_a_calibration_is_known_by_its_record(tmp_path):
    told = Provenance(
        input_sha256={"lab6.xy": "1f"}, options={"standard": "srm-660c"}, calibration="6a8c", created="2026-03-14"
    )
    write_sample(made.sample("calibration", provenance=told), tmp_path / "calibration-mo.nc")
    assert calibration_words(tmp_path, "6a8c") == "6a8c, by srm-660c, 2026-03-14; lab6.xy, SHA-256 1f"
    assert calibration_words(tmp_path, "77aa") == "77aa"


def test_everything_comes_back(path):
    sample = made.sample()
    write_sample(sample, path)
    same(read_sample(path), sample)
    assert list(path.parent.iterdir()) == [path]


def test_without_groups_the_rest_comes_back(path):
    write_sample(made.sample(), path)
    found = read_sample(path, groups=())
    assert found.groups == {}
    assert found.values == made.sample().values
    with pytest.raises(StudyError, match="has no curves"):
        _ = found.curves


def test_a_sample_without_cross_checks(path):
    groups = {name: group for name, group in made.sample().groups.items() if name != "cross_checks"}
    write_sample(made.sample(groups=groups), path)
    assert read_sample(path).cross_checks is None
    write_sample(made.sample(), path)
    assert read_sample(path).cross_checks.identical(made.cross_checks())


def test_a_failure_comes_back(path):
    sample = StoredSample("b", "failed: negative counts in line 7", trace="Traceback: ...")
    write_sample(sample, path)
    found = read_sample(path)
    same(found, sample)
    assert found.failed


def test_values_that_could_not_be_given_come_back_as_nan(path):
    values = made.VALUES | {"S_a": np.nan}
    write_sample(made.sample(values=values), path)
    found = read_sample(path)
    assert np.isnan(found.values["S_a"])
    assert found.values["a_nm"] == values["a_nm"]


def test_the_file_is_ordinary_netcdf(path):
    """Anybody can open it with xarray and recompute an uncertainty with numpy."""
    write_sample(made.sample(), path)
    with xr.open_dataset(path, engine="h5netcdf") as root:
        row = root["contribution"].sel(quantity="a_nm").values
        assert np.sqrt(np.sum(row**2)) == pytest.approx(made.contributions().total("a_nm"), rel=1e-14)
        assert root.attrs["status"] == "ok"
    with xr.open_dataset(path, engine="h5netcdf", group="curves") as curves:
        assert set(curves) == set(made.curves())
        assert curves["observed"].attrs["units"] == "counts"


def test_groups_are_read_as_xarray_reads_them(path):
    write_sample(made.sample(), path)
    for name, group in read_sample(path).groups.items():
        with xr.open_dataset(path, engine="h5netcdf", group=name) as found:
            assert found.load().identical(group), name


def test_a_sample_file_opens_as_a_tree(path):
    """Groups below a root inherit its dimensions, so none may hold another length under the same name."""
    sample = explained.sample()
    write_sample(replace(sample, groups={**sample.groups, GROUP: handed_on(sample, sample)}), path)
    with xr.open_datatree(path, engine="h5netcdf") as tree:
        assert set(tree.children) == set(read_sample(path).groups)
        assert tree[GROUP]["value"].size == tree[GROUP]["contribution"].size == 0  # all as the fit had it
        assert tree["curves"]["observed"].dims == ("two_theta",)


def test_what_the_fit_handed_on_stands_once_and_is_read_back(path):
    sample = explained.sample()
    kept, changed = ("lorentz_sec", "lorentz_tan", "gauss_tan2", "lattice_a_nm_nb"), ("a_nm", "order_contrast")
    values = {name: explained.FITTED[name] for name in (*kept, *changed)}
    table = explained.table().select(values)
    records = explained.records(explained.FITTED)
    facts = {"a15": "nb3sn", "tin_held": 0.24, "by_tin": {"order_contrast": 0.2}, "temperature_c": 22.5}
    fit = replace(
        sample, values=values, contributions=table, records=records, flags=(("flag", "said"),), quality_words="words",
        assumptions=(), facts=facts,
    )  # fmt: skip
    sample = replace(sample, facts=facts)
    group = handed_on(fit, sample)
    assert group["fitted_quantity"].values.tolist() == list(changed)
    assert set(group["record"].values.tolist()) == {records[name].to_json() for name in changed}
    write_sample(replace(sample, groups={**sample.groups, GROUP: group}), path)
    read = fit_of(read_sample(path))
    assert (read.values, read.records, read.facts) == (values, records, facts)
    assert read.contributions.quantities == table.quantities
    np.testing.assert_array_equal(read.contributions.covariance(), table.covariance())
    assert {*zip(read.contributions.sources, read.contributions.groups, strict=True)} == {
        *zip(table.sources, table.groups, strict=True)
    }
    assert (read.flags, read.quality_words, read.assumptions) == (fit.flags, fit.quality_words, ())


def test_every_bit_of_a_file_counts(path):
    """A bit is turned in 300 places: in no case is there a result, and in none anything but a plain complaint."""
    write_sample(made.sample(), path)
    whole = path.read_bytes()
    for place in np.linspace(0, len(whole) - 1, 300).astype(int):
        damaged = bytearray(whole)
        damaged[place] ^= 1 << (place % 8)
        path.write_bytes(damaged)
        with pytest.raises(StudyError, match=r"is damaged \(.*\); run the study again to renew it"):
            read_sample(path)
        assert stored_sample(path) is None


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_no_result_and_is_not_waited_for(path):
    os.mkfifo(path)
    with pytest.raises(StudyError, match=r"cannot be read \(not a regular file but a pipe or device\)"):
        read_sample(path)
    assert stored_sample(path) is None


def test_a_result_may_be_kept_elsewhere(path, tmp_path):
    write_sample(made.sample(), tmp_path / "elsewhere.nc")
    path.symlink_to(tmp_path / "elsewhere.nc")
    assert read_sample(path).name == made.sample().name


def test_a_truncated_file_is_no_result(path):
    write_sample(made.sample(), path)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(StudyError, match="is damaged") as caught:
        read_sample(path)
    assert "\n" not in str(caught.value)


def test_a_file_with_a_part_missing_is_no_result(path, monkeypatch):
    monkeypatch.setattr(store, "_root", lambda sample, root=store._root: root(sample).drop_vars("contribution"))
    write_sample(made.sample(), path)
    assert read_sealed(path)
    with pytest.raises(StudyError, match="is damaged"):
        read_sample(path)


def test_a_file_that_was_changed_by_hand_is_no_result(path):
    write_sample(made.sample(), path)
    with h5py.File(path, "r+") as file:
        file["value"][0] = 1.0
    with pytest.raises(StudyError, match="is damaged"):
        read_sample(path)


def test_a_file_of_another_layout_is_no_result(path, monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr(store, "FORMAT", store.FORMAT + 1)
        write_sample(made.sample(), path)
    with pytest.raises(StudyError, match="has layout"):
        read_sample(path)


def test_a_missing_file_is_told_so(path):
    with pytest.raises(StudyError, match="no such result; run the study first"):
        read_sample(path)


def test_a_disk_that_gets_full_within_a_file_is_told_in_one_line(path):
    """The system refuses what goes beyond a size, in the middle of the file, as a full disk does."""
    resource = pytest.importorskip("resource")
    write_sample(made.sample(), path)
    before = path.read_bytes()
    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) // 2, usual[1]))
    try:
        with pytest.raises(StudyError, match=r"a\.nc: cannot be written \(.*\); nothing stored before") as caught:
            write_sample(made.sample(status="no A15"), path)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, usual)
    assert "\n" not in str(caught.value)
    assert path.read_bytes() == before
    assert list(path.parent.iterdir()) == [path]


def test_a_full_disk_keeps_the_old_result(path, monkeypatch):
    write_sample(made.sample(), path)
    before = path.read_bytes()

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files, "_flush", full)
    with pytest.raises(StudyError, match=r"a\.nc: cannot be written \(No space left on device\)"):
        write_sample(made.sample(status="no A15"), path)
    assert path.read_bytes() == before
    assert list(path.parent.iterdir()) == [path]
