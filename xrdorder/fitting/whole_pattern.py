"""Fit a whole pattern without a user: which phases, where, how much, how well ordered.

The order of steps is the one that never failed in trials from starts 1 % off in the lattice parameter: background by
clipping, lattices by matching lines, scales by non-negative least squares; then least squares with ever more
parameters; at last model weights, single bad points out, and the minimum.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from xrdorder.crystals import A15Composition, Phase, doped, free_lengths, phase
from xrdorder.crystals.standards import Standard
from xrdorder.crystals.standards import standard as standard_named
from xrdorder.exceptions import FitError, Flag, InstrumentError
from xrdorder.fitting.engines import engine as engine_named
from xrdorder.fitting.geometry import Geometry
from xrdorder.fitting.model import PatternModel
from xrdorder.fitting.parameters import set_values
from xrdorder.fitting.phase_lines import Optics, PhaseLines
from xrdorder.fitting.propagation import Quantities, lattice_quantity, mass_per_scale, primary_quantities
from xrdorder.fitting.quality import agreement, serial_correlation_factor
from xrdorder.fitting.refinement import Refinement, Solution
from xrdorder.fitting.remarks import remarks
from xrdorder.fitting.result import PatternFit, PhaseResult
from xrdorder.fitting.start import (
    START_SIZE_NM,
    background_terms,
    clipped_background,
    match_lattice,
    match_residual,
    smoothed_net,
    start_parameters,
    start_scales,
)
from xrdorder.fitting.tables import curves, line_table
from xrdorder.fitting.texture import significant
from xrdorder.profiles import Instrument
from xrdorder.profiles.voigt import fwhm
from xrdorder.profiles.widths import lorentz_sec_from_size
from xrdorder.xrays import GEMMI_TABLE, Radiation, ScatteringTable, radiation

Array = NDArray[np.float64]

DEFAULT_PHASES = ("nb3sn", "nb", "cu-sn")
"""What a reacted wire shows after the copper is etched away: A15, unreacted niobium, bronze."""

DEFAULT_COMPOSITION = A15Composition(tin_fraction=0.24, site_order=0.93, dopants={}, on_tin_site={})
"""Composition whose mean scattering is assumed in the fit, the middle of what wires have (no source): strong lines
hardly feel it, and what they feel is put right afterwards (`PatternFit.by_tin`)."""

_PRESENT = 3.0  # significance of the scale below which a phase is called absent (3 standard uncertainties)
_MAIN_PRESENT = (
    5.0  # the fit makes up an A15 at 1.6 where there is none, and the lattice search has many tries
)
_WIDTH_SIGNIFICANCE = 15.0  # below it the lines are too weak to tell their width
_REFERENCE_SIGNIFICANCE = 50.0  # an internal standard weaker than this would blur what the calibration knows
_MISFIT = 0.03  # share of a strong line by which the model may be wrong while weak phases are looked for
_ONE_SIDED_95 = 1.645  # standard normal quantile


def fit_pattern(
    pattern: xr.DataArray,
    instrument: Instrument,
    *,
    phases: Sequence[str | Path | Phase] = DEFAULT_PHASES,
    composition: A15Composition | None = None,
    specimen_length_mm: float | None = None,
    divergence_deg: float | None = None,
    internal_standard: str | Standard | None = None,
    temperature_c: float = 22.5,
    engine: str = "own",
    table: ScatteringTable = GEMMI_TABLE,
) -> PatternFit:
    """Fit one pattern; nothing needs tuning.

    Parameters
    ----------
    pattern
        Counts over 2 theta from `xrdorder.patterns.read_pattern`.
    instrument
        From `calibrate` or `read_instrument`.
    phases
        Catalogue names, paths of CIF or phase files, or `Phase` objects. The A15 if among them, else the first, is the
        main phase: its displacement parameters are fitted too.
    composition
        Tin and dopants that set the mean scattering of the A15 (default: undoped, 24 at.% tin).
    specimen_length_mm
        Length of the specimen along the beam; that of the standard's says nothing about it.
    divergence_deg
        Fixed slit, where it differs from the instrument's.
    internal_standard
        Certified powder mixed into the specimen: its lattice is held, and the offset comes from the specimen itself.
        It takes no part in weight fractions.
    temperature_c
        How warm the specimen was; sets the lattice of the internal standard.
    engine
        ``"own"`` or ``"scipy"``.
    table
        Scattering factors.

    Raises
    ------
    InstrumentError
        The pattern names another radiation than the instrument, or was not measured in reflection.
    FitError
        No phase has a line in the range, or there are fewer points than parameters.
    PhaseError, UnknownNameError
        A phase cannot be found or read.
    """
    chosen = [p if isinstance(p, Phase) else phase(p) for p in phases]
    if not chosen:
        raise FitError("fit: no phase given; name at least one with --phases")
    mixed_in = None
    if internal_standard is not None:
        mixed_in = (
            internal_standard
            if isinstance(internal_standard, Standard)
            else standard_named(internal_standard)
        )
        lengths = mixed_in.lengths_at(temperature_c)
        powder = phase(mixed_in.phase)
        chosen.append(replace(powder, lengths_nm=lengths, lengths_low_nm=lengths, lengths_high_nm=lengths))
    names = [p.name for p in chosen]
    for name in names:
        if names.count(name) > 1:
            raise FitError(f"fit: phase '{name}' is given twice; name each phase once")
    refuse_transmission(pattern)
    light = instrument_radiation(instrument, pattern)
    ordered = [p for p in chosen if p.order is not None]
    a15 = ordered[0].name if ordered else None
    if a15 is not None:
        chosen = [doped(p, composition or DEFAULT_COMPOSITION) if p.name == a15 else p for p in chosen]
    geometry = Geometry(
        instrument.detector_distance_mm,
        divergence_deg if divergence_deg is not None else instrument.divergence_deg,
        specimen_length_mm,
    )
    optics = Optics(light, geometry, instrument.monochromator_two_theta_deg, table)
    job = WholePatternFit(pattern, optics, chosen, a15 or names[0], instrument.values, engine, mixed_in)
    job.search()
    job.refine()
    return job.result(instrument, composition or DEFAULT_COMPOSITION)


def instrument_radiation(instrument: Instrument, pattern: xr.DataArray) -> Radiation:
    """Radiation of the instrument, checked against what the pattern says of itself.

    Raises
    ------
    InstrumentError
        They differ by more than 0.1 %.
    """
    light = radiation(instrument.radiation)
    said = pattern.attrs.get("wavelength_nm")
    if said is not None and abs(float(said) / light.wavelength_nm - 1.0) > 1e-3:
        raise InstrumentError(
            f"{source_name(pattern)}: measured with {float(said):.6f} nm, but the instrument was "
            f"calibrated with {instrument.radiation} ({light.wavelength_nm:.6f} nm); calibrate with the same radiation"
        )
    return light


def refuse_transmission(pattern: xr.DataArray) -> None:
    """Refuse what the model does not describe.

    Raises
    ------
    InstrumentError
        The pattern was measured in transmission: other shifts, other absorption.
    """
    geometry = pattern.attrs.get("geometry") or "reflection"
    if geometry != "reflection":
        raise InstrumentError(
            f"{source_name(pattern)}: measured in {geometry}, but only symmetric reflection is modelled; "
            "measure in reflection, or correct the geometry if the file names it wrongly"
        )


def source_name(pattern: xr.DataArray) -> str:
    """Name of the file a pattern came from, for messages."""
    return str(pattern.attrs.get("source_file") or "pattern")


class WholePatternFit:
    """One pattern on its way from search to result."""

    def __init__(
        self,
        pattern: xr.DataArray,
        optics: Optics,
        phases: Sequence[Phase],
        main: str,
        instrument_values: Mapping[str, float],
        engine: str,
        mixed_in: Standard | None = None,
    ) -> None:
        self.pattern, self.optics = pattern, optics
        self.two_theta = np.asarray(pattern["two_theta"].values, dtype=np.float64)
        time_factor = np.ones_like(self.two_theta)
        if (
            pattern.attrs.get("intensity_kind", "counts") == "counts"
        ):  # other intensities have been divided already
            time = np.asarray(pattern["counting_time"].values, dtype=np.float64)
            time_factor = time / np.median(time)
        self._said = [Flag(*entry) for entry in json.loads(pattern.attrs.get("flags", "[]"))]
        limits = float(self.two_theta[0]), float(self.two_theta[-1])
        every = [PhaseLines(p, optics, limits) for p in phases]
        self.flags: list[Flag] = []
        self.lines = [lines for lines in every if len(lines.hkl)]
        if not self.lines:
            raise FitError(
                f"{source_name(pattern)}: no phase has a line between {limits[0]:.2f} and "
                f"{limits[1]:.2f} degrees at {optics.radiation.wavelength_nm:.5f} nm; check the radiation and the range"
            )
        self.outside = [lines.phase for lines in every if not len(lines.hkl)]
        for p in self.outside:
            self.flags.append(Flag("phase-out-of-range", f"{p.name} has no line in the measured range"))
        self.lines.sort(key=lambda lines: lines.phase.name != main)  # main phase first, others as given
        self.main = self.lines[0]
        self.mixed_in = mixed_in
        self.reference = next((x for x in self.lines if mixed_in and x.phase.name == mixed_in.phase), None)
        terms = background_terms(self.two_theta)
        self.model = PatternModel(self.two_theta, time_factor, self.lines, terms)
        self.parameters = start_parameters(self.model, instrument_values, optics.radiation)
        self.fit = Refinement(pattern, self.model, self.parameters, engine_named(engine))
        self._start_width = lorentz_sec_from_size(START_SIZE_NM, optics.radiation.wavelength_nm)
        self.absent: dict[str, float] = {}
        self.limits: dict[str, float] = {}
        self.textured: list[str] = []
        self.sought: set[str] = set()

    def search(self, *, lattices: bool = True) -> None:
        """Find background, scales and, unless they are known, lattices."""
        fit, model = self.fit, self.model
        rate = fit.observed / model.time_factor
        clipped = clipped_background(self.two_theta, rate)
        coefficients = np.polynomial.chebyshev.Chebyshev.fit(
            self.two_theta, clipped, len(model.background_names) - 1,
            w=1.0 / np.sqrt(np.maximum(clipped, 1.0)), domain=[self.two_theta[0], self.two_theta[-1]],
        ).coef  # fmt: skip
        for name, value in zip(model.background_names, coefficients, strict=True):
            self.parameters[name].value = float(value)
        net = rate - clipped
        parts: list[Array] = []
        explained = np.zeros_like(net)
        for lines in self.lines:
            if lattices:
                self._match(lines, match_lattice, smoothed_net(self.two_theta, rate - explained, clipped))
            values = fit.values() | {lines.scale_name: 1.0}
            parts.append(model.part(lines, values) / model.time_factor)
            scales = start_scales(parts, net, fit.variance / model.time_factor**2)
            explained = sum((s * p for s, p in zip(scales, parts, strict=True)), np.zeros_like(net))
        for lines, scale in zip(self.lines, scales, strict=True):
            self.parameters[lines.scale_name].value = float(scale)

    def _match(self, lines: PhaseLines, score: Callable[..., float], *counts: Array) -> None:
        """Put one phase where its lines fit best, by one of the scores of `start`."""
        catalogue = dict(zip(lines.length_names, lines.phase.lengths_nm, strict=True))
        drawn, _ = lines.lines(self.fit.values() | catalogue | {lines.scale_name: 1.0}, {})
        first = lines.first_lines()
        inverse_d = (
            2.0 * np.sin(np.radians(drawn.position[first] / 2.0)) / self.optics.radiation.wavelength_nm
        )
        lengths = np.array(lines.phase.lengths_nm)
        low = max(lo / start for lo, start in zip(lines.phase.lengths_low_nm, lengths, strict=True))
        high = min(hi / start for hi, start in zip(lines.phase.lengths_high_nm, lengths, strict=True))
        factor = score(
            self.two_theta,
            *counts,
            inverse_d,
            drawn.area[first],
            self.optics.radiation.wavelength_nm,
            low,
            high,
        )
        for name, length in zip(lines.length_names, lengths, strict=True):
            self.parameters[name].value = float(length * factor)
        lines.freeze(tuple(float(x) for x in lengths * factor))

    def refine(self) -> None:
        """Run the rounds of least squares; drop phases that are not there, hold what weak ones cannot tell."""
        fit, main = self.fit, self.main
        background = list(self.model.background_names)
        scales = [lines.scale_name for lines in self.lines]
        start = [*background, *scales, *main.length_names]
        fit.run(start, most_iterations=8, tolerance=1.0)
        fit.freeze()
        lengths = [
            name
            for lines in self.lines
            for name in lines.length_names
            if lines is not self.reference and self._strength(lines) > _MAIN_PRESENT
        ]
        shape = [*start, *lengths, "specimen_displacement_mm", f"{main.prefix}_lorentz_sec"]
        fit.run(dict.fromkeys(shape), most_iterations=15, tolerance=1.0)
        if weak := self._weakest(fit.solution()[0], [main]):
            self._drop(*weak)  # where there is none, a free A15 would roam about for long
        fit.freeze()
        fit.reweight()
        self._settle_phases()
        for orders in (("_4", "_6"), ("_8",)):
            if not self._take_texture(orders):
                break
            self._settle_phases()
        self.converged = fit.settle(self._everything())
        if not self.converged:
            self.flags.append(
                Flag("not-converged", "the fit ran out of iterations; values are near, not at, the minimum")
            )

    def _seek(self, lines: PhaseLines) -> None:
        """Look again for a weak phase, now that the strong ones are explained.

        Under strong lines the residual is misfit rather than noise; there it counts for little.
        """
        fit, values = self.fit, self.fit.values() | {lines.scale_name: 0.0}
        set_values(self.parameters, {lines.scale_name: 0.0})
        counts = self.model.counts(values)
        misfit = _MISFIT * (counts - self.model.background(values))
        residual, variance = fit.observed - counts, fit.variance + misfit**2
        self._match(lines, match_residual, residual, variance)
        unit = self.model.part(lines, fit.values() | {lines.scale_name: 1.0})
        scale = float(np.sum(unit * residual / variance) / np.sum(unit**2 / variance))
        set_values(self.parameters, {lines.scale_name: max(scale, 0.0)})

    def _settle_phases(self) -> None:
        """Fit; seek once more what does not stand out, and drop it when it still does not; until all do."""
        while True:
            self.fit.run(self._everything(), most_iterations=25, tolerance=0.1)
            weak = self._weakest(self.fit.solution()[0], self.lines)
            if weak is None:
                return
            lines, significance = weak
            if lines is self.main or lines.phase.name in self.sought:
                self._drop(lines, significance)
            else:
                self.sought.add(lines.phase.name)
                self._seek(lines)

    def _take_texture(self, orders: Sequence[str]) -> bool:
        """Let phases have texture of these orders where the residual asks for it; return whether any does."""
        found = significant(
            self.fit,
            [
                [name for name in lines.texture_names if name.endswith(tuple(orders))]
                for lines in self.lines
                if lines.phase.name not in self.absent and self._strength(lines) > _WIDTH_SIGNIFICANCE
            ],
        )
        self.textured += found
        return bool(found)

    def _strength(self, lines: PhaseLines) -> float:
        """Rough significance of a phase: what a matched filter would make of its lines as they are.

        A Gaussian line of unit area has the squared norm 0.664 / full width.
        """
        drawn, _ = lines.lines(self.fit.values(), {})
        step = float(np.median(np.diff(self.two_theta)))
        inside = (drawn.position > self.two_theta[0]) & (drawn.position < self.two_theta[-1])
        variance = np.interp(drawn.position, self.two_theta, self.fit.variance)
        width = fwhm(drawn.gauss_squared, drawn.lorentz)
        return float(np.sqrt(np.sum((drawn.area**2 * 0.664 / (width * step * variance))[inside])))

    def _everything(self) -> list[str]:
        """Names of all parameters that this pattern can decide."""
        names = [*self.model.background_names, "specimen_displacement_mm"]
        for lines in self.lines:
            if lines.phase.name in self.absent:
                continue
            names.append(lines.scale_name)
            strength = self._strength(lines)
            if lines is self.reference:
                if strength > _REFERENCE_SIGNIFICANCE:
                    names.append("two_theta_offset")
            elif lines is self.main or strength > _MAIN_PRESENT:
                names += lines.length_names
            if lines is self.main or strength > _WIDTH_SIGNIFICANCE:
                names += lines.width_names
            names += [name for name in lines.texture_names if name in self.textured]
            if lines is self.main:
                names += lines.b_iso_names
                if lines.contrast_name:
                    names.append(lines.contrast_name)
        return names

    def _weakest(self, solution: Solution, among: Sequence[PhaseLines]) -> tuple[PhaseLines, float] | None:
        """The phase that stands out least, and its significance, if it does not stand out enough."""
        weak = []
        for lines in among:
            if lines.phase.name not in self.absent:
                needed = _MAIN_PRESENT if lines is self.main else _PRESENT
                significance = self.significance(lines, solution)
                if significance < needed:
                    weak.append((significance, lines.phase.name, lines))
        if not weak:
            return None
        significance, _, lines = min(weak, key=lambda entry: entry[:2])
        return lines, significance

    def _drop(self, lines: PhaseLines, significance: float) -> None:
        """Take a phase out of the fit and note how much of it would have been seen."""
        self.absent[lines.phase.name] = significance
        self.limits[lines.phase.name] = self._largest_scale(lines)

    def significance(self, lines: PhaseLines, solution: Solution) -> float:
        """Scale over its standard uncertainty; zero for a scale at its bound."""
        if lines.scale_name not in solution.free:
            return 0.0
        k = solution.free.index(lines.scale_name)
        return float(self.parameters[lines.scale_name].value) / float(np.sqrt(solution.covariance[k, k]))

    def _largest_scale(self, lines: PhaseLines) -> float:
        """Put a phase that was not found to rest; return the scale that would have been seen in 95 of 100 cases.

        Where there is nothing to fit, lattice and widths run off to odd places; they go back to those of the catalogue
        and the scale alone is asked for.
        """
        sec, tan, gauss = lines.width_names
        rest = dict(zip(lines.length_names, lines.phase.lengths_nm, strict=True))
        rest |= {lines.scale_name: 0.0, sec: self._start_width, tan: 0.0, gauss: 0.0}
        set_values(self.parameters, rest)
        lines.freeze(lines.phase.lengths_nm)
        fit = self.fit
        unit = self.model.part(lines, fit.values() | {lines.scale_name: 1.0})
        information = float(np.sum(unit**2 / fit.variance))
        scale = float(np.sum(unit * fit.weighted_residual() / np.sqrt(fit.variance))) / information
        return max(scale, 0.0) + _ONE_SIDED_95 / float(np.sqrt(information))

    def result(self, instrument: Instrument, composition: A15Composition | None) -> PatternFit:
        """Assemble what is handed on; without a composition no A15 was looked for."""
        fit, model, main = self.fit, self.model, self.main
        values = fit.values()
        present = [lines for lines in self.lines if lines.phase.name not in self.absent]
        a15 = main if composition and main.contrast_name and main in present else None
        more_tin = None
        if a15 is not None and composition is not None:
            step = 0.01
            richer = replace(composition, tin_fraction=composition.tin_fraction + step)
            more_tin = doped(a15.phase, richer), step
        calculated = model.counts(values)
        residual = (fit.observed - calculated) / np.sqrt(fit.variance)
        quantities = primary_quantities(
            fit, self._weighed, instrument, a15, more_tin, self._mixed_in, self.enlargement(residual)
        )
        for name, u in zip(quantities.solution.free, quantities.u_free, strict=True):
            self.parameters[name].stderr = float(u)
        used = fit.used
        quality = agreement(
            fit.observed[used], calculated[used], fit.variance[used], len(quantities.solution.free)
        )
        self.flags += self._said
        if self.reference is not None and "two_theta_offset" not in quantities.solution.free:
            self.flags.append(
                Flag(
                    "internal-standard-weak",
                    f"the internal standard {self.reference.phase.name} is too weak to set the angles; the offset of "
                    "the calibration was taken",
                )
            )
        self.flags += remarks(
            fit, present, instrument, quantities.solution, quality.chi2_reduced, self._line_width()
        )
        return PatternFit(
            status="ok" if a15 is not None or composition is None else "no A15",
            a15=a15.phase.name if a15 is not None else "",
            values=quantities.values,
            by_tin=quantities.by_tin,
            tin_held=composition.tin_fraction if composition else float("nan"),
            contributions=quantities.contributions,
            flags=self.flags,
            parameters=self.parameters,
            free_names=quantities.solution.free,
            covariance=quantities.covariance,
            curves=curves(fit, present, calculated),
            lines=line_table(present, values),
            phases=self._phase_results(quantities, values),
            r_wp=quality.r_wp,
            r_expected=quality.r_expected,
            chi2_reduced=quality.chi2_reduced,
            serial_correlation=self.serial_correlation(residual),
            iterations=fit.iterations,
        )

    @property
    def _weighed(self) -> list[PhaseLines]:
        """Phases of the wire that were found: those that share the weight."""
        return [x for x in self.lines if x is not self.reference and x.phase.name not in self.absent]

    @property
    def _mixed_in(self) -> tuple[PhaseLines, Standard] | None:
        """Lines and certificate of an internal standard that was found."""
        if self.reference is None or self.mixed_in is None or self.reference.phase.name in self.absent:
            return None
        return self.reference, self.mixed_in

    def _line_width(self) -> float:
        """Full width of a typical line of the main phase, degrees."""
        drawn, _ = self.main.lines(self.fit.values(), {})
        return float(np.median(fwhm(drawn.gauss_squared, drawn.lorentz)))

    def serial_correlation(self, residual: Array) -> float:
        """Enlargement for weighted residuals that hang together over a line width.

        Smoothed data hang together by what was done to them; their stated variance allows for that already.
        """
        if any(said.name == "smoothed" for said in self._said):
            return 1.0
        step = float(np.median(np.diff(self.two_theta)))
        return serial_correlation_factor(
            residual[self.fit.used], int(np.ceil(2.0 * self._line_width() / step))
        )

    def enlargement(self, residual: Array) -> float:
        """Factor on all counting uncertainties: serial correlation, and a chi squared beyond one."""
        return self.serial_correlation(residual) * max(
            1.0, float(np.sqrt(np.mean(residual[self.fit.used] ** 2)))
        )

    def _u_length(self, lines: PhaseLines, axis: str, quantities: Quantities) -> float:
        """Total standard uncertainty of a lattice parameter."""
        table = quantities.contributions
        name = lattice_quantity(lines.phase.name, axis)
        return table.total(name if name in table.quantities else "a_nm")

    def _phase_results(self, quantities: Quantities, values: Mapping[str, float]) -> dict[str, PhaseResult]:
        """Amount and lattice of every phase asked for."""
        results: dict[str, PhaseResult] = {}
        u_of = dict(zip(quantities.solution.free, quantities.u_free, strict=True))
        total = sum(values[lines.scale_name] * mass_per_scale(lines, values) for lines in self._weighed)
        for lines in self.lines:
            name = lines.phase.name
            lengths = tuple(values[n] for n in lines.length_names)
            if name in self.absent:
                mass = self.limits[name] * quantities.enlargement * mass_per_scale(lines, values)
                limit = mass / (mass + total) if total > 0.0 else float("nan")
                nan = float("nan")
                results[name] = PhaseResult(
                    False, self.absent[name], 0.0, nan, limit, lengths, (nan,) * len(lengths)
                )
                continue
            if lines is self.reference:  # mixed in by hand: no part of the wire
                continue
            quantity = f"weight_fraction_{name}"
            u_scale = u_of.get(lines.scale_name, float("nan"))
            results[name] = PhaseResult(
                True,
                values[lines.scale_name] / u_scale,
                quantities.values[quantity],
                quantities.contributions.total(quantity),
                float("nan"),
                lengths,
                tuple(self._u_length(lines, axis, quantities) for axis in free_lengths(lines.phase.system)),
            )
        return results
