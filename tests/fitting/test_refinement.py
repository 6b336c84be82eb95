"""The weighted problem that rounds of the fit solve."""

import copy
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from tests.fitting.fixed_point import fixed_point
from xrdorder.fitting import ENGINES, Calibration, calibrate, fit_pattern
from xrdorder.fitting.procedure import PRESENT, Procedure
from xrdorder.fitting.whole_pattern import prepare
from xrdorder.forward_model.parameter_map import set_values
from xrdorder.patterns import read_pattern
from xrdorder.profiles.voigt import fwhm

DEMO = Path(__file__).parents[2] / "demo_patterns"


def test_the_last_solution_is_kept_until_something_changes(job: Procedure) -> None:
    fit = copy.copy(job.fit)
    fit.parameters = copy.deepcopy(job.fit.parameters)
    first, none = fit.solution()
    assert none.shape == (int(fit.used.sum()), 0)
    assert fit.solution()[0] is first
    with_held, by_held = fit.solution(("wavelength_shift",))
    assert by_held.shape == (int(fit.used.sum()), 1)
    assert np.all(with_held.covariance == first.covariance)
    name = first.free[-1]
    changes = (
        lambda: fit.parameters["nb_a_nm"].set(value=fit.parameters["nb_a_nm"].value * 1.0001),
        lambda: setattr(fit, "variance", 2.0 * fit.variance),
        lambda: setattr(fit, "used", fit.used & (fit.two_theta < 100.0)),
        lambda: fit.parameters[name].set(vary=False),
        lambda: fit.parameters[first.free[0]].set(max=fit.parameters[first.free[0]].value),
    )
    for change in changes:
        before = fit.solution()[0]
        change()
        assert fit.solution()[0] is not before
    assert name not in fit.solution()[0].free and first.free[0] in fit.solution()[0].idle


@pytest.mark.slow
def test_same_answer_on_a_pattern(sample_pattern: xr.DataArray, calibration: Calibration) -> None:
    fits = [fit_pattern(sample_pattern, calibration.instrument, engine=name) for name in ENGINES]
    for quantity in ("a_nm", "order_contrast"):
        u = fits[0].u(quantity)
        values = [fit.values[quantity] for fit in fits]
        # both stop where chi squared changes by less than 1e-6 of its unit: 1e-3 u; scipy's own test is looser
        assert max(values) - min(values) < 0.01 * u


def test_a_fit_ends_at_its_fixed_point(job: Procedure) -> None:
    _, departures = fixed_point(job)
    # a last step that promises 1e-4 of chi squared is 0.01 u long
    assert max(departures.values()) < 0.01


def test_what_becomes_held_goes_back_to_where_the_search_had_it(job: Procedure) -> None:
    job = copy.deepcopy(job)
    bronze = job.lines[2]
    started = dict(job._searched)
    set_values(job.parameters, {bronze.width_names[2]: 0.01, bronze.width_names[1]: 0.02, bronze.scale_name: 1e-9})
    held = set(job._searched) - set(job.fitted())
    assert {*bronze.width_names, *bronze.length_names} <= held
    assert all(job.parameters[name].value == started[name] for name in held)


def test_an_ordinary_pattern_takes_ten_evaluations_at_most(job: Procedure) -> None:
    assert job.fit.evaluations <= 10


def test_what_a_step_on_credit_carries_is_what_the_model_gives_there(job: Procedure) -> None:
    fit, (solution, _) = job.fit, job.fit.solution()
    counts, slopes = fit.model.counts_with_jacobian(fit.values(), solution.free)
    assert np.max(np.abs(fit.counts() - counts) / np.sqrt(fit.variance)) < 1e-4
    # derivatives are those where the step began, at most 0.01 u away: a hundredth of what one uncertainty does to them
    change = (fit.derivatives(solution.free) - slopes) * np.sqrt(np.diag(solution.covariance))
    assert np.max(np.abs(change) / np.sqrt(fit.variance)[:, None]) < 1e-3


def test_step_by_step_leads_to_the_same_minimum(
    sample_pattern: xr.DataArray, calibration: Calibration, monkeypatch: pytest.MonkeyPatch
) -> None:
    ends = []
    for astray in (False, True):
        if astray:
            monkeypatch.setattr(Procedure, "_at_once", lambda job: False)
        job = prepare(sample_pattern, calibration.instrument)
        job.search()
        job.refine()
        ends.append((job.fit.values(), job.fit.solution()[0]))
    (straight, solution), (stepwise, again) = ends
    assert again.free == solution.free
    assert max(abs(straight[name] - stepwise[name]) / solution.u(name) for name in solution.free) < 0.01


@pytest.mark.slow
def test_a_weak_phase_is_sought_beside_what_strong_ones_explain() -> None:
    """Bronze of this pattern was once put at the bound of its lattice, from where all at once led nowhere."""
    standard = read_pattern(DEMO / "srm-660c-like-lab6.xy", radiation="cu-ka")
    told = {"detector_distance_mm": 217.5, "divergence_deg": 0.5, "specimen_length_mm": 20.0, "domain_size_nm": 800.0}
    instrument = calibrate(standard, "srm-660c", **told).instrument
    job = prepare(read_pattern(DEMO / "curlew-650c-50h.xy", radiation="cu-ka"), instrument)
    job.search()
    bronze = job.lines[2]
    sought = bronze.summary(job.fit.values())
    assert job.fit.run(job.decidable(), most_iterations=12, follow=True)
    solution, _ = job.fit.solution()
    assert "cu_sn_a_nm" in solution.free
    assert job.significance(bronze, solution) > PRESENT
    found = bronze.summary(job.fit.values())
    k = int(np.argmax(found.area))
    assert abs(sought.position[k] - found.position[k]) < 0.5 * fwhm(found.gauss_squared[k], found.lorentz[k])
