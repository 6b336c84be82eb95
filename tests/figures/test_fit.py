"""The figure of a fitted pattern shows what is in the data, and leaves the world alone."""

import io

import matplotlib
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from tests.figures import made
from xrdorder.drawing.layout import ONE_COLUMN, PAGE_IN, TWO_COLUMN, root_ticks, rows_without_overlap
from xrdorder.figures import CloseUp, budget_figure, fit_figure, trend_figure
from xrdorder.figures.close_ups import default_close_ups
from xrdorder.fitting import PhaseResult

LANES, MAIN, RESIDUAL = 0, 1, 2


def texts(axes):
    return [text.get_text() for text in axes.texts]


@pytest.fixture(scope="module")
def figure():
    return fit_figure(made.curves(), made.lines(), made.phases("cu-sn"), title="A-650", remark="650 °C/100 h")


def test_it_is_a_figure_with_a_canvas_of_its_own(figure):
    assert type(figure) is Figure
    assert isinstance(figure.canvas, FigureCanvasAgg)
    assert [text.get_text() for text in figure.texts] == ["A-650", "650 °C/100 h"]


@pytest.mark.slow
def test_nothing_global_is_touched():
    import matplotlib.pyplot

    before = dict(matplotlib.rcParams)
    fit_figure(made.curves(high=40.0), made.lines(), made.phases()).canvas.draw()
    assert dict(matplotlib.rcParams) == before
    assert matplotlib.pyplot.get_fignums() == []


@pytest.mark.slow
def test_settings_of_others_do_not_change_it():
    def picture():
        buffer = io.BytesIO()
        fit_figure(made.curves(high=40.0), made.lines(), made.phases()).savefig(buffer, format="raw", dpi=40)
        return buffer.getvalue()

    plain = picture()
    with matplotlib.rc_context({"lines.linewidth": 9.0, "font.size": 30, "axes.facecolor": "red"}):
        assert picture() == plain


def drawn(axes, label):
    return next(line for line in axes.lines if line.get_label() == label)


def test_counts_are_points_in_the_pattern_and_in_close_ups(figure):
    observed = made.curves()["observed"].values
    points = drawn(figure.axes[MAIN], "observed")
    assert np.allclose(points.get_ydata(), observed) and points.get_marker() == "o" and points.get_markersize() > 1.0
    assert all(drawn(axes, "observed").get_marker() == "o" for axes in figure.axes[3::2])


def test_bars_are_one_standard_uncertainty_as_the_fit_took_it():
    # counts scaled to ten seconds a point: the uncertainty of the rate is smaller by the root of ten
    for time in (1.0, 10.0):
        curves = made.curves(counting_time=time)
        order = fit_figure(curves, made.lines()).axes[3]
        bars = drawn(order, "_bars")
        half = 0.5 * (bars.get_ydata()[1::3] - bars.get_ydata()[0::3])
        part = curves.sel(two_theta=bars.get_xdata()[::3], method="nearest")
        assert np.allclose(half, np.sqrt(part["calculated"] / time))


def test_where_points_have_no_room_the_calculated_curve_lies_over_pale_points():
    def order(figure):
        points, curve = (drawn(figure.axes[MAIN], label) for label in ("observed", "calculated"))
        return curve.get_zorder() > points.get_zorder(), points.get_alpha()

    over, pale = order(fit_figure(made.curves(), made.lines(), made.phases(), size=ONE_COLUMN))
    assert over and pale < 1.0
    assert order(fit_figure(made.curves(20.0, 30.0), made.lines(), made.phases())) == (False, 1.0)


def test_phases_are_in_the_legend_and_results_in_a_box():
    figure = fit_figure(made.curves(), made.lines(), made.phases(), results=["a 0.52880(1) nm", "tin $24$ at.%"])
    names = [text.get_text() for text in figure.legends[0].get_texts()]
    assert {"Nb₃Sn", "Nb", "background", "calculated", "observed"} <= set(names)
    assert "a 0.52880(1) nm\ntin \\$24\\$ at.%" in texts(figure.axes[MAIN])


