"""What X-rays do.

`radiation` (emission lines of tubes), `contamination_lines` (K-beta, tungsten) and `filter_edge`, `scattering_factor`
(f0, f', f''), `second_table` and `MeasuredDispersion` (other f', f''), `absorption_edges` and `nearest_edge`,
`lorentz_polarisation`, `linear_attenuation_per_nm`.
"""

from xrdorder.xrays.attenuation import linear_attenuation_per_nm
from xrdorder.xrays.contamination import (
    ContaminationComponent,
    ContaminationLine,
    FilterEdge,
    contamination_lines,
    filter_edge,
)
from xrdorder.xrays.edges import EDGE_REACH_EV, absorption_edges, nearest_edge
from xrdorder.xrays.emission import EmissionLine, Radiation, radiation, radiation_names
from xrdorder.xrays.polarisation import lorentz_polarisation
from xrdorder.xrays.scattering import (
    GEMMI_TABLE,
    SECOND_TABLE_REACH_EV,
    U_CHARGE_TRANSFER,
    U_DISPERSION_DIFFERENCE,
    MeasuredDispersion,
    ScatteringTable,
    scattering_factor,
    second_table,
)

__all__ = [
    "EDGE_REACH_EV",
    "GEMMI_TABLE",
    "SECOND_TABLE_REACH_EV",
    "U_CHARGE_TRANSFER",
    "U_DISPERSION_DIFFERENCE",
    "ContaminationComponent",
    "ContaminationLine",
    "EmissionLine",
    "FilterEdge",
    "MeasuredDispersion",
    "Radiation",
    "ScatteringTable",
    "absorption_edges",
    "contamination_lines",
    "filter_edge",
    "linear_attenuation_per_nm",
    "lorentz_polarisation",
    "nearest_edge",
    "radiation",
    "radiation_names",
    "scattering_factor",
    "second_table",
]
