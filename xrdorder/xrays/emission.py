"""Which wavelengths the tube sends out.

`radiation` turns a name ("cu-ka", "mo-ka1") or a wavelength with its unit ("0.15406 nm") into a
`Radiation`: a sum of Lorentzian lines with wavelengths, natural widths and weights. The numbers live in
``emission.toml`` beside this module, each with its source. They are a table of our own because the emission
energies in general-purpose data bases may be off by 190 ppm (``tests/outside/test_scattering_tables.py``), many
times the uncertainty of a usual lattice parameter.
"""

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np

from xrdorder.exceptions import UnknownNameError, ValidityError

#: Planck constant times speed of light, eV nm; exact in the SI of 2019.
HC_EV_NM = 1239.841984332
#: The same on the scale of the 1998 constants, in which the sources of the table print their energies
#: (Mohr & Taylor, Rev. Mod. Phys. 72 (2000) 351: 12398.41857(49) eV angstrom).
HC_1998_EV_NM = 1239.841857

_UNITS_NM = {"nm": 1.0, "a": 0.1, "å": 0.1, "angstrom": 0.1, "ångström": 0.1, "angstroms": 0.1}
_WAVELENGTH = re.compile(r"^([-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?)\s*([a-zåö]*)$")


@dataclass(frozen=True)
class EmissionLine:
    """One Lorentzian line of a tube.

    Attributes
    ----------
    name : str
        Label, "Ka1"; components of an asymmetric line are numbered, "Ka11", "Ka12".
    group : str
        "Ka1", "Ka2" or "single".
    wavelength_nm : float
        Wavelength of the maximum, nm.
    width_relative : float
        Natural full width at half maximum over energy, dimensionless; a line of a pattern is broadened by
        ``2 tan(theta) * width_relative`` (radian of 2 theta).
    weight : float
        Integrated intensity; the weights of a `Radiation` sum to 1.
    """

    name: str
    group: str
    wavelength_nm: float
    width_relative: float
    weight: float


@dataclass(frozen=True)
class Radiation:
    """What falls on the specimen: lines, how well their wavelengths are known, and who measured them.

    Attributes
    ----------
    name : str
        Name as `radiation` understands it.
    lines : tuple of EmissionLine
        The lines, weights sum to 1.
    u_wavelength_relative : float
        Standard uncertainty of the wavelength scale, relative.
    source : str
        Where the numbers come from.
    """

    name: str
    lines: tuple[EmissionLine, ...]
    u_wavelength_relative: float
    source: str

    @property
    def wavelength_nm(self) -> float:
        """Reference wavelength in nm: that of the heaviest line outside Kα2."""
        first = [line for line in self.lines if line.group != "Ka2"]
        return max(first, key=lambda line: line.weight).wavelength_nm

    def peak_nm(self, group: str) -> float:
        """Wavelength in nm at which the components of a group, "Ka1" or "Ka2", are highest together.

        Near what handbooks give for an asymmetric line (6 ppm for Cu Kα2, whose heaviest component is 19 ppm away).

        >>> round(radiation("cu-ka").peak_nm("Ka2"), 6)
        0.154442
        """
        lines = [line for line in self.lines if line.group == group]
        waves = [line.wavelength_nm for line in lines]
        grid = np.linspace(min(waves), max(waves), 1001)
        height = np.zeros(len(grid))
        for line in lines:
            half = 0.5 * line.width_relative * line.wavelength_nm
            height += line.weight / half / (1.0 + ((grid - line.wavelength_nm) / half) ** 2)
        return float(grid[np.argmax(height)])

    @property
    def energy_ev(self) -> float:
        """Photon energy of the reference wavelength in eV."""
        return HC_EV_NM / self.wavelength_nm

    @property
    def alpha2_ratio(self) -> float:
        """Integrated intensity of Kα2 over that of Kα1; 0 for a single line.

        >>> round(radiation("cu-ka").alpha2_ratio, 3)
        0.517
        """
        second = sum(line.weight for line in self.lines if line.group == "Ka2")
        return second / sum(line.weight for line in self.lines if line.group != "Ka2")

    def with_alpha2_ratio(self, ratio: float) -> "Radiation":
        """Return the same radiation with another Kα2/Kα1 ratio.

        Parameters
        ----------
        ratio : float
            Integrated Kα2 over Kα1 intensity, 0 or more (a monochromator may change it).

        Raises
        ------
        ValidityError
            If the ratio is negative or not finite, or not 0 where there is no Kα2.
        """
        if not (math.isfinite(ratio) and ratio >= 0.0):
            raise ValidityError(f"Ka2/Ka1 ratio {ratio}: give a finite number that is not negative")
        old = self.alpha2_ratio
        if old == 0.0:
            if ratio == 0.0:
                return self
            raise ValidityError(f"radiation {self.name} has no Ka2 line: its Ka2/Ka1 ratio can only be 0")
        scale = {True: ratio / (1.0 + ratio) * (1.0 + old) / old, False: (1.0 + old) / (1.0 + ratio)}
        lines = tuple(replace(line, weight=line.weight * scale[line.group == "Ka2"]) for line in self.lines)
        return replace(self, lines=lines)


