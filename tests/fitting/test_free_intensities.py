"""Lines without a structure: places from the lattice, areas from the counts."""

import copy
from dataclasses import replace

import numpy as np
import pytest

from xrdorder.crystals import Phase, phase
from xrdorder.fitting.free_intensities import initial_areas, pawley_lattice, significance
from xrdorder.fitting.procedure import Procedure
from xrdorder.forward_model.free_lines import FreeLines
from xrdorder.forward_model.initial_parameters import add_phase_parameters
from xrdorder.least_squares.refinement import Refinement


def test_freed_lines_begin_as_the_structure_has_them(job: Procedure) -> None:
    values = job.fit.values()
    free = FreeLines.freed(job.main, values)
    areas = free.areas(values, job.main)
    np.testing.assert_allclose(
        job.fit.model.part(free, values | areas), job.fit.model.part(job.main, values), rtol=1e-9
    )
    assert sum(areas.values()) == pytest.approx(sum(job.main.lines(values, {})[0].area), rel=0.02)


def test_derivatives_by_areas(job: Procedure) -> None:
    values = job.fit.values()
    free = FreeLines.freed(job.main, values)
    values |= free.areas(values, job.main)
    names = free.area_names[:6]
    model = copy.copy(job.fit.model)
    model.phases = (free,)
    _, jacobian = model.counts_with_jacobian(values, [*names, "nb3sn_a_nm"])
    for k, name in enumerate(names):  # linear: any step is exact but for rounding
        change = model.part(free, values | {name: values[name] + 1.0}) - model.part(free, values)
        np.testing.assert_allclose(jacobian[:, k], change, atol=1e-8)


def test_lattice_does_not_need_the_structure(job: Procedure) -> None:
    solution, _ = job.fit.solution()
    u = float(np.sqrt(solution.covariance[(k := solution.free.index("nb3sn_a_nm")), k]))
    whole = job.fit.values()["nb3sn_a_nm"]
    before = job.fit.values()
    right = pawley_lattice(job.fit, job.main)
    # nearly all about the lattice is in the places of the lines: the areas may move it by a fraction of what it is
    # uncertain by, and cost next to nothing of its precision
    assert abs(right.a_nm - whole) < 0.5 * u
    assert u * 0.99 < right.u_a_nm < 1.1 * u
    assert right.chi2_reduced == pytest.approx(1.0, abs=0.1)
    assert job.fit.values() == before
    wrong = copy.copy(job.fit)
    wrong.parameters = copy.deepcopy(job.fit.parameters)
    wrong.parameters["nb3sn_order_contrast"].value = 0.4
    wrong.parameters["nb3sn_b_iso_2a_nm2"].value = 0.009
    astray = pawley_lattice(wrong, job.main)
    assert astray.a_nm == pytest.approx(right.a_nm, abs=0.05 * u)  # the same minimum


def without_atoms(name: str, a_nm: float) -> Phase:
    """A cell of niobium's symmetry and nothing known of what is in it."""
    return replace(
        phase("nb"), name=name, sites=(), d_min_nm=0.10, lengths_nm=(a_nm,),
        lengths_low_nm=(0.99 * a_nm,), lengths_high_nm=(1.01 * a_nm,),
    )  # fmt: skip


def with_lines(job: Procedure, lines: FreeLines, instead_of: str) -> Refinement:
    """The fit of the job with free lines in place of a phase, at the start values of their areas."""
    fit = copy.copy(job.fit)
    fit.model = copy.copy(job.fit.model)
    fit.parameters = copy.deepcopy(job.fit.parameters)
    fit.model.phases = (*(p for p in job.fit.model.phases if p.phase.name != instead_of), lines)
    add_phase_parameters(fit.parameters, lines)
    fit.parameters[lines.scale_name].value = lines.unit_scale
    for name in lines.area_names:
        fit.parameters.add(name, value=0.0, min=0.0)
    for name, area in initial_areas(fit, lines).items():
        fit.parameters[name].value = area
    return fit


def test_a_phase_without_atoms(job: Procedure) -> None:
    cell = without_atoms("unknown", 0.3300)
    lines = FreeLines(cell, job.optics, job.range)
    # (110) to (310): N = 2, 4, 6, 8, 10 have spacings above 0.1 nm
    assert [int(np.sum(hkl**2)) for hkl in lines.hkl] == [2, 4, 6, 8, 10]
    assert len(lines.area_names) == 5
    cut_low = FreeLines(cell, job.optics, (58.0, job.range[1]))  # (200) at 55.6 is near enough to be drawn
    assert [int(np.sum(hkl**2)) for hkl in cut_low.hkl][:1] == [4]
    blank = dict.fromkeys(cut_low.area_names, 0.0)
    assert not cut_low.intensities(blank)[0].any()  # what nobody sees is not made up
    fit = with_lines(job, lines, "nb")
    length = lines.length_names[0]
    fit.run([*lines.area_names, length, *lines.width_names[:1]], tolerance=0.01)
    solution, _ = fit.solution()
    u = dict(zip(solution.free, np.sqrt(np.diag(solution.covariance)), strict=True))
    values = fit.values()
    truth = job.fit.values()
    assert abs(values[length] - truth["nb_a_nm"]) < 3.0 * u[length]
    niobium = next(x for x in job.lines if x.phase.name == "nb")
    drawn, _ = niobium.lines(truth, {})
    expected = drawn.area.reshape(len(niobium.hkl), -1).sum(axis=1)
    for name, area in zip(lines.area_names, expected, strict=False):
        # 2 %: the free phase has one width for all lines, and areas are weighed at one emission line
        assert abs(values[name] - area) < 3.5 * u[name] + 0.02 * area, name
    assert significance(lines, solution) > 50.0


def test_what_is_not_there_has_no_significance(job: Procedure) -> None:
    lines = FreeLines(without_atoms("tube_line", 0.3470), job.optics, job.range)
    fit = with_lines(job, lines, "")
    fit.run(lines.area_names, tolerance=0.01)
    solution, _ = fit.solution()
    assert significance(lines, solution) < 4.0


def test_lines_that_nobody_can_tell_apart_share_an_area(job: Procedure) -> None:
    """A cell barely longer than wide splits its lines by less than half a width."""
    def tetragonal(c_nm: float) -> Phase:
        return replace(
            without_atoms("split", 0.33), space_group="I 4/m m m", system="tetragonal", lengths_nm=(0.33, c_nm),
            lengths_low_nm=(0.32, 0.32), lengths_high_nm=(0.34, 0.34),
        )  # fmt: skip

    together = FreeLines(tetragonal(0.33001), job.optics, job.range)
    apart = FreeLines(tetragonal(0.3340), job.optics, job.range)
    assert len(together.area_names) == 5
    assert len(together.hkl) > 5
    assert len(apart.area_names) == len(apart.hkl)
    # multiplicities share the area: (101) has 8 of 12, (110) has 4
    values = dict.fromkeys(together.area_names, 3.0)
    intensity, _ = together.intensities(values)
    weight = intensity * together._strength[together.first_lines()] / together.norm
    assert sorted(weight[:2].tolist()) == pytest.approx([1.0, 2.0], rel=1e-3)
