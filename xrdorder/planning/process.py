"""The process of one wire lot: one vector of parameters, from treatments to everything that is measured of a wire.

The first parameters are those of `xrdorder.kinetics`; a few levels follow that only measurements can give (the current,
the domain size over the grain size, the tin scale, the A15 area); last come the weights of what the laws leave of
pinning force, Bc2 and Tc: Gaussian processes over temperature and time (Matérn 5/2), each as the weights of a grid. All
are counted from their prior value in prior standard deviations, so that the prior is the standard normal distribution
and one covariance holds all that is known. Nothing is fitted beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from xrdorder.kinetics import (
    Courses,
    Parameter,
    Route,
    climb,
    conversion,
    formation_k,
    inverse_rrr,
    log_grain_size,
)

Array = NDArray[np.float64]

LENGTHS = (60.0, float(np.log(4.0)), float(np.log(4.0)))
"""Over which what the laws leave changes: K, a factor of time, a factor of the hours of earlier plateaus (judged)."""

_ALONG = 4  # nodes of the grid over temperature and over time
_LEFT = ("force_left", "field_left_t", "tc_left_k")
_LOWEST = 0.02
"""Least 1 - B/Bc2: a wire beyond its Bc2 carries next to nothing, and the fit still knows which way is better."""

LEVELS = {
    "current": Parameter(0.0, 3.0, 3.0, "ln A", "judged", "level of the critical current: the wire's own"),
    "domains": Parameter(-0.1, 0.3, 0.3, "ln", "judged", "domain size over grain size, common to a lot"),
    "tin": Parameter(24.0, 2.0, 2.0, "at.%", "judged", "tin of the layer at the level of Bc2; scale of the lattice"),
    "area": Parameter(-0.8, 0.6, 0.6, "ln", "judged", "share of A15 in the section without copper, all reacted"),
    "resistivity": Parameter(25.0, 15.0, 15.0, "µΩ cm", "judged", "of the A15 at the level of Bc2; dopants and order"),
    "resistivity_per_tin": Parameter(
        -19.1, 1.5, 1.5, "µΩ cm/at.%", "derived", "at 24 at.%: -20.5, A. Godeke (2006) eq. 5; -17.7, arXiv:1408.0353"
    ),
}
"""Levels of a lot, and how its resistivity goes with tin."""


def _matern(x: Array, z: Array) -> Array:
    """Matérn 5/2 of unit variance between scaled points, shape (len(x), len(z))."""
    far = np.sqrt(5.0 * np.sum((x[:, None, :] - z[None, :, :]) ** 2, axis=2))
    return np.asarray((1.0 + far + far**2 / 3.0) * np.exp(-far))


@dataclass(frozen=True)
class Leftover:
    """What the laws leave, as weights of a grid.

    Attributes
    ----------
    nodes : array, (k, axes)
        Scaled by `LENGTHS`.
    """

    nodes: Array
    _half: Array = field(init=False, repr=False)

    def __post_init__(self) -> None:
        between = _matern(self.nodes, self.nodes) + 1e-8 * np.eye(len(self.nodes))
        object.__setattr__(self, "_half", np.linalg.inv(np.linalg.cholesky(between)).T)

    @classmethod
    def over(cls, places: Array) -> Leftover:
        """Grid over all that places span; earlier plateaus are an axis where they vary."""
        axes = []
        for k, length in enumerate(LENGTHS[: places.shape[1]]):
            low, high = float(places[:, k].min()) / length, float(places[:, k].max()) / length
            if k < 2:
                axes.append(np.linspace(low, max(high, low + 0.1), _ALONG))
            elif high > low + 0.1:
                axes.append(np.array([low, high]))
            else:
                axes.append(np.array([low]))
        return cls(np.stack([axis.ravel() for axis in np.meshgrid(*axes, indexing="ij")], axis=1))

    def basis(self, places: Array) -> Array:
        """Values a weight of one gives at places, shape (m, k); their squares add up to at most one."""
        return np.asarray(_matern(places / np.array(LENGTHS), self.nodes) @ self._half)


def places_of(courses: Courses) -> Array:
    """Temperature (K), logarithm of the hours there, and of the hours of earlier plateaus, shape (m, 3)."""
    hours, kelvin = courses.steps
    points = courses.points
    held = hours * ((kelvin < points[:, :1] - 25.0) & (kelvin > 473.0) & (hours > 4.0))
    return np.column_stack([points, np.log1p(held.sum(axis=1))])


@dataclass(frozen=True)
class Process:
    """Model of a lot.

    Parameters
    ----------
    route : Route
    narrow : bool
        Take the narrow priors, as two treatments have measured currents.
    leftover : Leftover
    field_scale : float
        Bc2 in the state of service over that at 4.2 K in the usual strain of the wire.
    widened : float
        Factor to how much the laws may leave, where the wires of a lot stray farther from them.

    Attributes
    ----------
    names : tuple of str
        Of the parameters; those of weights repeat.
    """

    route: Route
    narrow: bool
    leftover: Leftover
    field_scale: float = 1.0
    widened: float = 1.0
    names: tuple[str, ...] = field(init=False)
    _table: dict[str, Parameter] = field(init=False, repr=False)
    _first: dict[str, int] = field(init=False, repr=False)
    _formation: dict[Courses, tuple[Array, Array]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        table = {**self.route.parameters, **LEVELS}
        single = [name for name in table if name not in _LEFT]
        weights = [name for name in _LEFT for _ in self.leftover.nodes]
        names = (*single, *weights)
        object.__setattr__(self, "_table", table)
        object.__setattr__(self, "_formation", {})
        object.__setattr__(self, "names", names)
        object.__setattr__(self, "_first", {name: names.index(name) for name in table})

    def spread(self, name: str) -> float:
        """Prior standard deviation of a parameter (of its logarithm where it is uncertain by a factor)."""
        prior = self._table[name]
        spread = prior.narrow if self.narrow else prior.wide
        return self.widened * spread if name in _LEFT else spread

    def parameter(self, z: Array, name: str) -> Array:
        """Values of a parameter, (draws,), for vectors in prior standard deviations, (draws, p)."""
        prior, moved = self._table[name], z[:, self._first[name]] * self.spread(name)
        return np.asarray(prior.value * np.exp(moved) if prior.by_factor else prior.value + moved)

    def _left(self, z: Array, name: str, basis: Array) -> Array:
        first = self._first[name]
        return np.asarray(self.spread(name) * z[:, first : first + basis.shape[1]] @ basis.T)

    def _formed(self, courses: Courses, q: Array, tau: Array, n: Array) -> Array:
        """Temperatures of formation, linear about the prior: they hang little on the parameters; (draws, m)."""
        asked = ("q_conversion", "tau_h", "exponent")
        if courses not in self._formation:
            z = np.zeros((2 * len(asked) + 1, len(self.names)))
            for k, name in enumerate(asked):
                z[2 * k + 1, self._first[name]], z[2 * k + 2, self._first[name]] = 1.0, -1.0
            at = formation_k(courses, *(self.parameter(z, name) for name in asked))
            self._formation[courses] = at[0], (at[1::2] - at[2::2]) / 2.0
        middle, slopes = self._formation[courses]
        logs = (np.log(draws / self._table[name].value) for draws, name in zip((tau, n), asked[1:], strict=True))
        moved = [(q - self._table[asked[0]].value), *logs]
        scaled = [draws / self.spread(name) for draws, name in zip(moved, asked, strict=True)]
        return np.asarray(middle + np.clip(np.stack(scaled, axis=1), -3.0, 3.0) @ slopes)

    def predict(self, z: Array, courses: Courses, places: Array, fields_t: Sequence[float] = ()) -> dict[str, Array]:
        """Everything that is measured of wires, shape (draws, m) each.

        Parameters
        ----------
        z : array, (draws, p)
        courses : Courses
            m treatments.
        places : array, (m, 3)
            As of `places_of`.
        fields_t : sequence of float
            Fields of currents.

        Returns
        -------
        dict of str to array
            "niobium" (share of all niobium that has become A15), "area" (logarithm of the A15 area fraction), "size"
            and "grains" (logarithm, nm), "tin" (at.%), "resistivity" (of the A15 just above Tc, µΩ cm), "field" (Bc2,
            T), "tc" (K), "rrr" (logarithm of 1/RRR), and "current 12" (logarithm, A) for a field of 12 T. "law" has
            activation energy of conversion (kJ/mol), ln tau and ln exponent, (draws, 3).
        """
        basis = self.leftover.basis(places)
        q, tau, n = (self.parameter(z, name) for name in ("q_conversion", "tau_h", "exponent"))
        done = conversion(courses, q, tau, n)
        formed = self._formed(courses, q, tau, n)
        grains = log_grain_size(
            courses, np.log(self.parameter(z, "d0_nm")), np.maximum(self.parameter(z, "e_grain"), 5.0),
            self.parameter(z, "m_grain"),
        )  # fmt: skip
        lag = tau * self.parameter(z, "field_lag")
        level, slope, deficit = (self.parameter(z, name) for name in ("field_t", "field_per_k", "field_deficit_t"))
        bc2 = climb(courses, formed, level, slope, deficit, q, lag) + self._left(z, "field_left_t", basis)
        level, slope, deficit = (self.parameter(z, name) for name in ("tc_k", "tc_per_k", "tc_deficit_k"))
        tc = climb(courses, formed, level, slope, deficit, q, lag) + self._left(z, "tc_left_k", basis)
        log_done = np.log(np.maximum(done, 1e-6))
        copper = (self.parameter(z, name) for name in ("clean_rrr", "a_copper", "e_copper", "k_copper"))
        richer = (bc2 - 25.0) / self.parameter(z, "tin_per_field")[:, None]
        predicted = {
            "niobium": self.parameter(z, "niobium_used")[:, None] * done,
            "area": self.parameter(z, "area")[:, None] + log_done,
            "size": self.parameter(z, "domains")[:, None] + grains,
            "grains": grains,
            "law": np.stack([q, np.log(tau), np.log(n)], axis=1),
            "tin": self.parameter(z, "tin")[:, None] + richer,
            "resistivity": self.parameter(z, "resistivity")[:, None]
            + self.parameter(z, "resistivity_per_tin")[:, None] * richer,
            "field": self.field_scale * bc2,
            "tc": tc,
            "rrr": np.log(inverse_rrr(courses, *copper)),
        }
        force = self.parameter(z, "current")[:, None] + log_done + self._left(z, "force_left", basis)
        force = force - self.parameter(z, "grain_power")[:, None] * (grains - np.log(110.0))
        p, q_shape, nu = (self.parameter(z, name)[:, None] for name in ("p", "q", "field_power"))
        for at in fields_t:
            b = np.minimum(at / np.maximum(predicted["field"], 1.0), 1.0 - _LOWEST)
            shape = nu * np.log(np.maximum(bc2, 1.0) / 25.0) + p * np.log(b) + q_shape * np.log1p(-b)
            predicted[f"current {at:g}"] = force + shape - np.log(at)
        return predicted
