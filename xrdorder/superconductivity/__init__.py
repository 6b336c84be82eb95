"""What the A15 will do: Tc, resistivity and Bc2 over all published relations that apply.

`predict` takes a `xrdorder.material.Material`; `estimate` takes numbers alone and gives a table of everything that
follows from them; `difference` and `differences` compare samples with what they share cancelled. How relations are
asked and put together stands in `asking`, the two branches of Bc2 near stoichiometry in `branches`. `strain` gives Tc
and Bc2 at a strain, `layers` spreads them over a layer that is not uniform, `pinning` and `currents` go on to the
current of a layer against that of another; `currents_study` makes what they need of a study.
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
from xrdorder.superconductivity.differences import (
    QUANTITIES,
    Sample,
    SampleDifference,
    difference,
    differences,
    samples_of,
)
from xrdorder.superconductivity.layers import Layer, layer
from xrdorder.superconductivity.prediction import Prediction, predict
from xrdorder.superconductivity.strain import AtStrain, at_strain
from xrdorder.superconductivity.targets import wire_of

__all__ = [
    "QUANTITIES",
    "AtStrain",
    "Branches",
    "Combined",
    "Conditions",
    "Conductor",
    "Layer",
    "Prediction",
    "RelationResult",
    "Sample",
    "SampleDifference",
    "at_strain",
    "conductor",
    "crossing",
    "difference",
    "differences",
    "layer",
    "layer_current",
    "predict",
    "relative_current",
    "samples_of",
    "wire_of",
]
