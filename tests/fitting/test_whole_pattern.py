"""Fits that start themselves, and what they say when something is odd."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from tests.fitting.conftest import INSTRUMENT, SAMPLE, TWO_THETA
from tests.generator import Fibre, simulate
from tests.made import as_pattern
from xrdorder.crystals import A15Composition
from xrdorder.exceptions import FitError, InstrumentError, UnknownNameError
from xrdorder.fitting import Calibration, FitOptions, PatternFit, fit_pattern
from xrdorder.least_squares import refinement
from xrdorder.patterns import read_pattern
from xrdorder.profiles.width_terms import lorentz_sec_from_size

SAMPLE_TRUTH = {"a_nm": SAMPLE.lattice_nm, "order_contrast": SAMPLE.site_order}


@pytest.fixture(scope="module")
def fit(sample_pattern: xr.DataArray, calibration: Calibration) -> PatternFit:
    return fit_pattern(sample_pattern, calibration.instrument)


def flag_names(result: PatternFit) -> set[str]:
    return {flag.name for flag in result.flags}


def test_finds_the_truth(fit: PatternFit) -> None:
    assert fit.status == "ok"
    # three total uncertainties
    assert abs(fit.values["a_nm"] - SAMPLE.lattice_nm) < 3.0 * fit.u("a_nm")
    assert abs(fit.values["order_contrast"] - SAMPLE.site_order) < 3.0 * fit.u("order_contrast")
    for name, truth in SAMPLE.weight_fractions().items():
        quantity = f"weight_fraction_{name}"
        assert abs(fit.values[quantity] - truth) < 3.0 * fit.u(quantity)
    assert fit.chi2_reduced == pytest.approx(
        1.0, abs=0.1
    )  # 3.6 standard deviations of chi squared over 2600 points
    assert fit.r_wp == pytest.approx(fit.r_expected * np.sqrt(fit.chi2_reduced), rel=1e-3)


def test_curves_and_lines_are_complete(fit: PatternFit, sample_pattern: xr.DataArray) -> None:
    np.testing.assert_array_equal(fit.curves["observed"], sample_pattern.values)
    parts = sum(fit.curves[f"part_{name}"] for name in ("nb3sn", "nb", "cu-sn"))
    np.testing.assert_allclose(parts + fit.curves["background"], fit.curves["calculated"], rtol=1e-9)
    a15 = fit.lines.where(fit.lines.phase == "nb3sn", drop=True)
    assert a15.hkl.values[:3].tolist() == ["1 1 0", "2 0 0", "2 1 0"]
    strongest = a15.hkl.values[int(np.argmax(a15["area"].values))]
    assert strongest in ("2 1 0", "2 1 1")
    assert all("units" in variable.attrs for variable in fit.curves.data_vars.values())


def test_every_uncertainty_has_its_sources(fit: PatternFit) -> None:
    budget = dict(fit.contributions.budget("a_nm"))
    assert {"counting", "specimen displacement", "calibration", "certificate"} <= set(budget)
    assert sum(v**2 for v in budget.values()) == pytest.approx(fit.u("a_nm") ** 2)
    assert "scattering table" in dict(fit.contributions.budget("order_contrast"))
    # what counting contributes is split by what had to be found out beside; together it is the covariance of the fit
    k = fit.free_names.index("nb3sn_a_nm")
    private = fit.contributions.part("a_nm", shared=False) ** 2 - budget["two-theta offset"] ** 2
    assert fit.covariance[k, k] == pytest.approx(private, rel=1e-6)


@pytest.mark.slow
def test_absent_phase_gets_an_upper_limit(sample_pattern: xr.DataArray, calibration: Calibration) -> None:
    result = fit_pattern(sample_pattern, calibration.instrument, phases=["nb3sn", "nb", "cu-sn", "si"])
    silicon = result.phases["si"]
    assert not silicon.present
    assert 0.0 < silicon.upper_limit < 0.01
    assert "weight_fraction_si" not in result.values


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(16))
def test_weak_bronze_is_found_wherever_its_lines_are(calibration: Calibration, seed: int) -> None:
    rng = np.random.default_rng(1000 + seed)
    bronze = replace(
        SAMPLE.others[1], weight_fraction=rng.uniform(0.01, 0.03), a_nm=rng.uniform(0.3620, 0.3705)
    )
    truth = replace(SAMPLE, others=(SAMPLE.others[0], bronze), displacement_mm=rng.uniform(-0.06, 0.06))
    result = fit_pattern(
        as_pattern(*simulate(truth, INSTRUMENT, TWO_THETA, seed=seed)), calibration.instrument
    )
    found = result.phases["cu-sn"]
    assert found.present
    assert found.lengths_nm[0] == pytest.approx(bronze.a_nm, abs=2e-4)
    # four uncertainties for sixteen cases: no more than one in a thousand runs of this test fails by chance
    assert abs(found.weight_fraction - bronze.weight_fraction) < 4.0 * found.u_weight_fraction


@pytest.mark.slow
def test_weak_phase_admits_that_its_width_is_guessed(calibration: Calibration) -> None:
    weak = replace(SAMPLE, others=(SAMPLE.others[0], replace(SAMPLE.others[1], weight_fraction=0.012)))
    pattern = as_pattern(*simulate(weak, INSTRUMENT, TWO_THETA, peak_counts=1500.0, seed=4))
    fit = fit_pattern(pattern, calibration.instrument)
    assert "cu_sn_scale" in fit.free_names and "cu_sn_lorentz_sec" not in fit.free_names
    amount, widths = "weight_fraction_cu-sn", "line width/cu_sn_lorentz_sec"
    table = fit.contributions
    u = float(np.linalg.norm(table.values[table.quantities.index(amount)]))
    column = table.values[table.quantities.index(amount), table.sources.index(widths)]
    # domains of 40 nm, not 100: their lines are wider, and hold more, than the fit makes of them
    assert abs(fit.values[amount] - 0.012) < 3.0 * u
    assert abs(column) > 0.2 * u


@pytest.mark.slow
def test_no_a15_is_a_result(pattern_without_a15: xr.DataArray, calibration: Calibration) -> None:
    result = fit_pattern(pattern_without_a15, calibration.instrument)
    assert result.status == "no A15"
    assert "a_nm" not in result.values
    assert abs(result.values["weight_fraction_nb"] - 0.7) < 3.0 * result.u("weight_fraction_nb")
    assert result.phases["nb3sn"].upper_limit < 0.01


@pytest.mark.slow
def test_unlisted_phase_is_noticed(sample_pattern: xr.DataArray, calibration: Calibration) -> None:
    alone = FitOptions(identify_phases=False)
    result = fit_pattern(sample_pattern, calibration.instrument, phases=["nb3sn", "nb"], options=alone)
    foreign = [flag.message for flag in result.flags if flag.name == "unexplained-line"]
    assert any("42.7" in message or "42.8" in message for message in foreign), foreign  # bronze (111)
    assert any("cu-sn 1 1 1" in message for message in foreign), foreign


@pytest.mark.slow
def test_unlisted_phase_of_the_catalogue_is_taken_in(
    sample_pattern: xr.DataArray, calibration: Calibration
) -> None:
    result = fit_pattern(sample_pattern, calibration.instrument, phases=["nb3sn", "nb"])
    assert any(flag.name == "phase-added" and flag.message.startswith("cu-sn") for flag in result.flags)
    assert "unexplained-line" not in flag_names(result)
    assert result.phases["cu-sn"].weight_fraction == pytest.approx(0.05, abs=4 * result.u("weight_fraction_cu-sn"))


@pytest.mark.slow
def test_hot_pixels_are_left_out_and_named(
    sample_pattern: xr.DataArray, calibration: Calibration, fit: PatternFit
) -> None:
    spoiled = sample_pattern.copy()
    rng = np.random.default_rng(8)
    hit = rng.choice(len(spoiled), 10, replace=False)
    spoiled.values[hit] += 3000.0
    result = fit_pattern(spoiled, calibration.instrument)
    assert "points-left-out" in flag_names(result)
    for quantity in ("a_nm", "order_contrast"):
        assert abs(result.values[quantity] - fit.values[quantity]) < result.u(quantity)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(6))
def test_starts_from_anywhere_in_the_a15_field(calibration: Calibration, seed: int) -> None:
    rng = np.random.default_rng(seed)
    truth = replace(SAMPLE, a_nm=0.5289 * (1.0 + rng.uniform(-0.008, 0.008)))
    two_theta, counts = simulate(truth, INSTRUMENT, TWO_THETA, seed=seed)
    result = fit_pattern(as_pattern(two_theta, counts), calibration.instrument)
    assert abs(result.values["a_nm"] - truth.lattice_nm) < 4.0 * result.u("a_nm")


@pytest.mark.slow
def test_flags_of_the_pattern_are_carried_on(sample_pattern: xr.DataArray, calibration: Calibration) -> None:
    said = sample_pattern.assign_attrs(flags=json.dumps([["not-counts", "values are not counts"]]))
    assert "not-counts" in flag_names(fit_pattern(said, calibration.instrument))


def test_unknown_illumination_is_a_flag(fit: PatternFit) -> None:
    assert {"slit-not-given", "length-not-given"} <= flag_names(fit)
    assert "beam" not in fit.quality_words  # what nobody told makes no fit worse


def test_other_radiation_is_refused(sample_pattern: xr.DataArray, calibration: Calibration) -> None:
    with pytest.raises(InstrumentError, match="calibrated with cu-ka"):
        fit_pattern(sample_pattern.assign_attrs(wavelength_nm=0.0709317), calibration.instrument)


@pytest.mark.parametrize(
    ("phases", "error", "said"),
    [
        ([], FitError, "no phase given"),
        (["nb3sn", "nb3sn"], FitError, "given twice"),
        (["unobtainium"], UnknownNameError, "unobtainium"),
    ],
)
def test_wrong_phases(
    sample_pattern: xr.DataArray,
    calibration: Calibration,
    phases: list[str],
    error: type[Exception],
    said: str,
) -> None:
    with pytest.raises(error, match=said):
        fit_pattern(sample_pattern, calibration.instrument, phases=phases)


def test_range_without_lines(calibration: Calibration) -> None:
    two_theta = np.arange(2.0, 12.0, 0.02)
    with pytest.raises(FitError, match="no phase has a line"):
        fit_pattern(as_pattern(two_theta, np.full_like(two_theta, 100.0)), calibration.instrument)


def test_fewer_points_than_parameters(calibration: Calibration) -> None:
    two_theta = np.linspace(30.0, 70.0, 12)
    with pytest.raises(FitError, match="cannot decide"):
        fit_pattern(as_pattern(two_theta, np.full_like(two_theta, 100.0)), calibration.instrument)


def test_a_fit_without_an_end_says_so(
    sample_pattern: xr.DataArray, calibration: Calibration, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(refinement, "MOST_EVALUATIONS", 5)
    with pytest.raises(FitError, match=r"no minimum after 5 evaluations .* name those that are in it"):
        fit_pattern(sample_pattern, calibration.instrument, phases=["cu-sn"])


@pytest.mark.slow
@pytest.mark.parametrize(("axis", "r", "margin"), [((1, 1, 0), 0.75, 0.005), ((1, 0, 0), 0.9, 0.0)])
def test_texture_is_seen_and_corrected(
    calibration: Calibration, axis: tuple[int, int, int], r: float, margin: float
) -> None:
    fibre = Fibre(axis, r)
    truth = replace(SAMPLE, fibre=fibre, others=tuple(replace(phase, fibre=fibre) for phase in SAMPLE.others))
    result = fit_pattern(as_pattern(*simulate(truth, INSTRUMENT, TWO_THETA, seed=4)), calibration.instrument)
    assert "texture" in flag_names(result)
    # strong texture goes beyond the eighth order of the series: trials left 0.003 of bias in the order at r = 0.75
    assert abs(result.values["order_contrast"] - truth.site_order) < 3.0 * result.u("order_contrast") + margin
    assert abs(result.values["a_nm"] - truth.lattice_nm) < 3.0 * result.u("a_nm")
    niobium = result.values["weight_fraction_nb"]
    assert abs(niobium - 0.10) < 3.0 * result.u("weight_fraction_nb") + margin


def test_no_texture_is_imagined(fit: PatternFit) -> None:
    assert "texture" not in flag_names(fit)
    assert fit.parameters["nb3sn_texture_4"].value == 0.0


@pytest.mark.slow
def test_smoothed_data_do_not_look_more_certain(
    sample_pattern: xr.DataArray, calibration: Calibration, fit: PatternFit, tmp_path: Path
) -> None:
    two_theta = sample_pattern["two_theta"].values
    smoothed = np.convolve(sample_pattern.values, np.ones(5) / 5, mode="same")[4:-4]
    file = tmp_path / "smoothed.xy"
    np.savetxt(file, np.column_stack([two_theta[4:-4], smoothed]), fmt="%.4f")
    result = fit_pattern(read_pattern(file), calibration.instrument)
    assert "smoothed" in flag_names(result)
    assert "smoothed" in result.quality_words
    size_width = lorentz_sec_from_size(SAMPLE.domain_size_nm, 0.15406)
    # an average over five points of 0.04 degrees is as wide as a line, and how wide no pattern tells
    assert abs(result.values["lorentz_sec"] - size_width) < 3.0 * result.u("lorentz_sec")
    assert result.u("lorentz_sec") > 5.0 * fit.u("lorentz_sec")
    for quantity in ("a_nm", "order_contrast"):
        # smoothing adds no information: the uncertainty is not smaller by more than the estimate of the scatter allows
        assert result.u(quantity) > 0.8 * fit.u(quantity)
        assert abs(result.values[quantity] - SAMPLE_TRUTH[quantity]) < 4.0 * result.u(quantity)


@pytest.mark.slow
def test_counting_times_are_honoured(
    sample_pattern: xr.DataArray, calibration: Calibration, fit: PatternFit
) -> None:
    two_theta = sample_pattern["two_theta"].values
    time = np.where(two_theta < 70.0, 1.0, 4.0)
    counts = simulate(SAMPLE, INSTRUMENT, TWO_THETA)[1]
    longer = as_pattern(two_theta, np.random.default_rng(6).poisson(counts * time).astype(float))
    longer["counting_time"] = ("two_theta", time)
    result = fit_pattern(longer, calibration.instrument)
    assert abs(result.values["a_nm"] - SAMPLE.lattice_nm) < 3.0 * result.u("a_nm")
    assert result.chi2_reduced == pytest.approx(1.0, abs=0.1)
    counting = [dict(f.contributions.budget("a_nm"))["counting"] for f in (result, fit)]
    assert counting[0] < 0.8 * counting[1]  # four times the counts on the lines that decide a
    ratio = result.curves["time_factor"].values / time  # over the median, which is one or four
    assert np.ptp(ratio) == 0.0 and "time_factor" not in fit.curves


def test_another_geometry_is_refused(sample_pattern: xr.DataArray, calibration: Calibration) -> None:
    with pytest.raises(InstrumentError, match="calibrated in reflection"):
        fit_pattern(sample_pattern.assign_attrs(geometry="transmission"), calibration.instrument)


@pytest.mark.slow
def test_length_of_the_standard_is_not_taken_for_that_of_the_sample(
    sample_pattern: xr.DataArray, calibration: Calibration
) -> None:
    instrument = replace(calibration.instrument, divergence_deg=0.5, specimen_length_mm=5.0)
    assert "length-not-given" in flag_names(fit_pattern(sample_pattern, instrument))


@pytest.mark.slow
def test_by_tin_says_what_another_tin_content_would_have_given(
    sample_pattern: xr.DataArray, calibration: Calibration
) -> None:
    """Two at.% apart, mean of the slopes at both ends: what is left is of third order, a tenth is generous."""
    options = FitOptions(cross_checks=False)
    lean, rich = (
        fit_pattern(
            sample_pattern,
            calibration.instrument,
            composition=A15Composition(tin_fraction=tin, site_order=0.9, dopants={}, on_tin_site={}),
            options=options,
        )
        for tin in (0.23, 0.25)
    )
    for name in ("order_contrast", "weight_fraction_nb3sn", "weight_fraction_nb", "weight_fraction_cu-sn"):
        change = rich.values[name] - lean.values[name]
        expected = 0.01 * (lean.by_tin[name] + rich.by_tin[name])
        assert change == pytest.approx(expected, rel=0.1), name
