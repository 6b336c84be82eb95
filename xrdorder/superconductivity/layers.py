"""Tc and Bc2 over the section of an A15 layer that is not the same everywhere.

A fit tells of two ways in which a layer differs from place to place. A graded layer leans the lines: its tin content
then falls off exponentially from the richest place, with a decay length equal to its standard deviation. Powder-in-tube
wire has two populations, fine grains poor in tin and coarse ones rich in it, each with a tin content of its own, and a
share. Lines that broaden symmetrically may be strain or composition: what they mean as a normal distribution of tin is
an upper bound, taken only when asked for.

Every draw holds a whole section: pieces of known share, each with tin, Tc and Bc2. The mean tin, with Tc and Bc2 at it,
is a joint draw of the sample (`xrdorder.estimates`); from there Tc goes by the published step over tin, which the lot
is offset on, and Bc2 with Tc. Shares are of the mass that diffracts, which is the area of the section where the layer
is the same along the wire.

Real layers are graded by 0.1 to 5 at.% tin per micrometre, depending on the process (X. Xu, Supercond. Sci. Technol. 30
(2017) 093001), and specific heat finds Tc down to 6 K in them (C. Tarantini et al., Appl. Phys. Lett. 108 (2016)
042603).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import Flag, ValidityError
from xrdorder.material import A15_FIELD
from xrdorder.relations import Relation
from xrdorder.relations.bc2_of_temperature import POWER
from xrdorder.relations.tc_from_tin import BOLTZMANN
from xrdorder.superconductivity.mixture import Band, Common
from xrdorder.superconductivity.strain import Strained, strain_factors

if TYPE_CHECKING:
    from xrdorder.superconductivity.currents import Conditions

Array = NDArray[np.float64]

SLICES = 40
"""Pieces of equal share a graded layer is cut into; 2.5 % of the section each."""

DECILE = 0.1

NOTICED_OUTSIDE = 0.05
"""Share of the section outside the validity of the relations, or outside the A15 field, from which it is said."""

UNIFORM, GRADED, TWO, BOUND = "uniform", "graded", "two populations", "bound"


class Section(NamedTuple):
    """How the pieces of a layer lie about their mean.

    Attributes
    ----------
    kind : str
        "uniform", "graded", "two populations", or "bound" (symmetric broadening taken as composition).
    weights : array, (n, m)
        Share of each piece of the section; rows add up to one.
    about : array, (n, m)
        Tin fraction less that of the whole.
    """

    kind: str
    weights: Array
    about: Array


def uniform(n: int) -> Section:
    """One piece."""
    return Section(UNIFORM, np.ones((n, 1)), np.zeros((n, 1)))


def graded(spread: Array) -> Section:
    """An exponential tail of a standard deviation, draws (n,): toward low tin where it is above zero."""
    edges = np.linspace(0.0, 1.0, SLICES + 1)
    # Mean of 1 + log(share), an exponential tail about its mean, between two shares.
    return _slices(GRADED, spread, np.diff(edges * np.log(np.where(edges > 0.0, edges, 1.0))) * SLICES)


def symmetric(spread: Array) -> Section:
    """A normal distribution of a standard deviation, draws (n,): an upper bound where strain may broaden as well."""
    from scipy.special import ndtri

    # Mean of a standard normal between two quantiles: the density at them, taken apart.
    density = np.exp(-0.5 * ndtri(np.linspace(0.0, 1.0, SLICES + 1)) ** 2) / math.sqrt(2.0 * math.pi)
    return _slices(BOUND, spread, -np.diff(density) * SLICES)


def _slices(kind: str, spread: Array, places: Array) -> Section:
    return Section(kind, np.full((len(spread), SLICES), 1.0 / SLICES), spread[:, None] * places[None, :])


def two_populations(lean: Array, rich: Array, rich_share: Array, mean: Array | None = None) -> Section:
    """Two populations of a tin fraction each, draws (n,), about their mean by mass or one that is given."""
    share = np.clip(rich_share, 0.0, 1.0)
    mean = (1.0 - share) * lean + share * rich if mean is None else mean
    return Section(TWO, np.stack([1.0 - share, share], axis=1), np.stack([lean - mean, rich - mean], axis=1))


class LayerValue(NamedTuple):
    """A quantity over the section, each with its 68 % interval.

    A tenth of the section lies below `worst_decile`, a tenth above `best_decile`.
    """

    mean: Band
    worst_decile: Band
    best_decile: Band


@dataclass(frozen=True)
class Layer:
    """Draws of a whole layer: n draws of m pieces.

    Attributes
    ----------
    kind, weights
        As of its `Section`.
    tin, tc, bc2_0 : array, (n, m)
        Atomic fraction of tin, Tc (K) and Bc2 at 0 K (T), free of strain.
    law : Relation
        Temperature law of Bc2.
    flags : tuple of Flag
    common : Common
        Whose draws they are.
    """

    kind: str
    weights: Array = field(repr=False)
    tin: Array = field(repr=False)
    tc: Array = field(repr=False)
    bc2_0: Array = field(repr=False)
    law: Relation = field(repr=False)
    flags: tuple[Flag, ...]
    common: Common = field(repr=False)

    @property
    def design(self) -> str:
        """Design of the wire; empty where it is not known."""
        return self.common.design

    def strained(self, strain: ArrayLike) -> Strained:
        """Factors of Bc2 and Tc at an intrinsic axial strain, for `bc2` and `share_superconducting`."""
        return strain_factors(strain, common=self.common)

    def under(self, conditions: Conditions) -> Strained:
        """Factors of Bc2 and Tc at the strain of the conditions."""
        return self.strained(conditions.draws(self.common))

    def bc2(self, temperature_k: float, at: Strained | None = None) -> Array:
        """Upper critical field of every piece at a temperature, T, shape (n, m)."""
        tc = self.tc if at is None else self.tc * at.tc_factor[:, None]
        zero = self.bc2_0 if at is None else self.bc2_0 * at.bc2_factor[:, None]
        return np.asarray(self.law.function(np.array(float(temperature_k)), zero, tc))

    def over_section(self, values: Array) -> LayerValue:
        """Mean, worst and best decile of a quantity over the section, values of shape (n, m)."""
        return LayerValue(
            Band.of(np.sum(self.weights * values, axis=1)),
            Band.of(row_quantile(values, self.weights, DECILE)),
            Band.of(row_quantile(values, self.weights, 1.0 - DECILE)),
        )

    def share_superconducting(self, fields_t: ArrayLike, temperature_k: float, at: Strained | None = None) -> Band:
        """Share of the section whose Bc2 at the temperature lies above each field, arrays (k,).

        Raises
        ------
        ValidityError
            A field is negative, or the temperature is.
        """
        fields = np.atleast_1d(np.asarray(fields_t, dtype=np.float64))
        if np.any(~(fields >= 0.0)) or not temperature_k >= 0.0:
            raise ValidityError("fields (T) and temperature (K) of a section are zero or more; check the signs")
        bc2 = self.bc2(temperature_k, at)
        unknown = np.where(np.isnan(bc2).any(axis=1), np.nan, 0.0)
        shares = np.array([unknown + np.sum(self.weights * (bc2 > b), axis=1) for b in fields])
        return Band.of(shares.T)


def layer(
    section: Section,
    tin: Array,
    tc: Array,
    bc2_0: Array,
    tin_offset: Array,
    *,
    common: Common,
    law: Relation = POWER,
) -> Layer:
    """Spread Tc and Bc2 over the layer of a sample.

    Parameters
    ----------
    section : Section
    tin, tc, bc2_0 : array, (n,)
        Joint draws of the tin fraction, of Tc (K) and of Bc2 at 0 K (T), free of strain.
    tin_offset : array, (n,)
        Of the lot on the step of Tc over tin, at.%.
    common : Common
    law : Relation
        Temperature law of Bc2.

    Raises
    ------
    ValidityError
        No tin content is known.

    Examples
    --------
    >>> draws = [np.full(2000, number) for number in (0.235, 16.0, 26.0, 1.4)]
    >>> one = layer(graded(np.full(2000, 0.01)), *draws, common=Common(2000))
    >>> one.kind, round(float(np.mean(one.tin)), 5)
    ('graded', 0.235)
    """
    if not np.all(np.isfinite(tin)):
        raise ValidityError("no tin content is known, so that nothing can be said of the layer")
    kind, weights, about = section
    pieces, offset = tin[:, None] + about, 0.01 * tin_offset
    at_mean = BOLTZMANN.function(tin + offset)[:, None]
    tc_there = np.maximum(tc[:, None] + BOLTZMANN.function(pieces + offset[:, None]) - at_mean, 0.0)
    zero = (bc2_0 / tc)[:, None] * tc_there
    return Layer(kind, weights, pieces, tc_there, zero, law, _remarks(kind, weights, pieces), common)


def row_quantile(values: Array, weights: Array, q: float) -> Array:
    """Weighted quantile of every row, shape (n,): half way between two pieces where it falls on their border.

    Examples
    --------
    >>> row_quantile(np.array([[3.0, 1.0, 2.0, 4.0]]), np.full((1, 4), 0.25), 0.5)
    array([2.5])
    >>> row_quantile(np.array([[20.0, 25.0]]), np.array([[0.3, 0.7]]), 0.1)
    array([20.])
    """
    order = np.argsort(values, axis=1)
    ordered = np.take_along_axis(values, order, axis=1)
    filled = np.cumsum(np.take_along_axis(weights, order, axis=1), axis=1)
    last = values.shape[1] - 1
    # 1e-9: rounding of a sum of shares must not decide on which side of a border it falls.
    first = np.minimum(np.sum(filled < q - 1e-9, axis=1), last)
    second = np.minimum(np.sum(filled <= q + 1e-9, axis=1), last)
    rows = np.arange(len(values))
    return np.asarray(0.5 * (ordered[rows, first] + ordered[rows, second]))


def _remarks(kind: str, weights: Array, tin: Array) -> tuple[Flag, ...]:
    flags = []
    low, high = A15_FIELD
    mean = np.sum(weights * tin, axis=1)
    # Draws whose mean lies outside are doubt about the level, no spread.
    usable = (mean >= low) & (mean <= high)
    beyond = np.sum(weights * ((tin < low) | (tin > high)), axis=1)
    outside = float(np.mean(beyond[usable])) if usable.any() else 0.0
    if outside > NOTICED_OUTSIDE:
        flags.append(
            Flag(
                "layer-outside-a15",
                f"{100 * outside:.0f} % of the section would lie outside the A15 field ({100 * low:g} to "
                f"{100 * high:g} at.% tin); Tc goes on by the step there",
            )
        )
    if kind == BOUND:
        flags.append(
            Flag(
                "spread-is-a-bound",
                "symmetric broadening taken as composition: the spread over the layer is an upper bound, part or all "
                "of it may be strain",
            )
        )
    return tuple(flags)
