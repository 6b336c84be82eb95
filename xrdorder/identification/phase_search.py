"""Which phases of the catalogue may unindexed lines belong to?

A phase is named when more unindexed lines coincide with its strongest lines than chance would put there. The chance is
counted: the share of the pattern that lies within the tolerance of those lines, for as many unindexed lines as there
are (binomial), times the number of alignments that had to be tried to reach the lattice in question, times the number
of phases in the catalogue. How many of the strongest lines are looked at is chosen where the chance is least, and m of
them cost a factor m (m + 1), the reciprocals of which add up to one. Phases are taken one after the other, so that a
line is used to prove one of them only.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtrc

from xrdorder.crystals.catalogue import phase, phase_names
from xrdorder.crystals.reflections import reflections
from xrdorder.crystals.structure import structure_factor_squared
from xrdorder.crystals.unit_cell import inverse_d_squared
from xrdorder.identification.kbeta_tungsten import TubeLine, tube_lines
from xrdorder.identification.line_pattern import TOLERANCE_WIDTHS, LinePattern, bragg_angle, line_label
from xrdorder.xrays import lorentz_polarisation
from xrdorder.xrays.emission import HC_EV_NM

Array = NDArray[np.float64]

# All own choices, no source.
FALSE_PHASES = 0.05  # phases that chance alone may bring into a pattern, on average
_LEAST_LINES = 2
_LEAST_LINES_FREE = 3  # of a phase whose strong lines are not known
_LATTICE_STEP = 4e-4  # relative; half of it moves a line at 90 degrees by a fifth of a usual width
_UNEQUAL_AXES = 1e-3  # relative; by how much axes of other systems may differ from a common factor
_WEAKEST_STRENGTH = 0.01  # of the strongest line; nothing weaker can prove a phase
# Expected over needed height: coarse grains may triple or third a line.
_MAY_SHOW, _MUST_SHOW = 1.0 / 3.0, 2.0
_LEAST_SHARE = 0.5  # of what must show, by strength
_SAME_STRENGTH = 5.0  # factor by which a line may differ from what the strongest one lets expect
NOTHING = "no candidate in the catalogue"


class _CatalogueLines(NamedTuple):
    """Lines of a catalogue phase by falling spacing; strength in any unit, None if its atoms are not known."""

    hkl: NDArray[np.int64]
    d_nm: Array
    strength: Array | None


@dataclass(frozen=True)
class _Alignment:
    """A phase aligned with the unindexed lines: which of them (number) is which of its own (words), chance of that."""

    name: str
    lines: dict[int, str]
    chance: float
    proven: bool


@lru_cache(maxsize=256)
def _catalogue_lines(name: str, wavelength_nm: float, d_min_nm: float) -> _CatalogueLines:
    p = phase(name)
    smallest = d_min_nm if p.d_min_nm is None else max(d_min_nm, p.d_min_nm)
    planes = reflections(p.space_group, p.system, p.lengths_nm, p.angles_deg, smallest)
    q, _ = inverse_d_squared(p.system, planes.hkl, p.lengths_nm, p.angles_deg)
    d_nm = np.asarray(1.0 / np.sqrt(q))
    if p.free_intensities:
        return _CatalogueLines(planes.hkl, d_nm, None)
    squared = structure_factor_squared(p, planes.hkl, 0.5 / d_nm, HC_EV_NM / wavelength_nm)
    two_theta = np.minimum(bragg_angle(d_nm, wavelength_nm), 179.0)
    return _CatalogueLines(planes.hkl, d_nm, planes.multiplicity * squared * lorentz_polarisation(two_theta))


def _merged(lines: _CatalogueLines, wavelength_nm: float, width_deg: float) -> _CatalogueLines:
    """Lines that stand together within half a width as one, at their centre of gravity."""
    if lines.strength is None or not len(lines.d_nm):
        return lines
    angle = bragg_angle(lines.d_nm, wavelength_nm)
    group = np.concatenate([[0], np.cumsum(np.diff(angle) > 0.5 * width_deg)])
    strength = np.bincount(group, lines.strength)
    d_nm = np.bincount(group, lines.strength * lines.d_nm) / np.maximum(strength, 1e-300)
    order = np.lexsort((-lines.strength, group))
    rows = order[np.unique(group[order], return_index=True)[1]]  # the strongest of each group gives its name
    seen = strength > 0.0
    return _CatalogueLines(
        lines.hkl[rows][seen], np.asarray(d_nm[seen]), np.asarray(strength[seen], dtype=np.float64)
    )


class _Search:
    """Alignment of catalogue phases with the unindexed lines of one pattern."""

    def __init__(self, pattern: LinePattern) -> None:
        self.pattern = pattern
        radiation = pattern.radiation
        weights = np.array([line.weight for line in radiation.lines])
        mean = float(weights @ [line.wavelength_nm for line in radiation.lines]) / float(weights.sum())
        # K-alpha2 draws the centre of a line that it is not resolved from
        self._doublet = mean / radiation.wavelength_nm - 1.0

    def align(self, name: str, usable: NDArray[np.bool_]) -> _Alignment | None:
        """Best alignment of a phase within its lattice range; None if its strongest line has no counterpart.

        `usable` says which unindexed lines may be used as proof.
        """
        p = phase(name)
        light, width = self.pattern.radiation.wavelength_nm, self.pattern.width_deg
        d_min = light / (2.0 * np.sin(np.radians(min(0.5 * self.pattern.two_theta_range[1], 89.0))))
        lines = _merged(_catalogue_lines(name, light, round(float(d_min) * 0.98, 4)), light, width)
        lengths = np.array(p.lengths_nm)
        low = float(np.max(np.array(p.lengths_low_nm) / lengths))
        high = float(np.min(np.array(p.lengths_high_nm) / lengths))
        steps = round((high - low) / _LATTICE_STEP) + 1
        tried = (
            self._align_at(name, lines, float(factor), p.system == "cubic", usable)
            for factor in np.linspace(low, high, max(steps, 1))
        )
        return min((x for x in tried if x is not None), key=lambda x: x.chance, default=None)

    def _align_at(
        self, name: str, lines: _CatalogueLines, factor: float, cubic: bool, usable: NDArray[np.bool_]
    ) -> _Alignment | None:
        """Alignment with the lattice of the catalogue times a factor."""
        pattern = self.pattern
        bragg = bragg_angle(lines.d_nm * factor, pattern.radiation.wavelength_nm)
        slope = np.degrees(2.0 * np.tan(np.radians(np.minimum(0.5 * bragg, 89.0))))
        place = bragg + pattern.shift(bragg)
        off = TOLERANCE_WIDTHS * pattern.width_deg + slope * (self._doublet + (0.0 if cubic else _UNEQUAL_AXES))
        visible = pattern.visible(place)
        if lines.strength is not None:
            visible &= lines.strength > _WEAKEST_STRENGTH * lines.strength.max(initial=0.0)
        if not visible.any():
            return None
        distance = np.abs(place[:, None] - pattern.angle[None, :]) / off[:, None]
        partner = np.argmin(distance, axis=1)
        met = visible & (distance.min(axis=1) < 1.0)
        share, first, rank = 1.0, int(np.argmax(met)), np.where(visible)[0]
        if lines.strength is not None:
            rank = rank[np.argsort(-lines.strength[rank])]
            first = int(rank[0])
            if not met[first]:
                return None
            expected = pattern.height[partner[first]] * lines.strength / lines.strength[first]
            unlike = np.abs(np.log(pattern.height[partner] / expected)) > np.log(_SAME_STRENGTH)
            met &= ~unlike
            rank = rank[(expected[rank] >= _MAY_SHOW * pattern.weakest_height) | (rank == first)]
            must = rank[(expected[rank] >= _MUST_SHOW * pattern.weakest_height) | (rank == first)]
            share = float(lines.strength[must[met[must]]].sum() / lines.strength[must].sum())
        if share < _LEAST_SHARE:
            return None
        partners: dict[int, int] = {}
        for row in rank[met[rank]].tolist():
            line = int(partner[row])
            if line not in partners or distance[row, line] < distance[partners[line], line]:
                partners[line] = row
        fresh = np.array([row for line, row in partners.items() if usable[line]], dtype=int)
        least = _LEAST_LINES_FREE if lines.strength is None else _LEAST_LINES
        chance = self._coincidence(place, off, rank, fresh, int(usable.sum()), lines.strength is not None)
        chance *= (1.0 + abs(factor - 1.0) * slope[first] / off[first]) * len(phase_names())
        labels = {line: line_label(name, lines.hkl[row]) for line, row in partners.items()}
        return _Alignment(name, labels, float(chance), len(fresh) >= least and chance < FALSE_PHASES)

    def _coincidence(
        self,
        place: Array,
        off: Array,
        rank: NDArray[np.int64],
        fresh: NDArray[np.int64],
        count: int,
        ranked: bool,
    ) -> float:
        """How often chance would put as many of `count` unindexed lines on the strongest lines of a phase.

        `rank` has the lines of the phase, strongest first if `ranked`, and `fresh` those that were met.
        """
        low, high = self.pattern.two_theta_range
        least = 1.0
        cuts = 1 + np.where(np.isin(rank, fresh))[0] if ranked else np.array([len(rank)])
        for m in cuts.tolist():
            top = rank[:m]
            covered = _covered(place[top] - off[top], place[top] + off[top]) / (high - low)
            hits = int(np.isin(fresh, top).sum())
            coincidence = float(bdtrc(hits - 1, count, min(covered, 1.0))) if hits else 1.0
            least = min(least, coincidence * (m * (m + 1.0) if ranked else 1.0))
        return least

    def proven(self, names: Sequence[str], usable: NDArray[np.bool_]) -> list[_Alignment]:
        """Phases that chance does not explain, most certain first; `usable` says which lines may be used as proof."""
        usable, left = usable.copy(), list(names)
        alignments: list[_Alignment] = []
        while usable.any():
            tried = [self.align(name, usable) for name in left]
            best = min((x for x in tried if x is not None and x.proven), key=lambda x: x.chance, default=None)
            if best is None:
                break
            alignments.append(best)
            left.remove(best.name)
            usable[list(best.lines)] = False
        return alignments


def _covered(low: Array, high: Array) -> float:
    """Length of the union of intervals."""
    order = np.argsort(low)
    low, reach = low[order], np.maximum.accumulate(high[order])
    return float(np.sum(reach - np.maximum(low, np.concatenate([[-np.inf], reach[:-1]]))))


def likely_phases(pattern: LinePattern, known: Sequence[str]) -> list[str]:
    """Phases of the catalogue that the unindexed lines prove, most certain first.

    A phase needs its strongest line that can be seen, one more (of a phase without atoms any three), half of what must
    show beside the strongest, and a chance of coincidence below `FALSE_PHASES` in all.

    Parameters
    ----------
    pattern
        The unindexed lines and those beside them.
    known
        Names of phases that are in the fit already.

    Returns
    -------
    list of str
        Names of the catalogue.
    """
    if not pattern.unindexed:
        return []
    names = [name for name in phase_names() if name not in known]
    unexplained = _unexplained(tube_lines(pattern))
    return [alignment.name for alignment in _Search(pattern).proven(names, unexplained)]


def name_lines(pattern: LinePattern) -> list[str]:
    """Say of each unindexed line what it may be.

    Returns
    -------
    list of str
        "K-beta of nb3sn 2 1 1", "near nbo 2 0 0 and 2 more of its lines", "perhaps sn 2 0 0, alone of its lines",
        `NOTHING`; "..., or ..." where two explanations hold. A line of the tube alone of its kind is no more than
        "perhaps".
    """
    if not pattern.unindexed:
        return []
    from_tube = tube_lines(pattern)
    search = _Search(pattern)
    known = {lines.name for lines in pattern.present}
    names = [name for name in phase_names() if name not in known]
    unexplained = _unexplained(from_tube)
    proven = search.proven(names, unexplained)
    for alignment in proven:
        unexplained[list(alignment.lines)] = False
    proven_names = {alignment.name for alignment in proven}
    tried = [
        search.align(name, unexplained)
        for name in names
        if name not in proven_names and not phase(name).free_intensities
    ]
    alone = [alignment for alignment in tried if alignment is not None and len(alignment.lines) == 1]
    return [_words(k, from_tube[k], proven, alone) for k in range(len(pattern.unindexed))]


def _unexplained(from_tube: Sequence[TubeLine | None]) -> NDArray[np.bool_]:
    """Tell which lines are not surely lines of the tube."""
    return np.array([origin is None or not origin.sure for origin in from_tube])


def _words(
    line: int, from_tube: TubeLine | None, proven: Sequence[_Alignment], alone: Sequence[_Alignment]
) -> str:
    near = next((alignment for alignment in proven if line in alignment.lines), None)
    phase_words = None
    if near is not None:
        phase_words = f"near {near.lines[line]} and {len(near.lines) - 1} more of its lines"
    if from_tube is not None:
        if from_tube.sure:
            return from_tube.words if near is None else f"{from_tube.words}, or {near.lines[line]}"
        return f"perhaps {from_tube.words}" if phase_words is None else f"{phase_words}, or {from_tube.words}"
    if phase_words is not None:
        return phase_words
    single = min((x for x in alone if line in x.lines), key=lambda x: x.chance, default=None)
    return NOTHING if single is None else f"perhaps {single.lines[line]}, alone of its lines"
