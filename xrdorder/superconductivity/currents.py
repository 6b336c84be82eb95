"""Current density of an A15 layer at field, temperature and strain, and how two samples compare.

    J = F_p / B,   F_p = F_p,max(grain size) g(temperature, strain) f(B / Bc2(temperature, strain)),

with F_p,max by the grain size (`xrdorder.superconductivity.pinning`), f the published shape, and g what the published
scaling law makes of temperature and strain, one at 4.2 K under the thermal pre-strain, the state in which wires are
measured. Tc and Bc2 are joint draws of all samples of a study (`xrdorder.estimates`), and its law of temperature is
theirs. Absolute values are good to a factor at best: the level of F_p,max differs between processes by more than a
third, and whatever else a layer suffers (grades of tin, cracks, broken filaments) is not in it. Between two samples
much of that cancels: `relative_current` takes the same relation for both in every draw. What does not cancel is what
no pattern shows.

One tin content, one grain size and one Bc2 stand for a whole layer. A layer that is graded fades toward its Bc2 where
this one ends, see `xrdorder.superconductivity.layers`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import Flag, ValidityError
from xrdorder.quantities.formatting import with_sign
from xrdorder.relations import Relation
from xrdorder.relations.bc2_of_temperature import POWER
from xrdorder.superconductivity.mixture import Band, Common
from xrdorder.superconductivity.pinning import (
    AT_LEAST,
    ForceShape,
    GrainSize,
    comparable_forces,
    layer_force,
    peak_pinning_force,
)
from xrdorder.superconductivity.strain import Strained, check_strain, pre_strain, strain_factors
from xrdorder.superconductivity.targets import HELIUM_K

Array = NDArray[np.float64]

A_PER_MM2 = 1e3
"""GN/m³ over T, in A/mm²."""

LOWEST_FIELD_T = 2.0
"""Field from which crossings are looked for: at low field the current of a layer is not ruled by this shape."""

_AT_ONCE = 16
"""Temperatures worked out at once."""

SURE = 0.84
"""Share of the draws from which two curves are said to cross, or not to: the upper end of a 68 % interval."""


@dataclass(frozen=True)
class Conditions:
    """State of a conductor in service.

    Attributes
    ----------
    temperature_k : float
    strain, u_strain : float
        Intrinsic axial strain and its standard uncertainty. None: `applied_strain` on top of the thermal pre-strain.
    applied_strain : float
        Strain of the wire counted from its state after cooling.
    design : str
        Design of all wires, for their pre-strain (a key of `xrdorder.superconductivity.strain.PRE_STRAINS`). Empty:
        that of each sample.

    Raises
    ------
    ValidityError, UnknownNameError
        The temperature is negative, or the design not known.
    """

    temperature_k: float = HELIUM_K
    strain: float | None = None
    u_strain: float = 0.0
    applied_strain: float = 0.0
    design: str = ""

    def __post_init__(self) -> None:
        if not (0.0 <= self.temperature_k < math.inf and self.u_strain >= 0.0):
            raise ValidityError(
                f"temperature {self.temperature_k:g} K, uncertainty of strain {self.u_strain:g}; give zero or more"
            )
        pre_strain(self.design)
        if self.strain is not None and self.applied_strain != 0.0:
            raise ValidityError("an intrinsic and an applied strain are given; give one of them")

    def draws(self, common: Common) -> Array:
        """Draw the intrinsic strain in a wire, shape (n,); its pre-strain is common to a lot.

        Raises
        ------
        UnknownNameError, ValidityError
            The design of the wire is not known, or the strain is no fraction.
        """
        from scipy.special import ndtr

        own = self.u_strain * common.own("strain")
        if self.strain is not None:
            return np.asarray(self.strain + own)
        check_strain(self.applied_strain)
        design = self.design or common.design
        usual = pre_strain(design)
        wire = usual.low + (usual.high - usual.low) * ndtr(common.of_lot(f"pre-strain/{design}"))
        return np.asarray(wire + self.applied_strain + own)

    def words(self, *, temperature: bool = True, designs: Iterable[str] = ()) -> str:
        """Say the state in words, of wires of the designs given.

        >>> Conditions(4.2, strain=-0.0025).words()
        'at 4.2 K, intrinsic strain −0.25 %'
        >>> Conditions().words(designs=["bronze", "", "bronze"])
        'at 4.2 K, thermal pre-strain −0.4 to −0.3 % (bronze), −0.4 to −0.2 % (design not known)'
        """
        if self.strain is not None:
            text = f"intrinsic strain {with_sign(100 * self.strain, 'g')} %" if self.strain else "free of strain"
        else:
            named = [self.design] if self.design else list(dict.fromkeys(designs)) or [""]
            text = f"thermal pre-strain {', '.join(_pre_strain_words(name, len(named) > 1) for name in named)}"
            if self.applied_strain:
                text += f" and {with_sign(100 * self.applied_strain, 'g')} % applied"
        return f"at {self.temperature_k:g} K, {text}" if temperature else text


def _pre_strain_words(design: str, several: bool) -> str:
    usual = pre_strain(design)
    ends = dict.fromkeys(with_sign(100 * end, "g") if end else "0" for end in (usual.low, usual.high))
    text = f"{' to '.join(ends)} %"
    name = design or ("design not known" if several else "")
    return f"{text} ({name})" if name else text


@dataclass(frozen=True)
class Conductor:
    """What carries the current: draws of Tc, Bc2 and grain size of one sample.

    Attributes
    ----------
    name : str
    common : Common
        Whose draws they are.
    tc, bc2_0 : array, (n,)
        Joint draws of critical temperature (K) and upper critical field at 0 K (T), free of strain.
    grain : GrainSize
    a15_area : array, (n,), or None
        A15 area over the area of the wire without its copper, where it is known.
    law : Relation
        Temperature law of Bc2.
    flags : tuple of Flag
    """

    name: str
    common: Common = field(repr=False)
    tc: Array = field(repr=False)
    bc2_0: Array = field(repr=False)
    grain: GrainSize
    a15_area: Array | None = field(default=None, repr=False)
    law: Relation = field(default=POWER, repr=False)
    flags: tuple[Flag, ...] = ()

    @property
    def lot(self) -> str:
        """Wire lot."""
        return self.common.lot

    @property
    def design(self) -> str:
        """Design of the wire; empty where it is not known."""
        return self.common.design


def tc_band(sample: Conductor, conditions: Conditions | None = None) -> Band:
    """Tc under the strain of the conditions, K, with its interval, shape ()."""
    return Band.of(sample.tc * strained(sample, conditions or Conditions()).tc_factor)


def bc2_curve(sample: Conductor, temperatures_k: ArrayLike, conditions: Conditions | None = None) -> Band:
    """Bc2 at temperatures, T, with its interval: arrays (k,). The temperature of the conditions plays no part."""
    at = strained(sample, conditions or Conditions())
    temperatures = np.atleast_1d(np.asarray(temperatures_k, dtype=np.float64))
    if not np.all(temperatures >= 0.0):
        raise ValidityError("a temperature is negative or no number; give K")
    # A few at a time: a hundred thousand draws at each would not fit into memory at once.
    parts = np.array_split(temperatures, math.ceil(temperatures.size / _AT_ONCE))
    return Band(*np.concatenate([np.array(Band.of(bc2_at(sample, part, at))) for part in parts], axis=1))


@dataclass(frozen=True)
class LayerCurrent:
    """Current density against field.

    Attributes
    ----------
    layer : Band of arrays, (k,)
        Over the A15 area, A/mm².
    non_copper : Band of arrays, (k,), or None
        Over the section without copper, A/mm², where the A15 area in it is known.
    at_most : bool
        The grain size is a lower limit: currents are at most as given.
    carries : array, (k,)
        Share of the draws in which the layer is superconducting.
    """

    layer: Band
    non_copper: Band | None
    at_most: bool
    carries: Array


def layer_current(
    sample: Conductor, fields_t: ArrayLike, conditions: Conditions | None = None
) -> LayerCurrent:
    """Current density of the layer, and over the section without copper where the A15 area is known.

    Parameters
    ----------
    sample : Conductor
    fields_t : float or array, (k,)
        Field, T, above zero.
    conditions : Conditions, optional
        4.2 K and the pre-strain of the wire unless given.

    Raises
    ------
    ValidityError
        A field is not positive, or no relation holds for the grain size.
    """
    fields = positive_fields(fields_t)
    try:
        force = layer_force(sample.grain.draws, common=sample.common)
    except ValidityError as error:
        raise ValidityError(f"sample '{sample.name}': {error}") from error
    state, area = LayerState(sample, conditions or Conditions(), force), sample.a15_area
    currents = [state.current(b) for b in fields]
    whole = None if area is None else _bands(current * area for current in currents)
    carries = np.array([np.mean(current > 0.0) for current in currents])
    return LayerCurrent(_bands(currents), whole, sample.grain.by == AT_LEAST, carries)


@dataclass(frozen=True)
class RelativeCurrent:
    """Current density of one sample over that of a reference, common factors cancelled.

    Attributes
    ----------
    ratio : Band of arrays, (k,)
        NaN where the reference may be normal.
    probability_larger : array, (k,)
        That the sample carries more than the reference.
    reference_carries : array, (k,)
        Share of the draws compared in which the reference is superconducting; below `SURE` there is no ratio.
    """

    ratio: Band
    probability_larger: Array
    reference_carries: Array


def relative_current(
    sample: Conductor, reference: Conductor, fields_t: ArrayLike, conditions: Conditions | None = None
) -> RelativeCurrent:
    """Compare the layer current of a sample with that of a reference, draw by draw.

    Both must have been made of one set of joint draws, with one seed, so that what they share cancels.

    Raises
    ------
    ValidityError
        A field is not positive, the samples were drawn unalike, or no relation holds for both.
    """
    fields = positive_fields(fields_t)
    own, other = layer_states((sample, reference), conditions)
    ratios, larger, carries = [], [], []
    for b in fields:
        mine, theirs = own.current(b), other.current(b)
        larger.append(float(np.mean(mine > theirs) + 0.5 * np.mean(mine == theirs)))
        carries.append(float(np.mean(theirs > 0.0)))
        with np.errstate(divide="ignore", invalid="ignore"):
            ratios.append(np.where((theirs > 0.0) & (carries[-1] >= SURE), mine / theirs, np.nan))
    return RelativeCurrent(_bands(ratios), np.array(larger), np.array(carries))


def current_draws(samples: Sequence[Conductor], field_t: float, conditions: Conditions | None = None) -> Array:
    """Draws of the layer currents of several samples at one field, A/mm², (samples, n): for their ratios, nothing else.

    Every draw takes one relation of pinning force with grain size that holds for all; a sample that is normal in a draw
    carries nothing in it, one whose grain size no relation holds for is NaN throughout.

    Raises
    ------
    ValidityError
        The field is not positive, the samples were drawn unalike, no relation holds for all grain sizes, or all may be
        normal at the field.
    """
    field, conditions = float(positive_fields(field_t)[0]), conditions or Conditions()
    usable = [any(a.applies for a in peak_pinning_force(s.grain.draws, common=s.common)) for s in samples]
    if not any(usable):
        raise ValidityError("no relation of pinning force holds for the grain size of any sample")
    states = iter(layer_states([s for s, ok in zip(samples, usable, strict=True) if ok], conditions))
    nothing = np.full(samples[0].common.n, np.nan)
    currents = np.array([next(states).current(field) if ok else nothing for ok in usable])
    known = np.isfinite(currents).any(axis=0)
    if not known.any() or np.mean((currents[:, known] > 0.0).any(axis=0)) < SURE:
        state = conditions.words(designs=[sample.design for sample in samples])
        raise ValidityError(f"at {field:g} T, {state}, every sample may be normal: currents do not compare there")
    return currents


@dataclass(frozen=True)
class Crossing:
    """Where the current curves of two samples meet.

    Attributes
    ----------
    field_t : Band
        Of the draws in which they meet; NaN where they do not.
    share : float
        Share of the draws in which they meet between the lowest field looked at and the lower Bc2.
    words : str
        In one sentence, with which carries more.
    """

    field_t: Band
    share: float
    words: str

    @property
    def crosses(self) -> bool:
        """Whether the curves cross, or may cross: a field can be given."""
        return self.share > 1.0 - SURE


def crossing(
    sample: Conductor,
    other: Conductor,
    conditions: Conditions | None = None,
    *,
    lowest_field_t: float = LOWEST_FIELD_T,
) -> Crossing:
    """Find the field at which the layer currents of two samples are equal.

    With one shape f for both, the ratio of the currents rises or falls all the way to the lower Bc2, so that there is
    one crossing at most; it is found by bisection in every draw. Wires of different dopants have different shapes: a
    second crossing, at low fields, would not be found.

    Raises
    ------
    ValidityError
        The samples were drawn unalike, or no relation holds for both.
    """
    draws, two = layer_states((sample, other), conditions)
    low = np.full(draws.bc2.shape, float(lowest_field_t))
    # Just below the lower Bc2 the sample that has it carries next to nothing.
    high = np.minimum(draws.bc2, two.bc2) * (1.0 - 1e-9)
    possible = high > low
    at_low = draws.current(low) - two.current(low)
    at_high = draws.current(np.maximum(high, low)) - two.current(np.maximum(high, low))
    meets = possible & (at_low * at_high < 0.0)
    left, right = low.copy(), np.maximum(high, low)
    for _ in range(24):  # 30 T / 2^24: to 2e-6 T
        middle = 0.5 * (left + right)
        same = (draws.current(middle) - two.current(middle)) * at_low > 0.0
        left, right = np.where(same, middle, left), np.where(same, right, middle)
    share = float(np.mean(meets))
    field = Band.of(np.where(meets, 0.5 * (left + right), np.nan))
    better_low = _better(at_low[possible], sample.name, other.name)
    better_high = _better(draws.bc2 - two.bc2, sample.name, other.name)
    words = _crossing_words(sample.name, other.name, field, share, better_low, better_high)
    return Crossing(field, share, words)


def _better(difference: Array, name: str, other: str) -> str:
    share = float(np.mean(difference > 0.0)) if difference.size else 0.5
    return name if share >= SURE else other if share <= 1.0 - SURE else ""


def _crossing_words(
    name: str, other: str, field: Band, share: float, better_low: str, better_high: str
) -> str:
    if share <= 1.0 - SURE:
        if better_low and better_low == better_high:
            return f"{name} and {other} do not cross: {better_low} carries more at all fields"
        return f"{name} and {other} do not cross, as far as can be told"
    where = f"at {float(field.median):.1f} T ({float(field.low):.1f} to {float(field.high):.1f} T)"
    if share >= SURE:
        beyond = f", {better_high} carries more above" if better_high else ""
        return f"{name} and {other} cross {where}{beyond}"
    return f"{name} and {other} cross {where} if they do: in {100 * share:.0f} % of the draws"


class LayerState:
    """A conductor under conditions: everything but the field worked out."""

    def __init__(self, sample: Conductor, conditions: Conditions, force: Array) -> None:
        at = strained(sample, conditions)
        self.bc2 = bc2_at(sample, conditions.temperature_k, at)[:, 0]
        self.shape = ForceShape(sample.common)
        self.peak = force * _strength(sample, conditions, at)

    def current(self, field_t: float | Array) -> Array:
        """Current density of the layer, A/mm², shape (n,); zero above Bc2."""
        with np.errstate(divide="ignore", invalid="ignore"):
            h = np.where(self.bc2 > 0.0, field_t / self.bc2, 2.0)
        return np.asarray(A_PER_MM2 * self.peak * self.shape(h) / field_t)


def strained(sample: Conductor, conditions: Conditions) -> Strained:
    """What strain does to Tc and Bc2 of a conductor under conditions, draw by draw.

    Raises
    ------
    ValidityError
        The strain is outside what any relation holds for.
    """
    at = strain_factors(conditions.draws(sample.common), common=sample.common)
    if np.all(np.isnan(at.bc2_factor)):
        raise ValidityError("; ".join(flag.message for flag in at.flags))
    return at


def bc2_at(sample: Conductor, temperatures_k: ArrayLike, at: Strained) -> Array:
    """Bc2, T, at temperatures of shape (k,), shape (n, k)."""
    temperatures = np.broadcast_to(temperatures_k, (sample.common.n, np.size(temperatures_k)))
    zero, tc = (sample.bc2_0 * at.bc2_factor)[:, None], (sample.tc * at.tc_factor)[:, None]
    return np.asarray(sample.law.function(temperatures, zero, tc))


def _strength(sample: Conductor, conditions: Conditions, at: Strained) -> Array:
    """Peak of the pinning force at the conditions over that where wires are measured, shape (n,).

    The scaling law has s (1 - t^1.52) (1 - t^2) beside the shape, t = T / Tc(strain); its first two factors are
    Bc2(T, strain) over Bc2 at 0 K free of strain, by whatever law of temperature.
    """
    usual = strained(sample, Conditions(design=conditions.design))

    def strength(temperature_k: float, under: Strained) -> Array:
        with np.errstate(divide="ignore"):
            t = np.minimum(temperature_k / (sample.tc * under.tc_factor), 1.0)
        return bc2_at(sample, temperature_k, under)[:, 0] * (1.0 - t**2)

    here, as_measured = strength(conditions.temperature_k, at), strength(HELIUM_K, usual)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(as_measured > 0.0, here / as_measured, 0.0)


def layer_states(samples: Sequence[Conductor], conditions: Conditions | None = None) -> list[LayerState]:
    """Work out samples under the conditions, all by one relation of pinning force in every draw.

    Raises
    ------
    ValidityError
        The samples were drawn unalike, or no relation holds for all of them.
    """
    conditions = conditions or Conditions()
    require_drawn_alike(samples)
    answers = (peak_pinning_force(sample.grain.draws, common=sample.common) for sample in samples)
    forces = comparable_forces(*answers, common=samples[0].common)
    return [LayerState(sample, conditions, force) for sample, force in zip(samples, forces, strict=True)]


def bc2_draws(samples: Sequence[Conductor], conditions: Conditions | None = None) -> Array:
    """Draws of Bc2 of several samples under the conditions, T, shape (samples, n).

    All must have been made of one set of joint draws.
    """
    conditions = conditions or Conditions()
    require_drawn_alike(samples)
    return np.array(
        [bc2_at(sample, conditions.temperature_k, strained(sample, conditions))[:, 0] for sample in samples]
    )


def require_drawn_alike(samples: Sequence[Conductor]) -> None:
    """Refuse samples with different random numbers."""
    first = samples[0]
    for other in samples[1:]:
        if (first.common.n, first.common.seed) != (other.common.n, other.common.seed):
            raise ValidityError(
                f"'{first.name}' and '{other.name}' were drawn with different seeds or numbers of draws, so that "
                "nothing they share would cancel; make both with the same"
            )


def positive_fields(fields_t: ArrayLike) -> Array:
    """Give fields as an array, shape (k,); refuse any that is not above zero."""
    fields = np.atleast_1d(np.asarray(fields_t, dtype=np.float64))
    if not np.all((fields > 0.0) & np.isfinite(fields)):
        raise ValidityError("a field is not positive: the force over the field has no value there; give T above zero")
    return fields


def _bands(draws: Iterable[Array]) -> Band:
    return Band(*np.array([Band.of(column) for column in draws]).T)
