"""Single lines that lie off the fit: few grains, and how much less certain they make a lattice."""

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

from tests.fitting.conftest import INSTRUMENT, TWO_THETA
from tests.generator import simulate_standard
from tests.made import as_pattern
from xrdorder.fitting import Calibration, fit_pattern
from xrdorder.fitting.from_lines import centres
from xrdorder.fitting.line_scatter import (
    FEWEST_LINES,
    LineScatter,
    SingleLinesOfPhases,
    beyond_counting,
    fit_all_single_lines,
    scatter_errors,
    scatter_flags,
)
from xrdorder.fitting.options import FitOptions
from xrdorder.fitting.procedure import Procedure
from xrdorder.profiles.summation import ProfileSum


@pytest.fixture(scope="module")
def lined(job: Procedure) -> SingleLinesOfPhases:
    return fit_all_single_lines(job)


def displaced(lined: SingleLinesOfPhases, name: str, by: np.ndarray) -> SingleLinesOfPhases:
    """The same lines, those of one phase moved by so many degrees."""
    lines, singles = lined[name]
    used = [line for line in singles if not line.reason and np.isfinite(line.u_centre)]
    moved = {line.hkl: line.centre + float(step) for line, step in zip(used, by, strict=False)}
    return {**lined, name: (lines, tuple(replace(x, centre=moved.get(x.hkl, x.centre)) for x in singles))}


def test_a_scatter_is_found_again() -> None:
    rng = np.random.default_rng(5)
    found = []
    for _ in range(300):
        u = rng.uniform(0.2, 2.0, 12)
        found.append(beyond_counting(rng.normal(0.0, np.hypot(u, 5.0)), u, 12.0) ** 2)
    # the mean of 300 estimates of a variance with 12 degrees of freedom is known to 2.4 %
    assert np.mean(found) == pytest.approx(25.0, rel=0.1)


def test_counting_alone_is_no_scatter() -> None:
    rng = np.random.default_rng(6)
    found = [beyond_counting(rng.normal(0.0, 1.0, 12), np.ones(12), 12.0) for _ in range(500)]
    assert np.count_nonzero(found) <= 15  # one in a hundred is expected: 5 of 500, with a spread of 2.2


def test_nothing_scatters_where_nothing_is_wrong(job: Procedure, lined: SingleLinesOfPhases) -> None:
    scatter = LineScatter(job.fit, lined)
    assert {found.lines.phase.name: found.count >= FEWEST_LINES for found in scatter.phases}["nb3sn"]
    assert not scatter_errors(scatter, job.main) and not scatter_flags(scatter, job.main)


def test_scattered_lines_make_the_lattice_uncertain_by_what_they_move_it(
    job: Procedure, lined: SingleLinesOfPhases
) -> None:
    """Against draws: the spread of the lattice from centres that each stray by 0.01 degrees."""
    stray, a = 0.01, job.main.length_names[0]
    rng = np.random.default_rng(7)
    count = len(lined["nb3sn"][1])
    free = [n for n, p in job.fit.parameters.items() if p.vary and not n.startswith("axial")]
    blocks, u = [], []
    for lines, singles in lined.values():
        usable, by = centres(singles, lines, job.fit.values(), free)
        blocks.append(by)
        u += [line.u_centre for line in usable]
    weighted = np.concatenate(blocks) / np.array(u)[:, None]
    weighted = weighted[:, np.any(weighted, axis=0)]
    mine = slice(0, len(blocks[0]))
    norms = np.linalg.norm(weighted, axis=0)
    names = [n for n, moves in zip(free, np.any(np.concatenate(blocks), axis=0), strict=True) if moves]
    moved = []
    for _ in range(400):
        pull = np.zeros(len(u))
        pull[mine] = rng.normal(0.0, stray, len(blocks[0])) / np.array(u)[mine]
        moved.append((np.linalg.lstsq(weighted / norms, pull, rcond=None)[0] / norms)[names.index(a)])
    told = []
    for _ in range(20):
        scatter = LineScatter(job.fit, displaced(lined, "nb3sn", rng.normal(0.0, stray, count)))
        (doubt,) = (d for d in scatter_errors(scatter, job.main) if "a_nm" in d.direct)
        told.append(doubt.direct["a_nm"])
    # some 20 lines give a scatter to a sixth, 20 times to 4 %; 400 draws to 4 %; few lines carry the weight
    assert np.sqrt(np.mean(np.square(told))) == pytest.approx(np.std(moved), rel=0.2)


