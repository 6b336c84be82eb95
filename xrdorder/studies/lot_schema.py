"""The tables ``[lots.<name>]`` of `study.toml`: what is common to all samples cut from a wire lot."""

from pydantic import Field

from xrdorder.studies import description
from xrdorder.studies.fields import AtPercent, LatticeEffect, NotNegative, Share, Table


class LotTable(Table):
    """A wire lot."""

    route: str = Field(default="", description="how the wire was made, as text in quotes")
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
