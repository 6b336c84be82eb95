"""Where lines stand and how strong they are.

`phase` gives a `Phase` of the catalogue or of a file; `reflections` its lines, `inverse_d_squared` their
places with derivatives, `structure_factor_squared` their strength. `A15Composition` and `contrast_shift`
say what order, tin and dopants do to Nb3Sn; `standard` gives a certified powder.
"""

from xrdorder.crystals.a15 import (
    DOPANT_SITES,
    A15Composition,
    apparent_contrast,
    contrast_shift,
    doped,
    order_parameters,
    site_order_from,
    tin_lower_bound,
)
from xrdorder.crystals.catalogue import DEFAULT_PHASES, Order, Phase, Site, phase, phase_names
from xrdorder.crystals.reflections import Reflections, reflections
from xrdorder.crystals.standards import Standard, standard, standard_names
from xrdorder.crystals.structure import (
    geometry_factors,
    site_scattering,
    structure_factor_squared,
    structure_factor_squared_derivatives,
)
from xrdorder.crystals.unit_cell import cell_volume, free_lengths, inverse_d_squared

__all__ = [
    "DEFAULT_PHASES",
    "DOPANT_SITES",
    "A15Composition",
    "Order",
    "Phase",
    "Reflections",
    "Site",
    "Standard",
    "apparent_contrast",
    "cell_volume",
    "contrast_shift",
    "doped",
    "free_lengths",
    "geometry_factors",
    "inverse_d_squared",
    "order_parameters",
    "phase",
    "phase_names",
    "reflections",
    "site_order_from",
    "site_scattering",
    "standard",
    "standard_names",
    "structure_factor_squared",
    "structure_factor_squared_derivatives",
    "tin_lower_bound",
]