def uneven(lined: SingleLinesOfPhases, by: float, seed: int) -> SingleLinesOfPhases:
    """The same lines, areas of the A15 scattered by this share."""
    lines, singles = lined["nb3sn"]
    factors = np.exp(np.random.default_rng(seed).normal(0.0, by, len(singles)))
    scattered = tuple(replace(line, area=line.area * float(f)) for line, f in zip(singles, factors, strict=True))
    return {**lined, "nb3sn": (lines, scattered)}


def test_scattered_areas_make_order_and_amounts_uncertain_by_what_they_move_them(
    job: Procedure, lined: SingleLinesOfPhases
) -> None:
    """Columns of the lines are the counts of the A15 divided, each as many times the scatter that is found."""
    scatter = LineScatter(job.fit, uneven(lined, 0.2, 11))
    (found,) = (one for one in scatter.phases if one.lines is job.main)
    changes = [one.change for one in scatter_errors(scatter, job.main) if one.source.startswith("line areas/nb3sn")]
    assert found.true_areas == pytest.approx(0.2, rel=0.5)  # some 20 lines
    whole = job.model.part(job.main, job.fit.values())
    # lines outside the range, of which only tails are seen, are no columns
    assert np.sum(changes, axis=0) == pytest.approx(found.true_areas * whole, abs=0.01 * found.true_areas * whole.max())


def test_what_texture_and_order_followed_is_put_back(job: Procedure, lined: SingleLinesOfPhases) -> None:
    (found,) = (one for one in LineScatter(job.fit, uneven(lined, 0.2, 12)).phases if one.lines is job.main)
    assert found.true_areas > found.areas


def test_few_lines_follow_the_displacement_of_the_others(job: Procedure, lined: SingleLinesOfPhases) -> None:
    """Two lines of niobium know their lattice no better than the scattered lines of the A15 know where it stands."""
    lines, singles = lined["nb"]
    moved = displaced(lined, "nb3sn", np.random.default_rng(8).normal(0.0, 0.02, len(lined["nb3sn"][1])))
    errors = scatter_errors(LineScatter(job.fit, {**moved, "nb": (lines, singles[:2])}), job.main)
    assert {one.source for one in errors} >= {"line positions/a_nm", "line positions/lattice_a_nm_nb"}


def test_few_grains_are_told(job: Procedure, lined: SingleLinesOfPhases) -> None:
    rng, (_, singles) = np.random.default_rng(8), lined["nb3sn"]
    (flag,) = scatter_flags(LineScatter(job.fit, uneven(lined, 0.2, 8)), job.main)
    assert flag.name == "few-grains" and "% in area" in flag.message and "angle" not in flag.message
    moved = displaced(lined, "nb3sn", rng.normal(0.0, 0.02, len(singles)))
    (flag,) = scatter_flags(LineScatter(job.fit, moved), job.main)
    assert flag.name == "lines-out-of-place" and "less certain" in flag.message


def test_fewer_than_five_lines_are_not_judged(job: Procedure, lined: SingleLinesOfPhases) -> None:
    lines, singles = lined["nb3sn"]
    few = displaced({"nb3sn": (lines, singles[:4])}, "nb3sn", np.array([0.1, -0.1, 0.1, -0.1]))
    assert LineScatter(job.fit, few).phases == []


