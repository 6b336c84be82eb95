"""What a real wire may show beyond ideal powder lines, each taken into the model only where the pattern asks for it.

Every function here takes a `Procedure` at a minimum and says whether it has changed the model; `EFFECTS` is the order
in which a fit asks. What was chosen by the user (`FitOptions`) is taken without asking.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from xrdorder.fitting.initial_values import DETECTABLE_TRANSPARENCY_DEG, U_TRANSPARENCY_RELATIVE
from xrdorder.fitting.niobium_tantalum import separate_niobium_tantalum
from xrdorder.fitting.procedure import EFFECT_SIGNIFICANCE, U_B_ISO_RELATIVE, Procedure
from xrdorder.fitting.unindexed import add_indexing_phases, add_pending_phases
from xrdorder.forward_model.initial_parameters import PACKING, add_phase_parameters
from xrdorder.forward_model.parameter_map import set_values
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.least_squares.score_test import CHANCE, ScoreTest
from xrdorder.xrays import EmissionLine, Radiation
from xrdorder.xrays.contamination import ContaminationLine, contamination_lines

Array = NDArray[np.float64]

_TRIAL_TAIL_NM = 1.5e-4  # about one atomic per cent of tin
_TELLING = 0.1  # of the strongest phase: a weaker one makes a hundredth of what lines of the tube do to chi squared
_LARGEST_SHARE = 0.3  # of a contaminating emission line to begin with
_TRIAL_ROUNDS = 25
_NOTICED_TRANSPARENCY_DEG = 5e-4  # a quarter of what the zero of a goniometer may have moved
_FARTHEST_TRANSPARENCY = 10.0  # of the computed one: powder as loose as a sixteenth
_START_SPLIT_NM = 1.7e-4  # each population that far from the mean: together 2.5 at.% of tin, as in powder-in-tube wire
_WIDEST_B = 3.0  # of the catalogue's displacement parameter
_MARCH_STARTS = (0.8, 1.25)  # the derivative vanishes at r = 1 for cubic phases: a fit started there stays
# Trials: a second population has three parameters more than none, two more than a tail.
_BETTER_BY = 15.0
_CLEAR = 8.0  # standard uncertainties of the amount of each population; own choice, above that of a phase


def take_requested(job: Procedure) -> bool:
    """Elastic shifts, a lattice that changes with depth, or a tail, where the user asks for them."""
    main, options = job.main, job.options
    chosen = [
        name
        for name, requested in ((main.elastic_name, options.elastic_shifts), (main.depth_name, options.depth_gradient))
        if requested and name and main in job.present()
    ]
    job.taken += chosen
    if main.tail_name and options.lattice_distribution == "tail" and main in job.present():
        _start_tail(job, main.tail_name, np.ones(1))
        return True
    return bool(chosen)


def take_march_texture(job: Procedure) -> bool:
    """Texture by March's function, for the phases it was asked for: both sides of r = 1 are tried."""
    names = [lines.march_name for lines in job.present() if lines.march_name]
    for name in names:
        job.taken.append(name)
        results = []
        for start in _MARCH_STARTS:
            set_values(job.parameters, {name: start})
            job.fit.run(job.decidable(), most_iterations=_TRIAL_ROUNDS, tolerance=0.1, from_afar=True)
            results.append((job.fit.chi_squared(), job.fit.values()))
        set_values(job.parameters, min(results, key=lambda result: result[0])[1])
    return bool(names)


def free_displacement_parameters(job: Procedure) -> bool:
    """Displacement parameters of phases beside the main one, where the pattern knows them better than the catalogue.

    Held at wrong values they would look like texture. Whether one is freed hangs on how well it would be found, never
    on what is found: freed only where it departs from the catalogue, its uncertainty would be right for neither case.
    """
    score_test = ScoreTest(job.fit, job.enlargement())
    values, changed = job.fit.values(), False
    for lines in job.present():
        names = [name for name in lines.b_iso_names if name not in job.taken]
        if lines is job.main or not names:
            continue
        columns = score_test.derivatives(names)
        if not np.all(np.any(columns, axis=0)):
            continue
        known = np.array([U_B_ISO_RELATIVE * values[name] for name in names])
        better = [name for name, u, most in zip(names, score_test.uncertainty(columns), known, strict=True) if u < most]
        for name in better:  # bounds of the catalogue are near: a value that is found may stray by three uncertainties
            job.parameters[name].set(min=0.0, max=_WIDEST_B * values[name])
        job.taken += better
        changed = changed or bool(better)
    return changed


