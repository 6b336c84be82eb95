"""From a finished procedure to what is handed on: values, contributions, flags, tables."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from xrdorder.crystals import A15Composition, doped, free_lengths
from xrdorder.fitting.contradictions import contradictions
from xrdorder.fitting.cross_checks import cross_check, quality_words
from xrdorder.fitting.curves_and_lines import curves, line_table
from xrdorder.fitting.derived import weights_by_mass
from xrdorder.fitting.diagnostics import diagnostics
from xrdorder.fitting.fit_flags import fit_flags
from xrdorder.fitting.line_scatter import LineScatter, fit_all_single_lines, scatter_errors, scatter_flags
from xrdorder.fitting.model_errors import contrast_by_second_table, microabsorption_factors, model_errors
from xrdorder.fitting.procedure import Procedure
from xrdorder.fitting.result import PatternFit, PhaseResult, Quantities
from xrdorder.fitting.uncertainty_budget import primary_quantities
from xrdorder.forward_model.amounts import mass_per_scale, masses
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.least_squares.quality import agreement
from xrdorder.profiles import Instrument
from xrdorder.quantities.of_phase import WEIGHT_FRACTION, lattice_parameter
from xrdorder.quantities.records import Record

Array = NDArray[np.float64]

_MORE_TIN = 0.01


def assemble(job: Procedure, instrument: Instrument, composition: A15Composition | None) -> PatternFit:
    """Assemble what is handed on.

    Parameters
    ----------
    job
        At its minimum.
    instrument
        Whose errors all samples share.
    composition
        Of the A15 as it was held; None when no A15 was looked for.
    """
    fit, main = job.fit, job.main
    values, present = fit.values(), job.present()
    calculated = job.model.counts(values)
    a15 = main if composition and main.contrast_name and main in present else None
    more_tin, heavier = None, 0.0
    if a15 is not None and composition is not None:
        more_tin, heavier = _by_tin(job, a15, composition)
    correlated = job.serial_correlation()
    single_lines = fit_all_single_lines(job) if job.options.cross_checks else {}
    scatter = LineScatter(fit, single_lines)
    errors = [*model_errors(job, instrument, a15), *scatter_errors(scatter, a15)]
    quantities, solution = primary_quantities(job, instrument, a15, errors, more_tin, job.enlargement())
    for name, u in zip(solution.free, quantities.u_free, strict=True):
        job.parameters[name].stderr = float(u)
    _amend(quantities, job, a15)
    if a15 is not None:
        for name, slope in weights_by_mass(quantities.values, a15.phase.name).items():
            quantities.by_tin[name] = quantities.by_tin.get(name, 0.0) + heavier * slope
    used = fit.used
    quality = agreement(
        fit.observed[used], calculated[used], fit.variance[used], len(solution.free)
    )
    flags = [*job.flags, *job.pattern_flags]
    flags += fit_flags(job, instrument, solution, quality.chi2_reduced)
    flags += scatter_flags(scatter, main)
    flags += [*diagnostics(job, instrument, scatter), *contradictions(job)] if composition is not None else []
    checks = None
    if a15 is not None and job.options.cross_checks:
        _, lines = single_lines.get(a15.phase.name, (a15, None))
        checks = cross_check(fit, a15, solution, quantities.enlargement, lines)
        flags += checks.flags
    words = ""
    if composition is not None and job.options.cross_checks:
        words = quality_words(checks, flags, quality.chi2_reduced)
    return PatternFit(
        **vars(quantities),
        status="ok" if a15 is not None or composition is None else "no A15",
        a15=a15.phase.name if a15 is not None else "",
        tin_held=composition.tin_fraction if composition else float("nan"),
        flags=flags,
        parameters=job.parameters,
        curves=curves(fit, present, calculated),
        lines=line_table(present, values),
        phases=phase_results(job, quantities, values),
        r_wp=quality.r_wp,
        r_expected=quality.r_expected,
        chi2_reduced=quality.chi2_reduced,
        serial_correlation=correlated,
        iterations=fit.evaluations,
        quality_words=words,
        cross_checks=checks.table if checks else None,
        single_lines=checks.line_table if checks else None,
    )


def _by_tin(job: Procedure, a15: PhaseLines, composition: A15Composition) -> tuple[Array, float]:
    """Change of the counts, shape (n,), and relative change of the mass of the A15 for each unit of tin fraction."""
    values = job.fit.values()
    richer = doped(a15.phase, replace(composition, tin_fraction=composition.tin_fraction + _MORE_TIN))
    lengths = tuple(values[name] for name in a15.length_names)
    change = job.model.part(a15.with_phase(richer), values) - job.model.part(a15, values)
    heavier = richer.density_g_cm3(lengths) / a15.phase.density_g_cm3(lengths) - 1.0
    return change / _MORE_TIN, heavier / _MORE_TIN


def _amend(quantities: Quantities, job: Procedure, a15: PhaseLines | None) -> None:
    """Take absorption within grains of known size off the weight fractions; add the contrast by another table."""
    values, records = quantities.values, quantities.records
    size = job.options.particle_size_um
    if size is not None and len(job.weighed()) > 1:
        for phase, factor in microabsorption_factors(job, size).items():
            name = WEIGHT_FRACTION.of(phase)
            values[name] *= factor
            records[name] = replace(
                records[name],
                value=values[name],
                formula=f"grain_factor * {records[name].formula}",
                numbers={**records[name].numbers, "grain_factor": factor},
                remark=f"{records[name].remark}; absorption within the grains taken off",
            )
    if a15 is not None:
        contrast = contrast_by_second_table(job, a15, values["order_contrast"])
        name = "order_contrast_second_table"
        values[name] = float("nan") if contrast is None else contrast
        remark = "the contrast that another table of f' and f'' would give, to first order in the change of the counts"
        records[name] = Record(name, name, values[name], remark=remark)


def _u_length(lines: PhaseLines, axis: str, quantities: Quantities) -> float:
    """Total standard uncertainty of a lattice parameter."""
    table = quantities.contributions
    name = lattice_parameter(axis).of(lines.phase.name)
    return table.total(name if name in table.quantities else "a_nm")


def phase_results(
    job: Procedure, quantities: Quantities, values: Mapping[str, float]
) -> dict[str, PhaseResult]:
    """Amount and lattice of every phase asked for."""
    results: dict[str, PhaseResult] = {}
    u_of = dict(zip(quantities.free_names, quantities.u_free, strict=True))
    total = sum(masses(job.weighed(), job.second_population(), values).values())
    nan = float("nan")
    for lines in job.lines:
        name = lines.phase.name
        lengths = tuple(values[n] for n in lines.length_names)
        if name in job.absent:
            limit = nan
            if lines.phase.sites and total > 0.0:
                mass = job.limits[name] * quantities.enlargement * mass_per_scale(lines, values)
                limit = mass / (mass + total)
            results[name] = PhaseResult(False, job.absent[name], 0.0, nan, limit, lengths, (nan,) * len(lengths))
            continue
        if lines is job.reference:  # mixed in by hand: no part of the wire
            continue
        quantity = WEIGHT_FRACTION.of(name)
        known = quantity in quantities.values
        results[name] = PhaseResult(
            True,
            values[lines.scale_name] / u_of.get(lines.scale_name, nan),
            quantities.values[quantity] if known else nan,
            quantities.contributions.total(quantity) if known else nan,
            nan,
            lengths,
            tuple(_u_length(lines, axis, quantities) for axis in free_lengths(lines.phase.system)),
        )
    return results