def test_close_ups_have_their_residual(figure):
    order, below = figure.axes[3:5]
    assert below.get_position().y1 < order.get_position().y0
    assert below.get_xlim() == order.get_xlim()
    top = max(path.vertices[:, 1].max() for band in below.collections for path in band.get_paths())
    inside = (made.curves()["two_theta"] > order.get_xlim()[0]) & (made.curves()["two_theta"] < order.get_xlim()[1])
    assert top == pytest.approx(float(made.curves()["weighted_residual"].where(inside).max()), abs=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("size", [ONE_COLUMN, TWO_COLUMN])
def test_figures_of_a_report_fit_a_page(size):
    figure = fit_figure(made.curves(high=70.0), made.lines(), made.phases(), size=size)
    assert figure.get_size_inches()[1] <= PAGE_IN
    assert trend_figure(made.results(), size=size).get_size_inches()[1] <= PAGE_IN + 1e-9
    assert budget_figure(made.results(), size=size).get_size_inches()[1] <= PAGE_IN


def test_filled_parts_add_up_to_the_calculated_curve(figure):
    top = np.max([band.get_paths()[0].vertices[:, 1].max() for band in figure.axes[MAIN].collections])
    assert top == pytest.approx(float(made.curves()["calculated"].max()))


def test_every_line_has_a_mark_in_the_lane_of_its_phase(figure):
    marks = [c.get_segments() for c in figure.axes[LANES].collections if hasattr(c, "get_segments")]
    angles = [sorted(segment[0][0] for segment in lane) for lane in marks]
    expected = [sorted(line[2] for line in made.LINES if line[0] == name) for name in ("nb3sn", "nb")]
    assert angles == expected
    heights = {round(segment[0][0], 2): segment[1][1] - segment[0][1] for segment in marks[0]}
    assert heights[38.00] > heights[66.02] > heights[23.76]  # by area


def test_indices_stand_over_strong_lines_and_over_the_order_line(figure):
    shown = texts(figure.axes[LANES])
    assert {"110", "200", "210", "211", "321"} <= set(shown)


def test_amounts_and_limits_are_written_beside_the_lanes(figure):
    shown = texts(figure.axes[LANES])
    assert "88.80 ± 0.20 wt.%" in shown
    assert "below 1.2 wt.%" in shown
    assert "not found: no marks" in shown


def test_amounts_may_come_from_a_fit():
    nan = float("nan")
    phases = {
        "nb3sn": PhaseResult(True, 600.0, 0.9, 0.01, nan, (0.5288,), (1e-6,)),
        "nb": PhaseResult(False, 0.5, nan, nan, 0.004, (0.33,), (0.0,)),
    }
    keep = [line for line in made.LINES if line[0] == "nb3sn"]
    shown = texts(fit_figure(made.curves(keep=keep), made.lines(keep), phases).axes[LANES])
    assert "90.0 ± 1.0 wt.%" in shown and "below 0.4 wt.%" in shown


def test_residuals_beyond_the_frame_and_points_left_out_are_marked():
    curves = made.curves()
    residual = curves["weighted_residual"].values
    residual[100], residual[200], residual[300] = 40.0, -40.0, np.nan
    axes = fit_figure(curves, made.lines()).axes[RESIDUAL]
    x = curves["two_theta"].values
    marked = {line.get_marker(): line.get_xdata() for line in axes.lines if line.get_marker() != "None"}
    assert np.allclose(marked["^"], [x[100]])
    assert np.allclose(marked["v"], [x[200]])
    assert np.allclose(marked["x"], [x[300]])


def test_the_lines_that_decide_are_drawn_large(figure):
    titles = [axes.get_title(loc="left") for axes in figure.axes[3::2]]
    assert titles == ["A  order (110)", "B  overlap region"]
    order, crowd = figure.axes[3::2]
    assert order.get_xlim()[0] < 23.76 < order.get_xlim()[1]
    assert crowd.get_xlim()[0] < 38.0 and crowd.get_xlim()[1] > 41.79
    assert "Nb 110" in texts(crowd)


def test_close_ups_go_with_the_range_of_the_pattern():
    short = made.curves(low=30.0)
    assert [one.title for one in default_close_ups(short, made.lines())] == ["overlap region"]
    far = made.curves(low=60.0)
    assert default_close_ups(far, made.lines()) == ()
    assert len(fit_figure(far, made.lines()).axes) == 3


def test_without_an_a15_the_first_and_the_strongest_line_are_drawn_large():
    keep = [line for line in made.LINES if line[0] == "nb"][::-1]
    found = default_close_ups(made.curves(keep=keep), made.lines(keep))
    # the strongest line of niobium is its first: one picture is enough
    assert [one.title for one in found] == ["first line"]


def test_close_ups_may_be_chosen():
    figure = fit_figure(made.curves(), made.lines(), close_ups=[CloseUp("mine", 30.0, 40.0)])
    assert [axes.get_title(loc="left") for axes in figure.axes[3::2]] == ["A  mine"]


def test_a_pattern_in_which_nothing_was_found_is_drawn_all_the_same():
    curves = made.curves(keep=())
    figure = fit_figure(curves, made.lines(()), made.phases("nb3sn", "nb", "cu-sn"))
    figure.canvas.draw()
    assert texts(figure.axes[LANES]).count("not found: no marks") == 3


@pytest.mark.parametrize("low, high", [(0.0, 25_000.0), (0.0, 40.0), (100.0, 900.0), (0.0, 3e6)])
def test_ticks_of_the_root_scale_are_round_and_apart(low, high):
    ticks = np.array(root_ticks(low, high))
    assert len(ticks) >= 3
    assert np.all(np.diff(np.sqrt(ticks)) >= 0.09 * (np.sqrt(high) - np.sqrt(low)) - 1e-9)
    leading = [float(f"{tick:e}".split("e")[0]) for tick in ticks]
    assert set(leading) <= {0.0, 1.0, 2.0, 5.0}


def test_labels_are_dropped_rather_than_printed_over_each_other():
    rows = rows_without_overlap([1.0, 1.1, 1.2, 5.0], 1.0, 2)
    assert rows == [0, 1, None, 0]


def test_no_two_labels_overlap_on_the_page(figure):
    renderer = figure.canvas.get_renderer()
    figure.canvas.draw()
    boxes = [
        (text.get_text(), text.get_window_extent(renderer))
        for axes in figure.axes
        for text in [*axes.texts, axes.title, *[t for t in (axes._left_title,)]]
        if text.get_text().strip() and text.get_visible()
    ]
    assert len(boxes) > 15
    hits = [(a, b) for i, (a, p) in enumerate(boxes) for b, q in boxes[i + 1 :] if p.overlaps(q)]
    assert hits == []
