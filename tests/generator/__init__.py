"""A second, independent way from a known truth to a powder pattern: the judge of the fits.

Nothing here imports the package under test, and nothing is shared with it: the atoms of every cell are
written out by hand, reflections and multiplicities come from counting lattice points, line shapes are true
Voigt functions over the whole pattern, or transforms of the Fourier coefficients of domains, and axial
divergence is a plain sum over heights. Only numbers that nobody can derive (scattering factors) come from a
library. Where the two ways agree, both are likely right.

`cells` says where the atoms are and how strongly they scatter, `distributions` which lattice parameters
occur, `sizes` how large the domains are, `truths` what the specimen is; `optics` what the diffractometer does
to a line (with `absorption`, and `stray` for what else the tube sends, and `quadrature` to make sums short),
`patterns` puts all together, `defects` spoils the result as laboratories do. Use `simulate`,
`simulate_standard`, `random_truth` and the dataclasses of the truth.
"""

from .absorption import Roughness
from .cells import Fibre, attenuation_per_mm, line_strengths
from .distributions import LatticeComponent, LatticeDistribution
from .optics import InstrumentTruth, Mount, line_profile
from .patterns import expected_counts, random_instrument, random_truth, simulate, simulate_standard
from .sizes import LognormalSizes, MixedSizes
from .stray import StrayTruth, WhiteTruth, copper_k_beta, tungsten_l_alpha
from .truths import FOREIGN_A_NM, Background, Dopant, FewGrains, PhaseTruth, SampleTruth, a15_lattice_nm

__all__ = [
    "FOREIGN_A_NM",
    "Background",
    "Dopant",
    "FewGrains",
    "Fibre",
    "InstrumentTruth",
    "LatticeComponent",
    "LatticeDistribution",
    "LognormalSizes",
    "MixedSizes",
    "Mount",
    "PhaseTruth",
    "Roughness",
    "SampleTruth",
    "StrayTruth",
    "WhiteTruth",
    "a15_lattice_nm",
    "attenuation_per_mm",
    "copper_k_beta",
    "expected_counts",
    "line_profile",
    "line_strengths",
    "random_instrument",
    "random_truth",
    "simulate",
    "simulate_standard",
    "tungsten_l_alpha",
]
