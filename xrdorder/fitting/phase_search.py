"""What the foreign lines of a pattern may be: ghosts of the tube, or lines of a phase of the catalogue.

A phase is named when more foreign lines stand in the places of its strongest lines than chance would put there. The
chance is counted: the share of the pattern that lies within the tolerance of those lines, for as many foreign lines as
there are (binomial), times the number of alignments that had to be tried to reach the lattice in question, times the
number of phases in the catalogue. How many of the strongest lines are looked at is chosen where the chance is least,
and m of them cost a factor m (m + 1), the reciprocals of which add up to one. Phases are taken one after the other,
so that a line is used to prove one of them only.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtrc

from xrdorder.crystals.catalogue import phase, phase_names
from xrdorder.crystals.lattice import inverse_d_squared
from xrdorder.crystals.reflections import reflections
from xrdorder.crystals.structure import structure_factor_squared
from xrdorder.fitting.kbeta_tungsten import (
    TOLERANCE_WIDTHS,
    Ghost,
    PresentLines,
    Shift,
    bragg_angle,
    ghosts,
    hidden,
    weakest_height,
)
from xrdorder.fitting.quality import UnexplainedLine
from xrdorder.xrays import Radiation, lorentz_polarisation
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


class _Pattern(NamedTuple):
    """Lines of a catalogue phase by falling spacing; strength in any unit, None if its atoms are not known."""

    hkl: NDArray[np.int64]
    d_nm: Array
    strength: Array | None


@dataclass(frozen=True)
class _Alignment:
    """A phase laid over the foreign lines: which of them (number) is which of its own (words), and how by chance."""

    name: str
    lines: dict[int, str]
    chance: float
    proven: bool


@lru_cache(maxsize=256)
def _pattern(name: str, wavelength_nm: float, d_min_nm: float) -> _Pattern:
    p = phase(name)
    smallest = d_min_nm if p.d_min_nm is None else max(d_min_nm, p.d_min_nm)
    found = reflections(p.space_group, p.system, p.lengths_nm, p.angles_deg, smallest)
    q, _ = inverse_d_squared(p.system, found.hkl, p.lengths_nm, p.angles_deg)
    d_nm = np.asarray(1.0 / np.sqrt(q))
    if p.free_intensities:
        return _Pattern(found.hkl, d_nm, None)
    squared = structure_factor_squared(p, found.hkl, 0.5 / d_nm, HC_EV_NM / wavelength_nm)
    two_theta = np.minimum(bragg_angle(d_nm, wavelength_nm), 179.0)
    return _Pattern(found.hkl, d_nm, found.multiplicity * squared * lorentz_polarisation(two_theta))


def _merged(pattern: _Pattern, wavelength_nm: float, width_deg: float) -> _Pattern:
    """Lines that stand together within half a width as one, at their centre of gravity."""
    if pattern.strength is None or not len(pattern.d_nm):
        return pattern
    angle = bragg_angle(pattern.d_nm, wavelength_nm)
    group = np.concatenate([[0], np.cumsum(np.diff(angle) > 0.5 * width_deg)])
    strength = np.bincount(group, pattern.strength)
    d_nm = np.bincount(group, pattern.strength * pattern.d_nm) / np.maximum(strength, 1e-300)
    order = np.lexsort((-pattern.strength, group))
    rows = order[np.unique(group[order], return_index=True)[1]]  # the strongest of each group gives its name
    seen = strength > 0.0
    return _Pattern(
        pattern.hkl[rows][seen], np.asarray(d_nm[seen]), np.asarray(strength[seen], dtype=np.float64)
    )


class _Search:
    """The foreign lines of one pattern, and what hides others."""

    def __init__(
        self,
        lines: Sequence[UnexplainedLine],
        present: Sequence[PresentLines],
        radiation: Radiation,
        two_theta_range: tuple[float, float],
        width_deg: float,
    ) -> None:
        self.radiation, self.present = radiation, present
        self.low, self.high = two_theta_range
        self.width = width_deg
        self.angle = np.array([line.two_theta for line in lines])
        self.height = np.array([line.height_counts for line in lines])
        self.weakest = weakest_height(lines)
        self._shift = Shift(present, radiation.wavelength_nm)
        weights = np.array([line.weight for line in radiation.lines])
        mean = float(weights @ [line.wavelength_nm for line in radiation.lines]) / float(weights.sum())
        # K-alpha2 draws the centre of a line that it is not resolved from
        self._doublet = mean / radiation.wavelength_nm - 1.0

    def align(self, name: str, open_lines: NDArray[np.bool_]) -> _Alignment | None:
        """Best alignment of a phase within its lattice range; None if its strongest line has no counterpart."""
        p = phase(name)
        light = self.radiation.wavelength_nm
        d_min = light / (2.0 * np.sin(np.radians(min(0.5 * self.high, 89.0))))
        pattern = _merged(_pattern(name, light, round(float(d_min) * 0.98, 4)), light, self.width)
        lengths = np.array(p.lengths_nm)
        low = float(np.max(np.array(p.lengths_low_nm) / lengths))
        high = float(np.min(np.array(p.lengths_high_nm) / lengths))
        steps = round((high - low) / _LATTICE_STEP) + 1
        best: _Alignment | None = None
        for factor in np.linspace(low, high, max(steps, 1)):
            found = self._at(name, pattern, float(factor), p.system == "cubic", open_lines)
            if found is not None and (best is None or found.chance < best.chance):
                best = found
        return best

    def _at(
        self, name: str, pattern: _Pattern, factor: float, cubic: bool, open_lines: NDArray[np.bool_]
    ) -> _Alignment | None:
        bragg = bragg_angle(pattern.d_nm * factor, self.radiation.wavelength_nm)
        slope = np.degrees(2.0 * np.tan(np.radians(np.minimum(0.5 * bragg, 89.0))))
        place = bragg + self._shift(bragg)
        off = TOLERANCE_WIDTHS * self.width + slope * (self._doublet + (0.0 if cubic else _UNEQUAL_AXES))
        usable = (place > self.low) & (place < self.high) & ~hidden(place, self.present, self.width)
        if pattern.strength is not None:
            usable &= pattern.strength > _WEAKEST_STRENGTH * pattern.strength.max(initial=0.0)
        if not usable.any():
            return None
        distance = np.abs(place[:, None] - self.angle[None, :]) / off[:, None]
        partner = np.argmin(distance, axis=1)
        met = usable & (distance.min(axis=1) < 1.0)
        share, first, rank = 1.0, int(np.argmax(met)), np.where(usable)[0]
        if pattern.strength is not None:
            rank = rank[np.argsort(-pattern.strength[rank])]
            first = int(rank[0])
            if not met[first]:
                return None
            expected = self.height[partner[first]] * pattern.strength / pattern.strength[first]
            unlike = np.abs(np.log(self.height[partner] / expected)) > np.log(_SAME_STRENGTH)
            met &= ~unlike
            rank = rank[(expected[rank] >= _MAY_SHOW * self.weakest) | (rank == first)]
            must = rank[(expected[rank] >= _MUST_SHOW * self.weakest) | (rank == first)]
            share = float(pattern.strength[must[met[must]]].sum() / pattern.strength[must].sum())
        if share < _LEAST_SHARE:
            return None
        partners: dict[int, int] = {}
        for row in rank[met[rank]].tolist():
            line = int(partner[row])
            if line not in partners or distance[row, line] < distance[partners[line], line]:
                partners[line] = row
        fresh = [row for line, row in partners.items() if open_lines[line]]
        least = _LEAST_LINES_FREE if pattern.strength is None else _LEAST_LINES
        chance = self._coincidence(
            place, off, rank, np.array(fresh, dtype=int), int(open_lines.sum()), pattern.strength is not None
        )
        chance *= (1.0 + abs(factor - 1.0) * slope[first] / off[first]) * len(phase_names())
        words = {
            line: f"{name} {' '.join(str(i) for i in pattern.hkl[row])}" for line, row in partners.items()
        }
        return _Alignment(name, words, float(chance), len(fresh) >= least and chance < FALSE_PHASES)

    def _coincidence(
        self,
        place: Array,
        off: Array,
        rank: NDArray[np.int64],
        fresh: NDArray[np.int64],
        count: int,
        ranked: bool,
    ) -> float:
        """How often chance would put as many of `count` foreign lines on the strongest lines of a phase.

        `rank` has the lines of the phase, strongest first if `ranked`, and `fresh` those that were met.
        """
        least = 1.0
        cuts = 1 + np.where(np.isin(rank, fresh))[0] if ranked else np.array([len(rank)])
        for m in cuts.tolist():
            top = rank[:m]
            covered = _covered(place[top] - off[top], place[top] + off[top]) / (self.high - self.low)
            hits = int(np.isin(fresh, top).sum())
            coincidence = float(bdtrc(hits - 1, count, min(covered, 1.0))) if hits else 1.0
            least = min(least, coincidence * (m * (m + 1.0) if ranked else 1.0))
        return least

    def proven(self, names: Sequence[str], lines: NDArray[np.bool_]) -> list[_Alignment]:
        """Phases that chance does not explain, most certain first; `lines` says which may be used as proof."""
        open_lines, left = lines.copy(), list(names)
        found: list[_Alignment] = []
        while open_lines.any():
            tried = [self.align(name, open_lines) for name in left]
            best = min((x for x in tried if x is not None and x.proven), key=lambda x: x.chance, default=None)
            if best is None:
                break
            found.append(best)
            left.remove(best.name)
            open_lines[list(best.lines)] = False
        return found


def _covered(low: Array, high: Array) -> float:
    """Length of the union of intervals."""
    order = np.argsort(low)
    low, reach = low[order], np.maximum.accumulate(high[order])
    return float(np.sum(reach - np.maximum(low, np.concatenate([[-np.inf], reach[:-1]]))))


def likely_phases(
    lines: Sequence[UnexplainedLine],
    asked: Sequence[str],
    radiation: Radiation,
    two_theta_range: tuple[float, float],
    width_deg: float,
    present: Sequence[PresentLines] = (),
) -> list[str]:
    """Phases of the catalogue that the foreign lines prove, most certain first.

    A phase needs its strongest line that can be seen, one more (of a phase without atoms any three), half of what must
    show beside the strongest, and a chance of coincidence below `FALSE_PHASES` in all.

    Parameters
    ----------
    lines
        Foreign lines.
    asked
        Names that are in the fit already.
    radiation
        Main radiation.
    two_theta_range
        First and last angle of the pattern, degrees.
    width_deg
        Full width of a typical line.
    present
        Lines of the phases found: they hide others, have ghosts, and tell the shift of the angles.

    Returns
    -------
    list of str
        Names of the catalogue.
    """
    if not lines:
        return []
    ghost = ghosts(lines, present, radiation, two_theta_range, width_deg)
    search = _Search(lines, present, radiation, two_theta_range, width_deg)
    names = [name for name in phase_names() if name not in asked]
    return [found.name for found in search.proven(names, _not_sure(ghost))]


def name_lines(
    lines: Sequence[UnexplainedLine],
    present: Sequence[PresentLines],
    radiation: Radiation,
    two_theta_range: tuple[float, float],
    width_deg: float,
) -> list[str]:
    """Say of each foreign line what it may be.

    Parameters
    ----------
    lines
        Foreign lines.
    present
        Lines of the phases that were found.
    radiation
        Main radiation.
    two_theta_range
        First and last angle of the pattern, degrees.
    width_deg
        Full width of a typical line.

    Returns
    -------
    list of str
        "K-beta of nb3sn 2 1 1", "near nbo 2 0 0 and 2 more of its lines", "perhaps sn 2 0 0, alone of its lines",
        `NOTHING`; "..., or ..." where two explanations hold. A ghost alone of its kind is no more than "perhaps".
    """
    if not lines:
        return []
    ghost = ghosts(lines, present, radiation, two_theta_range, width_deg)
    search = _Search(lines, present, radiation, two_theta_range, width_deg)
    known = {entry.name for entry in present}
    names = [name for name in phase_names() if name not in known]
    rest = _not_sure(ghost)
    proven = search.proven(names, rest)
    for found in proven:
        rest[list(found.lines)] = False
    taken = {found.name for found in proven}
    guesses = [
        search.align(name, rest) for name in names if name not in taken and not phase(name).free_intensities
    ]
    alone = [guess for guess in guesses if guess is not None and len(guess.lines) == 1]
    return [_words(k, ghost[k], proven, alone) for k in range(len(lines))]


def _not_sure(ghost: Sequence[Ghost | None]) -> NDArray[np.bool_]:
    return np.array([one is None or not one.sure for one in ghost])


def _words(line: int, ghost: Ghost | None, proven: Sequence[_Alignment], alone: Sequence[_Alignment]) -> str:
    near = next((found for found in proven if line in found.lines), None)
    phase_words = None
    if near is not None:
        phase_words = f"near {near.lines[line]} and {len(near.lines) - 1} more of its lines"
    if ghost is not None:
        if ghost.sure:
            return ghost.words if near is None else f"{ghost.words}, or {near.lines[line]}"
        return f"perhaps {ghost.words}" if phase_words is None else f"{phase_words}, or {ghost.words}"
    if phase_words is not None:
        return phase_words
    single = min((found for found in alone if line in found.lines), key=lambda x: x.chance, default=None)
    return NOTHING if single is None else f"perhaps {single.lines[line]}, alone of its lines"
