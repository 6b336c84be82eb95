"""Order and composition: superlattice lines of two alloys of textbooks, dopants, relations of S_a and S_b."""

from dataclasses import replace
from functools import cache

import numpy as np

from tests.outside.rows import Row
from xrdorder.crystals import (
    A15Composition,
    Phase,
    apparent_contrast,
    order_parameters,
    phase,
    structure_factor_squared,
    tin_lower_bound,
)
from xrdorder.crystals.phase import Order, Site
from xrdorder.xrays import radiation

_CULLITY = "B. D. Cullity, Elements of X-Ray Diffraction, 2nd ed. (1978), chapter 13"
_WARREN = (
    "B. E. Warren, X-Ray Diffraction (1969), chapter 12: superlattice lines go with S, all others do not"
)
_APART = "calculated apart from this package for these tests, to three digits"


_ELECTRONS = {"Au": 79.0, "Cu": 29.0, "Zn": 30.0}


class AtomicNumbers:
    """Scattering by the number of electrons, as the textbook's estimate takes it."""

    name = "atomic numbers"

    def f0(self, element: str, s_per_nm: np.ndarray) -> np.ndarray:
        """The same at every angle."""
        return np.full_like(s_per_nm, _ELECTRONS[element])

    def anomalous(self, element: str, energy_ev: float) -> tuple[float, float]:
        """None."""
        return 0.0, 0.0


def alloy(first: str, second: str, others: tuple[tuple[float, float, float], ...]) -> Phase:
    """A cubic cell with one element at its corner and another at the other positions."""
    b = (0.0, 0.02)
    sites = (
        Site("corner", np.zeros((1, 3)), {first: 1.0}, 0.005, b),
        Site("others", np.array(others), {second: 1.0}, 0.005, b),
    )
    return replace(
        phase("lab6"),
        name=first + second,
        sites=sites,
        lengths_nm=(0.37,),
        order=Order(("corner", "others"), (first, second)),
    )


@cache
def gold_copper() -> Phase:
    """AuCu3."""
    return alloy("Au", "Cu", ((0.5, 0.5, 0.0), (0.5, 0.0, 0.5), (0.0, 0.5, 0.5)))


@cache
def brass() -> Phase:
    """CuZn."""
    return alloy("Cu", "Zn", ((0.5, 0.5, 0.5),))


def ratio(
    of: Phase, superlattice: tuple[int, int, int], fundamental: tuple[int, int, int], order: float
) -> float:
    """|F|² of a superlattice line over that of a fundamental one at a long-range order."""
    found = structure_factor_squared(
        of,
        [superlattice, fundamental],
        [1e-9, 1e-9],
        8047.8,
        AtomicNumbers(),
        b_iso_nm2=[0.0, 0.0],
        contrast=order,
    )
    return float(found[0] / found[1])


def reading(element: str, content: float, share: float) -> float:
    """What I(110)/I(211) reads as order in a wire whose sites are all rightly filled, if the dopant is left out."""
    tin = float(tin_lower_bound(1.0, {element: content}, {element: share}))
    return apparent_contrast(
        A15Composition(tin, 1.0, {element: content}, {element: share}), radiation("cu-ka1").energy_ev
    )


DOPANTS = [
    ("Ta", 0.024, 0.08, 0.924),
    ("Ta", 0.024, 0.30, 0.975),
    ("Ta", 0.024, 0.43, 1.005),
    ("Ta", 0.040, 0.08, 0.874),
    ("Ta", 0.040, 0.30, 0.959),
    ("Ta", 0.040, 0.43, 1.009),
    ("Ti", 0.015, 0.00, 1.041),
]

ROWS = [
    Row(
        "superlattice over fundamental line of ordered AuCu3, atomic numbers",
        "",
        lambda: ratio(gold_copper(), (1, 0, 0), (2, 0, 0), 1.0),
        0.09,
        0.005,
        "printed to two decimals",
        _CULLITY,
        "from memory",
    ),
    Row(
        "superlattice over fundamental line of ordered CuZn, atomic numbers",
        "",
        lambda: ratio(brass(), (1, 0, 0), (1, 1, 0), 1.0),
        0.0003,
        0.00005,
        "printed to one digit",
        _CULLITY,
        "from memory",
    ),
    *(
        Row(
            f"superlattice line of {name} at S = {s:g} over that at S = 1",
            "",
            lambda of=of, s=s: (
                ratio(of(), (1, 0, 0), (1, 1, 1) if of is gold_copper else (1, 1, 0), s)
                / ratio(of(), (1, 0, 0), (1, 1, 1) if of is gold_copper else (1, 1, 0), 1.0)
            ),
            s**2,
            1e-12,
            "exact",
            _WARREN,
            "from memory",
        )
        for name, of in (("AuCu3", gold_copper), ("CuZn", brass))
        for s in (0.8, 0.5)
    ),
    *(
        Row(
            f"order read off a fully ordered wire, {100 * content:g} at.% {element}, {100 * share:g} % of it for tin",
            "",
            lambda p=(element, content, share): reading(*p),
            value,
            0.001,
            "three digits",
            _APART,
            "computed",
        )
        for element, content, share, value in DOPANTS
    ),
    Row(
        "S_b of full order at 22 at.% tin",
        "",
        lambda: float(order_parameters(0.22, 0.88)[1]),
        3 * 0.22 / 0.78,
        1e-12,
        "S_b = 3 beta S_a / (1 - beta) from the site balance",
        "A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, eq. 1",
        "from memory",
        "transcription",
    ),
    Row(
        "least tin of a site order of 0.92",
        "",
        lambda: float(tin_lower_bound(0.92)),
        0.23,
        1e-12,
        "S_a cannot exceed one",
        "A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, eq. 1",
        "from memory",
        "transcription",
    ),
]
