"""Is the judge right where effects are rare? Distributions, elasticity, geometries, stray lines, spoiled scans."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import voigt_profile

from tests.generator import (
    FOREIGN_A_NM,
    FewGrains,
    Fibre,
    InstrumentTruth,
    LatticeComponent,
    LatticeDistribution,
    LognormalSizes,
    MixedSizes,
    Mount,
    PhaseTruth,
    Roughness,
    SampleTruth,
    StrayTruth,
    WhiteTruth,
    a15_lattice_nm,
    copper_k_beta,
    defects,
    expected_counts,
    line_profile,
    line_strengths,
    simulate,
    tungsten_l_alpha,
)
from tests.generator.absorption import capillary_factor, capillary_points, plate_factor
from tests.generator.cells import HC_EV_NM, cubic_anisotropy, family_strengths
from tests.generator.optics import axial_rays, caught_by_specimen, lorentz_polarisation, spread_profile
from tests.generator.quadrature import combine, condense
from tests.test_generator import ENERGY, NO_BACKGROUND, PLAIN, WAVELENGTH

NARROW_DEG2 = 1e-4 / (8.0 * math.log(2.0))  # variance of PLAIN
D_NM = 0.2159
THETA = math.asin(WAVELENGTH / (2.0 * D_NM))
GRID = np.linspace(-2.0, 2.0, 4001) + math.degrees(2.0 * THETA)


def moments(line: np.ndarray, grid: np.ndarray = GRID) -> tuple[float, float]:
    """Centroid and variance."""
    mean = float((line * grid).sum() / line.sum())
    return mean, float((line * (grid - mean) ** 2).sum() / line.sum())


def one_line(
    mount: Mount, instrument: InstrumentTruth = PLAIN, d_nm: tuple[float, ...] = (D_NM,), **how: float
) -> np.ndarray:
    """Line of equal components without domain broadening and natural width."""
    d = np.array(d_nm)
    infinite = np.full(len(d), math.inf)
    return spread_profile(GRID, d, np.ones(len(d)) / len(d), infinite, ENERGY, 0.0, instrument, mount, **how)


def powder(phase: PhaseTruth, **how: object) -> SampleTruth:
    """Nothing but this phase, no background."""
    return SampleTruth(others=(replace(phase, weight_fraction=1.0),), background=NO_BACKGROUND, **how)


# --- sums made short ---------------------------------------------------------------------------------------


def test_condensed_rays_keep_the_moments():
    shift, weight = axial_rays(math.radians(24.0), 0.03, 0.02)
    few, less = condense(shift, weight, 6)
    assert len(few) == 6 and np.all(less > 0.0)
    scale = np.abs(shift).max()
    for order in range(12):  # 2 n - 1 = 11
        assert less @ (few / scale) ** order == pytest.approx(weight @ (shift / scale) ** order, rel=1e-9)
    # two different shifts stay two, however often they occur
    two = condense(np.array([1.0, 2.0] * 50), np.ones(100), 6)
    assert two[0] == pytest.approx([1.0, 2.0]) and two[1] == pytest.approx([50.0, 50.0])


@pytest.mark.slow
def test_condensed_line_is_the_full_sum():
    instrument = InstrumentTruth(flat_specimen=True, axial_source_ratio=0.03, axial_detector_ratio=0.03)
    d = 0.374
    two_theta = np.arange(22.0, 25.0, 0.01)
    line = line_profile(two_theta, d, ENERGY, 0.0, instrument)
    theta = math.asin(WAVELENGTH / (2.0 * d))
    strips = 200
    psi = (np.arange(strips) + 0.5) / strips * math.radians(instrument.divergence_deg) / 2.0
    flat = (-2.0 * psi**2 / math.tan(theta), np.full(strips, 1.0 / strips))
    rays = combine(axial_rays(2.0 * theta, 0.03, 0.03, (20, 40)), flat)
    t, c = math.tan(theta), math.cos(theta)
    i = instrument
    sigma = math.sqrt((i.gauss_tan2 * t**2 + i.gauss_tan * t + i.gauss_const) / (8.0 * math.log(2.0)))
    gamma = (i.lorentz_sec / c + i.lorentz_tan * t) / 2.0
    x = two_theta[:, None] - math.degrees(2.0 * theta)
    centre = np.abs(x[:, 0]) < 0.5
    full = voigt_profile(x[centre] - np.degrees(rays[0]), sigma, gamma) @ rays[1]
    # a tenth of the counting noise of a line of 1e8 counts at its top; the strips leave 1e-6 of a width
    assert np.abs(line[centre] - full).max() < 1e-5 * full.max()


# --- which lattice parameters --------------------------------------------------------------------------------


def test_moments_of_distributions():
    tail = LatticeDistribution.exponential_tail(0.529, 0.3, 4e-4)
    # mean and variance of a mixture of a point and an exponential law; panels leave 1e-5 of them
    assert tail.mean_nm == pytest.approx(0.529 - 0.3 * 4e-4, abs=1e-5 * 4e-4)
    assert tail.rms_nm == pytest.approx(4e-4 * math.sqrt(0.3 * 1.7), rel=1e-3)
    assert tail.skewness < -1.0
    half = 5e-4
    for slope in (-1.0, 0.0, 0.6):
        box = LatticeDistribution.graded(0.5285, 0.5295, slope)
        assert box.mean_nm == pytest.approx(0.529 + slope * half / 3.0, abs=1e-12)
        assert box.rms_nm == pytest.approx(half * math.sqrt(1.0 / 3.0 - slope**2 / 9.0), rel=1e-9)
    with pytest.raises(ValueError, match="slope"):
        LatticeDistribution.graded(0.528, 0.529, 1.5)
    two = LatticeDistribution.two_populations(0.5286, 0.5290, 0.75, 60.0, 200.0)
    assert two.mean_nm == pytest.approx(0.5289)
    assert two.rms_nm == pytest.approx(4e-4 * math.sqrt(0.75 * 0.25))
    assert [one.domain_size_nm for one in two.components] == [60.0, 200.0]
    both = LatticeDistribution.mixture((1.0, two), (3.0, tail))
    assert both.mean_nm == pytest.approx(0.25 * two.mean_nm + 0.75 * tail.mean_nm)
    assert two.at_mean(0.5).mean_nm == pytest.approx(0.5) and two.at_mean(0.5).rms_nm == pytest.approx(two.rms_nm)
    with pytest.raises(ValueError, match="positive weight"):
        LatticeDistribution(())


def test_truth_keeps_the_mean():
    spread = LatticeDistribution.graded(0.528, 0.529)
    assert SampleTruth(lattice=spread).lattice_nm == pytest.approx(0.5285)
    with pytest.raises(ValueError, match="not both"):
        SampleTruth(lattice=spread, a_nm=0.5289)
    with pytest.raises(ValueError, match="mean"):
        PhaseTruth("nb", 1.0, 0.33, lattice=spread)
    warm = SampleTruth(lattice=spread, temperature_c=122.5).phases()[0]
    assert warm.a_nm == pytest.approx(0.5285 * (1.0 + 7.6e-4)) == pytest.approx(warm.lattice.mean_nm)


def test_one_component_changes_nothing():
    grid = np.arange(30.0, 60.0, 0.02)
    single = LatticeDistribution((LatticeComponent(0.5289, 2.0),))
    plain = expected_counts(SampleTruth(a_nm=0.5289), InstrumentTruth(), grid)
    assert expected_counts(SampleTruth(lattice=single), InstrumentTruth(), grid) == pytest.approx(plain, rel=1e-12)


def test_distribution_becomes_a_line_shape():
    # A law of d is one of angles by the derivative of Bragg's law; the second derivative adds (Δ/d)² tanθ
    # ~ 1e-6 of an angle to the centroid and Δ/d ~ 1e-3 to the variance, with the law's skewness.
    tail = LatticeDistribution.exponential_tail(1.0, 0.3, 8e-4)
    d = np.array([D_NM * one.a_nm for one in tail.components])
    weights = np.array([one.weight for one in tail.components])
    line = spread_profile(GRID, d, weights, np.full(len(d), math.inf), ENERGY, 0.0, PLAIN, Mount())
    mean, variance = moments(line)
    slope = math.degrees(2.0 * math.tan(THETA))
    assert mean - math.degrees(2.0 * THETA) == pytest.approx(slope * 0.3 * 8e-4, rel=5e-3)
    assert variance - NARROW_DEG2 == pytest.approx((slope * tail.rms_nm) ** 2, rel=1e-2)


def test_tin_may_follow_the_lattice():
    # Order lines go with (4 β S)²: the mean square exceeds the square of the mean by the variance of β.
    two = LatticeDistribution.two_populations(a15_lattice_nm(0.20), a15_lattice_nm(0.25), 0.5)
    grid = np.arange(20.0, 44.0, 0.005)
    areas = []
    for follows in (False, True):
        sample = SampleTruth(
            tin_fraction=0.225, order_a=1.0, lattice=two, tin_follows_lattice=follows, background=NO_BACKGROUND
        )
        counts = expected_counts(sample, PLAIN, grid)
        areas.append(counts[np.abs(grid - 23.78) < 1.0].sum() / counts[np.abs(grid - 41.8) < 1.5].sum())
    # a tenth: (211) changes a little too, and the two (110) overlap with tails beyond the window
    assert areas[1] / areas[0] - 1.0 == pytest.approx(0.025**2 / 0.225**2, rel=0.1)


def test_populations_have_their_own_domain_sizes():
    # Far apart lines of two populations: area by share, integral breadth by Scherrer.
    sizes = (40.0, 120.0)
    two = LatticeDistribution.two_populations(0.325, 0.335, 0.75, *sizes)
    phase = PhaseTruth("nb", 1.0, two.mean_nm, lattice=two)
    grid = np.arange(78.0, 88.0, 0.002)
    tall = expected_counts(powder(phase), replace(PLAIN, gauss_const=1e-10), grid)
    peak = {}
    for size, a, share in zip(sizes, (0.325, 0.335), (0.25, 0.75), strict=True):
        theta = math.asin(WAVELENGTH * math.sqrt(8.0) / (2.0 * a))
        angle = math.degrees(2.0 * theta)
        breadth = WAVELENGTH / size / math.cos(theta) + math.pi / 2.0 * 2.0 * math.tan(theta) * 2.29 / ENERGY
        lp = lorentz_polarisation(np.array([angle]), None)[0]
        peak[size] = tall[np.abs(grid - angle) < 0.5].max() * breadth / (share * lp / a**3)
    # half a width over a distance of three degrees, squared: tails of one under the other below 1 % of the peaks;
    # |F|² is that of the mean lattice parameter for both
    assert peak[40.0] == pytest.approx(peak[120.0], rel=0.01)


# --- elasticity ----------------------------------------------------------------------------------------------


def test_cubic_anisotropy_factor():
    points = np.array([[2, 0, 0], [2, 2, 2], [1, 1, 0], [3, 3, 0], [4, 1, 1]], dtype=float)
    assert cubic_anisotropy(points) == pytest.approx([0.0, 1 / 3, 1 / 4, 1 / 4, 33 / 324])
    directions = np.random.default_rng(1).normal(size=(200_000, 3))
    # rms of G over directions is 0.09: five standard deviations of the mean
    assert cubic_anisotropy(directions).mean() == pytest.approx(0.2, abs=5.0 * 0.1 / math.sqrt(200_000))


def test_families_add_up_to_shells():
    cell = PhaseTruth("nb", 1.0, 0.33007).cell()
    shells, strengths = line_strengths(cell, ENERGY, 18, "gemmi")
    of, g, parts = family_strengths(cell, ENERGY, 18, "gemmi")
    assert [parts[of == shell].sum() for shell in shells] == pytest.approx(strengths)
    # (330) has 12 equivalents, (411) 24
    assert dict(zip(g[of == 18], parts[of == 18] / strengths[shells == 18], strict=True)) == pytest.approx(
        {0.25: 1 / 3, round(33 / 324, 9): 2 / 3}
    )


@pytest.mark.parametrize("k", [-1.2, 0.6])
def test_width_depends_on_direction(k):
    # 4 e tanθ √(1 + k (5 G - 1)): e √(1 - k) along h00, e √(1 + 2k/3) along hhh.
    e, a = 2e-3, 0.33007
    peak = {}
    for anisotropy in (0.0, k):
        phase = PhaseTruth("nb", 1.0, a, math.inf, microstrain_lorentz=e, strain_anisotropy=anisotropy)
        grid = np.arange(50.0, 112.0, 0.01)
        counts = expected_counts(powder(phase), PLAIN, grid)
        for shell in (4, 12):
            angle = 2.0 * math.degrees(math.asin(WAVELENGTH * math.sqrt(shell) / (2.0 * a)))
            near = np.abs(grid - angle) < 0.7
            area = np.trapezoid(counts[near], grid[near]) if anisotropy == 0.0 else peak[0.0, shell][1]
            peak[anisotropy, shell] = counts[near].max() / counts.sum(), area
    theta = np.arcsin(WAVELENGTH * np.sqrt([4.0, 12.0]) / (2.0 * a))
    tangent = np.tan(theta)
    sigma = math.sqrt(NARROW_DEG2)
    for shell, t, variance in zip((4, 12), tangent, (1.0 - k, 1.0 + 2.0 * k / 3.0), strict=True):
        own = math.degrees(2.0 * t * 2.29 / ENERGY) / 2.0
        gamma = [own + math.degrees(4.0 * e * root * t) / math.pi for root in (1.0, math.sqrt(variance))]
        expected = voigt_profile(0.0, sigma, gamma[1]) / voigt_profile(0.0, sigma, gamma[0])
        # neighbours' tails: 1 % of the peaks; the sum over the window loses as much
        assert peak[k, shell][0] / peak[0.0, shell][0] == pytest.approx(expected, rel=0.015)
    with pytest.raises(ValueError, match="strain_anisotropy"):
        PhaseTruth("nb", 1.0, a, strain_anisotropy=1.2)


def test_elastic_shift_of_lines():
    # d (1 + e (1 - 5 G)): +e for h00, -2e/3 for hhh; 2θ moves by -2 tanθ Δd/d.
    e, a = 1e-3, 0.33007
    grid = np.arange(50.0, 112.0, 0.001)
    phase = PhaseTruth("nb", 1.0, a, 500.0, elastic_shift=e)
    shifted = expected_counts(powder(phase), PLAIN, grid)
    free = expected_counts(powder(replace(phase, elastic_shift=0.0)), PLAIN, grid)
    for shell, strain in ((4, e), (12, -2.0 * e / 3.0)):
        theta = math.asin(WAVELENGTH * math.sqrt(shell) / (2.0 * a))
        near = np.abs(grid - math.degrees(2.0 * theta)) < 0.6
        moved = grid[near][np.argmax(shifted[near])] - grid[near][np.argmax(free[near])]
        expected = 2.0 * math.degrees(math.asin(math.sin(theta) / (1.0 + strain)) - theta)
        assert moved == pytest.approx(expected, abs=0.002)  # two steps


# --- geometry ------------------------------------------------------------------------------------------------


def test_variable_slit_lights_a_constant_length():
    variable = replace(PLAIN, lit_length_mm=10.0, divergence_deg=1.0)
    two_theta = np.array([20.0, 60.0, 120.0])
    sine = np.sin(np.radians(two_theta / 2.0))
    caught = caught_by_specimen(two_theta, variable, None)
    # opening L sinθ / R; the sphere of the source adds (L/2R)² = 5e-4
    assert caught == pytest.approx(10.0 * sine / 217.5 / math.radians(1.0), rel=1e-3)
    assert caught_by_specimen(two_theta, variable, 5.0) == pytest.approx(caught / 2.0, rel=1e-3)
    flat = one_line(Mount(), replace(variable, flat_specimen=True))
    opening = 10.0 * math.sin(THETA) / 217.5
    shift = moments(flat)[0] - math.degrees(2.0 * THETA)
    assert shift == pytest.approx(-math.degrees(opening**2 / (6.0 * math.tan(THETA))), rel=1e-4)


def test_plate_absorbs_what_its_layers_do():
    for theta, mu_t in ((0.0, 1.0), (0.3, 0.4), (0.8, 2.0)):
        cosine = math.cos(theta)
        layers = quad(lambda z: math.exp(-mu_t * z / cosine) * math.exp(-mu_t * (1.0 - z) / cosine), 0.0, 1.0)  # noqa: B023
        assert plate_factor(np.array([theta]), mu_t)[0] == pytest.approx(layers[0] / cosine)
    assert plate_factor(np.zeros(1), 1.0)[0] == pytest.approx(math.exp(-1.0))


@pytest.mark.parametrize("mu_r", [0.0, 0.5, 1.0, 2.0])
def test_capillary_transmission_at_both_ends(mu_r):
    # Straight through, every point of the chord 2 cos t has the path of the whole chord; straight back, the
    # path is twice the depth.
    through = 4.0 / math.pi * quad(lambda t: math.cos(t) ** 2 * math.exp(-2 * mu_r * math.cos(t)), 0, math.pi / 2)[0]
    assert capillary_factor(np.zeros(1), mu_r)[0] == pytest.approx(through, rel=1e-5)
    if mu_r:
        back = (
            2.0 / math.pi
            * quad(lambda t: math.cos(t) * (1 - math.exp(-4 * mu_r * math.cos(t))) / (2 * mu_r), 0, math.pi / 2)[0]
        )  # fmt: skip
        assert capillary_factor(np.array([math.pi / 2.0]), mu_r)[0] == pytest.approx(back, rel=1e-5)


def test_capillary_transmission_by_drawn_points():
    rng = np.random.default_rng(2)
    mu_r, theta = 1.5, math.radians(35.0)
    x, y = rng.uniform(-1.0, 1.0, (2, 400_000))
    x, y = x[x**2 + y**2 < 1.0], y[x**2 + y**2 < 1.0]
    u = np.array([math.cos(2.0 * theta), math.sin(2.0 * theta)])
    along = x * u[0] + y * u[1]
    leaving = -along + np.sqrt(along**2 + 1.0 - x**2 - y**2)
    drawn = np.exp(-mu_r * (x + np.sqrt(1.0 - y**2) + leaving))
    error = drawn.std() / math.sqrt(len(drawn))
    assert capillary_factor(np.array([theta]), mu_r)[0] == pytest.approx(drawn.mean(), abs=5.0 * error)
    offset, weight = capillary_points(theta, mu_r)
    aside = (y * u[0] - x * u[1]) * drawn
    error = aside.std() / math.sqrt(len(drawn))
    assert offset @ weight == pytest.approx(aside.mean(), abs=5.0 * error)


def test_thin_capillary_widens_lines_by_half_its_radius():
    # mean square distance of a disc from a diameter: R²/4
    capillary = replace(PLAIN, geometry="capillary")
    mean, variance = moments(one_line(Mount(capillary_radius_mm=0.3), capillary))
    assert mean == pytest.approx(math.degrees(2.0 * THETA), abs=1e-6)
    assert variance - NARROW_DEG2 == pytest.approx(math.degrees(0.15 / 217.5) ** 2, rel=1e-4)
    # a strongly absorbing one scatters from the side of the source: at 2θ < 90 from the side of larger angles
    dark = moments(one_line(Mount(capillary_radius_mm=0.3, mu_r=3.0), capillary))[0]
    offset, weight = capillary_points(THETA, 3.0)
    expected = math.degrees(0.3 / 217.5 * (offset @ weight) / weight.sum())
    assert dark - mean == pytest.approx(expected, abs=1e-6) and expected > 0.01


@pytest.mark.parametrize("two_theta_deg", [30.0, 100.0])
def test_displacements_off_the_axis_by_drawing(two_theta_deg):
    # The ray is followed to the detector's circle; what is left out is (displacement / R)² ~ 1e-6 rad.
    radius, angle = 217.5, math.radians(two_theta_deg)
    u = np.array([math.cos(angle), math.sin(angle)])

    def met(start: np.ndarray) -> float:
        b = start @ u
        end = start + u * (-b + math.sqrt(b**2 - start @ start + radius**2))
        return math.atan2(end[1], end[0]) - angle

    capillary = replace(PLAIN, geometry="capillary")
    theta = np.array([angle / 2.0])
    shift = Mount(across_mm=0.1, along_mm=0.2).shift(theta, capillary)[0]
    assert shift == pytest.approx(met(np.array([0.2, 0.1])), abs=1e-6)
    normal = np.array([math.cos(angle / 2.0), math.sin(angle / 2.0)])
    hit = np.array([0.1 / normal[0], 0.0])  # where y = 0 meets the plate r·n = 0.1
    shift = Mount(displacement_mm=0.1).shift(theta, replace(PLAIN, geometry="transmission"))[0]
    assert shift == pytest.approx(met(hit), abs=1e-6)


def test_geometries_refuse_what_is_not_theirs():
    with pytest.raises(ValueError, match="geometry"):
        InstrumentTruth(geometry="guinier")
    with pytest.raises(ValueError, match="reflection"):
        InstrumentTruth(geometry="capillary", flat_specimen=True)
    with pytest.raises(ValueError, match="across or along"):
        one_line(Mount(displacement_mm=0.1), replace(PLAIN, geometry="capillary"))
    with pytest.raises(ValueError, match="transmission and capillary"):
        one_line(Mount(across_mm=0.1))
    with pytest.raises(ValueError, match="not both"):
        InstrumentTruth(monochromator_two_theta_deg=26.6, polarisation_ratio=0.9)
    with pytest.raises(ValueError, match="depth_attenuation"):
        SampleTruth(depth_nm_per_um=1e-4)


def test_capillary_pattern_carries_its_transmission():
    # Pattern with µR over pattern without, at the tops of two lines far apart.
    phase = PhaseTruth("nb", 1.0, 0.33007, 200.0)
    grid = np.arange(36.0, 112.0, 0.01)
    capillary = replace(PLAIN, geometry="capillary")
    tops = []
    for mu_r in (0.0, 2.0):
        counts = expected_counts(powder(phase, mu_r=mu_r), capillary, grid)
        tops.append(counts[grid > 100.0].max() / counts[grid < 45.0].max())
    theta = np.arcsin(WAVELENGTH * np.sqrt([2.0, 12.0]) / (2.0 * 0.33007))
    low, high = capillary_factor(theta, 2.0)
    assert tops[1] / tops[0] == pytest.approx(high / low, rel=2e-3)  # tails of neighbours


# --- beam ----------------------------------------------------------------------------------------------------


def test_polarised_beam():
    angle = np.array([50.0])
    half, full = math.radians(25.0), math.radians(50.0)
    assert lorentz_polarisation(angle, None, 1.0) == pytest.approx(lorentz_polarisation(angle, None))
    assert lorentz_polarisation(angle, None, 0.0)[0] == pytest.approx(1.0 / (math.sin(half) * math.sin(full)))


def test_monochromatic_beam_puts_lines_at_its_own_angles():
    beam = replace(PLAIN, wavelength_nm=0.08, polarisation_ratio=0.02)
    grid = np.arange(15.0, 30.0, 0.002)
    counts = expected_counts(powder(PhaseTruth("nb", 1.0, 0.33, 500.0)), beam, grid)
    expected = 2.0 * math.degrees(math.asin(0.08 * math.sqrt(2.0) / 0.66))
    assert grid[np.argmax(counts)] == pytest.approx(expected, abs=0.003)


def test_roughness_weakens_low_angles_only():
    rough = Roughness(0.4, 0.3)
    assert rough.factor(np.array([math.pi / 2.0]))[0] == pytest.approx(1.0)
    # grazing, nothing but p is left
    assert rough.factor(np.array([1e-3]))[0] == pytest.approx(0.4 / (0.4 + 0.6 * math.exp(-0.3)))
    assert np.all(np.diff(rough.factor(np.linspace(0.1, 1.5, 50))) > 0.0)
    assert Roughness(1.0, 0.3).factor(np.array([0.2]))[0] == pytest.approx(1.0)


@pytest.mark.parametrize("stray", [copper_k_beta(0.02), tungsten_l_alpha(0.02)], ids=["K-beta", "W L-alpha"])
def test_stray_lines_stand_at_their_own_angles(stray: StrayTruth):
    a = 0.33007
    grid = np.arange(30.0, 75.0, 0.005)
    sample = powder(PhaseTruth("nb", 1.0, a, 200.0))
    clean = expected_counts(sample, PLAIN, grid)
    extra = expected_counts(sample, replace(PLAIN, stray=(stray,)), grid)
    extra = extra * (clean.sum() / extra.sum())
    extra = extra - clean * (extra.max() / clean.max())
    angles = 2.0 * np.degrees(np.arcsin(stray.wavelength_nm * np.sqrt([2.0, 4.0]) / (2.0 * a)))
    for angle in angles:
        near = np.abs(grid - angle) < 1.0
        assert grid[near][np.argmax(extra[near])] == pytest.approx(angle, abs=0.006)


def test_stray_line_has_its_weight():
    # Same atoms, own f'' and polarisation: ratio of areas = weight times those of |F|² and of LP.
    a, beta = 0.33007, copper_k_beta(0.02)
    cell = PhaseTruth("nb", 1.0, a).cell()
    grid = np.arange(30.0, 42.0, 0.005)
    counts = expected_counts(powder(PhaseTruth("nb", 1.0, a, 500.0)), replace(PLAIN, stray=(beta,)), grid)
    main, side = (2.0 * math.degrees(math.asin(w * math.sqrt(2.0) / (2.0 * a))) for w in (WAVELENGTH, 0.139225))
    line = spread_profile(
        grid, np.array([a / math.sqrt(2.0)]), np.ones(1), np.array([500.0]), ENERGY, 2.29, PLAIN, Mount()
    )
    counts = counts - line * counts.max() / line.max()  # K-beta alone is left
    area = np.trapezoid(counts[grid < 37.0], grid[grid < 37.0])
    total = line.max()
    lp = lorentz_polarisation(np.array([side, main]), None)
    strengths = [line_strengths(cell, e, 2, "gemmi")[1][0] for e in (HC_EV_NM / 0.139225, ENERGY)]
    expected = 0.02 * lp[0] / lp[1] * strengths[0] / strengths[1] * 25_000.0 / total
    assert area == pytest.approx(expected, rel=0.05)  # its own tails beyond the window, those of (200)


def test_white_radiation_ends_at_the_edge():
    a = 0.33007
    grid = np.arange(30.0, 45.0, 0.01)
    sample = powder(PhaseTruth("nb", 1.0, a, 200.0))
    white = WhiteTruth(0.5, passed=0.1)
    foot = expected_counts(sample, replace(PLAIN, white=white), grid) - expected_counts(sample, PLAIN, grid)
    edge = 2.0 * math.degrees(math.asin(white.edge_nm * math.sqrt(2.0) / (2.0 * a)))
    assert grid[np.argmax(np.gradient(foot)[grid < 37.8])] == pytest.approx(edge, abs=0.05)
    before, after = (foot[np.argmin(np.abs(grid - edge - step))] for step in (-0.3, 0.3))
    assert before / after == pytest.approx(0.1, rel=0.15)  # slopes of spectrum and Lorentz factor
    assert white.spectrum(np.array([0.11, 0.21])) == pytest.approx([0.0, 0.0])


def test_change_with_depth():
    # mean depth sinθ / (2µ), exponential: variance is the mean squared
    strain_per_mm, mu = 0.5, 150.0
    mount = Mount(strain_per_mm=strain_per_mm, depth_attenuation=mu)
    mean, variance = moments(one_line(mount))
    expected = -math.degrees(2.0 * math.tan(THETA) * strain_per_mm * math.sin(THETA) / (2.0 * mu))
    # the second order of Bragg's law in the strain, 1e-3
    assert mean - math.degrees(2.0 * THETA) == pytest.approx(expected, rel=5e-3)
    assert variance - NARROW_DEG2 == pytest.approx(expected**2, rel=2e-2)
    sample = SampleTruth(depth_nm_per_um=1e-4, depth_attenuation_per_mm=mu, others=(PhaseTruth("nb", 0.1, 0.33),))
    a15, nb = sample.phases()
    assert sample.mount(a15).strain_per_mm == pytest.approx(0.1 / sample.lattice_nm)
    assert sample.mount(nb).strain_per_mm == 0.0


def test_densities_of_foreign_phases():
    # Handbook densities in g/cm³, from memory.
    for name, density in (("nbo", 7.30), ("sic", 3.215), ("nacl", 2.165), ("al", 2.699), ("fe", 7.874)):
        cell = PhaseTruth(name, 1.0, FOREIGN_A_NM[name]).cell()
        assert cell.density_g_cm3 == pytest.approx(density, rel=0.005), name
    # rocksalt is face-centred: unmixed indices only; zincblende has the weak (200) that diamond lacks
    assert list(line_strengths(PhaseTruth("nacl", 1.0, 0.564).cell(), ENERGY, 8, "gemmi")[0]) == [3, 4, 8]
    assert 4.0 in line_strengths(PhaseTruth("sic", 1.0, 0.436).cell(), ENERGY, 8, "gemmi")[0]


# --- spoiled scans -------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def scan() -> tuple[np.ndarray, np.ndarray]:
    return simulate(SampleTruth(), InstrumentTruth(), np.round(np.arange(30.0, 60.0, 0.02), 2))


def test_defects_of_expected_counts(scan):
    two_theta, mean = scan
    tripped = defects.beam_trip(two_theta, mean, 40.0, 41.0, 0.1)
    lost = (two_theta >= 40.0) & (two_theta < 41.0)
    assert tripped[lost] == pytest.approx(0.1 * mean[lost]) and np.array_equal(tripped[~lost], mean[~lost])
    assert defects.fewer(mean).sum() == pytest.approx(mean.sum() / 10.0)
    assert defects.drift(two_theta, mean, 0.2)[-1] == pytest.approx(0.8 * mean[-1])
    hump = defects.amorphous_hump(two_theta, mean, 0.3, centre_deg=36.0) - mean
    assert two_theta[np.argmax(hump)] == pytest.approx(36.0, abs=0.1)
    assert hump.max() == pytest.approx(0.3 * mean.max(), rel=0.02)
    fine = np.arange(44.0, 46.0, 0.001)
    line = defects.foreign_lines(fine, np.full_like(fine, 100.0), [45.0], [0.05], 0.2) - 100.0
    assert line.max() == pytest.approx(5.0, rel=1e-3)
    half = fine[line > line.max() / 2.0]
    assert half[-1] - half[0] == pytest.approx(0.2, abs=0.0021)  # two steps
    counts = defects.counted(mean, 4)
    # five standard deviations of a mean of chi squared
    assert ((counts - mean) ** 2 / mean).mean() == pytest.approx(1.0, abs=5.0 * math.sqrt(2.0 / len(mean)))


def test_defects_of_counts(scan):
    two_theta, mean = scan
    counts = defects.counted(mean, 5)
    hot = defects.hot_pixels(counts, np.random.default_rng(1), 4)
    assert np.count_nonzero(hot != counts) == 4 and hot.max() > counts.max() * 0.25
    dead = defects.dead_pixels(counts, np.random.default_rng(1), 4)
    assert np.count_nonzero(dead == 0.0) == 4
    kept, rest = defects.missing_range(two_theta, counts, 45.0, 50.0)
    assert len(kept) == len(rest) == len(two_theta) - 250 and not np.any((kept >= 45.0) & (kept < 50.0))
    rate = defects.per_second(counts, 2.5, None)
    assert rate * 2.5 == pytest.approx(counts)
    grid, values = defects.resampled(two_theta, counts, 0.05)
    assert np.diff(grid) == pytest.approx(0.05) and values[0] == counts[0]
    flat = defects.counted(np.full(20_000, 100.0), 6)
    # variance of a mean of five is a fifth; of a parabola through nine points 59/231 (A. Savitzky, M. J. E.
    # Golay, Anal. Chem. 36 (1964) 1627); 20000 dependent points fix it to 3 %
    assert defects.moving_average(flat, 5)[5:-5].var() == pytest.approx(20.0, rel=0.1)
    assert defects.savitzky_golay(flat, 9, 2)[9:-9].var() == pytest.approx(100.0 * 59.0 / 231.0, rel=0.1)
    bare = defects.background_taken_off(counts, 1.0)
    assert bare.min() == 0.0 and np.all(bare <= counts)


def test_stripping_leaves_alpha1():
    doublet = replace(PLAIN, radiation="cu-ka doublet", gauss_const=2e-3, alpha2_ratio=0.5)
    sample = powder(PhaseTruth("nb", 1.0, 0.33007, 100.0))
    grid = np.arange(30.0, 112.0, 0.01)
    both = expected_counts(sample, doublet, grid)
    one = expected_counts(sample, replace(doublet, radiation="cu-ka1", alpha2_ratio=None), grid)
    stripped = defects.alpha2_stripped(grid, both)
    # K-alpha2 is 2.94 eV wide where K-alpha1 has 2.29: at high angle a few percent of it stay
    scale = one.max() / stripped.max()
    assert np.abs(stripped * scale - one).max() < 0.02 * one.max()
    assert both.max() < 1.05 * one.max()
    angle = 2.0 * math.degrees(math.asin(HC_EV_NM / 8027.8416 * math.sqrt(12.0) / (2.0 * 0.33007)))
    there = np.abs(grid - angle) < 0.01
    assert (stripped * scale)[there].max() < 0.5 * both[there].max()


def test_scaled_rooted_and_rounded(scan):
    _, mean = scan
    counts = defects.counted(mean, 7)
    assert defects.multiplied(counts, 37.3) / 37.3 == pytest.approx(counts)
    tenth = defects.multiplied(counts, 0.1, 0)
    assert np.array_equal(tenth, np.rint(tenth)) and np.abs(tenth - counts / 10.0).max() <= 0.5
    assert defects.rooted(counts, None) ** 2 == pytest.approx(counts)
    assert defects.rooted(counts, 2) == pytest.approx(np.sqrt(counts), abs=0.005)
    # 0.0131 apart with two decimals: the step seems to be 0.01 or 0.02, and is 0.0131 only over the whole range
    fine = 20.0 + 0.0131 * np.arange(4001)
    steps = np.diff(defects.rounded_angles(fine))
    assert set(np.round(steps, 6)) == {0.01, 0.02} and np.median(steps) == pytest.approx(0.01)
    assert steps.mean() == pytest.approx(0.0131, abs=1e-5)


def test_fine_resampling_ties_neighbours():
    # Between two points, the share t from one, interpolation leaves the variance 1 - 2 t (1 - t) of white noise: 2/3 in
    # the mean over all t, and t (1 - t) + ... = 1/6 in common with the next point. 0.01313 against 0.0130 runs through
    # all t every 100 points. 20000 points fix both to 2 %.
    two_theta = 20.0 + 0.01313 * np.arange(20_000)
    noise = np.random.default_rng(8).normal(size=len(two_theta))
    grid, values = defects.resampled(two_theta, noise, 0.0130)
    assert np.diff(grid) == pytest.approx(0.0130)
    assert values.var() == pytest.approx(2.0 / 3.0, rel=0.04)
    assert (values[1:] * values[:-1]).mean() == pytest.approx(1.0 / 6.0, rel=0.1)


@pytest.mark.parametrize(("arriving", "dead"), [(25_000.0, 1e-5), (3_000.0, 1e-4), (4.0, 0.05)])
def test_dead_time_by_waiting(arriving: float, dead: float):
    # The detector followed count by count: wait, count, be blind, and so on until the time is over.
    rng = np.random.default_rng(9)
    drawn = defects.counted_with_dead_time(np.full(20_000, arriving), dead, 10)
    n = 200
    waits = rng.exponential(1.0 / arriving, (n, int(arriving + 10.0 * math.sqrt(arriving) + 20.0)))
    ends = np.cumsum(waits, axis=1) + dead * np.arange(waits.shape[1])
    followed = (ends < 1.0).sum(axis=1)
    assert drawn.mean() == pytest.approx(followed.mean(), abs=5.0 * followed.std() / math.sqrt(n))
    # five standard deviations of a variance from so few
    assert drawn.var() == pytest.approx(followed.var(), rel=5.0 * math.sqrt(2.0 / n))
    if arriving > 1000.0:  # the laws of many counts, corrections of one count
        assert drawn.mean() == pytest.approx(arriving / (1.0 + arriving * dead), abs=1.0)
        assert drawn.var() == pytest.approx(arriving / (1.0 + arriving * dead) ** 3, rel=0.05)


def test_no_dead_time_is_poisson():
    drawn = defects.counted_with_dead_time(np.repeat([0.0, 0.5, 400.0], 20_000), 0.0, 11).reshape(3, -1)
    assert np.all(drawn[0] == 0.0)
    for counts, mean in zip(drawn[1:], (0.5, 400.0), strict=True):
        assert counts.mean() == pytest.approx(mean, abs=5.0 * math.sqrt(mean / 20_000))
        assert counts.var() == pytest.approx(mean, rel=0.06)


def test_clay_stands_below_the_order_line():
    two_theta = np.arange(18.0, 60.0, 0.01)
    clay = defects.mounting_clay(two_theta, np.full_like(two_theta, 1000.0), 0.1, 0.5, 0.0) - 1000.0
    assert two_theta[np.argmax(clay)] == pytest.approx(21.57, abs=0.02)  # (110) of polyethylene, by its cell
    second = np.where(two_theta > 23.0, clay, 0.0)
    a15_110 = 2.0 * math.degrees(math.asin(WAVELENGTH * math.sqrt(2.0) / (2.0 * 0.5289)))
    assert abs(two_theta[np.argmax(second)] - a15_110) < 0.25
    assert clay.max() == pytest.approx(100.0, rel=1e-3) and second.max() == pytest.approx(35.0, rel=1e-2)


# --- sizes of domains ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("shape", ["spheres", "columns"])
@pytest.mark.parametrize("sigma", [0.15, 0.6])
def test_coefficients_of_lognormal_sizes_by_integration(shape: str, sigma: float):
    law = LognormalSizes(80.0, sigma, shape)
    weighted = 3 if shape == "spheres" else 1  # volume goes with D³, with D where the cross-section is alike

    def mean_over_volume(what) -> float:
        def part(x: float) -> float:  # x = ln(D / median) / sigma
            size = law.median_nm * math.exp(sigma * x)
            return math.exp(-0.5 * x**2) * size**weighted * what(size)

        return quad(part, -10.0, 10.0 + weighted * sigma, limit=400, points=[weighted * sigma])[0]

    volume = mean_over_volume(lambda size: 1.0)
    for length in (1.0, 20.0, 60.0, 150.0, 400.0):

        def overlap(size: float, length: float = length) -> float:
            if length >= size:
                return 0.0
            x = length / size
            return 1.0 - 1.5 * x + 0.5 * x**3 if shape == "spheres" else 1.0 - x

        by_hand = mean_over_volume(overlap) / volume
        assert law.fourier(np.array([length]))[0] == pytest.approx(by_hand, abs=1e-7)  # of quad at the kink
    # K = 1: the mean column is twice the integral of A, and its slope is minus one over the other mean
    half = quad(lambda u: law.fourier(np.array([u]))[0], 0.0, 5000.0, limit=500)[0]
    assert 2.0 * half == pytest.approx(80.0, rel=1e-6)
    step = 1e-3
    assert (1.0 - law.fourier(np.array([step]))[0]) / step == pytest.approx(1.0 / law.area_weighted_nm, rel=1e-4)
    assert law.fourier(np.zeros(1))[0] == pytest.approx(1.0)


def test_mean_column_of_drawn_spheres():
    # A point anywhere in a sphere sees the column along one direction: 2 √(R² - r²), r its distance from the axis.
    rng = np.random.default_rng(12)
    law = LognormalSizes(60.0, 0.3)
    diameter = law.median_nm * np.exp(0.3 * rng.normal(size=400_000) + 3.0 * 0.3**2)  # by volume: moved by 3 sigma²
    point = rng.uniform(-1.0, 1.0, (3, len(diameter)))
    inside = (point**2).sum(axis=0) < 1.0
    column = diameter[inside] * np.sqrt(1.0 - (point[:2, inside] ** 2).sum(axis=0))
    assert column.mean() == pytest.approx(60.0, abs=5.0 * column.std() / math.sqrt(len(column)))


def test_mixed_sizes():
    small, large = LognormalSizes(30.0, 0.3), LognormalSizes(200.0, 0.4, "columns")
    both = MixedSizes(((3.0, small), (1.0, large)))
    lengths = np.array([0.0, 10.0, 100.0])
    assert both.fourier(lengths) == pytest.approx(0.75 * small.fourier(lengths) + 0.25 * large.fourier(lengths))
    assert both.volume_weighted_nm == pytest.approx(0.75 * 30.0 + 0.25 * 200.0)
    assert (1.0 - both.fourier(np.array([1e-3]))[0]) * 1e3 == pytest.approx(1.0 / both.area_weighted_nm, rel=1e-4)
    assert SampleTruth(sizes=both).volume_weighted_nm == both.volume_weighted_nm
    assert SampleTruth(domain_size_nm=70.0).volume_weighted_nm == pytest.approx(70.0)
    two = LatticeDistribution.two_populations(0.5286, 0.5290, 0.25, 60.0, 200.0)
    assert SampleTruth(lattice=two).volume_weighted_nm == pytest.approx(0.75 * 60.0 + 0.25 * 200.0)
    with pytest.raises(ValueError, match="shape"):
        LognormalSizes(30.0, 0.3, "cubes")
    with pytest.raises(ValueError, match="positive"):
        LognormalSizes(30.0, 0.0)
    with pytest.raises(ValueError, match="positive share"):
        MixedSizes(())


class ExponentialColumns:
    """Coefficients exp(-2 L / D): the Lorentz line that Scherrer's equation is used with."""

    volume_weighted_nm, area_weighted_nm = 90.0, 45.0

    def fourier(self, length_nm: np.ndarray) -> np.ndarray:
        return np.exp(-length_nm / self.area_weighted_nm)


