"""All colours of the figures, in one place.

Six fills rise evenly in lightness (CIE L* 17, 33, 47, 58, 70, 83), and so do six strokes for lines, marks and letters,
which have to be darker (17, 27, 36, 45, 55, 63). In each set two colours differ by at least 20 units of CIE Lab for
normal sight and for the three colour-vision deficiencies; the test of this module computes both. Whatever must be told
apart by colour also differs by lightness, for grey print, and lots by mark as well.
"""

INK = "#20264f"
GARNET = "#8a2b4c"
LAGOON = "#2a7886"
CLAY = "#c4793a"
SKY = "#86aee0"
STRAW = "#e3cf86"

SERIES = (INK, GARNET, LAGOON, CLAY, SKY, STRAW)
"""Dark to light."""

PAPER = "#ffffff"
MIST = "#eceef2"
"""Ground of lanes and zones."""
FOG = "#c3c8d2"
"""Background counts, grid, frames."""
SLATE = "#5a6275"
"""Axes, remarks."""
TEXT = "#1b1e29"

_PHASE_ORDER = (SKY, CLAY, LAGOON, STRAW, GARNET, INK)
_LOT_ORDER = (INK, CLAY, LAGOON, GARNET, SKY, STRAW)
_STROKES = {
    INK: INK, GARNET: "#771e2e", LAGOON: "#145d68", CLAY: "#925e3b", SKY: "#49a2d4", STRAW: "#868903",
}  # fmt: skip
STROKES = tuple(_STROKES.values())
"""For lines, dark enough on paper."""
LOT_MARKS = ("o", "D", "^", "s", "v", "P")
"""Mark of each lot: shape and colour say the same, so that either is enough."""


def phase_colour(k: int) -> str:
    """Fill colour of the k-th phase: the main phase light, so that the measured counts stand out on it."""
    return _PHASE_ORDER[k % len(_PHASE_ORDER)]


def stroke(colour: str) -> str:
    """Colour for lines, small marks and letters: the light colours of fills would not be seen."""
    return _STROKES.get(colour, colour)


def lot_colour(k: int) -> str:
    """Colour of the k-th wire lot."""
    return stroke(_LOT_ORDER[k % len(_LOT_ORDER)])


def lot_mark(k: int) -> str:
    """Mark of the k-th wire lot; after six lots colours and marks pair up anew."""
    return LOT_MARKS[(k + k // len(LOT_MARKS)) % len(LOT_MARKS)]
