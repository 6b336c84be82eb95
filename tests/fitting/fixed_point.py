"""The reference of a fit: the minimum by weights that are its own, with all that is frozen at its own lattices."""

import copy

import numpy as np

from xrdorder.fitting.procedure import Procedure

_ROUNDS = 60


def fixed_point(job: Procedure) -> tuple[dict[str, float], dict[str, float]]:
    """Follow a finished fit to its fixed point: values there, and how far each lies from those of the fit, in u.

    Weights and frozen constants are held during each round and renewed between rounds, with the engine's tolerance
    far below what is asked of the fit; the end does not hang on how the fit came there.
    """
    job = copy.deepcopy(job)
    fit = job.fit
    free = [name for name, parameter in fit.parameters.items() if parameter.vary]
    solution, _ = fit.solution()
    begun = fit.values()
    for _ in range(_ROUNDS):
        before = fit.values()
        for lines in fit.model.phases:
            lines.frozen_at = ()
        fit.freeze(before)
        fit.reweight(fit.model.counts(before))
        fit.run(free, tolerance=1e-9, most_iterations=100)
        after = fit.values()
        if max(abs(after[name] - before[name]) / solution.u(name) for name in solution.free) < 1e-4:
            break
    else:
        raise AssertionError("no fixed point")
    return after, {name: float(np.abs(begun[name] - after[name]) / solution.u(name)) for name in solution.free}
