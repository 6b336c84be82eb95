"""Phases as they are at the temperature of the furnace: larger cells, atoms that move more."""

from dataclasses import replace

from xrdorder.crystals import Phase
from xrdorder.material.lattice import REFERENCE_C
from xrdorder.treatments.history import ZERO_CELSIUS_K


def growth(phase: Phase, from_c: float, to_c: float) -> tuple[float, float]:
    """Factors on the lengths of a phase and on its displacement parameters from one temperature to another.

    Lengths grow by the linear expansion coefficient of the catalogue; a phase without one keeps them. Displacement
    parameters grow as the absolute temperature, the limit of the Debye model above the Debye temperature (C. Kittel,
    Introduction to Solid State Physics, from memory).
    """
    rate = phase.thermal_expansion_per_k or 0.0
    longer = (1.0 + rate * (to_c - REFERENCE_C)) / (1.0 + rate * (from_c - REFERENCE_C))
    return longer, (to_c + ZERO_CELSIUS_K) / (from_c + ZERO_CELSIUS_K)


def heated(phase: Phase, from_c: float, to_c: float) -> Phase:
    """Give a phase of one temperature with the lengths, displacement parameters and their bounds of another.

    Examples
    --------
    >>> from xrdorder.crystals import phase
    >>> hot = heated(phase("nb3sn"), 22.5, 672.5)
    >>> round(hot.lengths_nm[0], 5), round(hot.sites[0].b_iso_nm2, 5)
    (0.53151, 0.01439)
    """
    longer, moved = growth(phase, from_c, to_c)
    return replace(
        phase,
        lengths_nm=tuple(longer * x for x in phase.lengths_nm),
        lengths_low_nm=tuple(longer * x for x in phase.lengths_low_nm),
        lengths_high_nm=tuple(longer * x for x in phase.lengths_high_nm),
        sites=tuple(
            replace(
                site,
                b_iso_nm2=moved * site.b_iso_nm2,
                b_iso_bounds_nm2=(moved * site.b_iso_bounds_nm2[0], moved * site.b_iso_bounds_nm2[1]),
            )
            for site in phase.sites
        ),
    )
