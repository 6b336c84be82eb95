"""A line a(tin) of one's own: fit with errors in both variables, files, and what it does to the tin content."""

import numpy as np
import pytest
from scipy.optimize import minimize

from tests.material.conftest import VALUES, table
from xrdorder.exceptions import ValidityError
from xrdorder.material import (
    PUBLISHED_SCALE,
    Specimen,
    TinScale,
    characterise,
    fit_tin_scale,
    read_known_samples,
    read_tin_scale,
    write_tin_scale,
)
from xrdorder.material.tin_scale import U_LEVEL_NM
from xrdorder.material.tin_scale_fit import U_TIN_COMMON
from xrdorder.relations.tin_from_lattice import DEFAULT, PIVOT_TIN, SECOND
from xrdorder.uncertainty import difference
from xrdorder.xrays import radiation

POWDER = Specimen(mount="ground-powder", temperature_c=22.5, undoped=True)
SCATTER = 0.0015
SLOPE = PUBLISHED_SCALE.slope_nm
TIN = np.array([0.195, 0.21, 0.225, 0.235, 0.242, 0.25])
U_A, U_TIN = np.full(6, 2e-5), np.array([0.003, 0.002, 0.004, 0.003, 0.002, 0.003])
GOOD = """# known
sample,a_nm,u_a_nm,tin_at_percent,u_tin_at_percent,remark
one,0.52821,0.00002,20.1,0.3,x
two,0.52881,0.00002,24.7,0.3,y
"""


def test_the_published_scale_is_the_published_line_with_its_doubts():
    for a in (0.5282, 0.5288, 0.5290):
        tin = float(DEFAULT(a))
        assert PUBLISHED_SCALE.tin(a) == pytest.approx(tin, abs=1e-12)
        assert PUBLISHED_SCALE.lattice(tin) == pytest.approx(a, abs=1e-12)
        doubts = PUBLISHED_SCALE.doubts(tin)
        # one sign for all samples: that of a line steeper than thought
        other = (float(SECOND(a)) - tin) * np.sign(SECOND.slope_nm - DEFAULT.slope_nm)
        assert doubts["a(tin) slope"] == (pytest.approx(other, abs=1e-12), "published")
        assert doubts["a(tin) scale"][0] == pytest.approx(U_LEVEL_NM / SLOPE)
    assert PUBLISHED_SCALE.pivot == pytest.approx(PIVOT_TIN)


def test_doubts_add_up_to_the_covariance():
    scale = TinScale("x", 0.5287, 0.014, ((4e-10, 1e-8), (1e-8, 1e-6)), "invented")
    for tin in (0.18, 0.21, 0.24, 0.25):
        d = tin - 0.24
        expected = np.sqrt(4e-10 + 2 * d * 1e-8 + d * d * 1e-6) / 0.014
        assert scale.u_level(tin) == pytest.approx(expected, rel=1e-9)


def made(rng, level=0.5287, slope=0.0142):
    a = level + slope * (TIN - 0.24) + slope * SCATTER * rng.normal(size=6) + U_A * rng.normal(size=6)
    return a, TIN + U_TIN * rng.normal(size=6)


@pytest.mark.parametrize("published_slope", [True, False])
def test_the_line_is_at_the_minimum_of_the_criterion(published_slope):
    a, tin = made(np.random.default_rng(3))
    found = fit_tin_scale(a, U_A, tin, U_TIN, published_slope=published_slope)

    def criterion(x):
        level, slope = 0.5287 + 1e-5 * x[0], SLOPE + 1e-3 * x[1]
        variance = U_A**2 + slope**2 * (U_TIN**2 + SCATTER**2)
        held = ((slope - SLOPE) / PUBLISHED_SCALE.u_slope_nm) ** 2 if published_slope else 0.0
        return np.sum((a - level - slope * (tin - 0.24)) ** 2 / variance) + held

    best = minimize(criterion, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-13}).x
    assert found.scale.a_at_24_nm == pytest.approx(0.5287 + 1e-5 * best[0], abs=1e-10)
    assert found.scale.slope_nm == pytest.approx(SLOPE + 1e-3 * best[1], abs=1e-8)


@pytest.mark.slow
def test_both_errors_are_allowed_for():
    """Level and slope without bias, and as sure as stated; plain least squares has a slope that is too flat."""
    rng = np.random.default_rng(7)
    pulls, plain = [], []
    for _ in range(1500):
        a, tin = made(rng)
        scale = fit_tin_scale(a, U_A, tin, U_TIN, u_tin_common=0.0, published_slope=False).scale
        u = np.sqrt(np.diag(scale.covariance))
        pulls.append([(scale.a_at_24_nm - 0.5287) / u[0], (scale.slope_nm - 0.0142) / u[1]])
        plain.append(np.polyfit(tin - 0.24, a, 1)[0])
    # 1500 fits tell a mean to 0.026 and a spread to 0.018. Enlarging where chi squared exceeds one by chance makes
    # the uncertainty larger by 15 % on average: the spread comes out below one.
    np.testing.assert_allclose(np.mean(pulls, axis=0), 0.0, atol=0.1)
    assert np.all((np.std(pulls, axis=0) > 0.75) & (np.std(pulls, axis=0) < 1.08))
    # Errors of tin of 0.3 at.% on a spread of 1.9 flatten it by one to two per cent: seen at five standard errors.
    assert np.mean(plain) < 0.0142 - 5.0 * np.std(plain) / np.sqrt(1500)


