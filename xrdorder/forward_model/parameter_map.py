"""Between `lmfit.Parameters`, which people see, and the flat vectors of the engines."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import lmfit

Array = NDArray[np.float64]


class ParameterMap:
    """Free parameters of an `lmfit.Parameters` as a vector, and back; translated once.

    Parameters
    ----------
    parameters
        With bounds, vary and ties (`expr`) as lmfit has them.

    Attributes
    ----------
    free
        Names of the parameters that vary, in the order of the vector.
    wanted
        Names by which the model must give derivatives: the free ones and the tied ones.
    """

    def __init__(self, parameters: "lmfit.Parameters") -> None:
        self._parameters = parameters
        self.free = tuple(name for name, p in parameters.items() if p.vary and not p.expr)
        self._tied = tuple(name for name, p in parameters.items() if p.expr)
        self.wanted = self.free + self._tied
        self.lower = np.array([parameters[name].min for name in self.free])
        self.upper = np.array([parameters[name].max for name in self.free])
        self._values = {name: float(p.value) for name, p in parameters.items()}

    @property
    def start(self) -> Array:
        """Free values as they stand in the parameters."""
        return np.array([self._parameters[name].value for name in self.free])

    def values(self, point: Array) -> dict[str, float]:
        """All values, ties resolved, at this vector of free values."""
        values = self._values | dict(zip(self.free, map(float, point), strict=True))
        if self._tied:
            for name in self.free:
                self._parameters[name].value = values[name]
            self._parameters.update_constraints()
            values.update((name, float(self._parameters[name].value)) for name in self._tied)
        return values

    def to_free(self, jacobian: Array, point: Array) -> Array:
        """Turn derivatives by `wanted` into derivatives by `free` (chain rule through the ties)."""
        if not self._tied:
            return jacobian
        n = len(self.free)
        result = jacobian[:, :n].copy()
        # ties are cheap to evaluate and smooth: a central difference is exact enough for the chain
        for k in range(n):
            step = 1e-6 * max(abs(point[k]), 1e-3)
            high, low = point.copy(), point.copy()
            high[k] += step
            low[k] -= step
            above, below = self.values(high), self.values(low)
            for t, name in enumerate(self._tied):
                slope = (above[name] - below[name]) / (2.0 * step)
                if slope:
                    result[:, k] += jacobian[:, n + t] * slope
        self.values(point)
        return result

    def store(self, point: Array, u: Array | None = None) -> None:
        """Write a vector, and standard uncertainties if given, back into the parameters."""
        for k, name in enumerate(self.free):
            self._parameters[name].value = float(point[k])
            if u is not None:
                self._parameters[name].stderr = float(u[k])
        self._parameters.update_constraints()


def set_values(parameters: "lmfit.Parameters", values: Mapping[str, float]) -> None:
    """Set the values of parameters that exist."""
    for name, value in values.items():
        parameters[name].value = value
