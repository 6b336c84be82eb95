"""What a real wire may show beyond ideal powder lines, each taken into the model only where the pattern asks for it.

Every function here takes a `Procedure` at a minimum and says whether it has changed the model; `EFFECTS` is the order
in which a fit asks. What was chosen by the user (`FitOptions`) is taken without asking.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from xrdorder.fitting.evidence import CHANCE, Evidence, wanted
from xrdorder.fitting.foreign import take_foreign_phases, take_free_phases
from xrdorder.fitting.parameters import set_values
from xrdorder.fitting.phase_lines import PhaseLines
from xrdorder.fitting.procedure import WIDTH_SIGNIFICANCE, Procedure
from xrdorder.fitting.start import add_phase_parameters
from xrdorder.xrays import EmissionLine, Radiation
from xrdorder.xrays.stray import StrayLine, stray_lines

Array = NDArray[np.float64]

_TRIAL_TAIL_NM = 1.5e-4  # about one atomic per cent of tin
_TRIAL_ROUNDS = 25
_START_SPLIT_NM = 1.7e-4  # each population that far from the mean: together 2.5 at.% of tin, as in powder-in-tube wire
_MARCH_STARTS = (0.8, 1.25)  # the derivative vanishes at r = 1 for cubic phases: a fit started there stays
# Trials: a second population has three parameters more than none, two more than a tail.
_BETTER_BY = 15.0


def take_stray_radiation(job: Procedure) -> bool:
    """Take in K-beta and tungsten lines of the tube, each with one share for all phases."""
    if not job.options.stray_radiation:
        return False
    fit, values = job.fit, job.fit.values()
    evidence = Evidence(fit)
    taken = False
    for stray in stray_lines(job.optics.radiation):
        share = f"stray_{stray.name.lower().replace(' ', '_').replace('-', '_')}_share"
        light = _as_radiation(stray)
        copies = []
        for lines in job.present():
            lengths = tuple(values[name] for name in lines.length_names)
            copies.append(lines.stray(light, share, lengths))
        change = sum(
            (job.model.part(copy, values | {share: 1.0}) for copy in copies), np.zeros_like(job.two_theta)
        )
        column = evidence.weighted(change)
        if not np.any(column):
            continue
        drop, step = evidence.drop(column)
        if step[0] > 0.0 and drop > chdtri(1, CHANCE):
            for copy in copies:
                job.model.add(copy)
                add_phase_parameters(job.parameters, copy)
            set_values(job.parameters, {share: float(min(step[0], 0.3))})
            job.taken.append(share)
            taken = True
    return taken


def _as_radiation(stray: StrayLine) -> Radiation:
    lines = tuple(EmissionLine(stray.name, "single", *line) for line in stray.lines)
    return Radiation(stray.name, lines, 0.0, stray.about)


def take_texture(job: Procedure, orders: tuple[int, ...]) -> bool:
    """Let phases have texture of these orders."""
    endings = tuple(f"_{order}" for order in orders)
    found = wanted(
        job.fit,
        [
            [name for name in lines.texture_names if name.endswith(endings)]
            for lines in job.present()
            if job.strength(lines) > WIDTH_SIGNIFICANCE and not lines.march_axis
        ],
    )
    job.taken += found
    return bool(found)


def take_low_texture(job: Procedure) -> bool:
    """Texture of order four and six."""
    return take_texture(job, (4, 6))


def take_high_texture(job: Procedure) -> bool:
    """Texture of order eight, where there is some of lower order."""
    return any("_texture_" in name for name in job.taken) and take_texture(job, (8,))


def take_march_texture(job: Procedure) -> bool:
    """Texture by March's function, for the phases it was asked for: both sides of r = 1 are tried."""
    names = [lines.march_name for lines in job.present() if lines.march_name]
    for name in names:
        job.taken.append(name)
        results = []
        for start in _MARCH_STARTS:
            set_values(job.parameters, {name: start})
            job.fit.run(job.everything(), most_iterations=_TRIAL_ROUNDS, tolerance=0.1)
            results.append((chi_squared(job), job.fit.values()))
        set_values(job.parameters, min(results, key=lambda result: result[0])[1])
    return bool(names)


