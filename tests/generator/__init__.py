"""A second, independent way from a known truth to a powder pattern: the judge of the fits.

Nothing here imports the package under test, and nothing is shared with it: the atoms of every cell are
written out by hand, reflections and multiplicities come from counting lattice points, line shapes are true
Voigt functions over the whole pattern, and axial divergence is a plain sum over heights. Only numbers that
nobody can derive (scattering factors) come from a library. Where the two ways agree, both are likely right.

`cells` says where the atoms are and how strongly they scatter, `optics` what the diffractometer does to a
line, `patterns` puts both together. Use `simulate`, `simulate_standard`, `random_truth` and the dataclasses
of the truth.
"""

from .cells import Fibre, attenuation_per_mm, line_strengths
from .optics import InstrumentTruth, line_profile
from .patterns import (
    Background,
    Dopant,
    PhaseTruth,
    SampleTruth,
    expected_counts,
    random_instrument,
    random_truth,
    simulate,
    simulate_standard,
)

__all__ = [
    "Background",
    "Dopant",
    "Fibre",
    "InstrumentTruth",
    "PhaseTruth",
    "SampleTruth",
    "attenuation_per_mm",
    "expected_counts",
    "line_profile",
    "line_strengths",
    "random_instrument",
    "random_truth",
    "simulate",
    "simulate_standard",
]