def test_samples_that_scatter_more_than_stated_make_a_scale_less_sure():
    a, tin = made(np.random.default_rng(3))
    calm = fit_tin_scale(a, U_A, tin, U_TIN, u_tin_common=0.0)
    rough = fit_tin_scale(a + 3e-4 * np.array([1, -1, 1, -1, 1, -1]), U_A, tin, U_TIN, u_tin_common=0.0)
    assert rough.chi2_reduced > 10
    assert rough.scale.u_level() > 3 * calm.scale.u_level()
    assert rough.outliers and not calm.outliers


def test_what_all_compositions_share_does_not_average_out():
    many = np.tile(TIN, 50)
    a = 0.5287 + SLOPE * (many - 0.24)
    scale = fit_tin_scale(a, np.full(300, 2e-5), many, np.full(300, 0.003)).scale
    assert scale.u_level() == pytest.approx(U_TIN_COMMON, rel=0.01)


def test_one_sample_sets_the_level_and_the_published_slope_stays():
    found = fit_tin_scale([0.52860], [2e-5], [0.24], [0.003])
    assert found.scale.a_at_24_nm == pytest.approx(0.52860, abs=1e-12)
    assert found.scale.slope_nm == pytest.approx(SLOPE, abs=1e-12)
    assert np.isnan(found.chi2_reduced)


def test_samples_close_together_keep_the_published_slope():
    tin = np.array([0.239, 0.240, 0.241])
    a = 0.5287 + 0.05 * (tin - 0.24)
    found = fit_tin_scale(a, [2e-5] * 3, tin, [0.003] * 3)
    assert found.scale.slope_nm == pytest.approx(SLOPE, abs=0.002)
    with pytest.raises(ValidityError, match="too close together"):
        fit_tin_scale(a, [2e-5] * 3, tin, [0.003] * 3, published_slope=False)


def with_scale(scale, a_nm=0.52880):
    return characterise(
        {**VALUES, "a_nm": a_nm}, table(), POWDER, radiation=radiation("cu-ka"), scale=scale
    )


def test_results_quote_their_scale_and_are_surer_by_it():
    scale = fit_tin_scale(0.5287 + SLOPE * (TIN - 0.24), U_A, TIN, U_TIN, name="own bulk").scale
    own, published = with_scale(scale), with_scale(PUBLISHED_SCALE)
    assert own.values["tin_fraction_lattice"] == pytest.approx(scale.tin(0.52880))
    more = own.values["tin_fraction_lattice"] - published.values["tin_fraction_lattice"]
    assert more == pytest.approx((PUBLISHED_SCALE.a_at_24_nm - 0.5287) / SLOPE, abs=1e-4)
    assert own.contributions.part("tin_fraction_lattice", shared=True) < 0.3 * published.contributions.part(
        "tin_fraction_lattice", shared=True
    )
    assert own.u("tin_fraction_lattice") < published.u("tin_fraction_lattice")
    groups = dict(zip(own.contributions.sources, own.contributions.groups, strict=True))
    assert groups["a(tin) scale"] == groups["a(tin) slope"] == "own bulk"


def test_a_scale_cancels_between_its_samples_and_not_with_another():
    scale = fit_tin_scale(0.5287 + SLOPE * (TIN - 0.24), U_A, TIN, U_TIN, name="own").scale
    own, same, other = with_scale(scale), with_scale(scale), with_scale(PUBLISHED_SCALE)

    def u(one, two):
        return difference(one.contributions, two.contributions, "tin_fraction_lattice", 0.0, 0.0).u

    assert u(own, same) == pytest.approx(np.sqrt(2) * own.u_tin_independent)
    assert u(own, other) > np.hypot(0.95 * U_LEVEL_NM / SLOPE, 0.001)


def test_a_graded_layer_follows_the_slope_of_the_scale():
    scale = TinScale("steep", 0.5289, 2.0 * SLOPE, ((1e-10, 0.0), (0.0, 1e-6)), "invented")
    values = {**VALUES, "lattice_tail_nm": 1e-4}
    steep, published = (
        characterise(values, table(lattice_tail_nm=1e-5), POWDER, radiation=radiation("cu-ka"), scale=of)
        for of in (scale, PUBLISHED_SCALE)
    )
    assert steep.values["tin_spread"] == pytest.approx(published.values["tin_spread"] / 2)


