"""How strongly an atom scatters X-rays.

`scattering_factor` gives f0(s) + f' + i f''. Where the numbers come from is a `ScatteringTable`; the one in
use, `GEMMI_TABLE`, has f0 as four Gaussians and a constant (International Tables C, 1992) and f', f''
computed after Cromer and Liberman. Another table is any object with the same two methods: `second_table` has f'
and f'' of another calculation, to see what depends on the choice; `MeasuredDispersion` has measured ones, which
belong near an absorption edge (`xrdorder.xrays.edges`), where no calculation holds.
"""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Protocol

import gemmi
import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import UnknownNameError, ValidityError

Array = NDArray[np.float64]

#: Standard uncertainty, in electrons, of the difference f'(Sn) - f'(Nb). Five published tables (among them
#: those after Cromer and Liberman, Chantler, Henke) put it between 0.05 and 0.32 at Cu Ka1 (own
#: comparison). A range of 0.27 over five tables is a standard deviation of about 0.1, one per cent of
#: the contrast f(Sn) - f(Nb) and hence of an order parameter. A pattern cannot tell tables apart: all
#: samples of one radiation share the error.
U_DISPERSION_DIFFERENCE = 0.10

#: Standard uncertainty, in electrons, of f(Sn) - f(Nb) at the (110) line for electrons that go from one sort of atom to
#: the other in the solid: 0.1 electron off each niobium atom, 0.3 on to each tin atom (judged; no form
#: factors with charge transfer could be read). Free ions give 0.25 electrons a charge of niobium and 0.12 of tin there,
#: next to nothing at the lines beyond, so that it is seven in a thousand of the contrast, whatever the radiation.
U_CHARGE_TRANSFER = 0.06

#: How far, in eV, a photon energy may be from the one a second table was made for. Over 5 eV f' of that table
#: moves by less than 0.015 electrons (La near its L edges apart: 0.18 at Cr, 0.05 at Fe), a tenth of what
#: tables differ by, and f'' by less than 0.3 %; a wavelength written with four digits is within 5 eV.
SECOND_TABLE_REACH_EV = 5.0


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


@dataclass(frozen=True, eq=False)
class MeasuredDispersion:
    """A table in which f' and f'' of some elements are measured ones, at the photon energy of one pattern.

    Parameters
    ----------
    table : ScatteringTable
        Source of f0, and of f', f'' of all other elements.
    measured : mapping
        f' and f'' (electrons) of each measured element, ``{"Nb": (-7.1, 1.9)}``. They hold at the energy they
        were measured at and are returned whatever energy is asked for.

    Raises
    ------
    UnknownNameError
        If an element does not exist.
    ValidityError
        If a number is not finite, or f'' is negative.

    Examples
    --------
    >>> near_edge = MeasuredDispersion(GEMMI_TABLE, {"Nb": (-7.1, 1.9)})
    >>> near_edge.anomalous("Nb", 18981.0)
    (-7.1, 1.9)
    >>> near_edge.name
    "IT92 + Cromer-Liberman (gemmi), measured f' and f'' of Nb"
    """

    table: ScatteringTable
    measured: Mapping[str, tuple[float, float]]

    def __post_init__(self) -> None:
        for element, (first, second) in self.measured.items():
            _element(element)
            if not (math.isfinite(first) and math.isfinite(second) and second >= 0.0):
                raise ValidityError(
                    f"measured f' {first} and f'' {second} of {element}: both must be finite, f'' not negative"
                )
        object.__setattr__(
            self, "measured", {element: (float(f[0]), float(f[1])) for element, f in self.measured.items()}
        )

    @property
    def name(self) -> str:
        """Name for provenance."""
        return f"{self.table.name}, measured f' and f'' of {', '.join(sorted(self.measured))}"

    def f0(self, element: str, s_per_nm: Array) -> Array:
        """Return the form factor of the table underneath."""
        return self.table.f0(element, s_per_nm)

    def anomalous(self, element: str, energy_ev: float) -> tuple[float, float]:
        """Return f' and f'', measured where there are any."""
        measured = self.measured.get(element)
        return self.table.anomalous(element, energy_ev) if measured is None else measured


@lru_cache(maxsize=1)
def _chantler() -> dict[float, dict[str, tuple[float, float]]]:
    text = (files("xrdorder.xrays") / "dispersion.toml").read_text(encoding="utf-8")
    return {
        float(entry["energy_ev"]): {element: (f[0], f[1]) for element, f in entry["dispersion"].items()}
        for entry in tomllib.loads(text)["energy"]
    }


class _ChantlerTable:
    """International Tables C (1992) form factors and Chantler's dispersion at one photon energy."""

    name = "IT92 + Chantler 1995"

    def __init__(self, energy_ev: float) -> None:
        self.energy_ev = energy_ev

    def f0(self, element: str, s_per_nm: Array) -> Array:
        """Return the form factor, the same as that of `GEMMI_TABLE`."""
        return GEMMI_TABLE.f0(element, s_per_nm)

    def anomalous(self, element: str, energy_ev: float) -> tuple[float, float]:
        """Return f' and f''."""
        if not abs(energy_ev - self.energy_ev) <= SECOND_TABLE_REACH_EV:
            raise ValidityError(
                f"table {self.name} was chosen for {self.energy_ev:.0f} eV and asked for {energy_ev:.0f} eV; "
                "choose it anew with second_table"
            )
        dispersion = _chantler()[self.energy_ev].get(element)
        return GEMMI_TABLE.anomalous(element, energy_ev) if dispersion is None else dispersion


def second_table(energy_ev: float) -> ScatteringTable | None:
    """Return an independent table of f' and f'' for a photon energy, with the f0 of `GEMMI_TABLE`.

    f' and f'' are those of C. T. Chantler (J. Phys. Chem. Ref. Data 24 (1995) 71; 29 (2000) 597) at the Kα1 lines of
    the tubes in use, for Nb, Sn, Ta, Ti, Hf, Zr, Cu, Zn, O, Al, Si, C, La and B (``dispersion.toml``). Other
    elements keep the numbers of `GEMMI_TABLE`; they occur in minor phases only.

    What changes when a pattern is evaluated with this table instead is a measure of an error that no
    pattern shows and that all samples measured with one radiation have in common: it drops out of the
    difference of two of them, and does not average out over many. At Cu Kα1 f'(Sn) - f'(Nb) falls from 0.15
    to 0.05 electrons, one per cent of the contrast f(Sn) - f(Nb) of about 9; order found from the order lines
    rises by that one per cent. At Mo Kα1 it changes by 0.03.

    Parameters
    ----------
    energy_ev : float
        Photon energy, eV.

    Returns
    -------
    ScatteringTable or None
        The table, or None if no energy it knows is within `SECOND_TABLE_REACH_EV`.

    Examples
    --------
    >>> other = second_table(8047.8)
    >>> for table in (GEMMI_TABLE, other):
    ...     print(f"{table.anomalous('Sn', 8047.8)[0] - table.anomalous('Nb', 8047.8)[0]:.2f}")
    0.15
    0.05
    >>> second_table(9000.0) is None
    True
    """
    nearest = min(_chantler(), key=lambda known: abs(known - energy_ev))
    # Written so that an energy that is no number has no table.
    return _ChantlerTable(nearest) if abs(nearest - energy_ev) <= SECOND_TABLE_REACH_EV else None


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
