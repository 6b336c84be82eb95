"""Where instruments come from: tables of `study.toml` that name a file or calibrate with a certified powder."""

from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from xrdorder.description import study as description
from xrdorder.description.values import (
    Lengths,
    MeasuringTemperature,
    NotNegative,
    Paths,
    PathText,
    Positive,
    RadiationName,
    Share,
    StandardName,
    Table,
    between,
    one_of,
)
from xrdorder.patterns import GEOMETRIES


class CalibrateTable(Table):
    """The pattern of a certified powder that calibrates the study."""

    pattern: Paths = Field(description="the path of the pattern of a certified powder")
    standard: StandardName = Field(description="the name of the certified powder, as 'srm-660c'")
    detector_distance_mm: Positive = Field(
        description="the distance from specimen to detector in mm (goniometer radius)"
    )
    radiation: RadiationName | None = Field(default=None, description="the radiation, as 'cu-ka'")
    divergence_deg: Annotated[float, between(0.001, 10.0)] | None = Field(
        default=None, description="the divergence of the slit in degrees"
    )
    specimen_length_mm: Positive | None = Field(
        default=None, description="the length of the specimen along the beam in mm"
    )
    monochromator_two_theta_deg: Annotated[float, between(0.0, 180.0)] | None = Field(
        default=None, description="the 2θ of the monochromator crystal in degrees"
    )
    geometry: Annotated[str, one_of(*GEOMETRIES)] | None = Field(
        default=None, description=f"how the powder was measured: {', '.join(GEOMETRIES)}"
    )
    illuminated_length_mm: Positive | None = Field(
        default=None, description="the length that a variable slit keeps lit in mm"
    )
    polarisation_ratio: Share | None = Field(
        default=None, description="intensity polarised in the diffraction plane over that across it, 0 to 1"
    )
    mu_t: NotNegative | None = Field(
        default=None, description="the attenuation times thickness of a plate in transmission"
    )
    mu_r: NotNegative | None = Field(default=None, description="the attenuation times radius of a capillary")
    focused: bool = Field(
        default=False, description="true where the beam on a capillary is focused on the detector"
    )
    diffractogram: str | None = Field(
        default=None, description="which diffractogram of a powder CIF that names several: its id, or 'all'"
    )
    temperature_c: MeasuringTemperature = Field(
        default=22.5, description="the temperature of the powder while it was measured in °C"
    )
    standard_domain_size_nm: Positive | None = Field(
        default=None, description="the domain size of the certified powder in nm"
    )
    standard_lattice_nm: Lengths | None = Field(
        default=None, description="the lattice parameter on the laboratory's own certificate in nm (a, or [a, c])"
    )
    u_standard_lattice_nm: Lengths | None = Field(
        default=None, description="its standard uncertainty (k = 1) in nm"
    )


class InstrumentTable(Table):
    """Where the instrument comes from: a file, or a calibration within the study."""

    file: PathText | None = Field(
        default=None, description="the path of an instrument file, from xrdorder calibrate"
    )
    calibrate: CalibrateTable | None = Field(
        default=None, description="the table of a pattern that calibrates the study"
    )


def instrument_of(table: InstrumentTable, folder: Path) -> Path | description.CalibrationInput:
    """Turn a table into the path of an instrument file, or into what a calibration needs."""
    if table.calibrate is None:
        return folder / str(table.file)
    values = table.calibrate.model_dump(exclude={"pattern"})
    return description.CalibrationInput(
        patterns=tuple(folder / path for path in table.calibrate.pattern), **values
    )


def as_instrument(table: Any) -> Any:
    """Put the keys of ``[calibrations.<name>]`` where those of ``[instrument]`` stand.

    >>> as_instrument({"file": "mo.toml"}), as_instrument({"pattern": "lab6.xy"})
    ({'file': 'mo.toml'}, {'calibrate': {'pattern': 'lab6.xy'}})
    """
    if not isinstance(table, dict) or table.keys() <= {"file", "calibrate"}:
        return table
    rest = {key: value for key, value in table.items() if key != "file"}
    return {"calibrate": rest} | ({"file": table["file"]} if "file" in table else {})
