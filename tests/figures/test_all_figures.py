"""What holds for every figure: six widths of lines, axes that say something, data on them, symbols set properly."""

from importlib import import_module
from inspect import getsource, isfunction
from pkgutil import iter_modules

import numpy as np
import pytest
from matplotlib.figure import Figure

from tests.figures import every, made
from tests.figures.labels import axis_troubles, covered, line_colours, troubles, widths
from tests.figures.test_palette import lab
from xrdorder import figures
from xrdorder.description.measured_values import MeasuredValue
from xrdorder.drawing import palette
from xrdorder.drawing.layout import SIZES, WIDTHS
from xrdorder.drawing.text import typeset
from xrdorder.figures import against_figure, growth_figure, kramer_figure
from xrdorder.measured.kramer import kramer_series
from xrdorder.reports import of_estimates, of_fits, of_patterns, of_variants
from xrdorder.reports.gallery import NAMES


def series(kramer_t=24.0, noise=()):
    fields = (10.0, 12.0, 14.0, 16.0, 18.0)
    values = [
        MeasuredValue(quantity="critical_current_a", value=(10.0 * (kramer_t - b)) ** 2 / b**0.5 * (1.0 + off), u=20.0,
                 temperature_k=4.2, field_t=b)
        for b, off in zip(fields, noise or (0.0,) * 5, strict=True)
    ]  # fmt: skip
    return kramer_series([("wire", values)])


QUICK = ("growth", "resolution", "kramer", "tc-tin", "site-order", "relations-tc", "budget-tin", "differences-tc")
SHOWN = [
    pytest.param(
        (name, size), id=f"{name}-{size}", marks=() if name in QUICK and size == "one-column" else pytest.mark.slow
    )
    for name in every.FIGURES for size in SIZES if size == "one-column" or name not in every.PANELS
]  # fmt: skip


@pytest.fixture(scope="module", params=SHOWN)
def figure(request):
    name, size = request.param
    drawn = every.figure(name, SIZES[size])
    drawn.draw_without_rendering()
    return drawn


def test_no_figure_is_forgotten():
    """Every public function of `figures` that gives a figure is drawn here, or by the report, whose names all are."""
    modules = [import_module(f"xrdorder.figures.{one.name}") for one in iter_modules(figures.__path__)]
    functions = {
        name for module in modules for name, one in vars(module).items()
        if isfunction(one) and one.__module__ == module.__name__ and not name.startswith("_")
        and one.__annotations__.get("return") in ("Figure", Figure)
    }  # fmt: skip
    assert len(functions) > 20
    drawn = "".join(map(getsource, (every, of_estimates, of_fits, of_patterns, of_variants)))
    assert {name for name in functions if f"{name}(" not in drawn} == {"series_figure"}  # that one: tests of runs
    assert set(every.FIGURES) >= {"fit", "pattern", *NAMES}


def test_lines_have_one_of_six_widths(figure):
    assert len(WIDTHS) == 6 and widths(figure) <= set(WIDTHS)


def test_lines_have_colours_that_every_sight_tells_apart(figure):
    """Of the palette, whose colours `test_palette` measures; data are no lighter than a stroke may be."""
    grounds = {palette.FOG, palette.MIST, palette.PAPER}  # zero lines, rows, gaps between pieces
    drawn = line_colours(figure) - grounds
    known = {*palette.STROKES, *palette.SERIES, palette.SLATE, palette.TEXT}
    assert drawn <= known
    assert all(lab(colour, "normal")[0] < 65.0 for colour in drawn)


def test_axes_have_two_ticks_and_hold_their_data(figure):
    assert axis_troubles(figure) == []


def test_words_have_room(figure):
    assert troubles(figure) == []


def test_legends_and_words_keep_off_the_data(figure):
    assert covered(figure) == []


