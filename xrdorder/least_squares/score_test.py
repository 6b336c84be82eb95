"""Does the residual require an effect that the model leaves out? Tested before it is fitted.

What is always fitted costs precision of everything else, so an effect has to earn its place: the score test says by how
much chi squared would drop, without a fit (C. R. Rao, Proc. Camb. Phil. Soc. 44 (1948) 50, from memory).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from xrdorder.least_squares.refinement import Refinement

Array = NDArray[np.float64]

CHANCE = 3e-4  # how often an effect that is not there may be taken in; a batch has hundreds of phases


class ScoreTest:
    """What the residual says, at a minimum of the parameters that are free.

    Parameters
    ----------
    fit
        At its minimum.
    enlargement
        Factor on counting uncertainties: residuals that another misfit correlates prove less.
    """

    def __init__(self, fit: Refinement, enlargement: float = 1.0) -> None:
        self._fit = fit
        self._solution, _ = fit.solution()
        self._residual = fit.weighted_residual()[fit.used]
        self._scatter = enlargement**2

    def derivatives(self, names: Sequence[str]) -> Array:
        """Weighted derivatives of the counts by held parameters, shape (points used, names)."""
        return self._fit.weighted(self._fit.derivatives(names))

    def weighted(self, change: Array) -> Array:
        """A change of the counts, shape (n,), as one column of derivatives."""
        return self._fit.weighted(change[:, None])

    def imitated(self, columns: Array) -> Array:
        """By how much the free parameters change in place of each column, shape (free, m), in the order of `free`."""
        return np.asarray(self._solution.covariance @ (self._solution.weighted_jacobian.T @ columns))

    @property
    def free(self) -> tuple[str, ...]:
        """Names of the parameters that are free."""
        return self._solution.free

    def _own(self, columns: Array) -> Array:
        """The part of each column that no free parameter can imitate."""
        return np.asarray(columns - self._solution.weighted_jacobian @ self.imitated(columns))

    def uncertainty(self, columns: Array) -> Array:
        """Standard uncertainty with which a fit would find these parameters if it freed them all, shape (m,)."""
        own = self._own(columns)
        return np.asarray(np.sqrt(self._scatter * np.diag(np.linalg.pinv(own.T @ own))))

    def drop(self, columns: Array) -> tuple[float, Array]:
        """By how much chi squared would drop, over that of noise, and the step along each column that would do it."""
        own = self._own(columns)
        score = own.T @ self._residual
        step = np.asarray(np.linalg.lstsq(own.T @ own, score, rcond=None)[0], dtype=np.float64)
        return float(score @ step) / self._scatter, step
