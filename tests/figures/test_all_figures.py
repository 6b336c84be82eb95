"""What holds for every figure: six widths of lines, axes that say something, data on them, symbols set properly."""

import numpy as np
import pytest
from matplotlib.collections import LineCollection
from matplotlib.lines import Line2D

from tests.figures import made
from tests.figures.labels import axis_troubles, troubles
from xrdorder.description.measured_values import Measured
from xrdorder.drawing.layout import SIZES, WIDTHS
from xrdorder.drawing.text import typeset
from xrdorder.figures import (
    against_figure,
    budget_figure,
    difference_rows,
    extrapolation_figure,
    fit_figure,
    growth_figure,
    kramer_figure,
    order_lines_figure,
    patterns_figure,
    resolution_figure,
    trend_figure,
    williamson_hall_figure,
)
from xrdorder.figures.against import PAIRS
from xrdorder.figures.line_by_line import LinesOfSample
from xrdorder.figures.order_lines import Overlaid
from xrdorder.figures.patterns import SamplePattern
from xrdorder.measured.kramer import kramer_series
from xrdorder.profiles import INSTRUMENT_NAMES, Instrument
from xrdorder.reports.first_look import first_look

SIZES_NM = (70.0, 90.0, 92.0, 130.0, 85.0, 110.0)


def instrument():
    zero = np.zeros(len(INSTRUMENT_NAMES))
    values = dict.fromkeys(INSTRUMENT_NAMES, 0.0) | {"gauss_const": 0.0016, "gauss_tan2": 0.0009, "lorentz_sec": 0.01}
    return Instrument("cu-ka", 217.5, values, np.zeros((zero.size,) * 2), zero, zero, zero, standard="srm-660c")


def series(kramer_t=24.0, noise=()):
    fields = (10.0, 12.0, 14.0, 16.0, 18.0)
    values = [
        Measured(quantity="critical_current_a", value=(10.0 * (kramer_t - b)) ** 2 / b**0.5 * (1.0 + off), u=20.0,
                 temperature_k=4.2, field_t=b)
        for b, off in zip(fields, noise or (0.0,) * 5, strict=True)
    ]  # fmt: skip
    return kramer_series([("wire", values)])


def lines(name="sample"):
    return LinesOfSample(
        name, made.single_lines(), "said", made.A_NM, made.LORENTZ_SEC, 0.0, made.GAUSS_TAN2
    )


FIGURES = {
    "fit": lambda size: fit_figure(made.curves(), made.lines(), made.phases(), results=["a 0.5288 nm"], size=size),
    "trends": lambda size: trend_figure(made.results(sizes=SIZES_NM), size=size),
    "site-order": lambda size: trend_figure(made.results(), ["site_order"], size=size),
    "published": lambda size: against_figure(made.results(), list(PAIRS), size=size),
    "tc-tin": lambda size: against_figure(made.results(), ["tc-tin"], size=size),
    "growth": lambda size: growth_figure(made.results(sizes=SIZES_NM), size=size),
    "differences": lambda size: difference_rows(list(first_look(made.results()).to_first.values()), size=size),
    "budget": lambda size: budget_figure(made.results(), size=size),
    "kramer": lambda size: kramer_figure(series(), size=size),
    "resolution": lambda size: resolution_figure({"": instrument()}, size=size),
    "extrapolation": lambda size: extrapolation_figure([lines(), lines("two")], size=size),
    "williamson-hall": lambda size: williamson_hall_figure([lines(), lines("two")], size=size),
    "order-lines": lambda size: order_lines_figure([Overlaid("a", made.curves(), made.lines())], size=size),
    "patterns": lambda size: patterns_figure([SamplePattern("a", made.curves(), made.lines())], size=size),
}
QUICK = ("growth", "resolution", "kramer", "tc-tin", "site-order")


@pytest.fixture(
    scope="module",
    params=[
        pytest.param((name, size), id=f"{name}-{size}",
                     marks=() if name in QUICK and size == "one-column" else pytest.mark.slow)
        for name in FIGURES for size in SIZES
    ],
)  # fmt: skip
def figure(request):
    name, size = request.param
    return FIGURES[name](SIZES[size])


def test_lines_have_one_of_six_widths(figure):
    drawn = {round(float(line.get_linewidth()), 6) for line in figure.findobj(Line2D) if line.get_linestyle() != "None"}
    for lines in figure.findobj(LineCollection):
        drawn |= {round(float(width), 6) for width in lines.get_linewidth()}
    ticks = {0.8, 0.7, 0.6}  # matplotlib makes those of an axis before they are told theirs
    stripes = {width for width in drawn if width > max(WIDTHS)}  # grounds of rows
    assert len(WIDTHS) == 6 and drawn - stripes - ticks <= {*WIDTHS, 0.0}


def test_axes_have_two_ticks_and_hold_their_data(figure):
    assert axis_troubles(figure) == []


def test_words_have_room(figure):
    assert troubles(figure) == []


def test_a_single_tick_and_data_off_the_axis_are_seen():
    figure = resolution_figure({"": instrument()})
    figure.axes[0].set_xticks([50.0])
    figure.axes[0].set_ylim(0.5, 0.6)
    found = axis_troubles(figure)
    assert any("a single tick at 50" in one for one in found) and any("data off the axis" in one for one in found)


def test_symbols_are_set_as_printers_do():
    assert typeset("Tc and Bc2 of Tcx, S_a") == (
        r"$T_\mathrm{c}$ and $B_\mathrm{c2}$ of Tcx, $S_\mathrm{a}$"
    )
    labels = {axes.get_ylabel() for axes in FIGURES["tc-tin"](SIZES["one-column"]).axes}
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
    own = [line for line in axes.lines if line.get_marker() in ("o", "D") and len(line.get_xdata()) == 1]
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
    (axes,) = resolution_figure({"": instrument()}).axes
    told = [text.get_text() for text in axes.texts]
    one = instrument()
    assert told == [f"{one.fwhm(at):.3f}°" for at in (30.0, 70.0, 110.0)]
    # a Gaussian of 0.04 degrees with a Lorentzian of 0.01 at the middle of the circle
    assert one.fwhm(0.0, "Gaussian") == pytest.approx(0.04, rel=1e-5)
    assert one.fwhm(0.0, "Lorentzian") == pytest.approx(0.01, rel=1e-5)  # good to 0.02 % (Olivero and Longbothum)
