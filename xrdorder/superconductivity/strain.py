"""Tc and Bc2 at an axial strain of the A15.

The strain that counts is the intrinsic one: zero where Tc and Bc2 are highest, negative in compression. A wire that
cools from its reaction compresses the A15 along its axis, since copper and bronze shrink more; what a magnet adds is
counted from there:

    intrinsic strain = applied strain + thermal pre-strain (negative).

A strain function gives s = Bc2(strain) / Bc2(0), and Tc follows as a power of it: Tc / Tcm = s^(1/w), with w = 3 or,
in ternary wire of high Bc2, 2.2. Bc2 at a temperature follows from both by the laws of temperature. Relations for Tc
and Bc2 of a composition are for A15 free of strain, which is what is multiplied here. All published functions were
found on wire strained along its axis, in compression as it comes from cooling: they know neither transverse load nor
the cracks that tension makes, and are refused outside their range.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import Flag, UnknownNameError, ValidityError
from xrdorder.relations import Relation
from xrdorder.relations.bc2_of_temperature import POWER
from xrdorder.superconductivity.mixture import Answer, Band, Common, mix, refusals

Array = NDArray[np.float64]

MOST_STRAIN = 0.05
"""Beyond it a number is taken for one in per cent: Nb3Sn breaks long before."""


@dataclass(frozen=True)
class PreStrain:
    """Axial strain of the A15 in a wire at 4.2 K that nothing pulls at.

    Attributes
    ----------
    low, high : float
        Most and least compression that is usual; anywhere between is as likely (rectangular).
    source : str
    """

    low: float
    high: float
    source: str


PRE_STRAINS = {
    "": PreStrain(
        -0.004,
        -0.002,
        "free wires at 4.2 K: A. Godeke et al., Supercond. Sci. Technol. 19 (2006) R100",
    ),
    "bronze": PreStrain(-0.004, -0.003, "from memory, no source"),
    "internal-tin": PreStrain(-0.003, -0.002, "from memory, no source"),
    "powder-in-tube": PreStrain(-0.002, -0.001, "from memory, no source"),
    "none": PreStrain(0.0, 0.0, "by definition: A15 free of strain"),
}
"""Thermal pre-strain at 4.2 K by design of the wire; ``""`` where the design is not known."""


def pre_strain(design: str = "") -> PreStrain:
    """Look up the usual thermal pre-strain of a wire design.

    Raises
    ------
    UnknownNameError
        There is no such design; the message lists those there are.

    Examples
    --------
    >>> pre_strain("bronze").low, pre_strain("bronze").high
    (-0.004, -0.003)
    """
    if design not in PRE_STRAINS:
        known = ", ".join(name for name in PRE_STRAINS if name)
        raise UnknownNameError(f"no pre-strain known for the wire design '{design}'; known are: {known}")
    return PRE_STRAINS[design]


@dataclass(frozen=True)
class Strained:
    """What strain does: factors for each draw.

    Attributes
    ----------
    strain : array, (n,)
        Intrinsic axial strain.
    bc2_factor, tc_factor : array, (n,)
        Bc2 at 0 K and Tc over their values free of strain, all relations in equal parts.
    bc2_answers : tuple of Answer
        What each strain function says.
    """

    strain: Array = field(repr=False)
    bc2_factor: Array = field(repr=False)
    tc_factor: Array = field(repr=False)
    bc2_answers: tuple[Answer, ...]

    @property
    def flags(self) -> tuple[Flag, ...]:
        """What the reader must know."""
        flags = []
        reasons = refusals(self.bc2_answers)
        if not any(answer.applies for answer in self.bc2_answers):
            message = f"nothing is known at this strain: {reasons or 'no relation'}"
            flags.append(Flag("no-strain-relation", message))
        elif reasons:
            flags.append(Flag("relations-refused", reasons))
        if float(np.mean(self.strain > 0.0)) > 0.5:
            flags.append(
                Flag(
                    "tension",
                    "the A15 is in tension: filaments may crack, which no relation here knows; measured wires lose "
                    "current for good beyond a limit of their own",
                )
            )
        return tuple(flags)


def strain_factors(strain: ArrayLike, *, common: Common) -> Strained:
    """Ask all strain functions, and all relations of Tc to them, at an intrinsic strain.

    Parameters
    ----------
    strain : float or array, (n,)
        Intrinsic axial strain, negative in compression: -0.0025 for 0.25 %.
    common : Common

    Raises
    ------
    ValidityError
        A strain is not finite, or not a fraction.

    Examples
    --------
    >>> at = strain_factors(-0.003, common=Common(10_000))
    >>> f"{np.median(at.bc2_factor):.2f} {np.median(at.tc_factor):.2f}"
    '0.94 0.98'
    """
    check_strain(strain)
    draws = np.broadcast_to(np.asarray(strain, dtype=np.float64), (common.n,))
    bc2_answers = tuple(_bounded(answer, draws) for answer in common.ask("strain-function", draws))
    factor = mix(bc2_answers, "strain-function", common)
    return Strained(draws, factor, mix(common.ask("tc-strain", factor), "tc-strain", common), bc2_answers)


def _bounded(answer: Answer, strain: Array) -> Answer:
    """Keep a strain function to one at most, as it is defined, and its scatter to what the strain takes.

    A scatter is stated for the whole range; at small strain it must not be more than the loss itself.
    """
    if not answer.applies:
        return answer
    exact = answer.relation.evaluate(strain)
    return replace(answer, draws=np.clip(answer.draws, 2.0 * exact - 1.0, 1.0))


@dataclass(frozen=True)
class AtStrain:
    """Tc and Bc2 at a strain.

    Attributes
    ----------
    strain : float
        Intrinsic axial strain.
    draws : dict of target to array, (n,)
        By all strain functions in equal parts; Bc2 at temperatures by the temperature law of the draws.
    relations : tuple of Answer
        Tc and Bc2 at 0 K by each strain function alone, Tc with every relation of it to them.
    flags : tuple of Flag
    """

    strain: float
    draws: Mapping[str, Array] = field(repr=False)
    relations: tuple[Answer, ...]
    flags: tuple[Flag, ...]


def at_strain(
    tc: Array,
    bc2_0: Array,
    strain: float,
    *,
    u_strain: float = 0.0,
    temperatures: Mapping[str, float] | None = None,
    law: Relation = POWER,
    common: Common,
) -> AtStrain:
    """Multiply draws of Tc and Bc2 by the published strain functions.

    Parameters
    ----------
    tc, bc2_0 : array, (n,)
        Draws of critical temperature (K) and upper critical field at 0 K (T), free of strain.
    strain, u_strain : float
        Intrinsic axial strain, negative in compression, and its standard uncertainty.
    temperatures : mapping of target to float, optional
        For Bc2, K.
    law : Relation
        Of Bc2 at a temperature.
    common : Common

    Returns
    -------
    AtStrain
        With NaN, reasons and a flag where no relation applies.

    Raises
    ------
    ValidityError
        The strain is no fraction.

    Examples
    --------
    >>> tc, bc2_0 = np.full(10_000, 18.0), np.full(10_000, 29.0)
    >>> found = at_strain(tc, bc2_0, -0.003, temperatures={"Bc2_4K2_T": 4.2}, common=Common(10_000))
    >>> f"{np.median(found.draws['Tc_K']):.1f} K, {np.median(found.draws['Bc2_4K2_T']):.0f} T"
    '17.6 K, 24 T'
    """
    under = strain_factors(strain + u_strain * common.own("strain"), common=common)
    answers: list[Answer] = []
    for function in under.bc2_answers:
        for power in common.ask("tc-strain", function.draws):
            both = replace(power, reason=function.reason or power.reason)
            answers.append(_of("Tc_K", tc, both, function.relation, power.relation))
        answers.append(_of("Bc2_0K_T", bc2_0, function, function.relation))
    draws = {"Tc_K": tc * under.tc_factor, "Bc2_0K_T": bc2_0 * under.bc2_factor}
    draws |= {
        target: np.asarray(law.function(np.array(temperature), draws["Bc2_0K_T"], draws["Tc_K"]))
        for target, temperature in (temperatures or {}).items()
    }
    return AtStrain(strain, draws, tuple(answers), under.flags)


def _of(target: str, free: Array, factor: Answer, *relations: Relation) -> Answer:
    """What a factor makes of a quantity free of strain."""
    draws = free * factor.draws
    known = ~np.isnan(draws)
    reason = factor.reason or ("" if known.any() else "nothing to multiply")
    middle = float(Band.of(draws).median)
    return Answer(relations, draws, 0.0 if reason else float(np.mean(known)), reason, target, value=middle)


def check_strain(strain: ArrayLike) -> None:
    """Refuse intrinsic strains that are not finite, or no fractions."""
    bad = np.atleast_1d(strain)[~(np.abs(np.atleast_1d(strain)) <= MOST_STRAIN)]
    if bad.size:
        raise ValidityError(
            f"strain is {bad[0]:g}; give the intrinsic axial strain as a fraction, -0.0025 for 0.25 % of compression"
        )
