"""Colours that everybody can tell apart, also on grey paper."""

from itertools import combinations

import numpy as np
import pytest

from xrdorder.drawing import palette

TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
"""Linear sRGB to CIE XYZ, IEC 61966-2-1."""
WHITE = np.array([0.9505, 1.0, 1.089])

# What the three kinds of full colour-vision deficiency make of linear sRGB: G. M. Machado, M. M. Oliveira,
# L. A. F. Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291 (matrices from memory; rows sum to one).
SIGHTS = {
    "normal": np.eye(3),
    "no long-wave cones": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no middle-wave cones": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "no short-wave cones": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}


def lab(colour, sight):
    srgb = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    xyz = TO_XYZ @ np.clip(SIGHTS[sight] @ linear, 0.0, 1.0) / WHITE
    f = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16.0 / 116.0)
    return np.array([116.0 * f[1] - 16.0, 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2])])


SETS = {"fills": (palette.SERIES, 10.0), "lines": (palette.STROKES, 8.0)}
"""Colours of each kind, and by how much their lightness differs at least: lines have to be darker than paper, so that
there is less room between them; they differ by marks and dashes as well."""


@pytest.mark.parametrize("sight", SIGHTS)
@pytest.mark.parametrize("kind", SETS)
def test_colours_stay_apart_for_every_sight(kind, sight):
    # A difference of 2.3 is just seen side by side; 20 is seen across a page.
    places = [lab(colour, sight) for colour in SETS[kind][0]]
    assert min(np.linalg.norm(a - b) for a, b in combinations(places, 2)) > 20.0


@pytest.mark.parametrize("kind", SETS)
def test_colours_differ_in_lightness_so_that_grey_print_tells_them_apart(kind):
    colours, least = SETS[kind]
    assert min(np.diff(sorted(lab(colour, "normal")[0] for colour in colours))) > least


def test_lots_and_phases_take_their_colours_from_these_sets():
    assert {palette.lot_colour(k) for k in range(6)} == set(palette.STROKES)
    assert {palette.phase_colour(k) for k in range(6)} == set(palette.SERIES)


def test_strokes_are_dark_enough_on_paper():
    # L* 65 against paper (100) keeps a contrast ratio of about 2.7: thin marks and letters are read.
    for k in range(12):
        assert lab(palette.lot_colour(k), "normal")[0] < 65.0
        assert lab(palette.stroke(palette.phase_colour(k)), "normal")[0] < 65.0


def test_no_two_of_many_lots_share_colour_and_mark():
    seen = {(palette.lot_colour(k), palette.lot_mark(k)) for k in range(36)}
    assert len(seen) == 36
