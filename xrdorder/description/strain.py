"""What is said about strain and corrections: keys of ``[defaults]`` that a sample may give itself."""

from typing import Annotated

from pydantic import Field

from xrdorder.description.values import Table, between, one_of
from xrdorder.material.specimen import CORRECTIONS, GAUGES, LARGEST_STRAIN


class StrainTable(Table):
    """Strain of the A15 while it was measured, and which corrections are made."""

    strain: Annotated[float, between(-LARGEST_STRAIN, LARGEST_STRAIN)] | None = Field(
        default=None, description="the strain of the A15 along the scattering vector as a fraction, -0.001 for -0.1 %"
    )
    u_strain: Annotated[float, between(0.0, LARGEST_STRAIN)] | None = Field(
        default=None, description="the standard uncertainty of that strain as a fraction"
    )
    strain_gauge: Annotated[str, one_of(*GAUGES)] | None = Field(
        default=None, description=f"the phase whose lattice tells the strain: {', '.join(GAUGES)}"
    )
    strain_bound: bool | None = Field(
        default=None, description="true to take the thermal mismatch from the reaction temperature down as bound"
    )
    corrections_off: list[Annotated[str, one_of(*CORRECTIONS)]] | None = Field(
        default=None, description=f"the corrections to switch off, of {', '.join(CORRECTIONS)}"
    )
