"""What the pattern asks for is taken in, what it asks for and is not fitted is told; judged by the generator."""

from dataclasses import replace

import numpy as np
import pytest

from tests.fitting.conftest import INSTRUMENT, SAMPLE, TWO_THETA
from tests.generator import (
    Fibre,
    InstrumentTruth,
    LatticeDistribution,
    PhaseTruth,
    SampleTruth,
    copper_k_beta,
    expected_counts,
    simulate,
    tungsten_l_alpha,
)
from tests.generator.defects import counted, foreign_lines
from tests.made import as_pattern
from xrdorder.crystals import phase
from xrdorder.crystals.reflections import reflections
from xrdorder.crystals.unit_cell import inverse_d_squared
from xrdorder.exceptions import FitError
from xrdorder.fitting import Calibration, FitOptions, PatternFit, fit_pattern
from xrdorder.material.formulas import recomputed

NIOBIUM, BRONZE = SAMPLE.others
A_NM = SAMPLE.lattice_nm
PM = 1e-3  # nm
LEAN_NM, RICH_NM = A_NM - 0.2 * PM, A_NM + 0.2 * PM
# limit of the whole job on the bias of the mean lattice by a gradient: 0.15 at.% of tin
LIMIT_NM = 2e-5


def fitted(
    sample: SampleTruth,
    calibration: Calibration,
    instrument: InstrumentTruth = INSTRUMENT,
    seed: int = 21,
    phases: tuple[str, ...] = ("nb3sn", "nb", "cu-sn"),
    **choices: object,
) -> PatternFit:
    pattern = as_pattern(*simulate(sample, instrument, TWO_THETA, seed=seed))
    options = FitOptions(**{"cross_checks": False, **choices})  # type: ignore[arg-type]
    return fit_pattern(pattern, calibration.instrument, phases=phases, options=options)


def messages(result: PatternFit, name: str) -> list[str]:
    return [flag.message for flag in result.flags if flag.name == name]


def deviation(result: PatternFit, quantity: str, truth: float) -> float:
    """In total standard uncertainties."""
    return (result.values[quantity] - truth) / result.u(quantity)


