"""Which samples figures of patterns and lines are made of, and what is said of them."""

from dataclasses import replace

import pytest

from tests.figures import made as figures
from tests.figures.every import instrument
from tests.reports import made
from xrdorder.drawing.layout import SIZES
from xrdorder.exceptions import StudyError
from xrdorder.profiles import write_instrument
from xrdorder.reports import of_patterns
from xrdorder.reports.pictures import Scene


def scene(tmp_path, pieces=figures.PIECES, more=()):
    plain = made.opened(tmp_path, pieces=pieces, more=more)
    return Scene.of(made.OpenedWithLines(plain.study, plain.results))


def pictures(of):
    """All but that of the instrument, which is made of a file."""
    return {one.name: one.make(of) for one in of_patterns.MAKERS if one.name != "resolution" and not one.alone}


def names_on(figure):
    return {text.get_text() for axes in figure.axes for text in axes.texts}


def test_every_figure_is_made_with_words(tmp_path):
    for name, picture in pictures(scene(tmp_path)).items():
        assert picture is not None and picture.name == name
        assert len(picture.alt) > 40 and picture.caption.endswith("Data: results/samples of 'A made study'.")


@pytest.mark.slow
def test_one_sample_of_each_variant_is_shown(tmp_path):
    found = pictures(scene(tmp_path))
    for name in ("extrapolation", "williamson-hall"):
        assert {"A-625", "A-650-a", "A-700", "B-650", "B-675"} <= names_on(found[name].figure)
        assert "A-650-b" not in names_on(found[name].figure)
        assert "5 samples (the first of each wire lot and treatment)" in found[name].caption
    words = " ".join(names_on(found["extrapolation"].figure))
    assert "a = 0.5288000(10) nm, lines 0.5288010(20), displaced by −33.0(2.0) µm" in words


@pytest.mark.slow
def test_of_many_variants_some_are_shown_and_the_caption_says_so(tmp_path):
    pieces = [(f"s{k}", "A", 600 + 5 * k, 50, 0.9, 0.24, 16.0) for k in range(14)]
    of = scene(tmp_path, pieces)
    found = pictures(of)
    assert len(found["extrapolation"].figure.axes) == 8
    assert "8 of 14 from the coolest to the hottest" in found["extrapolation"].caption
    assert {"s0", "s13"} <= names_on(found["extrapolation"].figure)
    assert "map" in found["patterns"].caption and len(found["patterns"].figure.axes[1].images) == 1
    narrow = of_patterns.williamson_hall(replace(of, size=SIZES["one-column"]))
    assert len(narrow.figure.axes) == 4


@pytest.mark.slow
def test_order_lines_are_of_the_variant_ahead_and_the_reference(tmp_path):
    of = scene(tmp_path)
    assert of.look.leader == "A 700 °C/50 h" and of.look.comparison.reference == "A 625 °C/100 h"
    caption = pictures(of)["order-lines"].caption
    assert "of A-700 and A-625 (leading variant and reference)" in caption


def test_without_verdicts_order_lines_are_of_the_last_and_the_first(tmp_path):
    of = scene(tmp_path)
    blind = replace(of, look=replace(of.look, ahead=None))
    assert "of A-700 and A-625 (last and first by treatment)" in of_patterns.order_lines(blind).caption


@pytest.mark.slow
@pytest.mark.parametrize("count", [1, 2])
def test_few_samples_and_missing_treatments(tmp_path, count):
    pieces = [(f"s{k}", "A", None, 0, 0.9, 0.24, 16.0) for k in range(count)]
    found = pictures(scene(tmp_path, pieces))
    assert all(picture is not None for picture in found.values())


@pytest.mark.slow
def test_failed_samples_are_left_out_and_no_sample_is_no_figure(tmp_path):
    more = (("failed-1", "A", "failed: a gap"),)
    found = pictures(scene(tmp_path, more=more))
    assert all("failed-1" not in names_on(picture.figure) for picture in found.values())
    nothing = made.opened(tmp_path, more=more)
    results = nothing.results.isel(sample=[len(figures.PIECES)])
    empty = Scene.of(made.OpenedWithLines(nothing.study, results))
    assert [maker.make(empty) for maker in of_patterns.MAKERS] == [None] * len(of_patterns.MAKERS)


def test_results_without_single_lines_have_the_other_figures(tmp_path):
    plain = made.opened(tmp_path)
    found = pictures(Scene.of(plain))
    missing = [name for name, picture in found.items() if picture is None]
    assert missing == ["extrapolation", "williamson-hall"]


def test_the_resolution_is_that_of_the_instrument_file(tmp_path):
    of = scene(tmp_path)
    with pytest.raises(StudyError, match="no instrument"):
        of_patterns.resolution(of)
    write_instrument(instrument(), tmp_path / "instrument.toml")
    described = of.opened.study.model_copy(
        update={"instrument": tmp_path / "instrument.toml", "samples": tuple(figures.described())}
    )
    caption = of_patterns.resolution(replace(of, opened=replace(of.opened, study=described))).caption
    assert f"srm-660c: {instrument().fwhm(30.0):.3f}° at 30°" in caption