def free_transparency(job: Procedure) -> bool:
    """The shift of a clear specimen: computed for the phases found, fitted where the pattern knows it better than that.

    As with displacement parameters it is freed by how well it would be found, not by what is found; where it stays
    held, its uncertainty is a source of its own.
    """
    name, geometry = "transparency_deg", job.optics.geometry
    volumes = job.volumes()
    if geometry.kind != "reflection" or not volumes or name in job.taken:
        return False
    attenuation = sum(lines.attenuation_per_nm * share for lines, share in volumes)
    expected = geometry.transparency_deg(attenuation, PACKING)
    if expected < DETECTABLE_TRANSPARENCY_DEG:
        other = bool(abs(job.parameters[name].value - expected) > _NOTICED_TRANSPARENCY_DEG)
        if other:  # with the main phase, which is clearer or denser than the others
            set_values(job.parameters, {name: expected})
        return other
    # a shift that is hardly there must be free to come out below nothing by chance
    farthest = _FARTHEST_TRANSPARENCY * expected
    job.parameters[name].set(value=expected, min=-farthest, max=farthest)
    score_test = ScoreTest(job.fit, job.enlargement())
    job.u_transparency_deg = U_TRANSPARENCY_RELATIVE * expected
    if score_test.uncertainty(score_test.derivatives([name]))[0] < job.u_transparency_deg:
        job.taken.append(name)
        job.u_transparency_deg = 0.0
    return True


class _Change(NamedTuple):
    """What a parameter that has no derivative in the model does to the counts, shape (n,); else as `Proposal`."""

    parameter: str
    counts: Array
    take: Callable[[Array], None]
    growing: bool


class Proposal(NamedTuple):
    """An effect that may be taken in: what it does to the counts (weighted, shape (points used, m)), and how."""

    columns: Array
    take: Callable[[Array], None]
    growing: bool  # makes sense with a positive step only


def take_significant_effects(job: Procedure) -> bool:
    """Take in one effect after the other, the most wanted first, until the residual asks for none.

    Nothing is asked again before more lines are in the model.
    """
    if job.tested_with == len(job.model.phases):
        return False
    changed = False
    changes = [*_contamination(job), *_lattice_tail(job)]  # what is taken in moves lines too little to alter them
    while True:
        job.tested_with = len(job.model.phases)
        score_test = ScoreTest(job.fit, job.enlargement())
        best, least = None, CHANCE
        for proposal in _proposals(job, score_test, changes):
            drop, step = score_test.drop(proposal.columns)
            chance = float(chdtrc(proposal.columns.shape[1], max(drop, 0.0)))
            if chance < least and not (proposal.growing and step[0] <= 0.0):
                best, least = (proposal, step), chance
        if best is None:
            return changed
        best[0].take(best[1])
        job.settle_phases()
        changed = True


def _proposals(job: Procedure, score_test: ScoreTest, changes: Sequence[_Change]) -> Iterator[Proposal]:
    """All that is not in the model yet."""
    names = [*_texture(job), *_strain_anisotropy(job)]
    columns = score_test.derivatives([name for group in names for name in group])
    start = 0
    for group in names:
        own = columns[:, start : start + len(group)]
        start += len(group)
        if np.any(own):
            yield Proposal(own, partial(_free, job, group), False)
    for change in changes:
        if change.parameter not in job.taken and np.any(change.counts):
            yield Proposal(score_test.weighted(change.counts), change.take, change.growing)
    yield from _narrow_size_distribution(job, score_test)


def _free(job: Procedure, names: Sequence[str], step: Array) -> None:
    job.taken += names


def _texture(job: Procedure) -> Iterator[list[str]]:
    """Texture of each strong phase: order four and six together, order eight only on top of them."""
    for lines in job.present():
        if lines.march_axis or not lines.texture_names or job.strength(lines) < EFFECT_SIGNIFICANCE:
            continue
        *low, high = lines.texture_names
        if low[0] not in job.taken:
            yield low
        elif high not in job.taken:
            yield [high]


def _strain_anisotropy(job: Procedure) -> Iterator[list[str]]:
    """Microstrain that depends on direction, as in cold-worked niobium."""
    values, decided = job.fit.values(), job.decidable()
    for lines in job.present():
        _, tan, gauss = lines.width_names
        name = lines.anisotropy_name
        if name and name not in job.taken and tan in decided and (values[tan] > 0.0 or values[gauss] > 0.0):
            yield [name]