def test_a_legend_on_data_and_a_width_of_its_own_are_seen():
    figure = every.figure("resolution")
    (axes,) = figure.axes
    axes.legend(loc="lower right")
    axes.axhline(0.05, linewidth=1.234)
    axes.text(0.5, 0.5, "on it " * 9, transform=axes.transAxes, fontsize=30)
    figure.draw_without_rendering()
    found = covered(figure)
    assert any("'legend' lies on data" in one for one in found) and any("on it" in one for one in found)
    assert 1.234 in widths(figure)


def test_a_single_tick_and_data_off_the_axis_are_seen():
    figure = every.figure("resolution")
    figure.axes[0].set_xticks([50.0])
    figure.axes[0].set_ylim(0.5, 0.6)
    figure.draw_without_rendering()
    found = axis_troubles(figure)
    assert any("a single tick at 50" in one for one in found) and any("data off the axis" in one for one in found)


def test_symbols_are_set_as_printers_do():
    assert typeset("Tc and Bc2 of Tcx, S_a") == (
        r"$T_\mathrm{c}$ and $B_\mathrm{c2}$ of Tcx, $S_\mathrm{a}$"
    )
    labels = {axes.get_ylabel() for axes in every.figure("tc-tin", SIZES["one-column"]).axes}
    assert labels == {r"$T_\mathrm{c}$, estimated (K)"}


def test_growth_gives_the_energy_that_was_put_in():
    energy = 60.0  # kJ/mol
    pieces = [(f"w{t}", "A", t, 100, 0.93, 0.24, 16.0) for t in (625, 650, 675, 700, 725)]
    sizes = [1e5 * np.exp(-energy / 8.314462618e-3 / (t + 273.15)) for _, _, t, *_ in pieces]
    (axes, *_) = growth_figure(made.results(pieces, sizes=sizes)).axes
    (said,) = [text.get_text() for text in axes.texts if text.get_text().startswith("E = ")]
    assert float(said.split()[2]) == pytest.approx(energy, rel=0.02)
    assert axes.get_yscale() == "log"


def test_published_samples_and_relations_stand_behind_own_points():
    (axes,) = against_figure(made.results(), ["tc-tin"]).axes
    names = [text.get_text() for text in axes.get_legend().get_texts()]
    assert "published samples" in names and "godeke-2006-boltzmann" in names
    own = [line for line in axes.lines if line.get_marker() in ("o", "D") and line.get_label() not in names]
    others = [line for line in axes.lines if line.get_label() in names]
    assert min(line.zorder for line in own) > max(line.zorder for line in others)


def test_no_more_order_than_there_is_tin():
    (axes,) = against_figure(made.results(), ["order-tin"]).axes
    (bound,) = [line for line in axes.lines if line.get_label().startswith("limit of stoichiometry")]
    x, y = bound.get_data()
    np.testing.assert_allclose(y, 4.0 * np.asarray(x) / 100.0)  # S_a = 1 of undoped A15: order = 4 beta


def test_the_kramer_field_is_where_the_pinning_force_vanishes():
    (one,) = series(24.0)
    assert one.kramer_field_t == pytest.approx(24.0) and not one.rejected
    drawn = [line for line in kramer_figure([one]).axes[0].lines if line.get_marker() == "None"]
    assert any(line.get_xdata()[-1] == pytest.approx(24.0) for line in drawn)
    (bent,) = series(24.0, (0.3, 0.0, -0.3, 0.0, 0.3))
    assert bent.rejected
    words = [text.get_text() for text in kramer_figure([bent]).axes[0].get_legend().get_texts()]
    assert words == ["wire, 4.2 K: a line is rejected"]


def test_the_resolution_is_told_at_three_angles():
    (axes,) = every.figure("resolution").axes
    told = [text.get_text() for text in axes.texts]
    one = every.instrument()
    assert told == [f"{one.fwhm(at):.3f}°" for at in (30.0, 70.0, 110.0)]
    # a Gaussian of 0.04 degrees with a Lorentzian of 0.01 at the middle of the circle
    assert one.fwhm(0.0, "Gaussian") == pytest.approx(0.04, rel=1e-5)
    assert one.fwhm(0.0, "Lorentzian") == pytest.approx(0.01, rel=1e-5)  # good to 0.02 % (Olivero and Longbothum)
