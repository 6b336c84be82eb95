"""Bc2, current and section against temperature and field."""

from dataclasses import replace

import numpy as np
import pytest

from tests.drawn import made_conductor, made_layer
from xrdorder.drawing.text import typeset
from xrdorder.exceptions import StudyError, UnknownNameError
from xrdorder.figures import bc2_figure, current_figure, section_figure
from xrdorder.quantities.caveats import ESTIMATES
from xrdorder.superconductivity.currents import Conditions, bc2_curve, crossing, relative_current
from xrdorder.uncertainty import Contributions

N = 2000
FREE = Conditions(strain=0.0)


def material(tin, size):
    table = Contributions.empty()
    table = table.extend("tin_fraction_lattice", {}, {"scale": (0.003, "published"), "own": (0.0005, "")})
    table = table.extend("domain_size_nm", {}, {"counting": (4.0, "")})
    return {"tin_fraction_lattice": tin, "domain_size_nm": size}, table


@pytest.fixture(scope="module")
def samples():
    pieces = (("620 °C", 0.228, 70.0), ("680 °C", 0.233, 100.0), ("750 °C", 0.240, 170.0))
    return [made_conductor(name, material(tin, size), lot="A", n=N) for name, tin, size in pieces]


@pytest.fixture(scope="module")
def layers():
    even, _ = material(0.235, 100.0)
    graded = {**even, "tin_spread": 0.008, "lattice_tail_nm": 1.1e-4}
    return {
        "even": made_layer((even, Contributions.empty()), n=N),
        "leaning": made_layer((graded, Contributions.empty()), n=N),
    }


def curve(axes, label):
    line = next(line for line in axes.lines if line.get_label() == label)
    return np.asarray(line.get_xdata()), np.asarray(line.get_ydata())


def test_bc2_is_drawn_with_and_without_strain(samples):
    axes = bc2_figure(samples).axes[0]
    x, y = curve(axes, "680 °C")
    median = bc2_curve(samples[1], x).median
    drawn = np.isfinite(y)
    np.testing.assert_allclose(y[drawn], median[drawn])
    # down to the first zero; above Tc there is no Bc2, and a line along zero would say there is
    assert np.all(median[~drawn] == 0.0) and np.count_nonzero(y[drawn] == 0.0) <= 1 and not drawn[-1]
    thin = [line for line in axes.lines if line.get_linewidth() == 0.7]
    assert len(thin) == 3
    # compression takes something wherever there is anything left
    assert np.all(thin[1].get_ydata()[drawn] >= y[drawn]) and thin[1].get_ydata()[0] > y[0]
    assert len(axes.collections) == 3  # bars of each
    places = [{round(float(bar[0, 0]), 6) for bar in bars.get_segments()} for bars in axes.collections]
    assert not places[0] & places[1] and not places[1] & places[2]  # beside each other
    low, high = axes.collections[1].get_segments()[1][:, 1]
    band = bc2_curve(samples[1], [axes.collections[1].get_segments()[1][0, 0]])
    np.testing.assert_allclose((low, high), (band.low[0], band.high[0]))


def test_few_samples_have_bands_and_legends_hide_nothing(samples):
    figure = bc2_figure(samples[:2])
    axes = figure.axes[0]
    assert [type(one).__name__ for one in axes.collections] == ["FillBetweenPolyCollection"] * 2
    figure.canvas.draw()
    box = axes.get_legend().get_window_extent()
    assert box.x0 >= axes.get_window_extent().x1 - 1 and box.x1 <= figure.canvas.get_width_height()[0]


def test_current_is_drawn_over_the_reference_and_crossings_are_marked(samples):
    conditions = Conditions(design="internal-tin")
    figure = current_figure(samples, conditions, reference="680 °C")
    axes = figure.axes[0]
    x, y = curve(axes, "750 °C")
    np.testing.assert_allclose(y, relative_current(samples[2], samples[1], x, conditions).ratio.median)
    assert not axes.texts  # nothing is written over the curves
    rows = figure.axes[1]
    assert rows.get_xlim() == axes.get_xlim()
    assert rows.texts[0].get_text() == "field at which each carries as much as 680 °C"
    for row, k in enumerate((0, 2)):
        found = crossing(samples[k], samples[1], conditions)
        assert found.crosses
        low, median, high = (float(x) for x in (found.field_t.low, found.field_t.median, found.field_t.high))
        bar, mark = rows.lines[2 * row : 2 * row + 2]
        assert (tuple(bar.get_xdata()), set(bar.get_ydata())) == ((low, high), {row})
        assert (list(mark.get_xdata()), list(mark.get_ydata())) == ([median], [row])
        assert rows.texts[row + 1].get_text().startswith(f"{median:.1f} T ({low:.1f} to {high:.1f} T)")
    page = " ".join(" ".join(text.get_text() for text in figure.texts).split())
    assert "680 °C" in page and "−0.3 to −0.2 %" in page and "No magnet" in page


