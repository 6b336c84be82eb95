"""Lines of a phase whose intensities are free: each line, or unresolved group of lines, has its own area.

The lattice then rests on the positions of the lines alone, whatever their intensities: G. S. Pawley, J. Appl. Cryst.
14 (1981) 357 (from memory). Areas stay positive, and lines nearer than half a width share one, which keeps such a fit
from trading one against the other.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from xrdorder.crystals.phase import Phase
from xrdorder.crystals.unit_cell import inverse_d_squared
from xrdorder.forward_model.phase_lines import Optics, PhaseLines
from xrdorder.forward_model.roles import Kind
from xrdorder.profiles.voigt import fwhm

Array = NDArray[np.float64]

_MERGED_WIDTHS = 0.5  # lines nearer than this share an area; common practice, no source
_USUAL_WIDTH_DEG = 0.15  # of a line nothing is known about yet


class FreeLines(PhaseLines):
    """Lines of one phase, their areas being parameters.

    The scale of the phase is held: one for a phase whose atoms are not known, that of the fit for one that was freed.

    Parameters
    ----------
    phase
        Cell and space group; its atoms are not asked for.
    optics, two_theta_range
        As for `PhaseLines`.
    width_deg
        Full width of its lines, as far as known.

    Attributes
    ----------
    area_names
        Parameters of the groups inside the range, counts times degree (all emission lines of a group, weighed at
        the reference emission line), by rising angle.
    unit_scale
        Scale at which they are areas.
    """

    area_names: tuple[str, ...] = ()
    unit_scale = 1.0
    _members: Mapping[tuple[int, ...], "_Member"] = MappingProxyType({})

    def __init__(
        self,
        phase: Phase,
        optics: Optics,
        two_theta_range: tuple[float, float],
        *,
        width_deg: float = _USUAL_WIDTH_DEG,
    ) -> None:
        super().__init__(phase, optics, two_theta_range)
        n = len(self._all_hkl)
        self._divide(phase.lengths_nm, np.full(n, width_deg), np.ones(n), np.zeros(n))

    def _set_radiation(self) -> None:
        """Note the emission lines, and which reflections can be in the range and are wanted."""
        super()._set_radiation()
        p = self.phase
        if p.d_min_nm is not None:
            q, _ = inverse_d_squared(p.system, self._all_hkl, p.lengths_nm, p.angles_deg)
            wanted = q <= p.d_min_nm**-2
            self._all_hkl, self._all_multiplicity = self._all_hkl[wanted], self._all_multiplicity[wanted]

    @classmethod
    def freed(cls, lines: PhaseLines, values: Mapping[str, float]) -> "FreeLines":
        """Return the lines of a phase of known atoms, their areas free from now on.

        Lines outside the range, of which only the tails are seen, keep the intensities of the structure.
        """
        free = cls.__new__(cls)
        free.__dict__.update(lines.__dict__)
        free.unit_scale = values[lines.scale_name]
        drawn, _ = lines.lines(values, {})
        first = lines.first_lines()
        nodes = len(drawn.position) // max(len(first), 1)
        width = fwhm(drawn.gauss_squared[::nodes], drawn.lorentz[::nodes])[first]
        intensity, _ = lines.intensities(values)
        known = {hkl: k for k, hkl in enumerate(_tuples(lines.hkl))}
        row = np.array([known.get(hkl, -1) for hkl in _tuples(lines._all_hkl)], dtype=np.intp)
        widths = np.where(row >= 0, width[row], _USUAL_WIDTH_DEG)
        every = np.where(row >= 0, intensity[row], 0.0)
        free._divide(lines.frozen_at, widths, every, every)
        free._nodes = lines._nodes
        return free

    def _divide(self, lengths: tuple[float, ...], width: Array, intensity: Array, outside_range: Array) -> None:
        """Form groups of the reflections inside the range, with the share of each reflection in its group.

        Parameters
        ----------
        lengths
            Lattice.
        width, intensity, outside_range
            Of all reflections: full width, intensity that sets the shares, intensity of those outside the range.
        """
        q, _ = inverse_d_squared(self.phase.system, self._all_hkl, lengths, self.phase.angles_deg)
        sine = 0.5 * self.optics.radiation.wavelength_nm * np.sqrt(q)
        two_theta = 2.0 * np.degrees(np.arcsin(np.minimum(sine, 1.0)))
        groups: list[list[int]] = []
        outside: list[int] = []
        for k in map(int, np.argsort(two_theta, kind="stable")):
            if not self._low < two_theta[k] < self._high:
                outside.append(k)
            elif groups and two_theta[k] - two_theta[groups[-1][0]] < _MERGED_WIDTHS * width[k]:
                groups[-1].append(k)
            else:
                groups.append([k])
        hkl = _tuples(self._all_hkl)
        members = {hkl[k]: _Member(-1, 0.0, float(outside_range[k])) for k in outside}
        for number, group in enumerate(groups):
            strength = (intensity * self._all_multiplicity)[group]
            if not strength.sum() > 0.0:  # the structure makes nothing of them: all alike
                strength = self._all_multiplicity[group].astype(np.float64)
            for k, share in zip(group, strength / strength.sum(), strict=True):
                members[hkl[k]] = _Member(number, float(share), 0.0)
        self._members = members
        self.roles = dict(self.roles)  # lines that were freed keep theirs
        self.area_names = tuple(self._named(Kind.AREA, f"area_{k}") for k in range(len(groups)))
        self.frozen_at = ()  # the members are others
        self.freeze(lengths)

    def freeze(self, lengths_nm: tuple[float, ...]) -> None:
        """Evaluate at this lattice what hardly changes with it (see `PhaseLines.freeze`)."""
        before = self.freezes
        super().freeze(lengths_nm)
        if self.freezes == before:
            return
        members = [self._members.get(hkl, _NOBODY) for hkl in _tuples(self.hkl)]
        self._group = np.array([m.group for m in members], dtype=np.intp)
        self._share = np.array([m.share for m in members], dtype=np.float64)
        self._held = np.array([m.intensity for m in members], dtype=np.float64)

    def _structure_factor_squared(self, values: Mapping[str, float]) -> tuple[Array, dict[str, Array]]:
        """One for all: the areas say what there is to say."""
        return np.ones(len(self.hkl)), {}

    def intensities(self, values: Mapping[str, float]) -> tuple[Array, dict[str, Array]]:
        """Intensity of each reflection for the areas as they stand, and derivatives by the areas."""
        unit = self._share * self.norm / (self._strength[self.first_lines()] * self.unit_scale)
        # one more for the lines outside the range
        areas = np.array([*(values[name] for name in self.area_names), 0.0])
        slopes = {name: np.where(self._group == k, unit, 0.0) for k, name in enumerate(self.area_names)}
        return self._held + unit * areas[self._group], slopes

    def areas(self, values: Mapping[str, float], lines: PhaseLines) -> dict[str, float]:
        """Areas that reproduce other lines of the same phase, by parameter name."""
        intensity, _ = lines.intensities(values)
        area = lines._strength[lines.first_lines()] * intensity * values[lines.scale_name] / lines.norm
        inside = self._group >= 0
        sums = np.bincount(self._group[inside], area[inside], len(self.area_names))
        return dict(zip(self.area_names, map(float, sums), strict=True))


class _Member(NamedTuple):
    """Place of a reflection: its group (-1: none), its share of the group's area, the intensity it has without one."""

    group: int
    share: float
    intensity: float


_NOBODY = _Member(-1, 0.0, 0.0)


def _tuples(hkl: NDArray[np.int64]) -> list[tuple[int, ...]]:
    return [tuple(index) for index in hkl.tolist()]
