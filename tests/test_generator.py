"""Is the judge itself right? The generator of test patterns against handbooks and closed forms."""

import ast
import math
from pathlib import Path

import numpy as np
import pytest

from tests import generator
from tests.generator import (
    Background,
    Dopant,
    InstrumentTruth,
    PhaseTruth,
    SampleTruth,
    attenuation_per_mm,
    expected_counts,
    line_profile,
    line_strengths,
    random_instrument,
    random_truth,
    simulate,
    simulate_standard,
)
from tests.generator.cells import HC_EV_NM, dispersion, f0
from tests.generator.optics import EMISSION, axial_rays, caught_by_specimen, lorentz_polarisation
from xrdorder.relations.tin_from_lattice import MEASURED

ENERGY = 8047.8227  # Cu Ka1, G. Hölzer et al., Phys. Rev. A 56 (1997) 4554, from memory
WAVELENGTH = HC_EV_NM / ENERGY
PLAIN = InstrumentTruth(
    radiation="cu-ka1",
    gauss_tan2=0.0,
    gauss_tan=0.0,
    gauss_const=1e-4,
    lorentz_sec=0.0,
    lorentz_tan=0.0,
    axial_source_ratio=0.0,
    axial_detector_ratio=0.0,
)
NO_BACKGROUND = Background(constant=0.0, air=0.0, hump=0.0)


def a15_intensities(sample: SampleTruth) -> dict[int, float]:
    """Calculated intensity of the A15 lines by h² + k² + l²."""
    a = sample.lattice_nm
    shells, strengths = line_strengths(sample.a15_cell(a), ENERGY, 46, "gemmi")
    angles = 2.0 * np.degrees(np.arcsin(WAVELENGTH * np.sqrt(shells) / (2.0 * a)))
    intensities = strengths * lorentz_polarisation(angles, None)
    return {int(n): float(i) for n, i in zip(shells, intensities, strict=True)}


