"""Makers of the report: they say which data, mark estimates, and give nothing where there is nothing to show."""

from dataclasses import replace

import pytest

from tests.figures import made as numbers
from tests.figures.labels import troubles
from tests.reports import made
from xrdorder.drawing.layout import SIZES
from xrdorder.reports.cautions import ESTIMATES
from xrdorder.reports.first_look import first_look
from xrdorder.reports.gallery import study_pictures
from xrdorder.reports.of_estimates import MAKERS, _chosen
from xrdorder.reports.pictures import Scene

NAMES = {one.name for one in MAKERS if not one.alone} | {"currents"}
SIZES_NM = (70.0, 90.0, 92.0, 130.0, 85.0, 110.0)
HOSTILE = [(f"$w_{k}$ <b> " + "long " * 12, f"$lot$ {p[1]} & {{", *p[2:]) for k, p in enumerate(numbers.PIECES)]


def scene(tmp_path, pieces=numbers.PIECES, more=(), sizes=SIZES_NM, size="screen", told=True):
    samples = numbers.described(pieces, more) if told else ()
    opened = made.opened(tmp_path, "T $a$ & $b$", pieces, more, sizes, samples)
    return Scene.of(opened, SIZES[size])


def pictures(found):
    return {one.name: one for one in study_pictures(found, NAMES)}


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    return pictures(scene(tmp_path_factory.mktemp("study"), more=[("bad", "A", "failed: line 3")]))


def test_each_says_what_it_shows_from_which_data_and_marks_estimates(shown):
    assert set(shown) == NAMES
    for one in shown.values():
        assert one.alt and "\n" not in one.caption
        assert "Data: " in one.caption and "'T $a$ & $b$'" in one.caption
    for name in ("relations", "trade-off"):
        assert ESTIMATES in shown[name].caption
    for name in ("currents", "map", "trade-off"):
        assert "not measurements" in shown[name].caption
    assert "A-700" in shown["relations"].alt and "A-625" in shown["relations"].alt  # ahead, and the first


@pytest.mark.slow
def test_hostile_names_are_drawn_as_they_are_in_one_column(tmp_path):
    names = NAMES - {"currents", "map"}  # those two: tests of their figures
    found = list(study_pictures(scene(tmp_path, HOSTILE, size="one-column"), names))
    assert {one.name for one in found} == names
    for one in found:
        assert troubles(one.figure) == [], one.name


@pytest.mark.slow
def test_what_has_no_data_is_left_out(tmp_path):
    one = pictures(scene(tmp_path, numbers.PIECES[:1], sizes=SIZES_NM[:1]))
    assert not {"trade-off", "currents"} & set(one)
    assert {"schedules", "relations", "budget"} <= set(one)
    bare = [(name, "", None, None, *rest) for name, _, _, _, *rest in numbers.PIECES]
    assert set(pictures(scene(tmp_path, bare, sizes=()))) == {"relations", "budget"}
    failed = scene(tmp_path, (), more=[("bad", "A", "failed: line 3")], sizes=(), told=False)
    assert pictures(failed) == {}
    no_tin = scene(tmp_path)
    results = no_tin.opened.results
    results["estimate_draws"].values[:] = float("nan")
    left = pictures(replace(no_tin, look=first_look(results)))
    assert {"schedules", "budget"} <= set(left) and not {"trade-off", "currents", "layer-current"} & set(left)


def test_of_many_the_first_ones_are_kept_and_the_choice_is_said(tmp_path):
    names = [f"w{k}" for k in range(40)]
    chosen = _chosen(names, 12, ["w17", "none"])
    assert len(chosen) == 12 and {"w0", "w17", "w39"} <= set(chosen) and chosen == sorted(chosen, key=names.index)
    pieces = [(f"w{k:02d}", *numbers.PIECES[k % 6][1:]) for k in range(20)]
    (budget,) = study_pictures(scene(tmp_path, pieces, sizes=()), {"budget"})
    assert "12 of 20 samples" in budget.caption