def test_a_bar_that_goes_on_beyond_the_frame_has_an_arrow(samples):
    conditions = Conditions(design="internal-tin")
    axes = current_figure([*samples, *[replace(samples[0], name=f"more {k}") for k in range(2)]], conditions).axes[0]
    high = axes.get_ylim()[1]
    ends = [bar[:, 1].max() for one in axes.collections for bar in one.get_segments() if len(bar)]
    arrows = [x for line in axes.lines if line.get_marker() == "^" and line.get_label() == "_beyond"
              for x in line.get_xdata()]  # fmt: skip
    assert len(arrows) == sum(end > high for end in ends) > 0
    assert all(y == high for line in axes.lines if line.get_label() == "_beyond" for y in line.get_ydata())


def test_section_is_drawn_in_per_cent(layers):
    axes = section_figure(layers, FREE).axes[0]
    x, y = curve(axes, "leaning (graded)")
    one = layers["leaning"]
    np.testing.assert_allclose(y, 100.0 * one.share_superconducting(x, 4.2, one.strained(0.0)).median)
    assert y[0] == 100.0 and y[-1] == 0.0
    _, even = curve(axes, "even (uniform)")
    assert set(np.unique(even)) <= {0.0, 100.0}  # one piece is there or is not


def test_section_under_strain_ends_earlier(layers):
    fields = np.linspace(0.0, 35.0, 141)
    free, strained = (section_figure(layers, Conditions(strain=s), fields_t=fields) for s in (0.0, -0.004))
    (_, one), (_, two) = (curve(figure.axes[0], "leaning (graded)") for figure in (free, strained))
    assert np.all(two <= one) and np.any(two < one)
    assert "−0.4 %" in " ".join(text.get_text() for text in strained.texts)
    assert "free of strain" in " ".join(text.get_text() for text in free.texts)
    usual = section_figure(layers, fields_t=fields)  # unless told otherwise strained as wires are
    assert "pre-strain −0.4 to −0.2 %" in " ".join(text.get_text() for text in usual.texts)
    assert np.any(curve(usual.axes[0], "leaning (graded)")[1] < one)


def test_absolute_bc2_is_said_to_be_untested_at_low_tc(samples, layers):
    for figure in (bc2_figure(samples), section_figure(layers, FREE)):
        assert typeset(ESTIMATES) in " ".join(" ".join(text.get_text() for text in figure.texts).split())


def test_fields_and_temperatures_may_be_chosen(samples, layers):
    assert curve(bc2_figure(samples, temperatures_k=[2.0, 4.0, 6.0]).axes[0], "620 °C")[0].tolist() == [2.0, 4.0, 6.0]
    assert current_figure(samples, fields_t=[5.0, 10.0]).axes[0].get_xlim() == (5.0, 10.0)
    assert section_figure(layers, Conditions(12.0), fields_t=[1.0, 9.0]).axes[0].get_xlim() == (1.0, 9.0)


def test_what_cannot_be_drawn_is_said(samples, layers):
    with pytest.raises(StudyError, match="nothing to be compared"):
        current_figure(samples[:1])
    with pytest.raises(StudyError, match="no sample is superconducting above 2 T at 20 K"):
        current_figure(samples, Conditions(20.0))
    with pytest.raises(UnknownNameError, match=r"620 °C, 680 °C, 750 °C"):
        current_figure(samples, reference="640 °C")
    with pytest.raises(StudyError, match="no sample to show"):
        section_figure({})
    with pytest.raises(StudyError, match="up to 6"):
        bc2_figure(samples * 3)


@pytest.mark.slow
def test_the_words_fit_on_the_page(samples, layers):
    for figure in (bc2_figure(samples), current_figure(samples), section_figure(layers)):
        figure.canvas.draw()
        renderer = figure.canvas.get_renderer()
        width, height = figure.canvas.get_width_height()
        for text in [*figure.texts, *[t for axes in figure.axes for t in axes.texts]]:
            box = text.get_window_extent(renderer)
            assert 0 <= box.x0 and box.x1 <= width and 0 <= box.y0 and box.y1 <= height, text.get_text()
