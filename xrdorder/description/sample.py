"""What a sample is: a reacted piece of wire and how its pattern was measured."""

import math
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, PlainValidator, ValidationInfo

from xrdorder.description.lots import Lot
from xrdorder.description.measured_values import MeasuredValue, measured_values
from xrdorder.description.measurement import Measurement
from xrdorder.description.phases_present import Present, choice_problems
from xrdorder.description.sample_table import STEP_COLUMNS
from xrdorder.description.treatments import WAYS, read_treatment
from xrdorder.description.values import Day, NotNegative, Paths, SafeName
from xrdorder.exceptions import did_you_mean
from xrdorder.files.checked_table import NOBODY, Context, Problem, key, needed, quoted
from xrdorder.material.specimen import Specimen
from xrdorder.treatments import History

FURNACE_C = (300.0, 2200.0)
"""Peak temperatures of a treatment that can have been those of a reaction; others are left out."""


def _described_lot(given: object, info: ValidationInfo) -> Lot:
    """Give the lot of that name; one that is described with errors stands in for itself."""
    if isinstance(given, Lot):
        return given
    if not isinstance(given, str):
        raise ValueError(f"{quoted(given)} is not text in quotes")
    context: Context = info.context or Context()
    described = context.written("lots")
    if given not in described:
        hint = did_you_mean(given, described) if described else f"add a table [lots.{given}]"
        raise ValueError(f"no lot '{given}' is described; {hint}")
    lots: dict[str, Lot] = context.read.get("lots", {})
    return lots.get(given, Lot(name=given))


class Sample(Measurement):
    """A reacted piece of wire and how its pattern was measured; what it does not say stands as the defaults have it.

    Attributes
    ----------
    name : str
        Safe as a file name.
    pattern : tuple of Path
        One file, or several: repeated scans or ranges of one specimen. Absolute paths.
    lot : Lot
    treatment : History or None
        What was set, or what was logged.
    date : str
        Day of the measurement as in ISO 8601; empty when it was not told.
    measured : tuple of MeasuredValue
        What the laboratory measured itself. No fit and no estimate sees it.
    """

    name: SafeName = needed("a name of its own, safe as a file name", seen_by=NOBODY)
    pattern: Paths = needed("the path of the pattern, or a list of paths of one specimen", seen_by=NOBODY)
    lot: Annotated[Lot, BeforeValidator(_described_lot)] = key(
        "the name of a lot described under [lots.<name>]", Lot(), seen_by=NOBODY
    )
    treatment: Annotated[History | None, PlainValidator(read_treatment)] = key(WAYS, seen_by=NOBODY)
    position_m: NotNegative | None = key("the place along the spool in m, zero or more", seen_by=NOBODY)
    date: Day = key("the day of the measurement, as 2026-03-14", "", seen_by=NOBODY)
    measured: Annotated[tuple[MeasuredValue, ...], PlainValidator(measured_values)] = key(
        "what the laboratory measured itself, a table [samples.measured]", (), seen_by=NOBODY
    )

    @property
    def choices(self) -> dict[str, Any]:
        """Choices of the fit, by the names of `xrdorder.fitting.FitOptions`; only what was told."""
        return self.fit.given()

    @property
    def reaction_temperature_c(self) -> float | None:
        """The highest hold of the treatment, where it can have been a reaction."""
        peak = math.nan if self.treatment is None else float(self.treatment.peak_c)
        return peak if FURNACE_C[0] <= peak <= FURNACE_C[1] else None

    def specimen(self, mount: str = "", temperature_c: float = math.nan) -> Specimen:
        """Say what was mounted; what the description leaves open is taken from the pattern file.

        Raises
        ------
        ValidityError
            Two statements contradict each other.
        """
        lot = self.lot
        open_or_read = None if math.isnan(temperature_c) else temperature_c
        return Specimen(
            dopants=lot.dopants,
            u_dopants=lot.u_dopants,
            on_tin_site=lot.on_tin_site,
            u_on_tin_site=lot.u_on_tin_site,
            undoped=lot.undoped,
            mount=self.mount or mount,
            wire_axis_angle_deg=self.wire_axis_angle_deg,
            temperature_c=open_or_read if self.temperature_c is None else self.temperature_c,
            u_temperature_k=self.u_temperature_k,
            lot=lot.name,
            reaction_temperature_c=self.reaction_temperature_c,
            strain=self.strain,
            u_strain=self.u_strain,
            strain_gauge=self.strain_gauge,
            strain_bound=self.strain_bound,
            lattice_by_dopant_nm=lot.lattice_by_dopant_nm,
            u_lattice_by_dopant_nm=lot.u_lattice_by_dopant_nm,
            off=frozenset(self.corrections_off),
        )

    @classmethod
    def unknown(cls, key: str) -> str:
        """Know the keys of a heat treatment."""
        if key in (*STEP_COLUMNS, "ramp", "time_h", "steps"):
            way = "treatment = [{ ramp_k_per_h = ..., hold_c = ..., hours = ... }]"
            return f"unknown key; it belongs to the heat treatment: {way}"
        return super().unknown(key)

    @classmethod
    def contradictions(cls, given: Mapping[str, Any], context: Context) -> Iterator[Problem]:
        """Find choices of the fit about what is not in the specimen."""
        yield from super().contradictions(given, context)
        if "fit" in given:
            yield from choice_problems(given["fit"], Present.of([{**cls.usual(context), **given}], context))

    def completed(self, context: Context) -> Self:
        """Take from the defaults what the sample does not say; choices of the fit one by one."""
        usual: Measurement = context.read.get("defaults", Measurement())
        told = {name: getattr(usual, name) for name in usual.model_fields_set - self.model_fields_set}
        return self.model_copy(update=told | {"fit": usual.fit.model_copy(update=self.fit.given())})
