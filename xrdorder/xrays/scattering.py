"""How strongly an atom scatters X-rays.

`scattering_factor` gives f0(s) + f' + i f''. Where the numbers come from is a `ScatteringTable`; the one in
use, `GEMMI_TABLE`, has f0 as four Gaussians and a constant (International Tables C, 1992) and f', f''
computed after Cromer and Liberman. Another table is any object with the same two methods.

Within about 20 eV of an absorption edge (rule of thumb, no source) no table holds, for white lines: measured f', f''
belong there.
"""

from functools import lru_cache
from typing import Protocol

import gemmi
import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import UnknownNameError

Array = NDArray[np.float64]

#: Standard uncertainty, in electrons, of the difference f'(Sn) - f'(Nb). Five published tables (among them
#: those after Cromer and Liberman, Chantler, Henke) put it between 0.05 and 0.32 at Cu Ka1 (own
#: comparison). A range of 0.27 over five tables is a standard deviation of about 0.1, one per cent of
#: the contrast f(Sn) - f(Nb) and hence of an order parameter. A pattern cannot tell tables apart: all
#: samples of one radiation share the error.
U_DISPERSION_DIFFERENCE = 0.10


class ScatteringTable(Protocol):
    """A source of scattering factors."""

    @property
    def name(self) -> str:
        """Name for provenance."""
        ...

    def f0(self, element: str, s_per_nm: Array) -> Array:
        """Return the form factor at s = sin(theta)/lambda (1/nm), electrons, same shape as `s_per_nm`."""
        ...

    def anomalous(self, element: str, energy_ev: float) -> tuple[float, float]:
        """Return f' and f'' (electrons) at a photon energy (eV)."""
        ...


def _element(symbol: str) -> gemmi.Element:
    element = gemmi.Element(symbol)
    if element.name != symbol or element.atomic_number == 0 or element.it92 is None:
        raise UnknownNameError(
            f"element '{symbol}': no scattering factor of that name; write a plain symbol such as Nb or Sn"
        )
    return element


@lru_cache(maxsize=128)
def _gaussians(symbol: str) -> tuple[Array, Array, float]:
    coefficients = _element(symbol).it92
    return np.array(coefficients.a), np.array(coefficients.b), float(coefficients.c)


@lru_cache(maxsize=1024)
def _cromer_liberman(symbol: str, energy_ev: float) -> tuple[float, float]:
    first, second = gemmi.cromer_liberman(_element(symbol).atomic_number, energy_ev)
    return float(first), float(second)


class _GemmiTable:
    """International Tables C (1992) form factors and Cromer-Liberman dispersion, from gemmi."""

    name = "IT92 + Cromer-Liberman (gemmi)"

    def f0(self, element: str, s_per_nm: Array) -> Array:
        """Return the form factor; the table is in 1/angstrom, hence the 0.01."""
        a, b, c = _gaussians(element)
        squared = 0.01 * np.asarray(s_per_nm, dtype=np.float64) ** 2
        return np.exp(-squared[..., None] * b) @ a + c

    def anomalous(self, element: str, energy_ev: float) -> tuple[float, float]:
        """Return f' and f''."""
        return _cromer_liberman(element, float(energy_ev))


GEMMI_TABLE: ScatteringTable = _GemmiTable()


def scattering_factor(
    element: str, s_per_nm: ArrayLike, energy_ev: float, table: ScatteringTable = GEMMI_TABLE
) -> NDArray[np.complex128]:
    """Return the complex scattering factor f0(s) + f' + i f'' of an atom.

    Parameters
    ----------
    element : str
        Symbol without charge, "Nb".
    s_per_nm : array_like
        s = sin(theta)/lambda, 1/nm, any shape.
    energy_ev : float
        Photon energy, eV.
    table : ScatteringTable, optional
        Source of the numbers.

    Returns
    -------
    ndarray of complex
        Electrons, shape of `s_per_nm`.

    Raises
    ------
    UnknownNameError
        If the table has no such element.

    Examples
    --------
    At s = 0 and Cu Kα1, niobium scatters with its 41 electrons, less the dispersion:

    >>> f = scattering_factor("Nb", 0.0, 8047.8)
    >>> print(f"{f.real:.2f} {f.imag:.2f}")
    40.86 2.48
    """
    s = np.asarray(s_per_nm, dtype=np.float64)
    first, second = table.anomalous(element, energy_ev)
    return np.asarray(table.f0(element, s) + complex(first, second), dtype=np.complex128)
