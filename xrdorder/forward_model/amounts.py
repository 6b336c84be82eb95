"""Which mass does the scale of a phase stand for?"""

from collections.abc import Mapping, Sequence
from functools import lru_cache

from xrdorder.crystals import Phase
from xrdorder.forward_model.phase_lines import PhaseLines

Values = Mapping[str, float]


def mass_per_scale(lines: PhaseLines, values: Values) -> float:
    """Mass that a scale of one stands for, in common units: cell mass times cell volume over the norm.

    Line intensities go with the volume of the phase over the square of the cell volume, so its mass goes with
    scale times cell mass times cell volume: R. J. Hill, C. J. Howard, J. Appl. Cryst. 20 (1987) 467 (from memory).
    """
    return _mass_volume(lines.phase, tuple(values[name] for name in lines.length_names)) / lines.norm


@lru_cache(maxsize=256)
def _mass_volume(phase: Phase, lengths_nm: tuple[float, ...]) -> float:
    """Cell mass times cell volume; asked for again and again while other parameters are varied."""
    return phase.density_g_cm3(lengths_nm) * phase.cell_volume_nm3(lengths_nm) ** 2


def masses(
    weighed: Sequence[PhaseLines], second: PhaseLines | None, values: Values
) -> dict[str, float]:
    """Mass of each phase in common units; both populations of the A15 together."""
    mass_of = {x.phase.name: values[x.scale_name] * mass_per_scale(x, values) for x in weighed}
    if second is not None:
        mass_of[second.phase.name] += values[second.scale_name] * mass_per_scale(second, values)
    return mass_of
