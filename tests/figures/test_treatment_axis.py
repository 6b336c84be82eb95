"""Trends over time and dose, of many lots, of values close together."""

import numpy as np
import pytest
from matplotlib.ticker import FuncFormatter

from tests.figures import made
from tests.figures.labels import EVERY_SIZE, troubles
from xrdorder.drawing.layout import SIZES, log_ticks, place, sheet
from xrdorder.figures import trend_figure
from xrdorder.figures.treatment_axis import DOSE, HOLD, TEMPERATURE, places_of, usual_variable

TIMES = [(f"w{h}-{k}", "A", 650, h, 0.90 + 0.02 * np.log10(h) + 0.001 * k, 0.235, 16.0) for h in (20, 60, 200, 600)
         for k in range(2)]  # fmt: skip


def marks(axes):
    return [tuple(place) for line in axes.lines if line.get_linestyle() == "None" for place in line.get_xydata()]


def test_round_numbers_of_a_logarithmic_axis_keep_apart():
    axes = place(sheet(3.5, 1.0), 0.5, 0.3, 2.4, 0.5)
    axes.set_xscale("log")
    axes.set_xlim(0.4, 2000.0)
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:g}"))
    log_ticks(axes.xaxis)
    assert list(axes.get_xticks()) == [1.0, 10.0, 100.0, 1000.0]  # with 2 and 5 there is no room for 500 beside 1000
    axes.set_xlim(0.4, 30.0)
    log_ticks(axes.xaxis)
    assert list(axes.get_xticks()) == [0.5, 1.0, 2.0, 5.0, 10.0, 20.0]


def test_temperature_unless_only_time_varies():
    assert usual_variable(made.results()) is TEMPERATURE
    assert usual_variable(made.results(TIMES)) is HOLD
    assert usual_variable(made.results(TIMES[:1])) is TEMPERATURE
    assert usual_variable(made.results([(*p[:2], None, None, *p[4:]) for p in TIMES])) is TEMPERATURE


@pytest.mark.parametrize("variable", [HOLD, DOSE], ids=["hold", "dose"])
def test_times_stand_on_a_logarithmic_axis_with_replicates_beside_each_other(variable):
    results = made.results(TIMES)
    axes = trend_figure(results, ["site_order"], variable=variable).axes[0]
    assert axes.get_xscale() == "log"
    for x, y in marks(axes):
        k = int(np.argmin(np.abs([p[4] for p in TIMES] - np.float64(y))))
        assert abs(np.log(x / float(results[variable.column].values[k]))) < 0.25  # neighbours are log(3) apart
    places = sorted(x for x, _ in marks(axes))
    assert min(np.diff(np.log(places))) > 0.02
    labels = [axes.get_xlabel() for axes in trend_figure(results, ["site_order"], variable=variable).axes]
    told = {"hold-time": "hold time (h)", "dose": "hours at 650 °C that would have done as much"}
    assert told[variable.key] in labels


def test_a_lot_with_samples_enough_has_a_line_with_its_band():
    axes = trend_figure(made.results(TIMES), ["site_order"], variable=HOLD).axes[0]
    (line,) = [line for line in axes.lines if line.get_marker() == "None" and len(line.get_xdata()) > 2]
    x, y = (np.asarray(part, dtype=float) for part in line.get_data())
    # straight over the logarithm, by 0.02 a decade as made
    np.testing.assert_allclose(y, 0.9005 + 0.02 * np.log10(x), atol=1e-9)
    bands = [one for one in axes.collections if type(one).__name__.startswith("FillBetween")]
    assert len(bands) == 1
    few = trend_figure(made.results(TIMES[:3]), ["site_order"], variable=HOLD).axes[0]
    assert not [line for line in few.lines if line.get_marker() == "None" and len(line.get_xdata()) > 2]


@pytest.mark.slow
@pytest.mark.parametrize("size", EVERY_SIZE)
def test_many_lots_with_long_names_wrap(size):
    pieces = [
        (f"w{k}", f"lot {k} $x$ <b>" + "long " * (5 * (k % 3)), 620 + 25 * (k % 5), 50 + k, 0.9 + 0.005 * k, 0.24, 16.0)
        for k in range(12)
    ]
    assert troubles(trend_figure(made.results(pieces), ["site_order", "tin_fraction"], size=size)) == []


@pytest.mark.slow
def test_values_close_together_neither_crowd_the_axis_nor_shrink_what_is_drawn():
    pieces = [(f"w{k}", "A", 600 + k if k else 540, 50, 0.9, 0.24, 16.0) for k in range(60)]
    places = places_of(made.results(pieces), TEMPERATURE)
    assert not places.striped and places.pitch > 4.0
    assert troubles(trend_figure(made.results(pieces), ["site_order"], size=SIZES["one-column"])) == []
