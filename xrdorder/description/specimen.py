"""From the description of a sample to what was mounted, and which kind of wire it is."""

import math

from xrdorder.description.study import Sample
from xrdorder.exceptions import XrdorderError
from xrdorder.material.specimen import Specimen

FURNACE_C = (300.0, 2200.0)
"""Peak temperatures of a treatment that can have been those of a reaction; others are left out."""


def specimen(sample: Sample, mount: str = "", temperature_c: float = math.nan) -> Specimen:
    """Say what was mounted; what the description leaves open is taken from the pattern file.

    Raises
    ------
    ValidityError
        Two statements contradict each other.
    """
    lot = sample.lot
    told = math.nan if sample.temperature_c is None else sample.temperature_c
    temperature = told if math.isfinite(told) else temperature_c
    return Specimen(
        dopants=lot.dopants,
        u_dopants=lot.u_dopants,
        on_tin_site=lot.on_tin_site,
        u_on_tin_site=lot.u_on_tin_site,
        undoped=lot.undoped,
        mount=sample.mount or mount,
        wire_axis_angle_deg=sample.wire_axis_angle_deg,
        temperature_c=temperature if math.isfinite(temperature) else None,
        u_temperature_k=sample.u_temperature_k,
        lot=lot.name,
        reaction_temperature_c=reaction_temperature(sample),
        strain=sample.strain,
        u_strain=sample.u_strain,
        strain_gauge=sample.strain_gauge,
        strain_bound=sample.strain_bound,
        lattice_by_dopant_nm=lot.lattice_by_dopant_nm,
        u_lattice_by_dopant_nm=lot.u_lattice_by_dopant_nm,
        off=frozenset(sample.corrections_off),
    )


def reaction_temperature(sample: Sample) -> float | None:
    """The highest hold of the treatment, where it can have been a reaction."""
    if sample.treatment is None or not FURNACE_C[0] <= sample.treatment.peak_c <= FURNACE_C[1]:
        return None
    return float(sample.treatment.peak_c)


def specimen_problem(sample: Sample) -> str:
    """Say what contradicts itself in the description of a specimen; empty where nothing does."""
    try:
        specimen(sample)
    except XrdorderError as error:
        return str(error)
    return ""
