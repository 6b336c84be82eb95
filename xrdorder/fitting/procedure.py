"""One pattern on its way from search to minimum, without a user.

Background by clipping, lattices by matching lines, scales by non-negative least squares; then least squares of all
parameters at once, where no line may move by more than half its width in a step; then the effects the residual asks
for; at last single bad points out, and the minimum. Weights, and what depends on a lattice only weakly, follow from
step to step, so that the end is the minimum by its own weights. Where all at once leads nowhere parameters are freed
one group after the other.
"""

import json
from collections.abc import Callable, Mapping, Sequence

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.crystals import Phase
from xrdorder.crystals.standards import Standard
from xrdorder.exceptions import FitError, Flag
from xrdorder.fitting.free_intensities import initial_areas
from xrdorder.fitting.free_intensities import significance as free_significance
from xrdorder.fitting.initial_values import (
    TrialLattices,
    background_terms,
    clipped_background,
    initial_scales,
    match_lattice,
    match_residual,
    smoothed_net,
)
from xrdorder.fitting.options import FitOptions
from xrdorder.forward_model.amounts import masses
from xrdorder.forward_model.free_lines import FreeLines
from xrdorder.forward_model.initial_parameters import (
    INITIAL_SIZE_NM,
    add_phase_parameters,
    initial_parameters,
)
from xrdorder.forward_model.parameter_map import set_values
from xrdorder.forward_model.pattern_model import PatternModel
from xrdorder.forward_model.phase_lines import Optics, PhaseLines
from xrdorder.forward_model.roles import add_parameter, role_of
from xrdorder.least_squares.engines import engine as engine_named
from xrdorder.least_squares.quality import serial_correlation_factor, squared_significance, thinned
from xrdorder.least_squares.refinement import Refinement, Solution
from xrdorder.patterns.counts import smoothing_points
from xrdorder.profiles.voigt import fwhm
from xrdorder.profiles.width_terms import lorentz_sec_from_size
from xrdorder.uncertainty import ONE_SIDED_95

Array = NDArray[np.float64]

PRESENT = 3.0  # significance of the scale below which a phase is called absent (3 standard uncertainties)
MAIN_PRESENT = (
    5.0  # where there is no A15 the fit finds one of 1.6, and the lattice search has many tries
)
EFFECT_SIGNIFICANCE = 15.0  # weaker lines are not asked for texture
_WIDTH_SIGNIFICANCE = 8.0  # below it the lines are too weak to tell their width, here to 15 %
_STRAIN_SIGNIFICANCE = 20.0  # from here on strained lines with the width of size alone bias the amount by more than u
_SHAPE_SIGNIFICANCE = 60.0  # below it size and both shapes of strain are too strongly correlated to converge
U_B_ISO_RELATIVE = 0.3  # of displacement parameters of the catalogue; judged: Debye temperatures make 25 % for Nb3Sn
_REFERENCE_SIGNIFICANCE = 50.0  # an internal standard weaker than this would blur what the calibration knows
_TRIAL_WIDTHS = (1.0, 2.0, 4.0)  # times that of domains of usual size
_SEARCH_MISFIT = 0.1  # share by which lines of trial widths, not yet in their place, may be wrong
MISFIT = 0.03  # share of a strong line by which the model may be wrong while weak phases are looked for
_SOUGHT_AGAIN = 60.0  # significance below which a phase is looked for in what the others leave
_SAME_PLACE = 2e-3  # relative: ten steps of a search, nearer than half a line width; from there a fit finds the rest
_FIRST_ROUND, _ROUND = 3.0, 0.1  # of chi squared, on credit
_STRAIGHT = 10  # evaluations of a fit of all parameters before weak phases are looked for
_WORSE = 1.1  # times chi squared of the first fit: it went astray


def source_name(pattern: xr.DataArray) -> str:
    """Name of the file a pattern came from, for messages."""
    return str(pattern.attrs.get("source_file") or "pattern")


