"""Budgets: bars are the shares of the variance, own and common apart, in one piece each."""

import numpy as np
import pytest
from matplotlib.colors import to_hex, to_rgb

from tests.figures import made
from tests.figures.labels import EVERY_SIZE, troubles
from xrdorder.exceptions import StudyError
from xrdorder.explanation.families import FAMILIES
from xrdorder.figures.budget import OTHER, PARTS, budget_figure

COLOURS = {part.title: part.colour for part in PARTS}


@pytest.fixture(scope="module")
def figure():
    return budget_figure(made.results(), title="made")


def bars(axes, row):
    """Colour, whether hatched, and width of every piece of a row."""
    found = [bar for bar in axes.patches if round(bar.get_y() + 0.5 * bar.get_height()) == row]
    return {(to_hex(bar.get_facecolor()), bool(bar.get_hatch())): bar.get_width() for bar in found}


def test_shares_are_those_of_the_variance(figure):
    lattice, order, tin = figure.axes
    # of the made table: a has 1e-6 from counting and 5e-6 from the certificate
    assert bars(lattice, 0) == pytest.approx(
        {(COLOURS["counting"], False): 100 / 26, (COLOURS["certificate, calibration"], True): 2500 / 26}
    )
    assert bars(order, 0) == pytest.approx(
        {(COLOURS["counting"], False): 6400 / 164, (OTHER.colour, True): 10000 / 164}
    )  # 'dopant' is no family that is met
    own, shared = 0.0015**2, 0.015**2
    assert bars(tin, 0) == pytest.approx(
        {
            (COLOURS["counting"], False): 100 * own / (own + shared),
            (COLOURS["a(tin) scale"], True): 100 * shared / (own + shared),
        }
    )
    numbers = [text.get_text() for axes in figure.axes for text in axes.texts if text.get_position()[0] == 103.0]
    assert numbers == ["0.005"] * 6 + ["0.013"] * 6 + ["1.5"] * 6  # pm, 1, at.%: k = 1 by hand


def test_certificate_and_scale_are_far_apart_in_grey():
    def grey(title):
        colour = to_rgb(next(one.colour for one in PARTS if one.title == title))
        return sum(weight * part for weight, part in zip((0.299, 0.587, 0.114), colour, strict=True))

    # weights of luma: ITU-R BT.601; a fifth of the way from black to white is seen on any print
    assert grey("certificate, calibration") - grey("a(tin) scale") > 0.2


def test_every_family_that_can_be_explained_has_its_part():
    homes = [family for part in PARTS for family in part.families]
    assert len(homes) == len(set(homes)) and set(homes) == set(FAMILIES)


@pytest.mark.parametrize("size", EVERY_SIZE)
def test_names_have_room(size):
    pieces = [(f"$x_{k}$ <b>" + "long-name-" * 6, *piece[1:]) for k, piece in enumerate(made.PIECES)]
    assert troubles(budget_figure(made.results(pieces), title="$a$ & $b$ " * 12, size=size)) == []


def test_what_is_missing_leaves_a_gap_and_too_many_are_refused():
    results = made.results(more=[("bad", "A", "failed: line 3")])
    results["value"].values[0, list(results["quantity"].values).index("tin_fraction_lattice")] = np.nan
    lattice, _, tin = budget_figure(results).axes
    assert bars(tin, 0) == {} and bars(tin, 1) and bars(lattice, 0)
    assert len(lattice.get_yticklabels()) == len(made.PIECES)
    many = made.results([(f"w{k}", *made.PIECES[0][1:]) for k in range(13)])
    with pytest.raises(StudyError, match="up to 12"):
        budget_figure(many)
    with pytest.raises(StudyError, match="no sample has"):
        budget_figure(results, ["bad"])
