"""Routes that agree say nothing; routes that do not are named, and the words follow."""

import copy

import numpy as np
import pytest

from xrdorder.exceptions import Flag
from xrdorder.fitting.cross_checks import CrossChecks, cross_check, quality_words
from xrdorder.fitting.procedure import Procedure
from xrdorder.least_squares.refinement import Solution


@pytest.fixture(scope="module")
def solution(job: Procedure) -> Solution:
    return job.fit.solution()[0]


@pytest.fixture(scope="module")
def cross_checks(job: Procedure, solution: Solution) -> CrossChecks:
    return cross_check(job.fit, job.main, solution)


def test_routes_to_the_same_counts_agree(cross_checks: CrossChecks, job: Procedure) -> None:
    table = cross_checks.table
    assert cross_checks.flags == []
    assert cross_checks.line_table is not None
    stored = [f"({hkl})".replace(" ", "") for hkl in cross_checks.line_table["hkl"].values]
    assert stored == [line.name for line in cross_checks.lines]
    assert table.route.values.tolist() == [
        "whole pattern", "free intensities", "single lines", "extrapolated lines", "same direction",
    ]  # fmt: skip
    assert float(table.a_nm[0]) == job.fit.values()["nb3sn_a_nm"]
    assert np.isfinite(table.a_nm.values).tolist() == [True, True, True, True, False]
    assert np.isfinite(table.order_contrast.values).tolist() == [True, False, True, False, True]
    # where there is a value there is no reason, and the other way round
    assert [not reason for reason in table.a_reason.values] == np.isfinite(table.a_nm.values).tolist()
    assert [not reason for reason in table.order_reason.values] == np.isfinite(table.order_contrast.values).tolist()
    # a route that uses less cannot know more
    assert float(table.u_a_nm[2]) > float(table.u_a_nm[0])
    assert float(table.u_order_contrast[2]) > float(table.u_order_contrast[0])
    assert all("units" in table[name].attrs for name in ("a_nm", "u_a_difference_nm", "order_contrast"))
    assert quality_words(cross_checks, [], 1.0) == "trustworthy"


def astray(job: Procedure, solution: Solution, **changes: float) -> CrossChecks:
    """Cross-checks of a whole fit that rests in a wrong place."""
    fit = copy.copy(job.fit)
    fit.parameters = copy.deepcopy(job.fit.parameters)
    for name, change in changes.items():
        fit.parameters[name].value += change
    return cross_check(fit, job.main, solution)


def test_a_wrong_lattice_is_noticed(job: Procedure, solution: Solution) -> None:
    wrong = astray(job, solution, nb3sn_a_nm=3e-5)
    assert [flag.name for flag in wrong.flags] == ["routes-disagree-lattice"] * 2
    assert "free intensities" in wrong.flags[0].message
    assert "single lines" in wrong.flags[1].message
    assert "−30" in wrong.flags[0].message or "−29" in wrong.flags[0].message
    words = quality_words(wrong, [], 1.0)
    assert words.startswith("do not use: routes to the lattice parameter disagree by")


def test_a_wrong_order_is_noticed(job: Procedure, solution: Solution) -> None:
    wrong = astray(job, solution, nb3sn_order_contrast=-0.10)
    assert {flag.name for flag in wrong.flags} == {"routes-disagree-order"}
    assert "order" in quality_words(wrong, [], 1.0)
    assert not quality_words(wrong, [], 1.0).startswith("trustworthy")


def test_words_name_the_reasons(cross_checks: CrossChecks) -> None:
    flags = [
        Flag("unexplained-line", "a line"),
        Flag("unexplained-line", "another line"),
        Flag("few-grains", "some"),
        Flag("slit-not-given", "slit not given"),
    ]
    words = quality_words(cross_checks, flags, 1.2)
    assert words.startswith("use with care: 2 unindexed lines; ")
    assert words == "use with care: 2 unindexed lines; few grains reflect"
    assert quality_words(cross_checks, [Flag("not-converged", "")], 1.0) == "do not use: the fit did not converge"
    assert quality_words(cross_checks, [], 30.0) == "do not use: chi squared is 30"
    assert quality_words(cross_checks, [Flag("texture", "some")], 1.0) == "trustworthy"


def test_an_unusable_order_line_is_named(cross_checks: CrossChecks) -> None:
    lines = tuple(
        copy.copy(line) if line.name != "(110)" else type(line)(**(vars(line) | {"reason": "other lines lie on it"}))
        for line in cross_checks.lines
    )
    covered = CrossChecks(cross_checks.table, lines, [])
    assert quality_words(covered, [], 1.0) == (
        "use with care: the order line (110) has no cross-check: other lines lie on it"
    )
    blind = cross_checks.table.copy(deep=True)
    blind["u_order_contrast"][0] = 0.3
    assert quality_words(CrossChecks(blind, lines, []), [], 1.0).startswith("do not use: too few counts in (110)")


def test_populations_that_lie_on_each_other_have_no_single_lines(job: Procedure, solution: Solution) -> None:
    fit = copy.copy(job.fit)
    fit.model = copy.copy(job.fit.model)
    fit.model.phases = (*job.fit.model.phases, copy.copy(job.main))
    found = cross_check(fit, job.main, solution)
    assert found.lines == () and found.line_table is None
    assert found.table.a_reason.values[1] == "two populations of the phase lie on each other"
    assert quality_words(found, [], 1.0) == (
        "use with care: the order has no cross-check: two populations of the phase lie on each other"
    )
    assert found.flags == []


def uncertain(cross_checks: CrossChecks, u: float, enlargement: float = 1.0, without: str = "") -> str:
    table = cross_checks.table.copy(deep=True)
    table["u_order_contrast"][0] = u
    lines = tuple(line for line in cross_checks.lines if line.name != without)
    return quality_words(CrossChecks(table, lines, [], enlargement), [], 1.0)


def test_an_uncertain_order_has_its_real_reason(cross_checks: CrossChecks) -> None:
    assert uncertain(cross_checks, 0.06) == "use with care: few counts in (110): the order is known to ± 0.06 only"
    assert uncertain(cross_checks, 0.3, 1.2).startswith("do not use: too few counts in (110)")
    # 0.06 and 0.3 by counts alone would be 0.03 and 0.1
    assert uncertain(cross_checks, 0.06, 2.0) == "use with care: misfit makes the order uncertain, ± 0.06"
    assert uncertain(cross_checks, 0.3, 3.0) == "do not use: misfit makes the order uncertain, ± 0.30"
    assert uncertain(cross_checks, 0.06, 1.0, "(110)") == (
        "use with care: without (110) the order is known to ± 0.06 only; "
        "the order line (110) is not in the measured range"
    )
    assert uncertain(cross_checks, float("nan")) == "do not use: the order was not fitted"


def test_the_enlargement_is_handed_on(job: Procedure, solution: Solution) -> None:
    assert cross_check(job.fit, job.main, solution, 1.7).enlargement == 1.7
