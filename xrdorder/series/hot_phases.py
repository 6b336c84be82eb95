"""Phases as they are at the temperature of the furnace: larger cells, atoms that move more."""

from dataclasses import replace

from xrdorder.crystals import Phase
from xrdorder.material.lattice import REFERENCE_C
from xrdorder.treatments.history import ZERO_CELSIUS_K


def at_temperature(phase: Phase, temperature_c: float) -> Phase:
    """Give a phase with lengths, their range and displacement parameters of a temperature.

    Lengths grow by the linear expansion coefficient of the catalogue; a phase without one keeps them. Displacement
    parameters and their bounds grow as the absolute temperature, the limit of the Debye model above the Debye
    temperature (C. Kittel, Introduction to Solid State Physics, from memory).

    Examples
    --------
    >>> from xrdorder.crystals import phase
    >>> hot = at_temperature(phase("nb3sn"), 672.5)
    >>> round(hot.lengths_nm[0], 5), round(hot.sites[0].b_iso_nm2, 5)
    (0.53151, 0.01439)
    """
    away = temperature_c - REFERENCE_C
    larger = 1.0 + (phase.thermal_expansion_per_k or 0.0) * away
    moved = (temperature_c + ZERO_CELSIUS_K) / (REFERENCE_C + ZERO_CELSIUS_K)
    return replace(
        phase,
        lengths_nm=tuple(larger * x for x in phase.lengths_nm),
        lengths_low_nm=tuple(larger * x for x in phase.lengths_low_nm),
        lengths_high_nm=tuple(larger * x for x in phase.lengths_high_nm),
        sites=tuple(
            replace(
                site,
                b_iso_nm2=moved * site.b_iso_nm2,
                b_iso_bounds_nm2=(moved * site.b_iso_bounds_nm2[0], moved * site.b_iso_bounds_nm2[1]),
            )
            for site in phase.sites
        ),
    )
