"""What X-rays do.

`radiation` (emission lines of tubes), `scattering_factor` (f0, f', f''), `lorentz_polarisation`,
`linear_attenuation_per_nm`.
"""

from xrdorder.xrays.attenuation import linear_attenuation_per_nm
from xrdorder.xrays.emission import EmissionLine, Radiation, radiation, radiation_names
from xrdorder.xrays.polarisation import lorentz_polarisation
from xrdorder.xrays.scattering import (
    GEMMI_TABLE,
    U_DISPERSION_DIFFERENCE,
    ScatteringTable,
    scattering_factor,
)

__all__ = [
    "GEMMI_TABLE",
    "U_DISPERSION_DIFFERENCE",
    "EmissionLine",
    "Radiation",
    "ScatteringTable",
    "linear_attenuation_per_nm",
    "lorentz_polarisation",
    "radiation",
    "radiation_names",
    "scattering_factor",
]
