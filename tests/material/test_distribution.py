"""Spread of the tin content: undecided, a graded layer, two populations."""

import numpy as np
import pytest

from tests.material.conftest import names
from xrdorder.material import PUBLISHED_SCALE, Specimen
from xrdorder.relations.tin_from_lattice import DEFAULT, SECOND
from xrdorder.uncertainty import difference


def message(material, name):
    (text,) = [flag.message for flag in material.flags if flag.name == name]
    return text


def test_symmetric_broadening_may_be_either(fitted):
    material = fitted()
    bound = 100 * material.values["tin_spread"]
    assert f"tin spread by {bound:.1f} at.%" in message(material, "strain-or-gradient")
    assert "tin_spread" not in material.contributions.quantities
    # A bound of less than half an at.% is no news.
    assert "strain-or-gradient" not in names(fitted(lorentz_tan=0.0, gauss_tan2=6e-4))
    assert "strain-or-gradient" not in names(fitted(lorentz_tan=0.001, gauss_tan2=-1e-4))


def test_a_tail_is_a_spread_with_an_uncertainty(fitted):
    material = fitted(lattice_tail_nm=0.01 * PUBLISHED_SCALE.slope_nm, u={"lattice_tail_nm": 2e-5})
    assert material.values["tin_spread"] == pytest.approx(0.01)
    budget = dict(material.contributions.budget("tin_spread"))
    assert budget["counting"] == pytest.approx(2e-5 / PUBLISHED_SCALE.slope_nm)
    # The other published line makes that much less of it (more, were it the less steep one).
    assert budget["a(tin) slope"] == pytest.approx(0.01 * abs(1 - DEFAULT.slope_nm / SECOND.slope_nm))
    text = message(material, "graded-layer")
    assert f"{10 * PUBLISHED_SCALE.slope_nm:.3f} ± 0.020 pm" in text
    assert f"1.0 ± {100 * material.u('tin_spread'):.1f} at.%" in text
    assert "small" in text
    assert "strain-or-gradient" not in names(material)


def test_the_spread_of_an_exponential_tail_is_its_decay_length():
    x = np.linspace(0.0, 40.0, 400_001)
    weight = np.exp(-x) / np.exp(-x).sum()
    mean = (x * weight).sum()
    assert np.sqrt(((x - mean) ** 2 * weight).sum()) == pytest.approx(1.0, abs=1e-4)


def test_a_tail_to_the_other_side_is_told(fitted):
    material = fitted(lattice_tail_nm=-0.01 * PUBLISHED_SCALE.slope_nm, u={"lattice_tail_nm": 2e-5})
    assert material.values["tin_spread"] == pytest.approx(0.01)
    assert "large" in message(material, "graded-layer")


@pytest.mark.parametrize(("u_tin", "determined"), [(0.074, True), (0.077, False), (125.0, False)])
def test_a_tail_of_any_length_is_none(fitted, u_tin, determined):
    # the whole field of the A15 is 7.5 at.% of tin
    material = fitted(lattice_tail_nm=1.5e-9, u={"lattice_tail_nm": u_tin * PUBLISHED_SCALE.slope_nm})
    for name in ("lattice_tail_nm", "tin_spread"):
        assert np.isfinite(material.values[name]) == determined
    assert ("graded-layer" in names(material)) == determined
    assert ("graded-layer-not-determined" in names(material)) != determined


def test_a_limit_beyond_any_distribution_is_none(fitted):
    # half of the A15 at 18, half at 25.5 at.% are a standard deviation of 3.75 at.%
    for spread, given in ((0.0369, True), (0.0381, False)):
        strain = spread * PUBLISHED_SCALE.slope_nm / 0.5288
        u = (strain * 4.0 * np.sqrt(2.0 * np.log(2.0)) / np.radians(1.0)) ** 2 / 1.645
        material = fitted(lorentz_tan=0.0, gauss_tan2=0.0, u={"lorentz_tan": 0.0, "gauss_tan2": u})
        assert np.isfinite(material.values["tin_spread"]) == given