def test_transform_of_exponential_is_the_voigt_sum():
    # The same line by both routes: all rays, two components and every width, near and far.
    instrument = InstrumentTruth(flat_specimen=True, lorentz_tan=0.004)
    d, weights = np.array([D_NM, 1.0004 * D_NM]), np.array([0.7, 0.3])
    grid = np.arange(20.0, 100.0, 0.01)
    how = {"lattice_spread": 3e-4, "microstrain_lorentz": 2e-4}
    mount = Mount(specimen_length_mm=20.0, attenuation=50.0)
    lines = [
        spread_profile(grid, d, weights, np.full(2, 90.0), ENERGY, 2.29, instrument, mount, sizes=law, **how)
        for law in (None, ExponentialColumns())
    ]
    # one cosine in place of each component's own moves its Lorentz width by 1e-4
    assert np.abs(lines[1] - lines[0]).max() < 1e-4 * lines[0].max()
    far = np.abs(grid - math.degrees(2.0 * THETA)) > 2.5
    assert lines[1][far] == pytest.approx(lines[0][far], rel=1e-3)


def spheres_profile(degrees: np.ndarray, law: LognormalSizes, theta: float) -> np.ndarray:
    """Line of lognormal spheres per degree, in direct space: each sphere's own, summed over volume.

    The transform of 1 - 3/2 x + 1/2 x³ on 0 to 1 is 3 / (2 q²) [1 - 2 sin q / q + 2 (1 - cos q) / q²], 3/8 at zero.
    """
    node = np.linspace(-7.0, 7.0, 1500)
    part = np.exp(-0.5 * node**2)
    diameter = law.median_nm * np.exp(law.sigma * node + 3.0 * law.sigma**2)
    per_nm = math.radians(1.0) * math.cos(theta) / WAVELENGTH
    q = 2.0 * math.pi * np.abs(degrees[:, None]) * per_nm * diameter
    small = q < 0.02
    x = np.where(small, 1.0, q)
    one = 1.5 / x**2 * (1.0 - 2.0 * np.sin(x) / x + 2.0 * (1.0 - np.cos(x)) / x**2)
    return np.where(small, 0.375 - q**2 / 80.0, one) @ (part / part.sum() * diameter) * 2.0 * per_nm