def test_generator_shares_no_code_with_the_package():
    for path in Path(generator.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            assert not any(name.split(".")[0] == "xrdorder" for name in names), path.name


def test_lines_of_certified_lab6():
    # Peak positions of LaB6 (0.41569 nm) for Cu Ka1 as certificates of the series list them, from memory:
    # issues differ by 20 ppm of lattice parameter, 0.002 degrees at these angles, and the grid point found is
    # within 0.001.
    expected = [21.358, 30.385, 37.442, 43.507, 48.958, 53.989, 63.219, 67.548, 71.746, 75.844]
    grid = np.arange(20.0, 77.0, 0.002)
    two_theta, counts = simulate_standard(PLAIN, "srm-660c", grid, background=NO_BACKGROUND)
    for position in expected:
        near = np.abs(two_theta - position) < 0.3
        assert two_theta[near][np.argmax(counts[near])] == pytest.approx(position, abs=0.003)


def test_multiplicities_are_counted():
    # International Tables: m-3m has 12 {110}, 24 {210}, 24 {211}, 48 {321}, and {330} + {411} share one
    # angle, 12 + 24.
    nb = PhaseTruth("nb", 1.0, 0.33007).cell()
    shells, strengths = line_strengths(nb, ENERGY, 20, "gemmi")
    s = np.sqrt(shells) / (2.0 * nb.a_nm)
    amplitude = (
        2.0 * np.abs(f0("Nb", s, "gemmi") + dispersion("Nb", ENERGY, "gemmi")) * np.exp(-0.0045 * s**2)
    )
    counted = dict(zip(shells.astype(int), strengths / amplitude**2, strict=True))
    expected = {2: 12, 4: 6, 6: 24, 8: 12, 10: 24, 12: 8, 14: 48, 16: 6, 18: 36, 20: 24}
    assert counted == pytest.approx(expected, rel=1e-9)


def test_a15_absences():
    # Pm-3n, International Tables: hhl only with l even; so 100, 111, 221 = 300, 311 and 331 are missing.
    present = set(a15_intensities(SampleTruth(tin_fraction=0.25, order_a=1.0)))
    assert present & set(range(1, 25)) == {2, 4, 5, 6, 8, 10, 12, 13, 14, 16, 18, 20, 21, 22, 24}


def test_a15_line_ratios():
    # A calculation made apart from this code with another table of f' (B = 0.5 Å², S = 1): I(110)/I(211) =
    # 0.032, I(210)/I(211) = 1.028. Tables of f' differ by up to 3 % in f_Sn - f_Nb, hence 6 % in (110) and
    # 1 % in the strong lines, where Sn and Nb add.
    sample = SampleTruth(tin_fraction=0.25, order_a=1.0, a_nm=0.5289, b_2a_nm2=0.005, b_6c_nm2=0.005)
    strong = a15_intensities(sample)
    assert strong[2] / strong[6] == pytest.approx(0.032, rel=0.07)
    assert strong[5] / strong[6] == pytest.approx(1.028, rel=0.01)
    assert strong[4] / strong[5] == pytest.approx(0.447, rel=0.01)
    assert strong[14] / strong[5] == pytest.approx(0.453, rel=0.01)
    # The order lines go with the square of 4 β S_a, whatever it is made of.
    less = SampleTruth(tin_fraction=0.22, order_a=0.95, a_nm=0.5289, b_2a_nm2=0.005, b_6c_nm2=0.005)
    assert a15_intensities(less)[2] / strong[2] == pytest.approx((4 * 0.22 * 0.95) ** 2, rel=1e-9)


def test_site_balance():
    # A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, eq. 1, and the balance 3 (1 - r_a) + r_b = 4 β.
    sample = SampleTruth(tin_fraction=0.23, order_a=0.9)
    sites = sample.occupancy()
    r_a, r_b = sites["6c"]["Nb"], sites["2a"]["Sn"]
    assert (r_a - 0.77) / 0.23 == pytest.approx(0.9)
    assert (3 * sites["6c"]["Sn"] + r_b) / 4 == pytest.approx(0.23)
    assert r_a + r_b - 1 == pytest.approx(sample.site_order) == pytest.approx(4 * 0.23 * 0.9)
    with pytest.raises(ValueError, match="do not fit"):
        SampleTruth(tin_fraction=0.26, order_a=1.0).occupancy()


def test_contrast_of_a_doped_crystal_is_what_the_order_line_sees():
    tantalum = Dopant("Ta", 0.024, 0.3)
    sample = SampleTruth(tin_fraction=0.24, order_a=0.98, dopants=(tantalum,), b_2a_nm2=0.0, b_6c_nm2=0.0)
    atoms = sample.a15_cell(0.5289).atoms()
    assert atoms["Ta"] / sum(atoms.values()) == pytest.approx(0.024)
    assert atoms["Sn"] / sum(atoms.values()) == pytest.approx(0.24)
    _, strengths = line_strengths(sample.a15_cell(sample.lattice_nm), ENERGY, 2, "gemmi")
    s = np.array([math.sqrt(2.0) / (2.0 * sample.lattice_nm)])
    difference = (
        f0("Sn", s, "gemmi")
        - f0("Nb", s, "gemmi")
        + dispersion("Sn", ENERGY, "gemmi")
        - dispersion("Nb", ENERGY, "gemmi")
    )
    seen = math.sqrt(strengths[0] / 12.0) / (2.0 * abs(difference[0]))
    assert sample.order_contrast() == pytest.approx(seen, rel=1e-9)


def test_densities():
    # Handbook densities in g/cm³, from memory; Nb3Sn: V. Guritanu et al., Phys. Rev. B 70 (2004) 184526, 8.91 at a =
    # 0.5293 nm and 25.4 % tin.
    for name, a, density in (
        ("nb", 0.33007, 8.57),
        ("cu", 0.36149, 8.93),
        ("si", 0.54310, 2.329),
        ("lab6", 0.41568, 4.71),
    ):
        assert PhaseTruth(name, 1.0, a).cell().density_g_cm3 == pytest.approx(density, rel=0.003)
    assert SampleTruth(tin_fraction=0.25, order_a=1.0).a15_cell(0.5293).density_g_cm3 == pytest.approx(
        8.91, rel=0.002
    )


def test_attenuation_of_nb3sn():
    # 1/µ from tabulated photo-absorption is about 6.6 µm at Cu Ka; tables agree to 2 %.
    length_um = 1e3 / attenuation_per_mm(SampleTruth().a15_cell(0.5289), ENERGY)
    assert length_um == pytest.approx(6.6, rel=0.02)


def test_lorentz_polarisation_of_the_handbook():
    # B. D. Cullity, Elements of X-Ray Diffraction, 2nd ed. (1978), appendix: 14.44 at θ = 20 degrees, from
    # memory; his form lacks the factor (1 + K) sin2θ / cosθ sinθ = 4.
    assert 4.0 * lorentz_polarisation(np.array([40.0]), None)[0] == pytest.approx(14.44, abs=0.005)


def test_emission_lines():
    # Ka1 peak 0.15405929 nm and mean Ka 0.15418 nm (International Tables C, 4.2.2); shares sum to one.
    for lines in EMISSION.values():
        assert sum(share for _, _, share in lines) == pytest.approx(1.0)
    for name in ("cu-ka", "cu-ka doublet"):
        mean = sum(share * HC_EV_NM / energy for energy, _, share in EMISSION[name])
        assert mean == pytest.approx(0.15418, abs=2e-5)
    shares = [share for _, _, share in InstrumentTruth(alpha2_ratio=0.5).emission()]
    assert sum(shares) == pytest.approx(1.0)
    assert sum(shares[2:]) / sum(shares[:2]) == pytest.approx(0.5)


@pytest.mark.parametrize("two_theta", [24.0, 60.0, 130.0])
def test_axial_rays_against_rays_drawn_on_the_cone(two_theta):
    # Rays spread evenly round the cone leave every height of the source; those that pass the detector slit
    # are kept. The step functions at the slit's ends make this sum good to about one part in a thousand.
    source, detector, angle = 0.03, 0.02, math.radians(two_theta)
    z = (np.arange(400) + 0.5) / 400 * 2.0 * source - source
    azimuth = (np.arange(20_001) / 20_000 - 0.5) * 0.6
    along = np.hypot(math.cos(angle), math.sin(angle) * np.cos(azimuth))
    rise = math.sin(angle) * np.sin(azimuth) / along
    two_phi = np.arctan2(math.sin(angle) * np.cos(azimuth), math.cos(angle))
    kept = np.abs(z[:, None] + rise) < detector
    share = kept.mean() * 0.6 * math.sin(angle) / (2.0 * detector)
    mean = (kept * (two_phi - angle)).sum() / kept.sum()
    square = (kept * (two_phi - angle) ** 2).sum() / kept.sum()

    shift, weight = axial_rays(angle, source, detector)
    assert weight.sum() == pytest.approx(share, rel=1e-3)
    assert (weight * shift).sum() / weight.sum() == pytest.approx(mean, rel=3e-3)
    assert (weight * shift**2).sum() / weight.sum() == pytest.approx(square, rel=6e-3)
    assert np.all(np.sign(shift) == (-1.0 if two_theta < 90.0 else 1.0))


def test_enough_heights(monkeypatch):
    instrument = InstrumentTruth(axial_source_ratio=0.03, axial_detector_ratio=0.03)
    two_theta = np.arange(18.0, 40.0, 0.01)
    coarse = line_profile(two_theta, 0.3740, ENERGY, 2.3, instrument)
    monkeypatch.setattr("tests.generator.optics._CORE_NODES", (30, 60))
    monkeypatch.setattr("tests.generator.optics._TAIL_NODES", (30, 60))
    fine = line_profile(two_theta, 0.3740, ENERGY, 2.3, instrument)
    # A tenth of the counting noise of a line of 1e8 counts at its top.
    assert np.abs(coarse - fine).max() < 1e-5 * fine.max()


def test_domain_size_gives_the_integral_breadth():
    # Scherrer's equation, K = 1 on the integral breadth for the volume-weighted size.
    d, size = 0.2159, 80.0
    theta = math.asin(WAVELENGTH / (2.0 * d))
    sharp = InstrumentTruth(**{**PLAIN.__dict__, "gauss_const": 1e-12})
    grid = np.linspace(-1.0, 1.0, 2001) + math.degrees(2.0 * theta)
    peak = line_profile(grid, d, ENERGY, 0.0, sharp, domain_size_nm=size).max()
    assert math.radians(1.0 / peak) == pytest.approx(WAVELENGTH / (size * math.cos(theta)), rel=1e-4)


def test_lattice_spread_and_displacement():
    # A Gauss distribution of a is one of angles, by the derivative of Bragg's law; the displacement shift
    # is the handbook's -2 s cosθ / R.
    d, spread = 0.2159, 5e-4
    theta = math.asin(WAVELENGTH / (2.0 * d))
    grid = np.linspace(-2.0, 2.0, 4001) + math.degrees(2.0 * theta)
    line = line_profile(grid, d, ENERGY, 0.0, PLAIN, lattice_spread=spread, displacement_mm=0.05)
    mean = (line * grid).sum() / line.sum()
    variance = (line * (grid - mean) ** 2).sum() / line.sum()
    narrow = 1e-4 / (8.0 * math.log(2.0))
    assert variance - narrow == pytest.approx(math.degrees(2.0 * math.tan(theta) * spread) ** 2, rel=1e-6)
    shift = -math.degrees(2.0 * 0.05 * math.cos(theta) / 217.5)
    assert mean - math.degrees(2.0 * theta) == pytest.approx(shift, rel=1e-6)


def test_flat_specimen_and_transparency_centroids():
    # H. P. Klug, L. E. Alexander, X-ray Diffraction Procedures, 2nd ed. (1974), ch. 5, from memory: centroids
    # -δ² cotθ / 6 and -sin2θ / (2 µ R).
    d = 0.2159
    theta = math.asin(WAVELENGTH / (2.0 * d))
    grid = np.linspace(-2.0, 2.0, 4001) + math.degrees(2.0 * theta)
    flat = InstrumentTruth(**{**PLAIN.__dict__, "flat_specimen": True, "divergence_deg": 1.0})
    line = line_profile(grid, d, ENERGY, 0.0, flat, attenuation=5.0)
    mean = (line * grid).sum() / line.sum() - math.degrees(2.0 * theta)
    expected = -(math.radians(1.0) ** 2) / (6.0 * math.tan(theta)) - math.sin(2.0 * theta) / (
        2.0 * 5.0 * 217.5
    )
    assert mean == pytest.approx(math.degrees(expected), rel=1e-6)


def test_beam_longer_than_specimen():
    # Footprint R δ / sinθ: with R = 217.5 mm, δ = 1 degree and a specimen of 10 mm, (110) loses 46 % and
    # (211) 6 %.
    wide = InstrumentTruth(divergence_deg=1.0)
    caught = caught_by_specimen(np.array([23.79, 41.84, 90.0]), wide, 10.0)
    assert caught == pytest.approx([0.54, 0.94, 1.0], abs=0.005)


def test_weights_become_volumes():
    # B. D. Cullity, ch. 14, from memory: in a thick mixture I ∝ v p |F|² LP / V², v the volume fraction.
    # Here Cu (111) against Nb (200), both alone within 4 degrees, with handbook densities (0.3 %); the
    # Lorentz tails cut off, of either line, are below 0.3 %.
    mixture = (PhaseTruth("cu", 0.4, 0.36149, 500.0), PhaseTruth("nb", 0.6, 0.33007, 500.0))
    two_theta = np.arange(38.0, 60.0, 0.01)
    counts = expected_counts(SampleTruth(others=mixture, background=NO_BACKGROUND), PLAIN, two_theta)
    intensity = []
    for element, a, h2, multiplicity, atoms, b_iso, volume in (
        ("Cu", 0.36149, 3, 8, 4, 0.0055, 0.4 / 8.93),
        ("Nb", 0.33007, 4, 6, 2, 0.0045, 0.6 / 8.57),
    ):
        s = np.array([math.sqrt(h2) / (2.0 * a)])
        angle = 2.0 * np.degrees(np.arcsin(WAVELENGTH * s))
        amplitude = atoms * abs(f0(element, s, "gemmi") + dispersion(element, ENERGY, "gemmi"))
        strength = multiplicity * (amplitude * np.exp(-b_iso * s**2)) ** 2 * lorentz_polarisation(angle, None)
        area = counts[np.abs(two_theta - angle) < 3.5].sum()
        intensity.append(area / (strength[0] * volume / a**6))
    assert intensity[0] == pytest.approx(intensity[1], rel=0.01)


def test_counts_are_poisson_and_repeatable():
    sample, instrument = SampleTruth(), InstrumentTruth()
    _, mean = simulate(sample, instrument, peak_counts=10_000)
    _, counts = simulate(sample, instrument, peak_counts=10_000, seed=3)
    assert mean.max() == pytest.approx(10_000)
    assert np.array_equal(counts, simulate(sample, instrument, peak_counts=10_000, seed=3)[1])
    assert np.array_equal(counts, np.round(counts))
    chi2 = ((counts - mean) ** 2 / mean).mean()
    assert chi2 == pytest.approx(1.0, abs=5.0 * math.sqrt(2.0 / len(mean)))  # five standard deviations


def test_random_truth_stays_in_its_ranges():
    rng = np.random.default_rng(5)
    for _ in range(200):
        sample = random_truth(rng)
        assert 0.22 <= sample.tin_fraction <= 0.25 and 0.88 <= sample.order_a <= 1.0
        assert 40.0 <= sample.domain_size_nm <= 250.0 and abs(sample.displacement_mm) <= 0.06
        assert sample.lattice_nm == pytest.approx(float(MEASURED.inverse(sample.tin_fraction)))
        assert sum(sample.weight_fractions().values()) == pytest.approx(1.0)
        assert 4 * sample.tin_fraction * sample.order_a == pytest.approx(sample.site_order)
        instrument = random_instrument(rng)
        tangent = np.tan(np.radians(np.arange(5.0, 85.0)))
        gauss2 = instrument.gauss_tan2 * tangent**2 + instrument.gauss_tan * tangent + instrument.gauss_const
        assert gauss2.min() > 0.0
    assert random_truth(rng, displacement_mm=0.0).displacement_mm == 0.0


def test_another_table_changes_the_order_line_a_little():
    # Tables of f' and f0 differ by about one percent in f_Sn - f_Nb; a wrong unit or sign would show as far
    # more.
    pytest.importorskip("xraydb")
    sample = SampleTruth(tin_fraction=0.25, order_a=1.0)
    first, second = (
        line_strengths(sample.a15_cell(0.529), ENERGY, 6, table)[1] for table in ("gemmi", "xraydb")
    )
    assert 0.0 < abs(second[0] / first[0] - 1.0) < 0.04
    assert second[-1] == pytest.approx(first[-1], rel=0.01)
