"""What is to be simulated or planned: a specimen and a scan, from a TOML file in which everything has a default."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from xrdorder.crystals.a15 import A15Composition, dopant_site
from xrdorder.exceptions import ValidityError, XrdorderError, did_you_mean
from xrdorder.files import read_text, toml_table
from xrdorder.material.specimen import MOUNTS, Specimen
from xrdorder.material.tin_scale import PUBLISHED_SCALE
from xrdorder.uncertainty import Array

A15 = "nb3sn"
LOWEST_DEG, HIGHEST_DEG = 1.0, 170.0
"""Angles 2 theta that a goniometer can reach, generously (common practice, no source)."""
_MOST_POINTS = 200_000

_LIMITS: Mapping[str, tuple[float, float, str]] = {
    "tin_at_percent": (18.0, 25.5, "at.% inside the A15 field, 18 to 25.5"),
    "lattice_nm": (0.520, 0.540, "nm, for Nb3Sn near 0.529"),
    "site_order": (0.0, 1.0, "r_a + r_b - 1, between 0 and 1"),
    "domain_size_nm": (5.0, 5000.0, "nm, from 5 to 5000"),
    "microstrain": (0.0, 0.01, "a root mean square strain, 0 to 0.01"),
    "tin_spread_at_percent": (0.0, 3.0, "at.%, the standard deviation of tin in the A15, 0 to 3"),
    "tin_tail_at_percent": (0.0, 3.0, "at.%, the decay length of a tail towards low tin, 0 to 3"),
    "displacement_mm": (-1.0, 1.0, "mm, from -1 to 1"),
    "specimen_length_mm": (1.0, 100.0, "mm along the beam, 1 to 100"),
    "temperature_c": (-270.0, 1000.0, "degrees Celsius"),
    "strongest_line_per_s": (1e-3, 1e8, "counts a second above background at the highest point"),
    "background_per_s": (0.0, 1e7, "counts a second at high angle, zero or more"),
    "air_scatter_per_s": (0.0, 1e7, "counts a second added at the lowest angle, zero or more"),
    "seconds_per_step": (1e-4, 1e6, "seconds, above zero"),
    "from_deg": (LOWEST_DEG, HIGHEST_DEG, "degrees 2 theta that an instrument reaches, 1 to 170"),
    "to_deg": (LOWEST_DEG, HIGHEST_DEG, "degrees 2 theta that an instrument reaches, 1 to 170"),
    "step_deg": (1e-4, 1.0, "degrees, 0.0001 to 1"),
}
_TABLES: Mapping[str, tuple[float, float, str]] = {
    "weight_fractions": (0.0, 0.95, "the share of the crystalline weight, 0 to 0.95"),
    "texture": (-0.9, 2.0, "the coefficient of the cubic harmonic of fourth order, -0.9 to 2"),
    "dopants_at_percent": (0.0, 10.0, "at.%, 0 to 10"),
}
_AIR_DECAY_DEG = 8.0  # scatter by air falls off within some degrees (common practice, no source)


@dataclass(frozen=True)
class Described:
    """A specimen of reacted wire and the scan it is measured with.

    Attributes
    ----------
    tin_at_percent, site_order : float
        Of the A15, on average.
    lattice_nm : float or None
        Its lattice parameter at 22.5 °C; that of `tin_at_percent` on the published line unless given.
    domain_size_nm, microstrain : float
        Volume-weighted domain size and root mean square strain of the A15.
    tin_spread_at_percent, tin_tail_at_percent : float
        Gradient of tin: standard deviation, and decay length of a tail towards low tin.
    displacement_mm, specimen_length_mm : float
    temperature_c : float
    mount : str
        One of `xrdorder.material.specimen.MOUNTS`.
    undoped : bool
        The wire is known to hold no dopant; understood where none is given.
    weight_fractions : mapping of str to float
        Phases beside the A15, catalogue names; the A15 has the rest.
    texture : mapping of str to float
        Coefficient of the cubic harmonic of fourth order by phase; positive prefers (100) along the scattering vector.
    dopants_at_percent : mapping of str to float
    strongest_line_per_s, background_per_s, air_scatter_per_s : float
        Counts a second of the highest point of the lines, of the background at high angle, and of what air adds at the
        lowest angle.
    seconds_per_step, from_deg, to_deg, step_deg : float
        The scan.

    Raises
    ------
    ValidityError
        A number is impossible; the message says which and what belongs there.

    Examples
    --------
    >>> Described(tin_at_percent=24.0).composition.tin_fraction
    0.24
    """

    tin_at_percent: float = 24.0
    lattice_nm: float | None = None
    site_order: float = 0.93
    domain_size_nm: float = 120.0
    microstrain: float = 0.0005
    tin_spread_at_percent: float = 0.2
    tin_tail_at_percent: float = 0.0
    displacement_mm: float = 0.0
    specimen_length_mm: float | None = None
    temperature_c: float = 22.5
    mount: str = "ground-powder"
    weight_fractions: Mapping[str, float] = field(default_factory=lambda: {"nb": 0.08, "cu-sn": 0.02})
    texture: Mapping[str, float] = field(default_factory=dict)
    dopants_at_percent: Mapping[str, float] = field(default_factory=dict)
    strongest_line_per_s: float = 2000.0
    background_per_s: float = 20.0
    air_scatter_per_s: float = 30.0
    seconds_per_step: float = 1.0
    from_deg: float = 20.0
    to_deg: float = 140.0
    step_deg: float = 0.02

    def __post_init__(self) -> None:
        for name, (low, high, what) in _LIMITS.items():
            value = getattr(self, name)
            if value is not None:
                _require(name, value, low, high, what)
        for name, (low, high, what) in _TABLES.items():
            for key, value in getattr(self, name).items():
                _require(f"{name}.{key}", value, low, high, what)
        for element in self.dopants_at_percent:
            dopant_site(element)
        if A15 in self.weight_fractions:
            raise ValidityError(f"weight_fractions.{A15}: the A15 has what the others leave; leave it out")
        if not sum(self.weight_fractions.values()) <= 0.95:
            raise ValidityError("weight_fractions: they leave less than 5 % for the A15; give fractions, 0.08 for 8 %")
        for name in set(self.texture) - {A15, *self.weight_fractions}:
            raise ValidityError(f"texture.{name}: no such phase in the specimen; {did_you_mean(name, self.phases)}")
        if self.mount not in MOUNTS:
            raise ValidityError(f"mount = '{self.mount}' is unknown; say one of {', '.join(MOUNTS)}")
        if not self.to_deg > self.from_deg + 10.0:
            raise ValidityError(f"from_deg = {self.from_deg:g}, to_deg = {self.to_deg:g}; give a range of 10 degrees "
                                "and more")  # fmt: skip
        if (self.to_deg - self.from_deg) / self.step_deg > _MOST_POINTS:
            raise ValidityError(f"step_deg = {self.step_deg:g} makes more than {_MOST_POINTS} points; give more")

    @property
    def phases(self) -> tuple[str, ...]:
        """Names of all phases, A15 first."""
        return A15, *(name for name, share in self.weight_fractions.items() if share > 0.0)

    @property
    def a_nm(self) -> float:
        """Lattice parameter of the A15 at 22.5 °C, nm."""
        if self.lattice_nm is not None:
            return self.lattice_nm
        return float(PUBLISHED_SCALE.lattice(self.tin_at_percent / 100.0))

    @property
    def dopants(self) -> dict[str, float]:
        """Atomic fractions of dopants."""
        return {element: content / 100.0 for element, content in self.dopants_at_percent.items() if content > 0.0}

    @property
    def composition(self) -> A15Composition:
        """Who sits where in the A15."""
        return A15Composition(self.tin_at_percent / 100.0, self.site_order, self.dopants)

    def two_theta(self) -> Array:
        """Measuring points, degrees."""
        number = math.floor((self.to_deg - self.from_deg) / self.step_deg + 1e-6) + 1
        return np.asarray(np.round(self.from_deg + self.step_deg * np.arange(number), 6))

    def background(self, two_theta: Array) -> Array:
        """Background, counts a second: a constant, and scatter by air that falls off from the lowest angle."""
        away = np.exp(-(two_theta - two_theta[0]) / _AIR_DECAY_DEG)
        return np.asarray(self.background_per_s + self.air_scatter_per_s * away)

    def specimen(self, lot: str = "lot") -> Specimen:
        """What the analysis is told of the specimen; pieces of one lot share what is not known of it."""
        return Specimen(
            dopants=self.dopants,
            undoped=not self.dopants,
            mount=self.mount,
            temperature_c=self.temperature_c,
            lot=lot,
        )

    def table(self) -> dict[str, Any]:
        """Everything, as it stands in a file."""
        table = {name: dict(value) if isinstance(value, Mapping) else value for name, value in asdict(self).items()}
        return {name: value for name, value in table.items() if value is not None}


def _require(name: str, value: Any, low: float, high: float, what: str) -> None:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not (number and low <= value <= high):
        raise ValidityError(f"{name} = {value!r}; give {what}")


def described(table: Mapping[str, Any], base: Described | None = None) -> Described:
    """Make a description of a table as it stands in a file; what it leaves out is as in `base`.

    Raises
    ------
    ValidityError
        A key is not known, or a value not possible.
    """
    known = asdict(base or Described())
    for key, value in table.items():
        if key not in known:
            raise ValidityError(f"{key}: unknown key; {did_you_mean(key, known)}")
        if (key in _TABLES) != isinstance(value, Mapping):
            raise ValidityError(f"{key} = {value!r}; give {'a table' if key in _TABLES else 'a single value'}")
    return Described(**{**known, **table})


def read_table(path: Path) -> dict[str, Any]:
    """Read a TOML file.

    Raises
    ------
    ValidityError
        It is not there, or no TOML; the message names it.
    """
    try:
        return toml_table(read_text(path))
    except FileNotFoundError:
        raise ValidityError(f"{path}: no such description; name a TOML file") from None
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise ValidityError(f"{path}: cannot be read as TOML ({error}); see docs/howto/scan-planning.md") from None


def read_description(path: str | Path) -> Described:
    """Read the description of a specimen and its scan.

    Raises
    ------
    ValidityError
        The file cannot be read, or something in it cannot be; the message names the file and the key.
    """
    table = read_table(Path(path))
    try:
        return described(table)
    except XrdorderError as error:
        raise ValidityError(f"{path}: {error}") from None
