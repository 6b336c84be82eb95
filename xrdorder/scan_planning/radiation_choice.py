"""With which radiation? Order contrast, fluorescence, depth and trust in the tables, for tubes and any photon energy.

Order lines of the A15 have the amplitude f_Sn - f_Nb, strong ones about that of the mean atom. What counts for the
order is the contrast |f_Sn - f_Nb|² at the first order line, (110), and how it compares with |f_mean|², which the
strong lines and their share of the background go with.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np

from xrdorder.exceptions import ValidityError
from xrdorder.material.order import S_OF_110_PER_NM
from xrdorder.uncertainty import Array
from xrdorder.xrays import (
    EDGE_REACH_EV,
    GEMMI_TABLE,
    absorption_edges,
    linear_attenuation_per_nm,
    nearest_edge,
    radiation,
    scattering_factor,
)
from xrdorder.xrays.attenuation import mean_depth
from xrdorder.xrays.emission import HC_EV_NM

TUBES = ("cr-ka", "co-ka", "cu-ka", "mo-ka", "ag-ka")
CELL_NM = 0.529
_CELL: Mapping[str, float] = {"Nb": 6.0, "Sn": 2.0}
_ATOMS = 8.0
_MATTERS_EV = 3000.0  # edges below: no detector for diffraction sees their lines


@dataclass(frozen=True)
class Light:
    """What one photon energy does in a reacted wire.

    Attributes
    ----------
    name : str
        Of the tube, or the energy.
    energy_ev : float
    contrast : float
        |f_Sn - f_Nb|² at the line (110), electrons squared.
    order_share : float
        The same over |f|² of the mean atom of Nb3Sn.
    by_table : float
        By how much, relative, Chantler's table has another contrast than Cromer and Liberman's.
    depth_um : float
        1/µ in dense Nb3Sn.
    seen_um : float
        Mean depth that the line (110) comes from, in reflection.
    two_theta_110 : float
        Where it stands, degrees.
    fluorescence : float
        Photons of fluorescence for each one that is absorbed.
    edge : str
        Nearest edge, as "Nb K".
    from_edge_ev : float
        Energy less that of the edge.
    """

    name: str
    energy_ev: float
    contrast: float
    order_share: float
    by_table: float
    depth_um: float
    seen_um: float
    two_theta_110: float
    fluorescence: float
    edge: str
    from_edge_ev: float

    @property
    def near_edge(self) -> bool:
        """Whether the energy is so near an edge that no table holds."""
        return abs(self.from_edge_ev) <= EDGE_REACH_EV

    @property
    def warning(self) -> str:
        """What must be known before this energy is used; empty for nothing."""
        if not self.near_edge:
            return ""
        return (
            f"{self.energy_ev:.0f} eV is {abs(self.from_edge_ev):.0f} eV from the {self.edge} edge: no table of f' and "
            "f'' holds there; measure them, and give them as --measured-dispersion"
        )


@lru_cache(maxsize=1)
def _table() -> dict[str, Any]:
    return tomllib.loads((files("xrdorder.scan_planning") / "energies.toml").read_text(encoding="utf-8"))


@lru_cache(maxsize=1)
def _chantler() -> Array:
    return np.array(_table()["chantler"], dtype=np.float64)


def energy_range_ev() -> tuple[float, float]:
    """Energies that the tables hold for, eV."""
    return float(_chantler()[0, 0]), float(_chantler()[-1, 0])


def light(energy_ev: float, name: str = "", dopants: Mapping[str, float] | None = None) -> Light:
    """Say what a photon energy does.

    Parameters
    ----------
    energy_ev
        eV.
    name
        How it is called; its energy unless given.
    dopants
        Atomic fractions of dopants; they fluoresce too.

    Raises
    ------
    ValidityError
        The energy is outside the tables.

    Examples
    --------
    Just below the K edge of niobium the contrast is more than twice that of copper radiation:

    >>> light(18986.0 - 40.0).contrast / light(8047.8).contrast > 2.0
    True
    """
    low, high = energy_range_ev()
    if not low <= energy_ev <= high:
        raise ValidityError(
            f"photon energy of {energy_ev:g} eV: the tables hold from {low / 1e3:g} to {high / 1e3:g} keV; choose "
            "another radiation"
        )
    tin, niobium = (complex(scattering_factor(e, S_OF_110_PER_NM, energy_ev)) for e in ("Sn", "Nb"))
    contrast = abs(tin - niobium) ** 2
    other_tin, other_niobium = _by_chantler(energy_ev)
    other = abs((_f0("Sn") + other_tin) - (_f0("Nb") + other_niobium)) ** 2
    cell = dict(_CELL)
    for element, fraction in (dopants or {}).items():
        cell[element] = cell.get(element, 0.0) + _ATOMS * fraction
    attenuation = linear_attenuation_per_nm(cell, CELL_NM**3, energy_ev)
    sine = HC_EV_NM / energy_ev * S_OF_110_PER_NM
    element, edge, away = nearest_edge(cell, energy_ev)
    return Light(
        name or f"{energy_ev / 1e3:.3f} keV",
        energy_ev,
        contrast,
        contrast / abs((3.0 * niobium + tin) / 4.0) ** 2,
        abs(other / contrast - 1.0),
        1e-3 / attenuation,
        1e-3 * mean_depth(sine, attenuation),
        2.0 * math.degrees(math.asin(sine)),
        _fluorescence(cell, energy_ev),
        f"{element} {edge}",
        away,
    )


def tube(name: str, dopants: Mapping[str, float] | None = None) -> Light:
    """Say what the radiation of a tube, or of a wavelength with its unit, does.

    Raises
    ------
    UnknownNameError
        There is no such radiation.
    ValidityError
        Its energy is outside the tables.
    """
    return light(radiation(name).energy_ev, name, dopants)


def best_below_niobium(dopants: Mapping[str, float] | None = None) -> Light:
    """Give the energy below the K edge of niobium with the largest contrast that tables still hold for."""
    edge = dict(absorption_edges("Nb"))["K"]
    return light(edge - EDGE_REACH_EV - 1.0, "below Nb K", dopants)


def course(dopants: Mapping[str, float] | None = None) -> list[Light]:
    """Energies over the whole range of the tables, for a figure."""
    return [light(float(energy), dopants=dopants) for energy in _chantler()[:, 0]]


def choices(named: Sequence[str] = (), dopants: Mapping[str, float] | None = None) -> list[Light]:
    """Tubes, the energy below the niobium edge, and those named: a tube, a wavelength with its unit, or keV.

    Raises
    ------
    UnknownNameError, ValidityError
        A radiation is not known, or outside the tables.
    """
    radiations = [tube(name, dopants) for name in TUBES]
    radiations.append(best_below_niobium(dopants))
    for name in named:
        if name not in TUBES:
            radiations.append(_of_name(name, dopants))
    return radiations


def _of_name(name: str, dopants: Mapping[str, float] | None) -> Light:
    number, _, unit = name.strip().partition(" ")
    if unit.strip().casefold() == "kev":
        try:
            energy = 1e3 * float(number)
        except ValueError:
            raise ValidityError(f"radiation '{name}': '{number}' is no number of keV; write it as '18.9 keV'") from None
        return light(energy, name, dopants)
    return tube(name, dopants)


def _f0(element: str) -> float:
    return float(GEMMI_TABLE.f0(element, np.array(S_OF_110_PER_NM)))


def _by_chantler(energy_ev: float) -> tuple[complex, complex]:
    """Dispersion f' + i f'' of tin and niobium by Chantler, straight between points of the table."""
    grid = _chantler()
    niobium, i_niobium, tin, i_tin = (float(np.interp(energy_ev, grid[:, 0], grid[:, k])) for k in range(1, 5))
    return complex(tin, i_tin), complex(niobium, i_niobium)


def _fluorescence(cell: Mapping[str, float], energy_ev: float) -> float:
    """Fluorescence photons for each photon absorbed.

    An element takes its part of the absorption by f''; of that, 1 - 1/jump belongs to the shell, if the energy is
    above its edge, and the yield of it comes back out as a photon.
    """
    absorbed = {element: count * GEMMI_TABLE.anomalous(element, energy_ev)[1] for element, count in cell.items()}
    total = sum(absorbed.values())
    fluorescence = 0.0
    for element, part in absorbed.items():
        shell = _table()["fluorescence"].get(element)
        if shell is None:
            continue
        edge = dict(absorption_edges(element))[shell["edge"]]
        if _MATTERS_EV < edge < energy_ev:
            fluorescence += part / total * (1.0 - 1.0 / shell["jump"]) * shell["yield"]
    return fluorescence