class Procedure:
    """Search and least squares on one pattern.

    Parameters
    ----------
    pattern
        Counts over 2 theta.
    optics
        Radiation and geometry.
    phases
        To look for; the main one may stand anywhere.
    main
        Name of the main phase: its displacement parameters are fitted too.
    instrument_values
        Instrument parameters to begin with.
    engine
        Name of the least-squares engine.
    certificate
        Certificate of an internal standard, whose phase is among `phases`.
    options
        Choices.

    Attributes
    ----------
    lines
        Lines of each phase, main phase first.
    pending
        Phases of unknown atoms, which wait until the others are explained.
    taken
        Parameters of effects that were taken into the model.
    absent, limits
        Phases that were not found: significance, and the scale that would have been seen.
    flags, pattern_flags
        Of the fit so far; those of the pattern itself.
    tested_with
        Lines that were in the model when the residual was last asked for effects.
    u_shape_nm
        How uncertain the mean lattice parameter is because the form of its distribution is not known.
    u_transparency_deg
        Standard uncertainty of the transparency shift of a clear specimen where it is held.
    """

    def __init__(
        self,
        pattern: xr.DataArray,
        optics: Optics,
        phases: Sequence[Phase],
        main: str,
        instrument_values: Mapping[str, float],
        engine: str,
        certificate: Standard | None = None,
        options: FitOptions | None = None,
    ) -> None:
        self.pattern, self.optics, self.options = pattern, optics, options or FitOptions()
        self.two_theta = np.asarray(pattern["two_theta"].values, dtype=np.float64)
        time_factor = np.ones_like(self.two_theta)
        # intensities that are no counts have been divided by the time already
        if pattern.attrs.get("intensity_kind", "counts") == "counts":
            time = np.asarray(pattern["counting_time"].values, dtype=np.float64)
            time_factor = time / np.median(time)
        self.pattern_flags = [Flag(*entry) for entry in json.loads(pattern.attrs.get("flags", "[]"))]
        self.range = float(self.two_theta[0]), float(self.two_theta[-1])
        every = [self._lines_of(p) for p in phases if not p.free_intensities]
        self.pending = [p for p in phases if p.free_intensities]
        self.flags: list[Flag] = []
        self.lines = [lines for lines in every if len(lines.hkl)]
        if not self.lines:
            low, high = self.range
            raise FitError(
                f"{source_name(pattern)}: no phase has a line between {low:.2f} and {high:.2f} degrees "
                f"at {optics.radiation.wavelength_nm:.5f} nm; check the radiation and the range"
            )
        for lines in every:
            if not len(lines.hkl):
                text = f"{lines.phase.name} has no line in the measured range"
                self.flags.append(Flag("phase-out-of-range", text))
        self.lines.sort(key=lambda lines: lines.phase.name != main)  # main phase first, others as given
        self.main = self.lines[0]
        self.certificate = certificate
        self.reference = next((x for x in self.lines if certificate and x.phase.name == certificate.phase), None)
        terms = background_terms(self.two_theta)
        self.model = PatternModel(self.two_theta, time_factor, self.lines, terms)
        self.parameters = initial_parameters(self.model, instrument_values, optics.radiation)
        self.fit = Refinement(pattern, self.model, self.parameters, engine_named(engine))
        self._start_width = lorentz_sec_from_size(INITIAL_SIZE_NM, optics.radiation.wavelength_nm)
        self.absent: dict[str, float] = {}
        self.limits: dict[str, float] = {}
        self.taken: list[str] = []
        self._sought: set[str] = set()
        self._searched: dict[str, float] = {}
        self.converged = False
        self.u_shape_nm = 0.0
        self.u_transparency_deg = 0.0
        self.tested_with = 0
        self._scattered: tuple[tuple[Array, NDArray[np.bool_]], tuple[float, float]] | None = None

    def _lines_of(self, phase: Phase) -> PhaseLines:
        if phase.free_intensities:
            return FreeLines(phase, self.optics, self.range)
        axis = self.options.texture_axes.get(phase.name)
        return PhaseLines(phase, self.optics, self.range, march_axis=axis)

    def search(self, *, lattices: bool = True) -> None:
        """Find background, scales and, unless they are known, lattices."""
        fit, model = self.fit, self.model
        rate = fit.observed / model.time_factor
        clipped = clipped_background(self.two_theta, rate)
        weighted = model.polynomials.T / np.maximum(clipped, 1.0)
        coefficients = np.linalg.solve(weighted @ model.polynomials, weighted @ clipped)
        set_values(self.parameters, dict(zip(model.background_names, coefficients.tolist(), strict=True)))
        net, variance = rate - clipped, fit.variance / model.time_factor**2
        parts: list[Array] = []
        explained = np.zeros_like(net)
        for lines in self.lines:
            if lattices and lines is self.main:
                self._match(lines, match_lattice, smoothed_net(self.two_theta, rate, clipped))
                self._match_width(net, variance)
            elif lattices:
                misfit = _SEARCH_MISFIT * explained
                self._match(lines, match_residual, net - explained, variance + misfit**2)
            parts.append(model.part(lines, fit.values() | {lines.scale_name: 1.0}) / model.time_factor)
            scales = initial_scales(parts, net, variance)
            explained = sum((s * p for s, p in zip(scales, parts, strict=True)), np.zeros_like(net))
        for lines, scale in zip(self.lines, scales, strict=True):
            self.parameters[lines.scale_name].value = float(scale)
            self._note(lines)

    def _match_width(self, net: Array, variance: Array) -> None:
        """Take for the main phase the width, of a few, that leaves least of the net counts unexplained."""
        sec, left = self.main.width_names[0], {}
        for times in _TRIAL_WIDTHS:
            width = times * self._start_width
            values = self.fit.values() | {self.main.scale_name: 1.0, sec: width}
            part = self.model.part(self.main, values) / self.model.time_factor
            (scale,) = initial_scales([part], net, variance)
            left[width] = float(np.sum((net - scale * part) ** 2 / variance))
        set_values(self.parameters, {sec: min(left, key=lambda width: left[width])})

    def _note(self, lines: PhaseLines) -> None:
        """Note where the search has put a phase: lattice and widths, to which they return where they are held."""
        names = (*lines.length_names, *lines.width_names)
        self._searched |= {name: float(self.parameters[name].value) for name in names}

    def _match(self, lines: PhaseLines, score: Callable[..., float], *counts: Array) -> None:
        """Put one phase where its lines fit best, by one of the scores of `initial_values`."""
        catalogue = dict(zip(lines.length_names, lines.phase.lengths_nm, strict=True))
        drawn = lines.summary(self.fit.values() | catalogue | {lines.scale_name: 1.0})
        inverse_d = 2.0 * np.sin(np.radians(drawn.position / 2.0)) / self.optics.radiation.wavelength_nm
        lengths = np.array(lines.phase.lengths_nm)
        low = max(lo / start for lo, start in zip(lines.phase.lengths_low_nm, lengths, strict=True))
        high = min(hi / start for hi, start in zip(lines.phase.lengths_high_nm, lengths, strict=True))
        trials = TrialLattices(inverse_d, drawn.area, self.optics.radiation.wavelength_nm, low, high)
        self._place(lines, tuple((lengths * score(trials, self.two_theta, *counts)).tolist()))

    def _place(self, lines: PhaseLines, lengths: tuple[float, ...]) -> None:
        """Put one phase at a lattice."""
        set_values(self.parameters, dict(zip(lines.length_names, lengths, strict=True)))
        lines.freeze(lengths)

    def refine(self, effects: Sequence[Callable[["Procedure"], bool]] = ()) -> None:
        """Fit all at once, or step by step where that fails; drop phases that are not there; take in effects.

        Parameters
        ----------
        effects
            Each may take something into the model and says whether it did (`xrdorder.fitting.effects`).
        """
        searched = self.fit.values()
        if not self._at_once():
            self._step_by_step(searched)
            self.settle_phases()
        for take in effects:
            if take(self):
                self.settle_phases()
        self.converged = self.fit.settle(self.fitted())
        if not self.converged:
            self.flags.append(
                Flag("not-converged", "the fit came to no minimum; its values are where it stopped")
            )

    def _at_once(self) -> bool:
        """Fit all that is decided, and look for weak phases in what the others leave; False if it went astray."""
        self.fit.run(self.decidable(), most_iterations=_STRAIGHT, tolerance=_FIRST_ROUND, follow=True)
        approached = self.fit.reached
        doubtful = self.strength(self.main) < _SOUGHT_AGAIN
        if doubtful and (weak := self._weakest(self.fit.solution()[0], [self.main])):
            self._drop(*weak)  # a free A15 that is not there would not converge
        for lines in self.present():
            movable = lines is not self.main and lines is not self.reference and not isinstance(lines, FreeLines)
            if movable and self.strength(lines) < _SOUGHT_AGAIN:
                self._seek(lines)
        return self.settle_phases() and self.fit.reached < _WORSE * approached

    def _step_by_step(self, searched: Mapping[str, float]) -> None:
        """Start again where the search ended, and free one group of parameters after the other."""
        set_values(self.parameters, searched)
        for records in (self.absent, self.limits, self._sought):
            records.clear()
        start = [*self.model.background_names, *(x.scale_name for x in self.lines), *self.main.length_names]
        self.fit.run(start, most_iterations=8, tolerance=1.0, follow=True)
        lengths = [
            name
            for lines in self.lines
            for name in lines.length_names
            if lines is not self.reference and self.strength(lines) > MAIN_PRESENT
        ]
        shape = [*start, *lengths, *self.model.displacement_names, self.main.width_names[0]]
        self.fit.run(dict.fromkeys(shape), most_iterations=15, tolerance=1.0, follow=True)
        if weak := self._weakest(self.fit.solution()[0], [self.main]):
            self._drop(*weak)

    def fitted(self) -> list[str]:
        """Names of all parameters that this pattern can decide; those it cannot go back to where the search had them.

        What is held would otherwise keep what an earlier round left in it.
        """
        names = self.decidable()
        held = set(self._searched) - set(names)
        set_values(self.parameters, {name: self._searched[name] for name in held})
        return names

    def add_phase(self, phase: Phase) -> PhaseLines | None:
        """Look for one more phase where the residual shows it best; None if it has no line in the range."""
        lines = self._lines_of(phase)
        if not len(lines.hkl):
            return None
        self.lines.append(lines)
        self.model.add(lines)
        add_phase_parameters(self.parameters, lines)
        if isinstance(lines, FreeLines):
            self._seek_free(lines)
        else:
            self._seek(lines)
        self._note(lines)
        return lines

    def _seek_free(self, lines: FreeLines) -> None:
        """Look for a phase of unknown atoms: all lines alike say where, the residual then how strong each is."""
        for name in lines.area_names:
            add_parameter(self.parameters, name, lines.roles[name], 1.0, 0.0)
        self.parameters[lines.scale_name].set(value=lines.unit_scale, vary=False)
        nothing = self.fit.values() | dict.fromkeys(lines.area_names, 0.0)
        counts = self.model.counts(nothing)
        misfit = MISFIT * (counts - self.model.background(nothing))
        self._match(lines, match_residual, self.fit.observed - counts, self.fit.variance + misfit**2)
        set_values(self.parameters, initial_areas(self.fit, lines))

    def _seek(self, lines: PhaseLines) -> bool:
        """Look again for a weak phase, now that the strong ones are explained; tell whether it stands elsewhere now.

        Under strong lines the residual is misfit rather than noise; there it counts for little.
        """
        fit, names, scale_name = self.fit, lines.length_names, lines.scale_name
        before, amount = tuple(fit.values()[name] for name in names), fit.values()[scale_name]
        counts = fit.counts()
        if amount > 0.0:  # in which they are linear
            counts = counts - amount * fit.derivatives([scale_name])[:, 0]
        misfit = MISFIT * (counts - self.model.background(fit.values()))
        residual, variance = fit.observed - counts, fit.variance + misfit**2
        self._match(lines, match_residual, residual, variance)
        found = tuple(fit.values()[name] for name in names)
        self._searched |= dict(zip(names, found, strict=True))
        same = _SAME_PLACE if self.parameters[names[0]].vary else 0.0
        if amount > 0.0 and all(abs(x / y - 1.0) <= same for x, y in zip(found, before, strict=True)):
            self._place(lines, before)
            return False
        widths = {name: self._searched[name] for name in lines.width_names if name in self._searched}
        set_values(self.parameters, widths)
        unit = self.model.part(lines, fit.values() | {scale_name: 1.0})
        scale = float(np.sum(unit * residual / variance) / np.sum(unit**2 / variance))
        set_values(self.parameters, {scale_name: max(scale, 0.0)})
        return True

    def settle_phases(self) -> bool:
        """Fit; seek once more what does not stand out, and drop it when it still does not; until all do.

        Tell whether that came to a minimum.
        """
        while True:
            converged = self.fit.run(self.fitted(), tolerance=_ROUND, follow=True)
            weak = self._weakest(self.fit.solution()[0], self.lines)
            if weak is None:
                return converged
            lines, significance = weak
            lost = lines is self.main or isinstance(lines, FreeLines) or lines.phase.name in self._sought
            self._sought.add(lines.phase.name)
            if lost or not self._seek(lines):
                self._drop(lines, significance)

    def strength(self, lines: PhaseLines, values: Mapping[str, float] | None = None) -> float:
        """Rough significance of a phase: what a matched filter would make of its lines as they are, or at `values`."""
        drawn, _ = lines.lines(values or self.fit.values(), {})
        step = self.fit.step
        inside = (drawn.position > self.two_theta[0]) & (drawn.position < self.two_theta[-1])
        variance = np.interp(drawn.position, self.two_theta, self.fit.variance)
        width = fwhm(drawn.gauss_squared, drawn.lorentz)
        return float(np.sqrt(np.sum(squared_significance(drawn.area, width, step, variance)[inside])))

    def decidable(self) -> list[str]:
        """Names of all parameters that this pattern can decide."""
        names = [*self.model.background_names, *self.model.displacement_names]
        values = self.fit.values()
        for lines in self.lines:
            if lines.phase.name in self.absent:
                continue
            names += lines.area_names if isinstance(lines, FreeLines) else [lines.scale_name]
            strength = self.strength(lines, values)
            if lines is self.reference:
                if strength > _REFERENCE_SIGNIFICANCE:
                    names.append("two_theta_offset")
            elif lines is self.main or strength > MAIN_PRESENT:
                names += lines.length_names
            if lines is self.main or strength > _SHAPE_SIGNIFICANCE:
                names += lines.width_names
            elif strength > _STRAIN_SIGNIFICANCE:
                names += lines.width_names[:2]  # Lorentzian ones: one that grows as strain, beside that of size
            elif strength > _WIDTH_SIGNIFICANCE:
                names.append(lines.width_names[0])
            if lines is self.main:
                names += lines.b_iso_names
                if lines.contrast_name:
                    names.append(lines.contrast_name)
        owners = {"", *(lines.phase.name for lines in self.present())}  # what all phases share has none
        return names + [name for name in self.taken if role_of(self.parameters, name).owner in owners]

    def present(self) -> list[PhaseLines]:
        """Lines of the phases that were found, main phase first."""
        return [lines for lines in self.lines if lines.phase.name not in self.absent]

    def weighed(self) -> list[PhaseLines]:
        """Phases of the wire that were found: those that share the weight."""
        return [lines for lines in self.present() if lines is not self.reference and lines.phase.sites]

    def volumes(self) -> list[tuple[PhaseLines, float]]:
        """Phases that share the weight, and the share of the solid volume that each has."""
        weighed, values = self.weighed(), self.fit.values()
        mass = masses(weighed, self.second_population(), values)
        volume = []
        for lines in weighed:
            lengths = tuple(values[name] for name in lines.length_names)
            volume.append(mass[lines.phase.name] / lines.phase.density_g_cm3(lengths))
        total = sum(volume)
        return [(x, v / total) for x, v in zip(weighed, volume, strict=True)] if total > 0.0 else []

    def second_population(self) -> PhaseLines | None:
        """Lines of a second population of the main phase, if there is one in the model."""
        return next((lines for lines in self.model.phases if lines.twin is self.main), None)

    def _weakest(self, solution: Solution, among: Sequence[PhaseLines]) -> tuple[PhaseLines, float] | None:
        """The phase that stands out least, and its significance, if it does not stand out enough."""
        weak = []
        for lines in among:
            if lines.phase.name not in self.absent:
                needed = MAIN_PRESENT if lines is self.main else PRESENT
                significance = self.significance(lines, solution)
                if significance < needed:
                    weak.append((significance, lines.phase.name, lines))
        if not weak:
            return None
        significance, _, lines = min(weak, key=lambda entry: entry[:2])
        return lines, significance

    def _drop(self, lines: PhaseLines, significance: float) -> None:
        """Take a phase out of the fit, all its populations, and note how much of it would have been seen."""
        for other in self.model.phases:
            if other.phase.name == lines.phase.name and other is not lines:
                self.model.remove(other)
        self.absent[lines.phase.name] = significance
        self.limits[lines.phase.name] = self._largest_scale(lines)

    def significance(self, lines: PhaseLines, solution: Solution) -> float:
        """Scale over its standard uncertainty; zero for a scale at its bound."""
        if isinstance(lines, FreeLines):
            return free_significance(lines, solution)
        if lines.scale_name not in solution.free:
            return 0.0
        return float(self.parameters[lines.scale_name].value) / solution.u(lines.scale_name)

    def _largest_scale(self, lines: PhaseLines) -> float:
        """Put a phase that was not found to rest; return the scale that would have been seen in 95 of 100 cases.

        Where there is nothing to fit, lattice and widths are meaningless; they go back to those of the catalogue
        and the scale alone is asked for.
        """
        if isinstance(lines, FreeLines):
            set_values(self.parameters, dict.fromkeys(lines.area_names, 0.0))
            return float("nan")
        sec, tan, gauss = lines.width_names
        rest = dict(zip(lines.length_names, lines.phase.lengths_nm, strict=True))
        rest |= {lines.scale_name: 0.0, sec: self._start_width, tan: 0.0, gauss: 0.0}
        set_values(self.parameters, rest)
        self._note(lines)
        lines.freeze(lines.phase.lengths_nm)
        fit = self.fit
        unit = self.model.part(lines, fit.values() | {lines.scale_name: 1.0})
        information = float(np.sum(unit**2 / fit.variance))
        scale = float(np.sum(unit * fit.weighted_residual() / np.sqrt(fit.variance))) / information
        return max(scale, 0.0) + ONE_SIDED_95 / float(np.sqrt(information))

    def line_width(self) -> float:
        """Full width of a typical line of the main phase, degrees."""
        drawn, _ = self.main.lines(self.fit.values(), {})
        return float(np.median(fwhm(drawn.gauss_squared, drawn.lorentz)))

    def smoothed_over(self) -> float:
        """Points over which the scan was averaged before it came here; one for a scan as it was measured."""
        if any(flag.name == "smoothed" for flag in self.pattern_flags):
            return smoothing_points(self.fit.observed)
        return 1.0

    def serial_correlation(self) -> float:
        """Enlargement for weighted residuals that are serially correlated over a line width."""
        return self._scatter()[0]

    def enlargement(self) -> float:
        """Factor on all counting uncertainties: serial correlation, and a chi squared beyond one."""
        correlated, mean_square = self._scatter()
        return correlated * max(1.0, float(np.sqrt(mean_square)))

    def _scatter(self) -> tuple[float, float]:
        """Serial correlation and mean square of the residuals, beyond what smoothing has done to neighbours.

        Sums over twice the length of smoothing keep five sixths of the variance that the scan had before.
        """
        of = self.fit.weighted_residual(), self.fit.used
        if self._scattered is None or any(a is not b for a, b in zip(of, self._scattered[0], strict=True)):
            over = self.smoothed_over()
            points = int(np.ceil(2.0 * over)) if over > 1.0 else 1
            residual = thinned(of[0][of[1]], points)
            longest = int(np.ceil(2.0 * self.line_width() / self.fit.step / points))
            self._scattered = of, (serial_correlation_factor(residual, longest), float(np.mean(residual**2)))
        return self._scattered[1]

    def improved(self, chi_squared_before: float, least: float) -> bool:
        """Tell whether chi squared has fallen by so much, over that of the scatter there was."""
        scatter = max(1.0, chi_squared_before / len(self.two_theta))
        return self.fit.chi_squared() < chi_squared_before - least * scatter
