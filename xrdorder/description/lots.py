"""The tables ``[lots.<name>]`` of `study.toml`: what is common to all samples cut from a wire lot."""

from typing import Annotated

from pydantic import AfterValidator, Field

from xrdorder.description import study as description
from xrdorder.description.measured_values import QUANTITIES
from xrdorder.description.values import Alloy, AtPercent, LatticeEffect, NotNegative, Share, Table, between
from xrdorder.exceptions import did_you_mean
from xrdorder.superconductivity.strain import PRE_STRAINS

ROUTES = ("bronze", "internal-tin", "powder-in-tube", "jelly-roll", "in-situ")
"""Ways to make wire, in the words of the trade."""

DESIGNS = tuple(name for name in PRE_STRAINS if name)
"""Designs of wire whose thermal pre-strain is known, and "none" for A15 free of it."""

_AREA = QUANTITIES["a15_area_fraction"]


def route_name(value: str) -> str:
    """Accept a way to make wire, in capitals or not, with spaces or hyphens.

    >>> route_name("Powder in tube")
    'powder-in-tube'
    """
    return _one_of(value, ROUTES)


def design_name(value: str) -> str:
    """Accept a design of wire in the same spellings."""
    return _one_of(value, DESIGNS)


def _one_of(value: str, known: tuple[str, ...]) -> str:
    name = "-".join(value.casefold().replace("_", " ").replace("-", " ").split())
    if name and name not in known:
        raise ValueError(f"'{value}' is unknown; {did_you_mean(name, known)}")
    return name


class LotTable(Table):
    """A wire lot."""

    route: Annotated[str, AfterValidator(route_name)] = Field(
        default="", description=f"how the wire was made: {', '.join(ROUTES)}"
    )
    design: Annotated[str, AfterValidator(design_name)] = Field(
        default="",
        description=f"the design of the wire, for its thermal pre-strain: {', '.join(DESIGNS)}",
    )
    filament: Alloy | None = Field(default=None, description="the metal of the filaments, as 'Nb' or 'Nb-7.5Ta'")
    barrier: Alloy | None = Field(default=None, description="the metal of the diffusion barrier, as 'Ta' or 'Nb'")
    a15_area_fraction: Annotated[float, between(_AREA.limits.low, _AREA.limits.high)] | None = Field(
        default=None, description="the share of A15 in the section without copper, 0.01 to 1"
    )
    u_a15_area_fraction: Annotated[float, between(0.0, 0.5)] | None = Field(
        default=None, description="the standard uncertainty (k = 1) of that share"
    )
    dopant_at_percent: dict[str, AtPercent] = Field(
        default={}, description="the dopant content of the A15 in at.%, as { Ta = 2.4 }"
    )
    u_dopant_at_percent: dict[str, AtPercent] = Field(
        default={}, description="the standard uncertainty of the dopant content in at.%, as { Ta = 0.3 }"
    )
    on_tin_site: dict[str, Share] | None = Field(
        default=None, description="the share of the dopant on the tin site, 0 to 1, as { Ta = 0.3 }"
    )
    u_on_tin_site: dict[str, Share] | None = Field(
        default=None, description="the standard uncertainty of that share, 0 to 1, as { Ta = 0.1 }"
    )
    undoped: bool = Field(default=False, description="true where the wire is known to hold no dopant")
    lattice_pm_per_at_percent: dict[str, LatticeEffect] | None = Field(
        default=None, description="the measured change of a by a dopant in pm per at.%, as { Ta = -0.02 }"
    )
    u_lattice_pm_per_at_percent: dict[str, NotNegative] | None = Field(
        default=None, description="the standard uncertainty of that change in pm per at.%, as { Ta = 0.01 }"
    )


def lot_of(name: str, table: LotTable) -> description.Lot:
    """Turn a table into a lot; percent become fractions."""
    contents = table.dopant_at_percent
    return description.Lot(
        name=name,
        route=table.route,
        design=table.design or (table.route if table.route in DESIGNS else ""),
        filament=table.filament or "",
        barrier=table.barrier or "",
        a15_area_fraction=table.a15_area_fraction,
        u_a15_area_fraction=table.u_a15_area_fraction,
        dopants={element: value / 100.0 for element, value in contents.items()},
        u_dopants={element: value / 100.0 for element, value in table.u_dopant_at_percent.items()},
        on_tin_site=table.on_tin_site,
        u_on_tin_site=table.u_on_tin_site,
        undoped=table.undoped,
        lattice_by_dopant_nm=_nm_per_fraction(table.lattice_pm_per_at_percent),
        u_lattice_by_dopant_nm=_nm_per_fraction(table.u_lattice_pm_per_at_percent),
    )


def _nm_per_fraction(given: dict[str, float] | None) -> dict[str, float] | None:
    """Turn pm per at.% into nm per unit atomic fraction."""
    return None if given is None else {element: value / 10.0 for element, value in given.items()}