@pytest.mark.parametrize("sigma", [0.2, 0.6])
def test_line_of_lognormal_sizes(sigma: float):
    # Nearly nothing but size, and the same line by another route: closed forms of spheres in direct space.
    law = LognormalSizes(40.0, sigma)
    bare = replace(PLAIN, gauss_const=1e-6)
    centre = math.degrees(2.0 * THETA)
    grid = centre + np.arange(-6.0, 6.001, 0.01)
    line = spread_profile(
        grid, np.array([D_NM]), np.ones(1), np.full(1, math.inf), ENERGY, 0.0, bare, Mount(), sizes=law
    )
    x = np.abs(grid - centre)
    direct = spheres_profile(x, law, THETA)
    # the Gauss part, 0.001 degrees wide, leaves 1e-4 of a line of 0.23 degrees
    assert np.abs(line - direct).max() < 2e-4 * direct.max()
    # K = 1: breadth by Scherrer; far tails by the slope of A, and no seam between the two
    scale = math.degrees(WAVELENGTH / math.cos(THETA))  # degrees in 2θ times nm
    assert 1.0 / line.max() == pytest.approx(scale / 40.0, rel=1e-3)
    # far away is a Lorentz line of that slope: what it leaves out is (width / distance)² and (1 / 2π s D)²
    outside = x > 2.0
    assert line[outside] == pytest.approx(direct[outside], rel=5e-3)
    # over the tails of the Lorentz line of the same breadth: D_V / D_A is 9/8 exp sigma² for spheres, two for Lorentz
    lorentz = scale / 40.0 / math.pi**2 / x[outside] ** 2
    assert line[outside] / lorentz == pytest.approx(9.0 / 16.0 * math.exp(sigma**2), rel=5e-3)


