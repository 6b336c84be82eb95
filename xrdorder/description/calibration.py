"""Where instruments come from: tables of `study.toml` that name a file or calibrate with a certified powder."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, ClassVar

from pydantic import ValidationInfo

from xrdorder.description.measurement import Reading
from xrdorder.description.values import (
    FilePath,
    Lengths,
    MeasuringTemperature,
    NotNegative,
    Paths,
    Positive,
    RadiationName,
    Share,
    StandardName,
    between,
    existing,
    one_of,
)
from xrdorder.files.checked_table import CheckedTable, Context, Problem, key, needed
from xrdorder.patterns import GEOMETRIES


class Calibration(Reading):
    """The pattern of a certified powder, and what the fit of the instrument needs to know about it."""

    pattern: Paths = needed("the path of the pattern of a certified powder")
    standard: StandardName = needed("the name of the certified powder, as 'srm-660c'")
    detector_distance_mm: Positive = needed("the distance from specimen to detector in mm (goniometer radius)")
    radiation: RadiationName | None = key("the radiation, as 'cu-ka'")
    divergence_deg: Annotated[float, between(0.001, 10.0)] | None = key("the divergence of the slit in degrees")
    specimen_length_mm: Positive | None = key("the length of the specimen along the beam in mm")
    monochromator_two_theta_deg: Annotated[float, between(0.0, 180.0)] | None = key(
        "the 2θ of the monochromator crystal in degrees"
    )
    geometry: Annotated[str, one_of(*GEOMETRIES)] | None = key(f"how the powder was measured: {', '.join(GEOMETRIES)}")
    illuminated_length_mm: Positive | None = key("the length that a variable slit keeps lit in mm")
    polarisation_ratio: Share | None = key("intensity polarised in the diffraction plane over that across it, 0 to 1")
    mu_t: NotNegative | None = key("the attenuation times thickness of a plate in transmission")
    mu_r: NotNegative | None = key("the attenuation times radius of a capillary")
    focused: bool = key("true where the beam on a capillary is focused on the detector", False)
    temperature_c: MeasuringTemperature = key("the temperature of the powder while it was measured in °C", 22.5)
    standard_domain_size_nm: Positive | None = key("the domain size of the certified powder in nm")
    standard_lattice_nm: Lengths | None = key(
        "the lattice parameter on the laboratory's own certificate in nm (a, or [a, c])"
    )
    u_standard_lattice_nm: Lengths | None = key("its standard uncertainty (k = 1) in nm")

    def of_fit(self) -> dict[str, Any]:
        """Give what `xrdorder.fitting.calibrate` asks for beside the pattern and the powder, by its names."""
        told = {name: getattr(self, name) for name in type(self).model_fields if name not in _NOT_OF_FIT}
        return {"domain_size_nm" if name == "standard_domain_size_nm" else name: told[name] for name in told}


_NOT_OF_FIT = {
    "pattern", "standard", "standard_lattice_nm", "u_standard_lattice_nm", "axis", "axis_unit", "diffractogram",
    "counting_time_s",
}  # fmt: skip
"""What says how to read the pattern, or which powder it is of."""


class InstrumentTable(CheckedTable):
    """Where the instrument comes from: a file, or a calibration within the study."""

    calibration: ClassVar[str] = "a table [instrument.calibrate]"

    file: Annotated[FilePath, existing("calibrate one")] | None = key(
        "the path of an instrument file, from xrdorder calibrate"
    )
    calibrate: Calibration | None = key("the table of a pattern that calibrates the study")

    @classmethod
    def contradictions(cls, given: Mapping[str, Any], context: Context) -> Iterator[Problem]:
        """Find two instruments, or none."""
        if ("file" in given) == ("calibrate" in given):
            has = "both a file and a calibration" if "file" in given else "neither a file nor a calibration"
            yield (), f'{has}; give either file = "instrument.toml" or {cls.calibration}'


class NamedInstrumentTable(InstrumentTable):
    """A table ``[calibrations.<name>]``, which holds the keys of ``[instrument.calibrate]`` itself."""

    calibration: ClassVar[str] = "pattern, standard, detector_distance_mm"


def instrument_of(given: object, info: ValidationInfo) -> Path | Calibration:
    """Read the table ``[instrument]``: the path of an instrument file, or what a calibration needs."""
    if isinstance(given, Path | Calibration):
        return given
    return _source(InstrumentTable.model_validate(given, context=info.context))


def named_instrument(given: object, info: ValidationInfo) -> Path | Calibration:
    """Read a table ``[calibrations.<name>]``."""
    if isinstance(given, Path | Calibration):
        return given
    if isinstance(given, Mapping) and not given.keys() <= {"file", "calibrate"}:
        if "file" not in given:
            return Calibration.model_validate(given, context=info.context)
        given = {"file": given["file"], "calibrate": {key: given[key] for key in given if key != "file"}}
    return _source(NamedInstrumentTable.model_validate(given, context=info.context))


def _source(table: InstrumentTable) -> Path | Calibration:
    source = table.file or table.calibrate
    assert source is not None  # one of the two: `contradictions`
    return source