def _contamination(job: Procedure) -> Iterator[_Change]:
    """K-beta and tungsten lines of the tube, each with one share for all phases."""
    if not job.options.tube_lines:
        return
    values = job.fit.values()
    strengths = {lines: job.strength(lines, values) for lines in job.present() if lines.phase.sites}
    strong = [lines for lines, strength in strengths.items() if strength > _TELLING * max(strengths.values())]
    for line in contamination_lines(job.optics.radiation):
        share = line.share_name
        if share not in job.taken:
            copies = _copies(line, strong, values)
            counts = sum((job.model.part(copy, values | {share: 1.0}) for copy in copies), np.zeros_like(job.two_theta))
            yield _Change(share, counts, partial(_add_contamination, job, line), True)


def _copies(line: ContaminationLine, phases: Iterable[PhaseLines], values: Mapping[str, float]) -> list[PhaseLines]:
    """Lines of phases as this line of the tube draws them."""
    lines = tuple(EmissionLine(line.name, "single", *component) for component in line.lines)
    light = Radiation(line.name, lines, 0.0, line.about)
    return [
        x.in_contamination(light, line.share_name, tuple(values[name] for name in x.length_names)) for x in phases
    ]


def _add_contamination(job: Procedure, line: ContaminationLine, step: Array) -> None:
    present = [lines for lines in job.present() if lines.phase.sites]
    for copy in _copies(line, present, job.fit.values()):
        job.model.add(copy)
        add_phase_parameters(job.parameters, copy)
    set_values(job.parameters, {line.share_name: float(min(step[0], _LARGEST_SHARE))})
    job.taken.append(line.share_name)


def _lattice_tail(job: Procedure) -> Iterator[_Change]:
    """A lopsided distribution of the lattice parameter of the A15: a graded layer.

    At zero the derivative vanishes, as the third moment goes with the cube: the change itself is asked about.
    """
    main = job.main
    tail = main.tail_name
    if job.options.lattice_distribution != "auto" or main not in job.present():
        return
    if not tail or tail in job.taken or main.depth_name in job.taken:
        return
    values = job.fit.values()
    change = job.model.part(main, values | {tail: _TRIAL_TAIL_NM}) - job.model.part(main, values)
    yield _Change(tail, change, partial(_start_tail, job, tail), False)


def _narrow_size_distribution(job: Procedure, score_test: ScoreTest) -> Iterator[Proposal]:
    """Domains of much the same size, whose lines are rounder than the Lorentzian ones of a broad distribution."""
    name = job.main.size_gauss_name
    if name and name not in job.taken and job.main in job.present():
        yield Proposal(score_test.derivatives([name]), partial(_start_size_gauss, job, name), True)


def _start_size_gauss(job: Procedure, name: str, step: Array) -> None:
    set_values(job.parameters, {name: float(step[0])})
    job.taken.append(name)


def _start_tail(job: Procedure, tail: str, step: Array) -> None:
    set_values(job.parameters, {tail: float(np.sign(step[0])) * _TRIAL_TAIL_NM})
    job.taken.append(tail)


def take_second_population(job: Procedure) -> bool:
    """Two populations of A15, where they explain the pattern better than a tail does."""
    main, choice = job.main, job.options.lattice_distribution
    tail = main.tail_name
    if main.phase.name in job.absent or not tail:
        return False
    if choice in ("single", "tail") or (choice == "auto" and tail not in job.taken):
        return False
    before, chi_before, taken_before = job.fit.values(), job.fit.chi_squared(), list(job.taken)
    graded = tail in job.taken
    if graded:
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
    job.fit.run(job.decidable(), most_iterations=2 * _TRIAL_ROUNDS, tolerance=0.1, from_afar=True)
    if graded:
        after = job.fit.values()
        share = after[twin.scale_name] / (after[main.scale_name] + after[twin.scale_name])
        # two descriptions of one distribution: how far they disagree about its mean is an uncertainty of both
        job.u_shape_nm = 0.5 * (before[a] - after[a] - share * (after[second] - after[a]))
    solution, _ = job.fit.solution()
    clear = all(job.significance(lines, solution) > _CLEAR for lines in (main, twin))
    if choice == "auto" and not (clear and job.improved(chi_before, _BETTER_BY)):
        job.model.remove(twin)
        job.taken = taken_before
        set_values(job.parameters, before)
        return False
    return True


EFFECTS = (
    take_requested,
    free_transparency,
    take_march_texture,
    free_displacement_parameters,
    take_significant_effects,
    add_pending_phases,
    add_indexing_phases,
    free_displacement_parameters,
    take_significant_effects,
    take_second_population,
    separate_niobium_tantalum,
)
"""What a fit goes through, in this order."""