def test_sizes_reach_the_pattern():
    # Endless domains folded with the profile of the sizes, at the line's angle; other phases keep theirs.
    grid = np.arange(36.0, 41.0, 0.002)
    endless = PhaseTruth("nb", 1.0, 0.33007, math.inf)
    law = LognormalSizes(60.0, 0.3)
    sharp = expected_counts(powder(endless), PLAIN, grid)
    broad = expected_counts(powder(replace(endless, sizes=law)), PLAIN, grid)
    kernel = spheres_profile(np.arange(-1.0, 1.001, 0.002), law, math.asin(WAVELENGTH / (math.sqrt(2.0) * 0.33007)))
    folded = np.convolve(sharp, kernel, "same")
    folded *= broad.max() / folded.max()
    near = np.abs(grid - grid[np.argmax(broad)]) < 0.3
    # tails of other lines, and of this one beyond the window
    assert np.abs(broad - folded)[near].max() < 3e-3 * broad.max()
    a15, nb = SampleTruth(sizes=law, others=(replace(endless, weight_fraction=0.1),)).phases()
    assert a15.sizes is law and nb.sizes is None


def test_oblique_fibres():
    # The mean over directions is one; by hand, March's function over the 24 signs and orders of the axis.
    directions = np.random.default_rng(13).normal(size=(40_000, 3))
    planes = np.array([[2, 1, 0], [2, 1, 1], [1, 0, 0], [1, 1, 0], [2, 2, 2]], dtype=float)
    for axis in ((2, 1, 0), (2, 1, 1)):
        fibre = Fibre(axis, 0.4)
        density = fibre.density(directions)
        assert density.mean() == pytest.approx(1.0, abs=5.0 * density.std() / 200.0)
        orders, signs = itertools.permutations(axis), tuple(itertools.product((1, -1), repeat=3))
        axes = {tuple(s * k for s, k in zip(sign, order, strict=True)) for order in orders for sign in signs}
        assert len(axes) == 24
        for normal, found in zip(planes, fibre.density(planes), strict=True):
            squares = [(np.dot(normal, one) / np.linalg.norm(normal) / np.linalg.norm(one)) ** 2 for one in axes]
            assert found == pytest.approx(np.mean([(0.16 * c + (1.0 - c) / 0.4) ** -1.5 for c in squares]))


