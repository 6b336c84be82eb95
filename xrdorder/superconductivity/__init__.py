"""What will the A15 do? Tc, resistivity and Bc2 by published relations, currents of layers.

Estimates of a study are draws of one model (`xrdorder.estimates`); `by_relation` lists beside them what each published
relation says alone, and `predict` asks all of them about numbers. How relations are asked stands in `asking`, the two
branches of Bc2 near stoichiometry in `branches`. `strain` gives Tc and Bc2 at a strain, `layers` spreads them over a
layer that is not uniform, `pinning` and `currents` go on to the current of a layer against that of another.
"""

from xrdorder.superconductivity.asking import Combined, RelationResult
from xrdorder.superconductivity.branches import Branches
from xrdorder.superconductivity.currents import (
    Conditions,
    Conductor,
    conductor,
    crossing,
    layer_current,
    relative_current,
)
from xrdorder.superconductivity.layers import Layer, layer
from xrdorder.superconductivity.prediction import Prediction, predict
from xrdorder.superconductivity.strain import AtStrain, at_strain
from xrdorder.superconductivity.targets import wire_of

__all__ = [
    "AtStrain",
    "Branches",
    "Combined",
    "Conditions",
    "Conductor",
    "Layer",
    "Prediction",
    "RelationResult",
    "at_strain",
    "conductor",
    "crossing",
    "layer",
    "layer_current",
    "predict",
    "relative_current",
    "wire_of",
]
