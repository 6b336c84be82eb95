"""Line widths to domain size, microstrain and tin spread."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import voigt_profile

from tests.material.conftest import names
from xrdorder.material import PUBLISHED_SCALE, widths
from xrdorder.profiles.width_terms import voigt_breadth


def test_domain_size_is_that_of_the_integral_breadth(fitted):
    material = fitted()
    # Lorentz line of full width w has the integral breadth pi w / 2, found here by integration.
    half = np.radians(0.080) / 2
    area = quad(lambda x: half / (np.pi * (x**2 + half**2)), -np.inf, np.inf)[0]
    breadth = area * np.pi * half
    assert material.values["domain_size_nm"] == pytest.approx(0.1540593 / breadth, rel=1e-5)
    # Inverse of a width known to 3 of 80.
    assert material.u("domain_size_nm") == pytest.approx(material.values["domain_size_nm"] * 3 / 80)
    assert "K = 1" in material.records["domain_size_nm"].remark


@pytest.mark.parametrize("width", [0.005, 0.0, -0.004])
def test_unresolved_size_gives_a_limit_and_no_number(fitted, width):
    material = fitted(lorentz_sec=width)
    assert np.isnan(material.values["domain_size_nm"])
    (flag,) = [flag for flag in material.flags if flag.name == "domain-size-not-resolved"]
    least = 0.1540593 / (np.pi / 2 * np.radians(max(width, 0.0) + 1.645 * 0.003))
    assert f"at least {least:.0f} nm" in flag.message


def test_exact_zero_width_is_no_crash(fitted):
    material = fitted(
        lorentz_sec=0.0, lorentz_tan=0.0, gauss_tan2=0.0, u={"lorentz_sec": 0.0, "lorentz_tan": 0.0}
    )
    assert np.isnan(material.values["domain_size_nm"])
    assert np.isnan(material.values["microstrain"])


def test_gaussian_strain_gives_the_standard_deviation_of_the_lattice(fitted):
    # d spread of 1e-3 moves 2 theta by 2 tan(theta) 1e-3 (standard deviation): full width 2.3548 times that.
    width = np.degrees(2.3548 * 2e-3)
    material = fitted(lorentz_tan=0.0, gauss_tan2=width**2, u={"lorentz_tan": 0.0})
    assert material.values["microstrain"] == pytest.approx(1e-3, rel=1e-4)
    # All of it composition: over the slope of the line.
    assert material.values["tin_spread"] == pytest.approx(1e-3 * 0.5288 / PUBLISHED_SCALE.slope_nm, rel=1e-3)


@pytest.mark.parametrize("ratio", [0.1, 0.5, 1.0, 2.0, 10.0])
def test_full_width_of_a_voigt_line(ratio):
    lorentz, gauss = ratio, 1.0
    strain, _ = widths.rms_strain(lorentz, gauss**2)
    full = strain * widths._WIDTH_PER_STRAIN / np.radians(1.0)
    sigma, gamma = gauss / np.sqrt(8 * np.log(2)), lorentz / 2
    height = voigt_profile(full / 2, sigma, gamma) / voigt_profile(0.0, sigma, gamma)
    # The formula is stated to be right to 0.02 %; the profile falls at most by twice the relative change of
    # width.
    assert height == pytest.approx(0.5, abs=4e-4)


def test_derivatives_of_the_strain():
    value, derivatives = widths.rms_strain(0.05, 4e-4)
    step = 1e-8
    assert derivatives["lorentz_tan"] == pytest.approx(
        (widths.rms_strain(0.05 + step, 4e-4)[0] - value) / step, rel=1e-5
    )
    assert derivatives["gauss_tan2"] == pytest.approx(
        (widths.rms_strain(0.05, 4e-4 + step)[0] - value) / step, rel=1e-4
    )


def test_unresolved_strain_gives_a_limit(fitted):
    material = fitted(lorentz_tan=0.001, gauss_tan2=-1e-4)
    assert np.isnan(material.values["microstrain"])
    assert "microstrain-not-resolved" in names(material)
    # An upper bound stays one: the limit takes the place of the value.
    assert 0.0 < material.values["tin_spread"] < 0.02
    assert "tin_spread" not in material.contributions.quantities


def test_one_width_alone_is_enough(fitted):
    material = fitted(gauss_tan2=float("nan"))
    assert np.isfinite(material.values["microstrain"])
    assert material.u("microstrain") == pytest.approx(material.values["microstrain"] * 2 / 50)


def test_a15_fraction_is_the_weight_fraction_of_the_a15(fitted):
    material = fitted()
    assert material.values["a15_fraction"] == 0.9
    assert material.u("a15_fraction") == 0.003
    assert np.isnan(fitted(weight_fraction_nb3sn=float("nan")).values["a15_fraction"])


def test_size_breadth_is_the_area_over_the_height(fitted):
    material = fitted()
    assert material.values["size_breadth_deg"] == pytest.approx(np.pi / 2 * 0.080)
    assert material.u("size_breadth_deg") == pytest.approx(np.pi / 2 * 0.003)


def test_the_largest_resolvable_size_is_two_standard_uncertainties(fitted):
    material = fitted()
    # The size whose breadth is pi/2 x 2 x 0.003 degrees.
    assert material.values["largest_resolvable_size_nm"] == pytest.approx(
        0.1540593 / (np.pi / 2 * np.radians(0.006)), rel=1e-5
    )
    assert "domain_size_at_least_nm" not in material.values
    # Below that width there is no size, above it there is one, and it is smaller than the largest.
    assert "domain_size_at_least_nm" in fitted(lorentz_sec=0.0059).values
    above = fitted(lorentz_sec=0.0061)
    assert above.values["domain_size_nm"] < above.values["largest_resolvable_size_nm"]


def test_at_least_is_the_limit_of_the_flag(fitted):
    material = fitted(lorentz_sec=0.002)
    least = 0.1540593 / (np.pi / 2 * np.radians(0.002 + 1.645 * 0.003))
    assert material.values["domain_size_at_least_nm"] == pytest.approx(least, rel=1e-5)
    assert "domain_size_at_least_nm" not in material.contributions.quantities


@pytest.mark.parametrize(("lorentz", "gauss"), [(0.05, 0.05), (0.01, 0.08), (0.08, 0.005), (0.05, 0.0)])
def test_integral_breadth_of_a_voigt_line(lorentz, gauss):
    # area one over the height of the profile
    sigma = gauss / np.sqrt(8 * np.log(2))
    assert voigt_breadth(lorentz, gauss**2) == pytest.approx(
        1 / voigt_profile(0.0, sigma, lorentz / 2), rel=1e-9
    )


def said(material, name):
    return [flag.message for flag in material.flags if flag.name == name]


@pytest.mark.parametrize(("width", "u"), [(-0.02, 0.0), (0.0, 0.0), (0.9, 1.2), (-0.5, 4.0)])
def test_a_size_that_nothing_is_known_of_gets_words_and_no_limit(fitted, width, u):
    material = fitted(lorentz_sec=width, u={"lorentz_sec": u})
    assert np.isnan(material.values["domain_size_nm"])
    assert "domain_size_at_least_nm" not in material.values
    assert "largest_resolvable_size_nm" not in material.values
    assert not said(material, "domain-size-not-resolved")
    (text,) = said(material, "domain-size-not-determined")
    assert ("rests at the least that the fit allows" in text) == (u == 0.0)


def test_the_limit_of_the_size_ends_at_five_nanometres(fitted):
    # domains of 5 nm are 1.1239 degrees wide: 1.645 u reaches that at u = 0.683
    assert said(fitted(lorentz_sec=0.0, u={"lorentz_sec": 0.67}), "domain-size-not-resolved")
    assert said(fitted(lorentz_sec=0.0, u={"lorentz_sec": 0.70}), "domain-size-not-determined")
    # a width that stands out is a size, however small
    assert fitted(lorentz_sec=2.0).values["domain_size_nm"] == pytest.approx(2.81, abs=0.01)


@pytest.mark.parametrize(
    ("u_tan", "u_gauss", "words"),
    [(0.0, 0.0, "rests at the least"), (3.8, 3.7, "allows as much as 0.03"), (0.0, 40.0, "allows as much as")],
)
def test_a_strain_that_nothing_is_known_of_gets_words_and_no_limit(fitted, u_tan, u_gauss, words):
    material = fitted(lorentz_tan=-0.024, gauss_tan2=-9e-4, u={"lorentz_tan": u_tan, "gauss_tan2": u_gauss})
    assert np.isnan(material.values["microstrain"]) and np.isnan(material.values["tin_spread"])
    assert not said(material, "microstrain-not-resolved")
    (text,) = said(material, "microstrain-not-determined")
    assert words in text


def test_a_width_at_its_bound_leaves_the_limit_to_the_other(fitted):
    material = fitted(lorentz_tan=-0.024, gauss_tan2=-1e-4, u={"lorentz_tan": 0.0})
    limit, _ = widths.rms_strain(0.0, 1.645e-4)
    assert said(material, "microstrain-not-resolved") == [
        f"broadening with tan(theta) is not resolved: microstrain below {limit:.1e} (95 %)"
    ]