def test_a_scale_is_read_back_as_it_was_written(tmp_path):
    scale = fit_tin_scale(0.5287 + SLOPE * (TIN - 0.24), U_A, TIN, U_TIN, name='bulk "2", µ\\').scale
    path = tmp_path / "scale.toml"
    write_tin_scale(scale, path)
    assert read_tin_scale(path) == scale
    with pytest.raises(ValidityError, match=r"scale\.toml: is there already; name another file"):
        write_tin_scale(scale, path)
    path.write_text(path.read_text(encoding="utf-8").replace(r'"bulk \"2\", µ\\"', '"godeke-2006-measured"'), "utf-8")
    with pytest.raises(ValidityError, match=r"scale\.toml: name 'godeke-2006-measured' is that of a published"):
        read_tin_scale(path)
    with pytest.raises(ValidityError, match="cannot be written"):
        write_tin_scale(scale, tmp_path / "nowhere/scale.toml")


def test_known_samples_are_read_with_other_columns_and_semicolons(tmp_path):
    for text in (GOOD, GOOD.replace(",", ";"), "\ufeff" + GOOD):
        path = tmp_path / "known.csv"
        path.write_text(text, encoding="utf-8")
        known = read_known_samples(path)
        assert known.names == ("one", "two")
        np.testing.assert_allclose(known.tin, [0.201, 0.247])
        np.testing.assert_allclose(known.u_a_nm, 2e-5)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("u_a_nm", "ua", "line 2 names no column u_a_nm"),
        ("0.52881", "0,52881", "line 4 has 7 cells, the head 6; decimals are written with a point"),
        ("24.7", "", "line 4: tin_at_percent is empty"),
        ("24.7", "much", "'much' is no number; decimals"),
        ("two,", "one,", "line 4: sample 'one' has no name of its own"),
        ("two,", ",", "line 4: sample ''"),
        (GOOD, "", "is empty"),
        (GOOD, GOOD.splitlines()[1], "holds no sample"),
    ],
)
def test_tables_that_cannot_be_used(tmp_path, old, new, message):
    path = tmp_path / "known.csv"
    path.write_text(GOOD.replace(old, new), encoding="utf-8")
    with pytest.raises(ValidityError, match=message) as caught:
        known = read_known_samples(path)
        fit_tin_scale(known.a_nm, known.u_a_nm, known.tin, known.u_tin, names=known.names)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("a", "u_a", "tin", "u_tin", "message"),
    [
        (5.288, 2e-5, 0.24, 0.003, "sample 'sample 1': lattice parameter is 5.288 nm"),
        (0.5288, 0.0, 0.24, 0.003, "above zero"),
        (0.5288, 2e-5, 24.0, 0.003, "2400 at.%.*17 to 27"),
        (0.5288, 2e-5, float("nan"), 0.003, "tin content is nan"),
        (0.5288, 2e-5, 0.24, 0.0, "uncertainty of the tin content is 0"),
    ],
)
def test_samples_that_cannot_be(a, u_a, tin, u_tin, message):
    with pytest.raises(ValidityError, match=message):
        fit_tin_scale([a], [u_a], [tin], [u_tin])


def test_lists_of_different_length_and_no_samples_are_refused():
    with pytest.raises(ValidityError, match="different length"):
        fit_tin_scale([0.5288, 0.5289], [2e-5], [0.24], [0.003])
    with pytest.raises(ValidityError, match="at least 1 sample"):
        fit_tin_scale([], [], [], [])
    with pytest.raises(ValidityError, match="common to all"):
        fit_tin_scale([0.5288], [2e-5], [0.24], [0.003], u_tin_common=0.3)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("slope_nm =", "slop_nm =", "key 'slop_nm' is unknown"),
        ("name = ", "# name = ", "name must be a text"),
        ('name = "own"', 'name = "published"', "stands for the published line"),
        ("a_at_24_nm = 0.", "a_at_24_nm = 5.", "5.*give nm"),
        ("covariance = [[", "covariance = [[-", "no covariance"),
        ("covariance = [[", "covariance = [1, [", "two rows of two numbers|no TOML"),
        ("slope_nm = 0.", 'slope_nm = "0.', "no TOML"),
        ("samples = [", "samples = [1, ", "list of names"),
    ],
)
def test_scale_files_that_cannot_be_used(tmp_path, old, new, message):
    path = tmp_path / "scale.toml"
    write_tin_scale(fit_tin_scale([0.52860], [2e-5], [0.24], [0.003]).scale, path)
    path.write_text(path.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    with pytest.raises(ValidityError, match=message) as caught:
        read_tin_scale(path)
    assert "scale.toml" in str(caught.value) and "\n" not in str(caught.value)


def test_files_that_are_not_there(tmp_path):
    for read in (read_tin_scale, read_known_samples):
        with pytest.raises(ValidityError, match="no such file"):
            read(tmp_path / "nothing")
        with pytest.raises(ValidityError, match="is a folder"):
            read(tmp_path)
        (tmp_path / "binary").write_bytes(b"\xff\xfe\x00")
        with pytest.raises(ValidityError, match="UTF-8"):
            read(tmp_path / "binary")
