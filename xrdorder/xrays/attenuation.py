"""How deep X-rays go."""

from collections.abc import Mapping
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from xrdorder.exceptions import ValidityError
from xrdorder.xrays.emission import HC_EV_NM
from xrdorder.xrays.scattering import GEMMI_TABLE, ScatteringTable

#: Classical electron radius, nm (CODATA 2018: 2.8179403262(13)e-15 m).
ELECTRON_RADIUS_NM = 2.8179403262e-6

_Number = TypeVar("_Number", float, NDArray[np.float64])


def linear_attenuation_per_nm(
    composition: Mapping[str, float],
    cell_volume_nm3: float,
    energy_ev: float,
    table: ScatteringTable = GEMMI_TABLE,
) -> float:
    r"""Return the linear photo-absorption coefficient of a crystal from f''.

    .. math:: \mu = \frac{2 r_e \lambda}{V} \sum_k n_k f''_k

    (optical theorem; A. Authier, *Dynamical Theory of X-ray Diffraction* (2001), ch. 2; from memory).
    Scattering out of the beam is left out: compared with photo-absorption tables the result is good to 3 %,
    and total attenuation is 1-12 % higher, least for heavy atoms at laboratory energies.

    Parameters
    ----------
    composition : mapping
        Atoms per cell of each element, ``{"Nb": 6, "Sn": 2}``.
    cell_volume_nm3 : float
        Cell volume, nm³.
    energy_ev : float
        Photon energy, eV.
    table : ScatteringTable, optional
        Source of f''.

    Returns
    -------
    float
        µ in 1/nm.

    Raises
    ------
    ValidityError
        If volume or energy is not positive.

    Examples
    --------
    The depth 1/µ of Nb₃Sn at Cu Kα1, in µm:

    >>> mu = linear_attenuation_per_nm({"Nb": 6, "Sn": 2}, 0.529**3, 8047.8)
    >>> print(f"{1e-3 / mu:.1f}")
    6.6
    """
    if not (cell_volume_nm3 > 0.0 and energy_ev > 0.0):
        raise ValidityError(
            f"attenuation: cell volume {cell_volume_nm3} nm3 and energy {energy_ev} eV must both be positive"
        )
    total = sum(count * table.anomalous(element, energy_ev)[1] for element, count in composition.items())
    return float(2.0 * ELECTRON_RADIUS_NM * (HC_EV_NM / energy_ev) * total / cell_volume_nm3)


def mean_depth(sine: _Number, attenuation: float) -> _Number:
    """Return the mean depth that a thick specimen is seen from in symmetric reflection, sin(theta) / (2 mu).

    Depth z is seen through the path 2 z / sin(theta), in and out, with the weight exp(-2 mu z / sin(theta)); this is
    its mean (B. D. Cullity, Elements of X-ray Diffraction (1956), ch. 9; from memory).

    Parameters
    ----------
    sine : float or ndarray
        sin(theta) of each line, theta half of the angle 2 theta.
    attenuation : float
        Linear attenuation, positive, of the specimen as it is packed.

    Returns
    -------
    float or ndarray
        In the inverse unit of the attenuation.

    Examples
    --------
    Nb3Sn (110) at 23.78 degrees with Cu K-alpha, 0.152 per micrometre, in micrometres:

    >>> round(mean_depth(0.2060, 0.152), 2)
    0.68
    """
    return sine / (2.0 * attenuation)
