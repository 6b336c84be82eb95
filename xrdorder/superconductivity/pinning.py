"""The pinning force of an A15 layer: how large at its peak, by the grain size, and how it goes with field.

Grain boundaries pin flux lines in Nb3Sn, so that the peak of the pinning force grows as grains shrink. Published
relations were fitted to wires of several processes, with forces taken over different areas: the A15 itself, or all that
is not copper. Their levels must not be mixed, and only those over the A15 area give the force in the layer; their
slopes may be compared, so that all of them take part where two samples are compared.

Grain size by microscopy, where there is one, takes the place of the domain size of a pattern. Domains are what
scatters coherently, averaged by volume along one direction: about as large as grains in fine-grained A15, never larger,
and out of reach of laboratory patterns beyond some 150 nm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import Flag, ValidityError
from xrdorder.superconductivity.mixture import Answer, Band, Common, mix, refusals
from xrdorder.uncertainty import standard_normal

Array = NDArray[np.float64]

U_GRAIN = 0.1
"""Relative standard uncertainty of a grain size by microscopy given without one (judged: a few hundred grains)."""

U_DOMAIN_AS_GRAIN = 0.25
"""Relative standard uncertainty of taking a domain size for the grain size, the same for everybody.

Judged: line widths gave 110 to 180 nm in one wire during its reaction (C. Scheuerlein, M. Di Michiel,
arXiv:1801.02195), microscopy 110 to 150 nm in wires like it (X. Xu, Supercond. Sci. Technol. 30 (2017) 093001). It
cancels between samples.
"""

AS_GRAIN = (0.0, math.sqrt(math.log1p(U_DOMAIN_AS_GRAIN**2)))
"""Logarithm of grain size over domain size and its standard uncertainty, where nobody measured both in a lot."""

MICROSCOPY, DOMAINS, AT_LEAST = "microscopy", "domain size", "domain size, at least"

_QUESTION = "peak-pinning-force"


@dataclass(frozen=True)
class GrainSize:
    """Grain size of an A15 layer.

    Attributes
    ----------
    draws : array, (n,)
        nm.
    by : str
        "microscopy", "domain size", or "domain size, at least": then forces are at most what they are given as.
    flags : tuple of Flag
    """

    draws: Array = field(repr=False)
    by: str
    flags: tuple[Flag, ...] = ()

    @property
    def band(self) -> Band:
        """Median and 68 % interval, nm."""
        return Band.of(self.draws)


def grain_size(
    *,
    measured_nm: tuple[float, float | None] | None = None,
    domains_nm: tuple[float, ArrayLike] | None = None,
    domains_at_least_nm: float = math.nan,
    as_grain: tuple[float, float] = AS_GRAIN,
    common: Common,
) -> GrainSize:
    """Take the grain size by microscopy where there is one, else the domain size.

    Parameters
    ----------
    measured_nm : (float, float or None), optional
        Grain size by microscopy and its standard uncertainty.
    domains_nm : (float, array (n,)), optional
        Domain size and its draws; a size that is not finite or not above zero is none.
    domains_at_least_nm : float
        Lower limit of the domain size where it was not resolved.
    as_grain : (float, float)
        Logarithm of grain size over domain size and its standard uncertainty, where other wires of the lot tell it.
    common : Common

    Raises
    ------
    ValidityError
        No size is known, or one is not positive.
    """
    if measured_nm is not None:
        seen, u = measured_nm
        u = U_GRAIN * seen if u is None else u
        if not (0.0 < seen < math.inf and 0.0 <= u < math.inf):
            raise ValidityError(
                f"grain size is {seen:g} ± {u:g} nm; give a positive size and an uncertainty of zero or more"
            )
        # normal in its logarithm, which is the same for small uncertainties
        scatter = math.sqrt(math.log1p((u / seen) ** 2)) * common.own("grain size")
        return GrainSize(np.asarray(seen * np.exp(scatter)), MICROSCOPY)
    factor, source = np.full(common.n, as_grain[0]), "domain size as grain size"
    factor += as_grain[1] * (
        standard_normal(common.n, common.seed, source, "published") if as_grain == AS_GRAIN else common.of_lot(source)
    )
    size, drawn = (math.nan, math.nan) if domains_nm is None else domains_nm
    if 0.0 < size < math.inf:
        # Linear in the width, whose inverse the size is: the far tail of the draws may pass zero.
        draws = np.maximum(drawn, 0.1 * size) * np.exp(factor)
        return GrainSize(draws, DOMAINS, (Flag("domain-size-for-grain-size", _words(size, as_grain)),))
    if 0.0 < domains_at_least_nm < math.inf:
        flag = Flag(
            "grain-size-at-least",
            f"domains are at least {domains_at_least_nm:.0f} nm: pinning forces and currents are at most those given",
        )
        return GrainSize(domains_at_least_nm * np.exp(factor), AT_LEAST, (flag,))
    raise ValidityError(
        "no grain size is known: the pattern resolves no domain size; give a grain size by microscopy, nm"
    )


def _words(size_nm: float, as_grain: tuple[float, float]) -> str:
    """How the domain size was turned into one of grains."""
    size = f"the domain size, {size_nm:.0f} nm, for the grain size"
    if as_grain == AS_GRAIN:
        return f"pinning takes {size}; a grain size by microscopy is better"
    return f"pinning takes {math.exp(as_grain[0]):.2f} times {size}, anchored to grain sizes measured in the lot"


def peak_pinning_force(size_nm: ArrayLike, *, common: Common) -> tuple[Answer, ...]:
    """Peak of the pinning force at 4.2 K by every relation with grain size, GN/m³, over the area each was fitted for.

    Parameters
    ----------
    size_nm : float or array, (n,)
        Grain size, nm.
    common : Common

    Raises
    ------
    ValidityError
        A size is not positive.
    """
    draws = np.asarray(size_nm, dtype=np.float64)
    if not np.all(draws > 0.0):
        raise ValidityError("a grain size is not positive; give nm above zero")
    return replace(common, wire="any").ask(_QUESTION, np.broadcast_to(draws, (common.n,)))


def over_a15_area(answer: Answer) -> bool:
    """Tell whether the relation gives the force over the area of the A15."""
    return "A15 area" in answer.relation.output.meaning


def layer_force(size_nm: ArrayLike, *, common: Common) -> Array:
    """Peak force in the layer, GN/m³, (n,): relations over the A15 area in equal parts.

    Raises
    ------
    ValidityError
        A size is not positive, or no relation holds for it.

    Examples
    --------
    >>> f"{np.median(layer_force(100.0, common=Common(10_000))):.0f} GN/m3"
    '95 GN/m3'
    """
    answers = peak_pinning_force(size_nm, common=common)
    force = mix([answer for answer in answers if over_a15_area(answer)], _QUESTION, common)
    if np.all(np.isnan(force)):
        raise ValidityError(f"no relation gives the pinning force of its layer: {refusals(answers)}")
    return force


def comparable_forces(*forces: Sequence[Answer], common: Common) -> tuple[Array, ...]:
    """Peak forces of samples by the same relation in every draw, over whatever area: for their ratio, nothing else.

    Raises
    ------
    ValidityError
        No relation holds for the grain sizes of all.
    """
    usable = [answers for answers in zip(*forces, strict=True) if all(answer.applies for answer in answers)]
    if not usable:
        who = "both" if len(forces) == 2 else "all"
        raise ValidityError(
            f"no relation of pinning force with grain size holds for {who} samples; none compares them"
        )
    return tuple(mix(answers, _QUESTION, common) for answers in zip(*usable, strict=True))


class ForceShape:
    """Pinning force over its peak against reduced field, one relation for each draw.

    Those found on the wire's own dopant; where there are none, those for any wire. Without scatter: how far a layer
    strays from the shape is common to samples to an extent that nobody knows, and less than what is not known of the
    level.

    Examples
    --------
    >>> shape = ForceShape(Common(2))
    >>> [round(float(shape(np.full(2, h))[0]), 3) for h in (0.0, 0.2, 0.6, 1.0, 1.2)]
    [0.0, 1.0, 0.433, 0.0, 0.0]
    """

    def __init__(self, common: Common) -> None:
        entries = common.library.relations("reduced-pinning-force", common.wire)
        self._entries = [entry for entry in entries if entry.wire == common.wire] or [
            entry for entry in entries if entry.wire == "any"
        ]
        self._choice = common.choice("reduced-pinning-force", self._entries)

    def __call__(self, h: Array) -> Array:
        """Give f for reduced fields h = B / Bc2 of shape (n,); zero from Bc2 on."""
        h = np.clip(h, 0.0, 1.0)
        shape = np.empty(h.shape)
        for index, entry in enumerate(self._entries):
            mine = self._choice == index
            shape[mine] = entry.function(h[mine], *(symbol.usual for symbol in entry.inputs[1:]))
        return shape
