"""The weighted problem that rounds of the fit solve."""

import copy

import numpy as np

from xrdorder.fitting.procedure import Procedure


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