def _line(entry: Mapping[str, Any], total: float) -> EmissionLine:
    energy = float(entry["energy_ev"])
    return EmissionLine(
        name=entry["name"],
        group=entry["group"],
        wavelength_nm=HC_1998_EV_NM / energy,
        width_relative=float(entry["fwhm_ev"]) / energy,
        weight=float(entry["weight"]) / total,
    )


@lru_cache(maxsize=1)
def _table() -> dict[str, Radiation]:
    text = (files("xrdorder.xrays") / "emission.toml").read_text(encoding="utf-8")
    table: dict[str, Radiation] = {}
    for entry in tomllib.loads(text)["radiation"]:
        total = sum(float(line["weight"]) for line in entry["lines"])
        name, source, u = entry["name"], entry["source"], float(entry["u_relative"])
        table[name] = Radiation(name, tuple(_line(line, total) for line in entry["lines"]), u, source)
        peak = {"name": "Ka1", "group": "single", "energy_ev": entry["peak_ev"], "weight": 1.0}
        single = _line({**peak, "fwhm_ev": entry["peak_fwhm_ev"]}, 1.0)
        table[name + "1"] = Radiation(name + "1", (single,), u, source)
    return table


def radiation_names() -> tuple[str, ...]:
    """Return the names `radiation` knows, beside any wavelength with a unit."""
    return tuple(sorted(_table()))


def _unknown(name: str, reason: str) -> UnknownNameError:
    known = ", ".join(radiation_names())
    return UnknownNameError(
        f"radiation '{name}': {reason}; use one of {known}, or a wavelength with its unit as in '0.15406 nm'"
    )


def _single_wavelength(name: str, number: str, unit: str) -> Radiation:
    if unit == "":
        raise _unknown(name, "a wavelength needs its unit, nm or angstrom")
    if unit not in _UNITS_NM:
        raise _unknown(name, f"unit '{unit}' is not nm or angstrom")
    value = float(number) * _UNITS_NM[unit]
    # Shorter waves scatter into angles no goniometer separates, longer ones are beyond 2d of the A15 phase.
    if not 0.005 <= value <= 1.0:
        raise _unknown(name, f"a wavelength of {value:g} nm is outside 0.005-1 nm")
    mantissa, _, exponent = number.partition("e")
    decimals = len(mantissa.partition(".")[2]) - int(exponent or 0)
    # A written wavelength is known to half a unit of its last digit, a rectangular distribution (GUM 4.3.7).
    rounding = 0.5 * 10.0**-decimals / math.sqrt(3.0) * _UNITS_NM[unit]
    line = EmissionLine("single", "single", value, 0.0, 1.0)
    source = "wavelength as given; standard uncertainty from the rounding of its last digit"
    return Radiation(f"{number} {unit}", (line,), rounding / value, source)


def radiation(name: str) -> Radiation:
    """Return the radiation of a name or of a wavelength with its unit.

    Parameters
    ----------
    name : str
        "cu-ka", "co-ka", "fe-ka", "cr-ka", "mo-ka", "ag-ka"; with a 1 behind it ("cu-ka1") for Kα1 alone; or
        a wavelength such as "0.15406 nm", "1.5406 angstrom", "1.5406 A", whose line has no natural width.

    Returns
    -------
    Radiation
        Lines, wavelength uncertainty and source.

    Raises
    ------
    UnknownNameError
        If the name is not known, or the wavelength has no unit or is no X-ray wavelength.

    Examples
    --------
    >>> print(f'{radiation("cu-ka1").wavelength_nm:.7f}')
    0.1540593
    >>> round(radiation("0.70932 angstrom").energy_ev, 1)
    17479.3
    """
    key = name.strip().lower()
    known = _table().get(key)
    if known is not None:
        return known
    match = _WAVELENGTH.match(key)
    if match:
        return _single_wavelength(name, match[1], match[2])
    raise _unknown(name, "not known")