LAYERS = {
    "half in a tail": LatticeDistribution.exponential_tail(A_NM, 0.5, 0.25 * PM),
    "tail of 5 at.%": LatticeDistribution.exponential_tail(A_NM, 0.3, 0.68 * PM),
    "even between edges": LatticeDistribution.graded(A_NM - 0.68 * PM, A_NM),
    "wedge": LatticeDistribution.graded(A_NM - 0.68 * PM, A_NM, 1.0),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", LAYERS)
def test_a_graded_layer_does_not_bias_the_mean(name: str, calibration: Calibration) -> None:
    sample = replace(SAMPLE, lattice=LAYERS[name])
    result = fitted(sample, calibration)
    error = abs(result.values["a_nm"] - sample.lattice_nm)
    assert error < max(LIMIT_NM, 3.0 * result.u("a_nm"))
    assert abs(deviation(result, "order_contrast", sample.site_order)) < 3.0
    if name.endswith("edges"):  # a symmetric spread is no tail: strain would look the same
        assert "lattice_tail_nm" not in result.values


@pytest.mark.slow
def test_two_populations_are_told_apart(calibration: Calibration) -> None:
    layer = LatticeDistribution.two_populations(LEAN_NM, RICH_NM, 0.4, 80.0, 300.0)
    sample = replace(SAMPLE, lattice=layer)
    result = fitted(sample, calibration)
    assert abs(deviation(result, "a_nm", sample.lattice_nm)) < 3.0
    # three of the common errors, which both share, and of their own
    for quantity, truth in (("a_nm_lean", LEAN_NM), ("a_nm_rich", RICH_NM), ("rich_share", 0.4)):
        assert abs(deviation(result, quantity, truth)) < 3.5
    assert result.values["lorentz_sec_rich"] < result.values["lorentz_sec_lean"]
    shares = [result.values[f"weight_fraction_{name}"] for name in ("nb3sn", "nb", "cu-sn")]
    assert sum(shares) == pytest.approx(1.0)
    for quantity in ("a_nm", "a_nm_lean", "rich_share", "lorentz_sec", "weight_fraction_nb3sn"):
        assert recomputed(result.records[quantity]) == pytest.approx(result.values[quantity], rel=1e-9)


@pytest.mark.slow
def test_stray_lines_are_named_and_modelled(calibration: Calibration) -> None:
    dirty = replace(INSTRUMENT, stray=(copper_k_beta(0.015), tungsten_l_alpha(0.007)))
    result = fitted(SAMPLE, calibration, dirty)
    assert {text.split(" of the tube")[0] for text in messages(result, "tube-lines")} == {"K-beta", "W L-alpha"}
    assert not messages(result, "unexplained-line")
    assert abs(deviation(result, "a_nm", A_NM)) < 3.0
    assert abs(deviation(result, "order_contrast", SAMPLE.site_order)) < 3.0
    left_out = fitted(SAMPLE, calibration, dirty, tube_lines=False)
    assert any("K-beta" in text for text in messages(left_out, "unexplained-line"))


@pytest.mark.slow
def test_strain_of_niobium_depends_on_direction(calibration: Calibration) -> None:
    cold_worked = replace(NIOBIUM, weight_fraction=0.3, microstrain_lorentz=2e-3, strain_anisotropy=-1.0)
    result = fitted(replace(SAMPLE, others=(cold_worked, BRONZE)), calibration)
    assert messages(result, "strain-anisotropy")
    assert abs(deviation(result, "strain_anisotropy_nb", -1.0)) < 3.0


@pytest.mark.slow
def test_march_texture_on_request(calibration: Calibration) -> None:
    textured = replace(SAMPLE, fibre=Fibre((1, 0, 0), 0.7))
    result = fitted(textured, calibration, texture_axes={"nb3sn": (1, 0, 0)})
    march = result.parameters["nb3sn_march_r"]
    assert float(march.value) == pytest.approx(0.7, abs=4.0 * float(march.stderr))
    assert abs(deviation(result, "order_contrast", SAMPLE.site_order)) < 3.0


@pytest.mark.slow
def test_elastic_shifts_are_told_and_fitted_on_request(calibration: Calibration) -> None:
    strained = replace(SAMPLE, elastic_shift=2e-4)
    untold = fitted(strained, calibration)
    assert messages(untold, "lines-shifted-by-strain")
    result = fitted(strained, calibration, elastic_shifts=True)
    assert not messages(result, "lines-shifted-by-strain")
    assert abs(deviation(result, "elastic_shift", 2e-4)) < 3.0


@pytest.mark.slow
def test_a_beam_longer_than_the_specimen_is_told(calibration: Calibration) -> None:
    wide = replace(INSTRUMENT, divergence_deg=1.0)
    assert messages(fitted(replace(SAMPLE, specimen_length_mm=10.0), calibration, wide), "intensities-at-low-angle")
    assert not messages(fitted(SAMPLE, calibration), "intensities-at-low-angle")


@pytest.mark.slow
def test_niobium_and_tantalum_are_a_sum_until_told_apart(calibration: Calibration) -> None:
    asked = ("nb3sn", "nb", "ta", "cu-sn")
    tantalum = PhaseTruth("ta", 0.15, 0.3303, 60.0, b_iso_nm2=0.0033)
    broad = (replace(NIOBIUM, domain_size_nm=25.0), replace(tantalum, domain_size_nm=25.0), BRONZE)
    result = fitted(replace(SAMPLE, others=broad), calibration, phases=asked)
    assert messages(result, "metals-together")
    # three standard uncertainties, which hold all niobium and all tantalum
    assert abs(deviation(result, "weight_fraction_nb-ta", 0.25)) < 3.0
    sharp = (replace(NIOBIUM, domain_size_nm=300.0), replace(tantalum, domain_size_nm=300.0), BRONZE)
    result = fitted(replace(SAMPLE, others=sharp), calibration, phases=asked)
    assert messages(result, "metals-apart")
    for name, truth in (("nb", 0.10), ("ta", 0.15)):
        assert abs(deviation(result, f"weight_fraction_{name}", truth)) < 3.0


@pytest.mark.slow
def test_grains_of_known_size_correct_the_amounts(calibration: Calibration) -> None:
    plain, corrected = fitted(SAMPLE, calibration), fitted(SAMPLE, calibration, particle_size_um=2.0)
    # bronze absorbs a third of what the A15 does: its light comes from deeper in a grain, and it seems more than it is
    assert corrected.values["weight_fraction_cu-sn"] < 0.95 * plain.values["weight_fraction_cu-sn"]
    half = dict(corrected.contributions.budget("weight_fraction_cu-sn"))["microabsorption"]
    whole = dict(plain.contributions.budget("weight_fraction_cu-sn"))["microabsorption"]
    assert abs(half) == pytest.approx(0.5 * abs(whole), rel=0.01)


@pytest.mark.slow
@pytest.mark.parametrize("there", [False, True])
def test_a_phase_of_unknown_atoms_is_looked_for(there: bool, calibration: Calibration) -> None:
    counts = expected_counts(SAMPLE, INSTRUMENT, TWO_THETA)
    one = phase("nb6sn5")
    lengths = np.array(one.lengths_nm) * 1.002
    if there:  # a sixth of all its lines, each a twentieth of the strongest of the pattern
        found = reflections(one.space_group, one.system, lengths, one.angles_deg, 0.16)
        inverse, _ = inverse_d_squared(one.system, found.hkl, lengths)
        angles = 2.0 * np.degrees(np.arcsin(0.5 * 0.154059 * np.sqrt(inverse[::6])))
        inside = angles[angles > TWO_THETA[0]]
        counts = foreign_lines(TWO_THETA, counts, inside, np.full(len(inside), 0.05), 0.15)
    pattern = as_pattern(TWO_THETA, counted(counts, 5))
    result = fit_pattern(pattern, calibration.instrument, phases=("nb3sn", "nb", "cu-sn", "nb6sn5"))
    found_phase = result.phases["nb6sn5"]
    assert found_phase.present == there
    assert "weight_fraction_nb6sn5" not in result.values  # nothing is known that would turn areas into mass
    assert abs(deviation(result, "a_nm", A_NM)) < 3.0
    if there:
        # one wavelength instead of all emission lines in the foreign lines: 1e-4 of the lattice at low angles
        assert found_phase.lengths_nm == pytest.approx(lengths, rel=5e-4)
        assert not messages(result, "unexplained-line")


def test_choices_are_checked() -> None:
    with pytest.raises(FitError, match="lattice distribution 'graded' is unknown"):
        FitOptions(lattice_distribution="graded")
    with pytest.raises(FitError, match="three indices"):
        FitOptions(texture_axes={"nb": (0, 0, 0)})
    with pytest.raises(FitError, match="particle size"):
        FitOptions(particle_size_um=-1.0)
