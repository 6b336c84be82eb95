"""Single lines: marks where they were found, the fit's line where the fit says."""

import math

import numpy as np
import pytest

from tests.figures import made
from tests.figures.labels import EVERY_SIZE, troubles
from xrdorder.drawing.palette import GARNET
from xrdorder.exceptions import StudyError
from xrdorder.figures.line_by_line import LinesOfSample, extrapolation_figure, williamson_hall_figure


def sample(name="sample", **changes):
    given = {
        "lines": made.single_lines(), "remark": "a = 0.528800(3) nm, displaced by 33(2) µm", "a_nm": made.A_NM,
        "lorentz_sec": made.LORENTZ_SEC, "lorentz_tan": 0.0, "gauss_tan2": made.GAUSS_TAN2,
    }  # fmt: skip
    return LinesOfSample(name, **(given | changes))


def marks(axes):
    (container,) = axes.containers
    return container[0].get_xydata()


def drawn_fit(axes):
    return next(line for line in axes.lines if line.get_color() == GARNET).get_xydata()


def test_lattice_by_each_line_falls_on_the_line_of_the_displacement():
    (axes,) = extrapolation_figure([sample()]).axes
    found, fit = marks(axes), drawn_fit(axes)
    assert len(found) == 7  # of eight, one covered
    assert fit[0] == pytest.approx([0.0, 0.0])
    slope, level = np.polyfit(fit[:, 0], fit[:, 1], 1)  # ppm of the lattice parameter of the fit
    assert (level, slope) == pytest.approx((0.0, 1e6 * made.SHIFT), rel=1e-9, abs=1e-6)
    ppm = 1e6 * 1e-6 / made.A_NM  # a third of the uncertainty of 3e-6 nm
    np.testing.assert_allclose(found[:, 1] - np.polyval((slope, level), found[:, 0]), ppm, rtol=1e-3)


def test_breadth_begins_at_the_domain_size_and_rises_with_strain():
    (axes,) = williamson_hall_figure([sample()]).axes
    found, fit = marks(axes), drawn_fit(axes)
    assert len(found) == 6  # (110) has no width of its own
    # Scherrer in integral breadths: pi / 2 times the Lorentzian full width at sin(theta) = 0
    assert fit[0] == pytest.approx([0.0, 1000.0 * math.radians(math.pi / 2.0 * made.LORENTZ_SEC)])
    assert np.all(np.diff(fit[:, 1]) >= 0.0) and fit[-1, 1] > 1.05 * fit[0, 1]
    above = found[:, 1] - np.interp(found[:, 0], fit[:, 0], fit[:, 1])
    assert np.all(above > 0.0) and np.all(above < 0.05)


def test_strain_by_direction_is_drawn_line_by_line():
    (axes,) = williamson_hall_figure([sample(by_direction=True)]).axes
    (fit,) = [line for line in axes.lines if line.get_marker() == "_" and len(line.get_xdata()) == 6]
    np.testing.assert_allclose(np.sort(fit.get_xdata()), np.sort(marks(axes)[:, 0]))


def test_widths_of_all_samples_are_on_one_scale():
    wide = made.single_lines()
    wide["specimen_lorentz"] = 3.0 * wide["specimen_lorentz"]
    one, two = williamson_hall_figure([sample(), sample("wide", lines=wide, lorentz_sec=3.0 * made.LORENTZ_SEC)]).axes
    assert one.get_ylim() == two.get_ylim()


def test_a_line_that_says_little_stays_on_the_page():
    weak = made.single_lines()
    weak["u_a_nm"][0], weak["a_nm"][0] = 1e-3, made.A_NM - 1e-4
    (axes,) = extrapolation_figure([sample(lines=weak)]).axes
    low, high = axes.get_ylim()
    off = -1e6 * 1e-4 / made.A_NM
    assert low < off and high - low < 1e6 * 1e-3 / made.A_NM


def test_lattice_parameters_of_all_samples_are_on_one_scale():
    far = made.single_lines()
    far["calculated_a_nm"] = far["calculated_a_nm"] + 3e-4
    one, two = extrapolation_figure([sample(), sample("displaced", lines=far)]).axes
    assert one.get_ylim() == two.get_ylim()


def test_samples_without_usable_lines_have_no_panel():
    none = made.single_lines(covered=tuple(made.single_lines()["hkl"].values))
    assert len(extrapolation_figure([sample(lines=none), sample()]).axes) == 1
    for draw in (extrapolation_figure, williamson_hall_figure):
        with pytest.raises(StudyError, match="cross-checks"):
            draw([sample(lines=none)])


@pytest.mark.parametrize("size", EVERY_SIZE)
@pytest.mark.parametrize("draw", [extrapolation_figure, williamson_hall_figure])
def test_nothing_is_cut_and_nothing_overlaps(draw, size):
    names = ("short", 40 * "wide ", "$x_2$ & <b>", "line\nbreak")
    figure = draw([sample(name) for name in names], title="made", size=size)
    assert troubles(figure) == []