def test_few_grains_scatter_lines():
    # Shares are exponential: of n grains they scatter by 1/√n. Heights are even over ±h, weighted by the shares: h²/3
    # times Σ w² / (Σ w)², 2 / (n + 1) in the mean.
    grains = [FewGrains(8, 0.05, seed) for seed in range(4000)]
    factor, height = np.array([one.line("nb", 4.0) for one in grains]).T
    assert factor.mean() == pytest.approx(1.0, abs=5.0 / math.sqrt(8 * 4000))
    assert factor.var() == pytest.approx(1.0 / 8.0, rel=0.15)
    assert height.mean() == pytest.approx(0.0, abs=5.0 * height.std() / math.sqrt(4000))
    assert height.var() == pytest.approx(0.05**2 / 3.0 * 2.0 / 9.0, rel=0.15)
    assert grains[0].line("nb", 4.0) != grains[0].line("nb", 2.0) != grains[0].line("nb3sn", 2.0)
    # in the pattern: each line at the angle of its own height, with its own intensity
    grid, a = np.arange(50.0, 90.0, 0.001), 0.33007
    phase = PhaseTruth("nb", 1.0, a, 300.0)
    one = FewGrains(4, 0.1, 3)
    counts = [expected_counts(powder(phase, grains=grains), PLAIN, grid) for grains in (None, one)]
    tops = []
    for shell in (4, 6, 8):
        theta = math.asin(WAVELENGTH * math.sqrt(shell) / (2.0 * a))
        near = np.abs(grid - math.degrees(2.0 * theta)) < 0.5
        moved = np.diff([grid[near][np.argmax(each[near])] for each in counts])[0]
        factor, height = one.line("nb", shell)
        assert moved == pytest.approx(-math.degrees(2.0 * height * math.cos(theta) / 217.5), abs=0.0015)  # steps
        tops.append(counts[1][near].max() / counts[0][near].max() / factor)
    assert tops == pytest.approx([tops[0]] * 3, rel=5e-3)  # tails of other lines
