"""Does a phase have texture? Asked of the residual, before any texture is fitted.

Texture that is always fitted costs precision of the order and of weight fractions, so it has to earn its place: the
score test says by how much chi squared would drop, without a fit (C. R. Rao, Proc. Camb. Phil. Soc. 44 (1948) 50, from
memory).
"""

from collections.abc import Sequence

import numpy as np
from scipy.special import chdtri

from xrdorder.fitting.refinement import Refinement

_CHANCE = 3e-4  # how often a phase without texture may be given some; a batch has hundreds of phases


def significant(fit: Refinement, groups: Sequence[Sequence[str]]) -> list[str]:
    """Names of the groups of held parameters that the residual asks to free.

    Parameters
    ----------
    fit
        At a minimum of the other parameters.
    groups
        Texture coefficients of one phase each; a group is taken as a whole or left.
    """
    groups = [list(names) for names in groups if names]
    candidates = [name for names in groups for name in names]
    if not candidates:
        return []
    solution, by_candidate = fit.solution(candidates)
    jacobian, residual = solution.weighted_jacobian, fit.weighted_residual()[fit.used]
    # the part of each derivative that no free parameter can imitate
    own = by_candidate - jacobian @ (solution.covariance @ (jacobian.T @ by_candidate))
    scatter = max(1.0, float(np.mean(residual**2)))
    wanted: list[str] = []
    for names in groups:
        columns = own[:, [candidates.index(name) for name in names]]
        score = columns.T @ residual
        drop = float(score @ np.linalg.lstsq(columns.T @ columns, score, rcond=None)[0])
        if drop / scatter > chdtri(len(names), _CHANCE):
            wanted += names
    return wanted