def two(fitted, specimen=None, u_share=0.02, **more):
    return fitted(
        specimen or Specimen(mount="ground-powder", temperature_c=22.5, undoped=True),
        a_nm_lean=0.52859,
        a_nm_rich=0.52893,
        rich_share=0.25,
        lorentz_sec_lean=0.080,
        lorentz_sec_rich=0.004,
        u={
            "a_nm_lean": 4e-6,
            "a_nm_rich": 8e-6,
            "rich_share": u_share,
            "lorentz_sec_lean": 0.003,
            "lorentz_sec_rich": 0.004,
        },
        **more,
    )


def test_each_population_has_its_tin_and_its_size(fitted):
    material = two(fitted)
    line = DEFAULT
    assert material.values["tin_fraction_lattice_lean"] == pytest.approx(float(line(0.52859)))
    assert material.values["tin_fraction_lattice_rich"] == pytest.approx(float(line(0.52893)))
    assert material.values["domain_size_nm_lean"] == pytest.approx(fitted().values["domain_size_nm"])
    assert np.isnan(material.values["domain_size_nm_rich"])
    assert material.values["domain_size_at_least_nm_rich"] > 500.0
    text = message(material, "two-populations")
    lean, rich = (f"{100 * PUBLISHED_SCALE.tin(a):.1f} ±" for a in (0.52859, 0.52893))
    assert lean in text and rich in text and "25.0 ± 2.0 %" in text
    assert "strain-or-gradient" not in names(material)


def test_populations_share_the_scale_but_not_their_scatter(fitted):
    material = two(fitted)
    table = material.contributions.extend("gap", {"tin_fraction_lattice_rich": 1.0, "tin_fraction_lattice_lean": -1.0})
    budget = dict(table.budget("gap"))
    assert "a(tin) scale" not in budget
    assert "temperature" not in budget or budget["temperature"] < 1e-6
    assert budget["a(tin) scatter"] == pytest.approx(np.sqrt(2) * 0.0015)
    # Their difference keeps the slope: 23 % of 2.5 at.%.
    assert budget["a(tin) slope"] == pytest.approx(0.025 * (1 - 1.36 / 1.76), rel=1e-3)


def test_spread_of_two_populations_is_that_of_the_mixture(fitted):
    material = two(fitted)
    lean, rich = (material.values[f"tin_fraction_lattice_{of}"] for of in ("lean", "rich"))
    mean = 0.75 * lean + 0.25 * rich
    spread = np.sqrt(0.75 * (lean - mean) ** 2 + 0.25 * (rich - mean) ** 2)
    assert material.values["tin_spread"] == pytest.approx(spread)
    # 1 to 3: the derivative by the share is the difference times (1 - 2p) / (2 sqrt(p (1 - p)))
    sources, row = material.contributions.sources, material.contributions.row("tin_spread")
    by_share = row[sources.index("counting/8")]
    step = 1e-6
    p = 0.25 + step
    moved = np.sqrt(p * (1 - p)) * (rich - lean)
    assert by_share == pytest.approx(0.02 * (moved - spread) / step, rel=1e-4)


def test_populations_are_brought_to_the_reference_temperature_as_well(fitted):
    warm = two(fitted, Specimen(mount="ground-powder", temperature_c=32.5))
    cold = two(fitted)
    for name in ("a_nm", "a_nm_lean", "a_nm_rich"):
        assert cold.values[name] - warm.values[name] == pytest.approx(7.6e-5 * 0.5288, rel=2e-3)


def test_the_same_population_in_two_samples_is_told_apart_by_what_is_its_own(fitted):
    one, other = two(fitted), two(fitted)
    d = difference(one.contributions, other.contributions, "tin_fraction_lattice_rich", 0.0, 0.0)
    own = np.hypot(8e-6 / PUBLISHED_SCALE.slope_nm, 0.0015)
    assert d.u == pytest.approx(np.sqrt(2) * np.hypot(own, 0.5 * 7.6e-6 * 0.5289 / PUBLISHED_SCALE.slope_nm), rel=1e-3)


def test_shares_that_may_be_all_or_nothing_are_not_printed(fitted):
    assert "20 ± 40 % of the mass" in message(two(fitted, u_share=0.4), "two-populations")
    assert "shares that are not determined" in message(two(fitted, u_share=0.6), "two-populations")
