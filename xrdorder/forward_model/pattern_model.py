"""The forward model: what a whole pattern should look like.

Background (Chebyshev polynomials) plus the lines of all phases, at every measuring point, in counts.
"""

from collections.abc import Hashable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.profiles.instrument import INSTRUMENT_NAMES
from xrdorder.profiles.summation import ProfileSum, RunningSum
from xrdorder.profiles.voigt import fwhm

Array = NDArray[np.float64]
_AXIAL = ("axial_source_ratio", "axial_detector_ratio")


class PatternModel:
    """Calculated counts of one pattern.

    Parameters
    ----------
    two_theta
        Measuring points, degrees, ascending, shape (n,).
    time_factor
        Counting time of each point over the usual one, shape (n,); the model counts in usual times.
    phases
        Lines of the phases.
    background_terms
        Number of Chebyshev coefficients.

    Attributes
    ----------
    phases
        Lines in the model.
    profile
        Sum of lines over the points.
    polynomials
        Those of the background, by column, shape (n, terms).
    background_names, displacement_names, global_names
        Parameters of the background, of the specimen's place, and all that the phases share.
    """

    def __init__(
        self, two_theta: Array, time_factor: Array, phases: Sequence[PhaseLines], background_terms: int
    ) -> None:
        self.two_theta, self.time_factor = np.asarray(two_theta), np.asarray(time_factor)
        self.phases = tuple(phases)
        self.profile = ProfileSum(self.two_theta)
        self._parts: dict[int, tuple[Hashable, Array]] = {}
        low, high = self.two_theta[0], self.two_theta[-1]
        unit = (2.0 * self.two_theta - low - high) / (high - low)
        self.polynomials = np.asfortranarray(
            np.polynomial.chebyshev.chebvander(unit, background_terms - 1)
        )
        self.background_names = tuple(f"background_{k}" for k in range(background_terms))
        # how the geometry lets a specimen be out of place
        self.displacement_names = tuple(phases[0].optics.geometry.shift_slopes(np.zeros(1)))
        self.global_names = (
            *INSTRUMENT_NAMES, *self.displacement_names, "transparency_deg", "wavelength_shift",
        )  # fmt: skip

    @property
    def names(self) -> tuple[str, ...]:
        """All parameter names; what populations of one phase share stands there once."""
        phase_names = (name for phase in self.phases for name in phase.names)
        return tuple(dict.fromkeys((*self.background_names, *self.global_names, *phase_names)))

    def add(self, lines: PhaseLines) -> None:
        """Let the pattern hold more lines."""
        self.phases = (*self.phases, lines)

    def remove(self, lines: PhaseLines) -> None:
        """Take lines out again."""
        self.phases = tuple(phase for phase in self.phases if phase is not lines)
        self._parts.pop(id(lines), None)

    def background(self, values: Mapping[str, float]) -> Array:
        """Background counts, shape (n,)."""
        coefficients = np.array([values[name] for name in self.background_names])
        return np.asarray(self.polynomials @ coefficients * self.time_factor)

    def part(self, phase: PhaseLines, values: Mapping[str, float]) -> Array:
        """Counts that one phase contributes, shape (n,)."""
        # many ask for the same at one minimum: the last of each phase of the model is kept
        here = phase.freezes, tuple(values[name] for name in (*self.global_names, *phase.names))
        kept = self._parts.get(id(phase))
        if kept is not None and kept[0] == here and phase in self.phases:
            return kept[1].copy()
        lines, _ = phase.lines(values, {})
        ratios = values["axial_source_ratio"], values["axial_detector_ratio"]
        part = np.asarray(self.profile.total(lines, *ratios) * self.time_factor)
        if phase in self.phases:
            self._parts[id(phase)] = here, part.copy()
        return part

    def part_of(self, phase_name: str, values: Mapping[str, float]) -> Array:
        """Counts that all populations of one phase contribute, contaminating lines included, shape (n,)."""
        parts = [self.part(lines, values) for lines in self.phases if lines.phase.name == phase_name]
        return sum(parts, np.zeros_like(self.two_theta))

    def counts(self, values: Mapping[str, float]) -> Array:
        """Calculated counts, shape (n,)."""
        total = self.background(values)
        for phase in self.phases:
            if values[phase.scale_name] != 0.0 and not (phase.share_name and values[phase.share_name] == 0.0):
                total += self.part(phase, values)
        return total

    def counts_with_jacobian(self, values: Mapping[str, float], wanted: Sequence[str]) -> tuple[Array, Array]:
        """Calculated counts (n,) and their derivatives by the wanted parameters (n, wanted)."""
        n, names = len(wanted), tuple(wanted)
        # both axial ratios or none: the profile gives their derivatives together
        if set(_AXIAL) & set(names):
            names = tuple(dict.fromkeys((*names, *_AXIAL)))
        where = {name: k for k, name in enumerate(names)}
        ratios = values["axial_source_ratio"], values["axial_detector_ratio"]
        sums = RunningSum(self.profile, len(names))
        for phase in self.phases:
            if _is_there(phase, values, wanted):
                local = [name for name in (*self.global_names, *phase.names) if name in where]
                place = np.array([where[name] for name in local], dtype=np.intp)
                sums.add(*phase.lines(values, {name: k for k, name in enumerate(local)}), place, *ratios)
        total, jacobian = sums.finished()
        total += self.polynomials @ [values[name] for name in self.background_names]
        for name in self.background_names:
            if name in where:
                jacobian[:, where[name]] = self.polynomials[:, self.background_names.index(name)]
        if np.any(self.time_factor != 1.0):
            total *= self.time_factor
            jacobian *= self.time_factor[:, None]
        return total, jacobian[:, :n]

    def reach(self, values: Mapping[str, float], names: Sequence[str]) -> Array:
        """How far each parameter may go in one step: no line by more than half its width; infinite for most."""
        reach = np.full(len(names), np.inf)
        place = {name: k for k, name in enumerate(names) if name not in _AXIAL}
        columns = {name: k for k, name in enumerate(place)}
        for phase in self.phases:
            if _is_there(phase, values, names):
                lines, by = phase.lines(values, columns)
                half = 0.5 * fwhm(lines.gauss_squared, lines.lorentz)
                slope = np.max(np.abs(by.position) / half[:, None], axis=0, initial=0.0)
                for k, steepest in zip(place.values(), slope, strict=True):
                    reach[k] = min(reach[k], 1.0 / steepest) if steepest > 0.0 else reach[k]
        return reach

    def names_at(self, values: Mapping[str, float]) -> tuple[str, ...]:
        """Names of all parameters of the specimen, and of its place, that are in the pattern at these values."""
        phase_names = (name for phase in self.phases if _is_there(phase, values, ()) for name in phase.names)
        place = (name for name in self.global_names if name not in INSTRUMENT_NAMES)
        return tuple(dict.fromkeys((*self.background_names, *place, *phase_names)))


def _is_there(phase: PhaseLines, values: Mapping[str, float], wanted: Sequence[str]) -> bool:
    """Tell whether lines have, or could get, any strength."""
    if values[phase.scale_name] == 0.0 and phase.scale_name not in wanted:
        return False
    share = phase.share_name
    return not share or values[share] != 0.0 or share in wanted
