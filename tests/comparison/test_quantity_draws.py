"""Quantities out of collated results, with what samples share kept apart from what is their own."""

import numpy as np
import pytest
import xarray as xr

from tests.comparison.made import difference
from tests.drawn import drawn
from xrdorder import uncertainty
from xrdorder.comparison import Values, grouping, values_from_draws, values_of
from xrdorder.exceptions import StudyError, UnknownNameError
from xrdorder.uncertainty import Contributions


def table(values, groups=("", "scan 1", "")):
    return Contributions(("tin_fraction", "a_nm"), ("counting/0", "calibration", "zero"), np.array(values), groups)


TABLES = {
    "one": table([[1e-3, 2e-3, 3e-3], [1.0, 2.0, 3.0]]),
    "two": table([[1e-3, 2e-3, 3e-3], [1.0, 2.0, 3.0]]),
    "other scan": table([[2e-3, -4e-3, 0.0], [1.0, 2.0, 3.0]], ("", "scan 2", "")),
    "only a": Contributions(("a_nm",), ("counting/0",), np.array([[1.0]]), ("",)),
}


@pytest.fixture
def dataset():
    found = uncertainty.collate(TABLES)
    value = np.array([[0.23, 0.5], [0.24, 0.5], [0.25, 0.5], [np.nan, 0.5]])
    return found.assign(
        value=(("sample", "quantity"), value),
        lot=("sample", np.array(["L", "L", "L", "M"], dtype=object)),
        treatment=("sample", np.array(["650 °C/100 h"] * 3 + [""], dtype=object)),
        peak_c=("sample", np.array([650.0, 650.0, 650.0, np.nan])),
    )


def test_a_column_of_the_estimates_is_made_of_its_joint_draws(dataset):
    with_draws = drawn(dataset, {"Tc_K": [17.0, 17.0, 17.0, np.nan], "tin_fraction": [0.23, 0.24, 0.25, np.nan]})
    found = values_of(with_draws, "tin_at_percent")
    assert found.samples == ("one", "two", "other scan")
    np.testing.assert_allclose(found.value, [23, 24, 25])
    draws = 100.0 * with_draws["estimate_draws"].sel(target="tin_fraction").values[:3]
    np.testing.assert_allclose(found.u, draws.std(axis=1, ddof=1), rtol=1e-6)
    np.testing.assert_allclose(found.u, with_draws["u_tin_at_percent"].values[:3], rtol=1e-6)
    np.testing.assert_allclose(found.own, 0.15, rtol=1e-6)  # as made
    value, u = difference(found, "one", "other scan")
    assert value == pytest.approx(-2.0) and u == pytest.approx((draws[0] - draws[2]).std(ddof=1), rel=1e-6)
    assert difference(found, "one", "one") == (0.0, 0.0)


def test_the_covariance_is_that_of_the_tables(dataset):
    found = values_of(dataset.assign_coords(quantity=["order", "a_nm"]), "order")
    # two share a scan, the third has one of its own; everything else is private
    np.testing.assert_allclose(
        found.covariance(), 1e-6 * np.array([[14, 4, 0], [4, 14, 0], [0, 0, 20]]), rtol=1e-12, atol=1e-20
    )
    one, two = (TABLES[name] for name in ("one", "two"))
    expected = uncertainty.difference(one, two, "tin_fraction", 0.23, 0.24).u
    v = found.covariance()
    assert np.sqrt(v[0, 0] + v[1, 1] - 2 * v[0, 1]) == pytest.approx(expected)
    assert difference(found, "one", "two")[1] == pytest.approx(expected)


def test_what_nobody_has_is_refused(dataset):
    with pytest.raises(UnknownNameError, match="tin_at_percent"):
        values_of(dataset, "tin_at_procent")
    with pytest.raises(ValueError, match="finite"):
        Values("x", ("a",), np.array([np.nan]), np.zeros((1, 0)), np.zeros((1, 0)))
    with pytest.raises(ValueError, match="shape"):
        Values("x", ("a",), np.array([1.0, 2.0]), np.zeros((1, 0)), np.zeros((1, 0)))


def test_draws_keep_their_covariance():
    rng = np.random.default_rng(1)
    common = rng.normal(size=2000)
    draws = np.stack([17 + common + 0.1 * rng.normal(size=2000), 18 + common, np.full(2000, np.nan)])
    found = values_from_draws("Tc_K", ["a", "b", "c"], draws)
    assert found.samples == ("a", "b")
    np.testing.assert_allclose(found.covariance(), np.cov(draws[:2]), rtol=1e-9)
    with pytest.raises(ValueError, match="samples, draws"):
        values_from_draws("Tc_K", ["a"], draws)


def test_draws_outside_a_validity_are_left_out_for_all():
    """Two samples with one common draw each time and a little of their own; where one is outside, neither counts."""
    rng = np.random.default_rng(5)
    common = rng.normal(size=4000)
    draws = 15.0 + common + np.array([0.0, 1.0, 2.0])[:, None] + 0.1 * rng.normal(size=(3, 4000))
    draws[1, common > 0.5] = np.nan
    draws[2, common > -1.5] = np.nan  # hardly ever inside: it would leave too little for the others
    found = values_from_draws("Tc_K", ["a", "b", "c"], draws)
    assert found.samples == ("a", "b")
    assert found.value[1] - found.value[0] == pytest.approx(1.0, abs=0.02)  # 0.14 / sqrt(2800), six times
    np.testing.assert_allclose(found.covariance(), np.cov(draws[:2][:, common <= 0.5]), rtol=1e-9)
    assert found.own == pytest.approx([0.1, 0.1], rel=0.1)  # least eigenvalue; 1.3 % by chance, and bias of a minimum


def test_samples_are_put_into_variants(dataset):
    labels, numbers = grouping(dataset)
    assert labels == ["L 650 °C/100 h"] * 3 + [""]
    assert numbers is None
    labels, numbers = grouping(dataset, "reaction-temperature")
    assert labels == ["650 °C"] * 3 + [""]
    np.testing.assert_array_equal(numbers, [650, 650, 650, np.nan])
    assert grouping(dataset, "lot")[0] == ["L", "L", "L", "M"]
    dataset["dose_h"] = ("sample", [0.01234, 99.96, 12345.0, np.nan])
    assert grouping(dataset, "dose")[0] == ["0.0123 h", "100 h", "12300 h", ""]
    with pytest.raises(StudyError, match="cannot be ordered by 'date'"):
        grouping(dataset, "date")


def test_an_empty_study_has_no_values():
    empty = xr.Dataset(
        {
            "contribution": (("sample", "quantity", "source"), np.zeros((0, 1, 0))),
            "source_group": (("sample", "source"), np.zeros((0, 0), dtype=object)),
            "value": (("sample", "quantity"), np.zeros((0, 1))),
        },
        coords={"quantity": ["a_nm"], "sample": [], "source": []},
    )
    assert len(values_of(empty, "a_nm")) == 0


def test_another_mount_is_another_variant():
    mounts = ["ground-powder", "polished-section", ""]
    told = {"lot": ["A"] * 3, "treatment": ["650 °C/100 h"] * 2 + [""], "mount": mounts}
    samples = xr.Dataset({name: ("sample", np.array(words, dtype=object)) for name, words in told.items()})
    labels, _ = grouping(samples)
    assert labels == ["650 °C/100 h (ground-powder)", "650 °C/100 h (polished-section)", ""]
    alike = samples.assign(mount=("sample", np.array(["ground-powder"] * 3, dtype=object)))
    assert grouping(alike)[0] == ["650 °C/100 h"] * 2 + [""]