def take_strain_anisotropy(job: Procedure) -> bool:
    """Microstrain that depends on direction, as in cold-worked niobium."""
    candidates = []
    values = job.fit.values()
    for lines in job.present():
        _, tan, gauss = lines.width_names
        if lines.anisotropy_name and job.strength(lines) > WIDTH_SIGNIFICANCE:
            if (values[tan] > 0.0 or values[gauss] > 0.0) and tan in job.everything():
                candidates.append([lines.anisotropy_name])
    found = wanted(job.fit, candidates)
    job.taken += found
    return bool(found)


def take_chosen(job: Procedure) -> bool:
    """Elastic shifts and a lattice that changes with depth, where the user asks for them."""
    main, options = job.main, job.options
    chosen = [
        name
        for name, asked in ((main.elastic_name, options.elastic_shifts), (main.depth_name, options.depth_gradient))
        if asked and name and main in job.present()
    ]
    job.taken += chosen
    return bool(chosen)


def take_lattice_tail(job: Procedure) -> bool:
    """A lopsided distribution of the lattice parameter of the A15: a graded layer."""
    main, choice = job.main, job.options.lattice_distribution
    if choice in ("single", "two-populations") or not main.tail_name or main.phase.name in job.absent:
        return False
    values = job.fit.values()
    sign = 1.0
    if choice == "auto":
        # at zero the derivative vanishes (the third moment goes with the cube): the change itself is asked about
        change = job.model.part(main, values | {main.tail_name: _TRIAL_TAIL_NM}) - job.model.part(main, values)
        evidence = Evidence(job.fit)
        drop, step = evidence.drop(evidence.weighted(change))
        if drop < chdtri(1, CHANCE):
            return False
        sign = float(np.sign(step[0]))
    set_values(job.parameters, {main.tail_name: sign * _TRIAL_TAIL_NM})
    job.taken.append(main.tail_name)
    return True


def take_second_population(job: Procedure) -> bool:
    """Two populations of A15, where they explain the pattern better than a tail does."""
    main, choice = job.main, job.options.lattice_distribution
    tail = main.tail_name
    if main.phase.name in job.absent or not tail:
        return False
    if choice in ("single", "tail") or (choice == "auto" and tail not in job.taken):
        return False
    before, chi_before, taken_before = job.fit.values(), chi_squared(job), list(job.taken)
    if tail in job.taken:
        job.taken.remove(tail)
    twin = PhaseLines(main.phase, job.optics, job.range, twin=main, march_axis=main.march_axis)
    add_phase_parameters(job.parameters, twin)
    job.model.add(twin)
    a, second = main.length_names[0], twin.length_names[0]
    sec, _, _ = main.width_names
    twin.freeze((before[a],))
    set_values(
        job.parameters,
        {
            tail: 0.0,
            a: before[a] - _START_SPLIT_NM,
            second: before[a] + _START_SPLIT_NM,
            main.scale_name: 0.5 * before[main.scale_name],
            twin.scale_name: 0.5 * before[main.scale_name],
            twin.width_names[0]: before[sec],
        },
    )
    job.taken += [twin.scale_name, second, twin.width_names[0]]
    job.fit.run(job.everything(), most_iterations=2 * _TRIAL_ROUNDS, tolerance=0.1)
    scatter = max(1.0, chi_before / len(job.two_theta))
    if choice == "auto" and chi_squared(job) > chi_before - _BETTER_BY * scatter:
        job.model.remove(twin)
        job.taken = taken_before
        set_values(job.parameters, before)
        return False
    return True


def chi_squared(job: Procedure) -> float:
    """Weighted sum of squared residuals over the points used."""
    return float(np.sum(job.fit.weighted_residual()[job.fit.used] ** 2))


EFFECTS = (
    take_stray_radiation,
    take_free_phases,
    take_foreign_phases,
    take_low_texture,
    take_high_texture,
    take_march_texture,
    take_strain_anisotropy,
    take_chosen,
    take_lattice_tail,
    take_second_population,
)
"""What a fit asks for, in this order."""
