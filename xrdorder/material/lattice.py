"""The lattice parameter at the reference temperature of 22.5 °C."""

from __future__ import annotations

from xrdorder.material.material import Material
from xrdorder.material.specimen import Specimen
from xrdorder.quantities.records import as_fitted, symbol_of
from xrdorder.relations import a15_lattice

REFERENCE_C, EXPANSION_PER_K = a15_lattice.REFERENCE_C, a15_lattice.PER_KELVIN

EXPANSION_SOURCE = "J. W. Ekin, Experimental Techniques for Low-Temperature Measurements (2006), from memory"
U_EXPANSION_PER_K = 0.4e-6
"""Standard uncertainty of the linear thermal expansion near room temperature: lattice parameters measured in situ at
700 °C give 7.4 to 8.2e-6 (L. Thilly et al., Appl. Phys. Lett. 99 (2011) 122508)."""

U_ASSUMED_TEMPERATURE_K = 1.2
"""Standard uncertainty of an unstated temperature: a room between 20.4 and 24.6 °C, rectangular (judged)."""

U_STATED_TEMPERATURE_K = 0.5
"""Standard uncertainty of a temperature stated without one (common practice, no source)."""


FAR_K = 30.0
"""Distance from `REFERENCE_C` from which on whoever speaks of an odd lattice parameter names the temperature as well:
beyond any laboratory room (judged)."""

IN_KELVIN_C = (100.0, 373.15)
"""Specimen temperatures told in °C that may have been meant in kelvin: a room is at 295 K, and few measure reacted wire
between (judged)."""

LATTICES = ("a_nm", "a_nm_lean", "a_nm_rich")
"""The mean lattice parameter of the A15 and, where there are two populations, those of each."""


def temperature_of(specimen: Specimen) -> tuple[float, float]:
    """Temperature of the specimen in °C and its standard uncertainty in K, usual ones where nothing was said."""
    temperature, u_temperature = specimen.temperature_c, specimen.u_temperature_k
    if temperature is None:
        return REFERENCE_C, U_ASSUMED_TEMPERATURE_K if u_temperature is None else u_temperature
    return temperature, U_STATED_TEMPERATURE_K if u_temperature is None else u_temperature


def factor_of(away_k: float) -> float:
    """Lattice parameter at the reference temperature over that at another, from their distance in K."""
    return 1.0 / (1.0 + EXPANSION_PER_K * away_k)


def temperature_doubt(specimen: Specimen) -> str:
    """Name the temperature of a specimen measured far from the reference as a cause of odd lattice parameters.

    >>> temperature_doubt(Specimen(temperature_c=295.6))
    'the specimen temperature of 295.6 °C (22.5 °C if it was given in kelvin)'
    >>> temperature_doubt(Specimen(temperature_c=24.0))
    ''
    """
    temperature = specimen.temperature_c
    if temperature is None or abs(temperature - REFERENCE_C) < FAR_K or "temperature" in specimen.off:
        return ""
    return f"the specimen temperature of {temperature:g} °C{in_kelvin_words(temperature)}"


def in_kelvin_words(temperature_c: float) -> str:
    """Say in brackets what a specimen temperature would be in kelvin; empty where nothing hints at it."""
    low, high = IN_KELVIN_C
    if not low < temperature_c < high:
        return ""
    return f" ({temperature_c - 273.15:.1f} °C if it was given in kelvin)"


def refer_lattice(derived: Material, specimen: Specimen) -> None:
    """Bring `LATTICES` from the measuring temperature to the reference temperature.

    1 K is 4 fm, 0.03 at.% of tin. The uncertainty of the expansion is shared by all samples and grows with
    the distance from the reference.
    """
    given = [name for name in LATTICES if derived.given(name)]
    if not given:
        return
    if "temperature" in specimen.off:
        derived.assumptions.append("correction for temperature switched off: lattice parameters as measured")
        for name in given:
            derived.tell(
                name,
                derived.values[name],
                formula=symbol_of(as_fitted(name)),
                source="",
                remark="as measured: correction for temperature switched off",
            )
        return
    temperature, u_temperature = temperature_of(specimen)
    if specimen.temperature_c is None:
        derived.assumptions.append(
            f"specimen at {REFERENCE_C} °C ± {u_temperature:g} K, as no temperature was given"
        )
    elif specimen.u_temperature_k is None:
        derived.assumptions.append(f"specimen temperature known to {u_temperature:g} K, as nothing was said")
    away = temperature - REFERENCE_C
    if words := in_kelvin_words(temperature):
        derived.flag(
            "temperature-in-kelvin",
            f"the specimen is said to have been at {temperature:g} °C while it was measured{words}; temperature_c is "
            f"in °C. As told, {100 * (1.0 - factor_of(away)):.2f} % were taken off the lattice parameter to bring it "
            f"to {REFERENCE_C} °C",
        )
    factor = factor_of(away)
    for name in given:
        a = derived.values[name] * factor
        derived.add(
            name,
            a,
            {name: factor},
            {
                "temperature": (-a * EXPANSION_PER_K * u_temperature, ""),
                "thermal expansion": (-a * away * U_EXPANSION_PER_K, "nb3sn"),
            },
            formula=f"{symbol_of(as_fitted(name))} / (1 + {EXPANSION_PER_K} * (temperature_c - {REFERENCE_C}))",
            numbers={"temperature_c": temperature},
            source=EXPANSION_SOURCE,
            remark="" if specimen.temperature_c is not None else "no temperature was given",
        )
