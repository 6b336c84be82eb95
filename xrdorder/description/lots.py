"""The tables ``[lots.<name>]`` of `study.toml`: what is common to all samples cut from a wire lot."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, ClassVar, Self

from pydantic import BeforeValidator

from xrdorder.crystals.a15 import dopant_site
from xrdorder.description.measured_values import MEASURABLE
from xrdorder.description.values import (
    Alloy,
    AtPercent,
    FilePath,
    LatticeEffect,
    NotNegative,
    Positive,
    Share,
    between,
    existing,
    spelt,
)
from xrdorder.exceptions import XrdorderError
from xrdorder.files.checked_table import (
    INTERPRETATION,
    NOBODY,
    CheckedTable,
    Context,
    Problem,
    as_tuple,
    key,
    typed,
)
from xrdorder.superconductivity.strain import PRE_STRAINS

ROUTES = ("bronze", "internal-tin", "powder-in-tube", "jelly-roll", "in-situ")
"""Ways to make wire, in the words of the trade."""

DESIGNS = tuple(name for name in PRE_STRAINS if name)
"""Designs of wire whose thermal pre-strain is known, and "none" for A15 free of it."""

Courses = Annotated[
    tuple[Annotated[FilePath, existing("remove it from conversion")], ...],
    BeforeValidator(lambda value: (value,) if isinstance(value, str | Path) else as_tuple(value)),
]
_AREA = MEASURABLE["a15_area_fraction"]
_BY_DOPANT = (
    "u_dopant_at_percent",
    "on_tin_site",
    "u_on_tin_site",
    "lattice_pm_per_at_percent",
    "u_lattice_pm_per_at_percent",
)


class Lot(CheckedTable):
    """A wire lot: what is common to all samples cut from it.

    Attributes
    ----------
    name : str
        Name of the lot; empty for samples that name none.
    dopants, u_dopants : mapping of str to float
        Dopant content of the A15 and its standard uncertainty where one was given, atomic fraction of all atoms.
    lattice_by_dopant_nm, u_lattice_by_dopant_nm : mapping of str to float, or None
        Change of the lattice parameter by unit atomic fraction of a dopant where it was measured, nm.
    """

    slips: ClassVar = {"dopants": "dopant_at_percent", "dopant": "dopant_at_percent"}

    name: str = ""
    route: Annotated[str, spelt(*ROUTES)] = key(f"how the wire was made: {', '.join(ROUTES)}", "", seen_by=NOBODY)
    design: Annotated[str, spelt(*DESIGNS)] = key(
        f"the design of the wire, for its thermal pre-strain: {', '.join(DESIGNS)}", "", seen_by=NOBODY
    )
    filament: Alloy = key("the metal of the filaments, as 'Nb' or 'Nb-7.5Ta'", "", seen_by=NOBODY)
    barrier: Alloy = key("the metal of the diffusion barrier, as 'Ta' or 'Nb'", "", seen_by=NOBODY)
    a15_area_fraction: Annotated[float, between(_AREA.limits.low, _AREA.limits.high)] | None = key(
        "the share of A15 in the section without copper, 0.01 to 1", seen_by=NOBODY
    )
    u_a15_area_fraction: Annotated[float, between(0.0, 0.5)] | None = key(
        "the standard uncertainty (k = 1) of that share", seen_by=NOBODY
    )
    non_copper_mm2: Positive | None = key(
        "the section of the wire without its copper in mm², for A/mm²", seen_by=NOBODY
    )
    conversion: Courses = key(
        "conversion against time: a list of series.nc of xrdorder series, or CSV of time, temperature_c, conversion, "
        "u_conversion", (), seen_by=NOBODY,
    )  # fmt: skip
    dopant_at_percent: dict[str, AtPercent] = key("the dopant content of the A15 in at.%, as { Ta = 2.4 }", {})
    u_dopant_at_percent: dict[str, AtPercent] = key(
        "the standard uncertainty of the dopant content in at.%, as { Ta = 0.3 }", {}, seen_by=INTERPRETATION
    )
    on_tin_site: dict[str, Share] | None = key("the share of the dopant on the tin site, 0 to 1, as { Ta = 0.3 }")
    u_on_tin_site: dict[str, Share] | None = key(
        "the standard uncertainty of that share, 0 to 1, as { Ta = 0.1 }", seen_by=INTERPRETATION
    )
    undoped: bool = key("true where the wire is known to hold no dopant", False, seen_by=INTERPRETATION)
    lattice_pm_per_at_percent: dict[str, LatticeEffect] | None = key(
        "the measured change of a by a dopant in pm per at.%, as { Ta = -0.02 }", seen_by=INTERPRETATION
    )
    u_lattice_pm_per_at_percent: dict[str, NotNegative] | None = key(
        "the standard uncertainty of that change in pm per at.%, as { Ta = 0.01 }", seen_by=INTERPRETATION
    )

    @property
    def dopants(self) -> dict[str, float]:
        """Dopant contents as atomic fractions."""
        return {element: content / 100.0 for element, content in self.dopant_at_percent.items()}

    @property
    def u_dopants(self) -> dict[str, float]:
        """Their standard uncertainties."""
        return {element: u / 100.0 for element, u in self.u_dopant_at_percent.items()}

    @property
    def lattice_by_dopant_nm(self) -> dict[str, float] | None:
        """Measured changes of the lattice parameter in nm by unit atomic fraction."""
        return _nm_per_fraction(self.lattice_pm_per_at_percent)

    @property
    def u_lattice_by_dopant_nm(self) -> dict[str, float] | None:
        """Their standard uncertainties."""
        return _nm_per_fraction(self.u_lattice_pm_per_at_percent)

    @classmethod
    def contradictions(cls, given: Mapping[str, Any], context: Context) -> Iterator[Problem]:
        """Find dopants that are none, or are named without a content, and a share without its uncertainty."""
        dopants = typed(given.get("dopant_at_percent"), dict)
        for element in dopants:
            try:
                dopant_site(element)
            except XrdorderError as error:
                yield ("dopant_at_percent", element), str(error)
        if given.get("undoped") is True and dopants:
            names = ", ".join(map(str, dopants))
            yield (
                ("undoped",),
                f"true says that the wire holds no dopant, but dopant_at_percent names {names}; remove one of the two",
            )
        for absent, given_key, what in (
            ("u_a15_area_fraction", "a15_area_fraction", "the standard uncertainty (k = 1) of a15_area_fraction"),
            ("a15_area_fraction", "u_a15_area_fraction", "the share that the uncertainty belongs to"),
        ):
            if given_key in given and absent not in given:
                yield (absent,), f"is missing; give {what}"
        for of_dopant in _BY_DOPANT:
            for element in typed(given.get(of_dopant), dict):
                if element not in dopants:
                    said = f"dopant_at_percent has no {element}; give its content there, or remove this"
                    yield (of_dopant, element), said

    def completed(self, context: Context) -> Self:
        """Take the design from the route where that says it."""
        follows = not self.design and self.route in DESIGNS
        return self.model_copy(update={"design": self.route}) if follows else self


def _nm_per_fraction(given: dict[str, float] | None) -> dict[str, float] | None:
    """Turn pm per at.% into nm per unit atomic fraction."""
    return None if given is None else {element: value / 10.0 for element, value in given.items()}
