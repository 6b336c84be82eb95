"""Kinds of measurement of a wire: how each is told, and how far what is read may lie from what the process means."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.quantities.registry import quantity

LAW = "law"
"""Key of `Process.predict` that courses of conversion are held against."""


class Kind(NamedTuple):
    """One kind of measurement.

    Attributes
    ----------
    noun : str
    unit : str
        As it is told.
    gap : float
        Standard uncertainty of one wire beyond that of the value, on the scale of the process: a domain is no grain,
        the lattice knows tin by a scale of its own.
    misses : tuple of str
        What it says of the model where less, or more, was found than it foretold.
    logarithm : int
        The process predicts the logarithm (1), that of the inverse (-1), or the value (0).
    factor : float
        From values to the unit.
    """

    noun: str
    unit: str
    gap: float
    misses: tuple[str, str]
    logarithm: int = 0
    factor: float = 1.0

    def on_scale(self, value: ArrayLike) -> NDArray[np.float64]:
        """Values as the process predicts them."""
        return np.asarray(self.logarithm * np.log(value) if self.logarithm else value, dtype=float)


_REACTION = "the reaction is slower than published kinetics", "the reaction is faster than published kinetics"
_GRAINS = "grains grow less than published", "grains grow more than published"
_POORER, _RICHER = "the layer forms poorer in tin there", "the layer forms richer in tin there"
_BC2 = "Bc2 rises less with the reaction than published", "Bc2 rises more with the reaction than published"
_TC = "Tc rises less with the reaction than published", "Tc rises more with the reaction than published"
_COPPER = "tin reaches the copper sooner than in the published wire", "the barrier holds better than published"
_CURRENT = "something that the model does not know costs current there", "the model misses a gain there"


def _of(name: str, gap: float, misses: tuple[str, str], logarithm: int = 0) -> Kind:
    about = quantity(name)
    return Kind(about.noun, about.people.unit, gap, misses, logarithm)


KINDS = {
    "niobium": Kind("niobium reacted", "%", 0.03, _REACTION, factor=100.0),
    "area": Kind("A15 area", "%", 0.03, _REACTION, logarithm=1, factor=100.0),
    "size": _of("domain_size_nm", 0.10, _GRAINS, logarithm=1),
    "grains": _of("grain_size_nm", 0.05, _GRAINS, logarithm=1),
    "tin": _of("tin_fraction", 0.25, (_POORER, _RICHER))._replace(noun=quantity("tin_fraction").symbol),
    "resistivity": Kind("resistivity of the A15", "µΩ cm", 3.0, (_RICHER, _POORER)),
    "field": _of("Bc2_T", 0.2, _BC2),
    "tc": _of("Tc_K", 0.0, _TC),
    "rrr": Kind("copper RRR", "", 0.1, _COPPER, logarithm=-1),
    "current": Kind("Ic at {} T", "A", 0.0, _CURRENT, logarithm=1),
    LAW: Kind("course of conversion", "", 0.0, ("", "")),
}
"""By key of `Process.predict`, the field of a current left out. Gaps are judged; that of the resistivity is an order
that differs by 0.005, by 147 (1 - S^4) of R. Fluekiger et al., IEEE Trans. Magn. 23 (1987) 980; currents have the
scatter of equal wires, Tc and Bc2 hold it."""


def kind_of(key: str) -> Kind:
    """Entry of a key, with the field of a current in its noun.

    >>> kind_of("size").noun, kind_of("current 12").noun
    ('domain size', 'Ic at 12 T')
    """
    short, _, at = key.partition(" ")
    return KINDS[short]._replace(noun=KINDS[short].noun.format(at))
