"""The weighted problem that rounds of the fit solve."""

import copy

import numpy as np
import pytest
import xarray as xr

from tests.fitting.fixed_point import fixed_point
from xrdorder.fitting import ENGINES, Calibration, fit_pattern
from xrdorder.fitting.procedure import Procedure
from xrdorder.forward_model.parameter_map import set_values


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
