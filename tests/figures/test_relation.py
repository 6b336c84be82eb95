"""What the figure of a relation shows."""

import numpy as np

from xrdorder.figures.relation import relation_figure
from xrdorder.relations import relation, relations


def test_curve_runs_over_the_validity_and_through_the_check_points():
    entry = relation("godeke-2006-collapse")
    axes = relation_figure(entry, relations(entry.kind)).axes[0]
    curves = {line.get_label(): line for line in axes.get_lines()}
    curve = curves[entry.name]
    assert (curve.get_xdata()[0], curve.get_xdata()[-1]) == entry.valid
    np.testing.assert_array_equal(curve.get_ydata(), entry(curve.get_xdata()))
    assert list(curves["check points"].get_ydata()) == [point.output for point in entry.checks]
    assert "rise-and-plateau" in curves
    assert r"$B_\mathrm{c2}$(0) (T)" in axes.get_ylabel()


def test_other_units_are_not_drawn_together():
    entry = relation("exponential-bronze")
    axes = relation_figure(entry, relations(entry.kind)).axes[0]
    labels = {line.get_label() for line in axes.get_lines()}
    assert "fischer-2002-logarithm" in labels and "scanlan-1975-inverse" not in labels