@pytest.mark.slow
def test_lines_that_stray_in_the_counts_are_found(job: Procedure, calibration: Calibration) -> None:
    """Expected counts with every line of the A15 moved by chance: told, and the lattice within its uncertainty."""
    rng, values, main = np.random.default_rng(9), job.fit.values(), job.main
    drawn, _ = main.lines(values, {})
    stray = np.repeat(rng.normal(0.0, 0.01, len(main.hkl)), len(drawn.position) // len(main.hkl))
    ratios = values["axial_source_ratio"], values["axial_detector_ratio"]
    sums = ProfileSum(job.two_theta)
    moved = sums.total(drawn._replace(position=drawn.position + stray), *ratios) - sums.total(drawn, *ratios)
    fit = fit_pattern(job.pattern.copy(data=job.fit.counts() + moved), calibration.instrument)
    flags = [flag.name for flag in fit.flags]
    assert "lines-out-of-place" in flags or "few-grains" in flags, flags
    off, u = fit.values["a_nm"] - values[main.length_names[0]], fit.contributions
    by_lines = dict(u.budget("a_nm"))["line positions"]
    assert by_lines > 3.0 * dict(u.budget("a_nm"))["counting"]
    assert abs(off) < 3.0 * by_lines


def test_clear_specimens_have_their_transparency_fitted(calibration: Calibration) -> None:
    """A plate of solid silicon has half the shift of a powder: held, it was told as an offset of 0.06 degrees."""
    solid_per_mm, a_nm = 14.0, 0.54311946  # of copper radiation; certificate of SRM 640c
    x, counts = simulate_standard(
        INSTRUMENT,
        "srm-640c",
        TWO_THETA,
        displacement_mm=0.02,
        attenuation_per_mm=solid_per_mm,
        peak_counts=5e4,
        seed=4,
    )
    values = {**calibration.instrument.values, "two_theta_offset": INSTRUMENT.two_theta_offset}
    instrument = replace(calibration.instrument, values=values)
    fit = fit_pattern(as_pattern(x, counts), instrument, phases=["si"], options=FitOptions(cross_checks=False))
    # A. J. C. Wilson, Mathematical Theory of X-ray Powder Diffractometry (1963), from memory
    expected = np.degrees(1.0 / (2.0 * solid_per_mm * INSTRUMENT.radius_mm))
    shift = fit.parameters["transparency_deg"]
    assert shift.value == pytest.approx(expected, abs=4.0 * shift.stderr)
    assert shift.stderr < 0.2 * expected
    assert fit.values["lattice_a_nm_si"] == pytest.approx(a_nm, abs=3.0 * fit.parameters["si_a_nm"].stderr)
    assert "goniometer-moved" not in [flag.name for flag in fit.flags]


def test_the_transparency_is_that_of_the_phases_found(
    standard_pattern: xr.DataArray, calibration: Calibration
) -> None:
    """LaB6 in whose pattern silicon, named first, is looked for in vain."""
    options = FitOptions(cross_checks=False)
    shifts = [
        fit_pattern(standard_pattern, calibration.instrument, phases=names, options=options).parameters
        for names in (["lab6"], ["si", "lab6"])
    ]
    alone, second = (parameters["transparency_deg"].value for parameters in shifts)
    assert second == pytest.approx(alone, rel=1e-6)


def test_opaque_specimens_keep_theirs(job: Procedure) -> None:
    assert "transparency_deg" not in job.taken and not job.u_transparency_deg


def test_a_trial_leaves_no_trace(job: Procedure) -> None:
    fit = job.fit
    before = {name: (p.value, p.vary) for name, p in fit.parameters.items()}
    values, solution, chi_squared = fit.trial([*job.decidable(), "two_theta_offset"])
    assert values["two_theta_offset"] != before["two_theta_offset"][0] and "two_theta_offset" in solution.free
    assert chi_squared < fit.chi_squared()
    assert {name: (p.value, p.vary) for name, p in fit.parameters.items()} == before
