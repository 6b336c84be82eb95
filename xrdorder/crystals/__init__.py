"""Where lines stand and how strong they are.

`phase` gives a `Phase` of the catalogue or of a file; `reflections` its lines, `inverse_d_squared` their
places with derivatives, `structure_factor_squared` their strength.
"""

from xrdorder.crystals.catalogue import Order, Phase, Site, phase, phase_names
from xrdorder.crystals.lattice import cell_volume, free_lengths, inverse_d_squared
from xrdorder.crystals.reflections import Reflections, reflections
from xrdorder.crystals.structure import (
    geometry_factors,
    site_scattering,
    structure_factor_squared,
    structure_factor_squared_derivatives,
)

__all__ = [
    "Order",
    "Phase",
    "Reflections",
    "Site",
    "cell_volume",
    "free_lengths",
    "geometry_factors",
    "inverse_d_squared",
    "phase",
    "phase_names",
    "reflections",
    "site_scattering",
    "structure_factor_squared",
    "structure_factor_squared_derivatives",
]
