"""What uncertainties are made of: shares of the variance by source, for several samples at once.

Plain parts are a sample's own, hatched ones are shared with other samples and cancel in differences as far as they are.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from xrdorder import uncertainty
from xrdorder.drawing.layout import HAIR, SCREEN, THIN, Size, page, place, style, write
from xrdorder.drawing.lots import key as draw_key
from xrdorder.drawing.palette import CLAY, FOG, GARNET, INK, LAGOON, PAPER, SKY, SLATE, STRAW, TEXT
from xrdorder.drawing.parts import name_rows
from xrdorder.drawing.text import SMALL, fitted, width_in
from xrdorder.exceptions import StudyError
from xrdorder.quantities.formatting import u_text
from xrdorder.quantities.registry import Quantity, standing_in
from xrdorder.uncertainty import PRIVATE, Contributions


@dataclass(frozen=True)
class Part:
    """Sources drawn together: families of the uncertainty table, in one colour."""

    title: str
    colour: str
    families: tuple[str, ...]


PARTS = (
    Part(
        "counting", INK,
        ("counting", "line width", "size distribution", "smoothing", "texture", "phases not found"),
    ),
    Part(
        "certificate, calibration", SKY,
        ("certificate", "calibration", "internal standard", "wavelength", "domains of the standard"),
    ),
    Part(
        "specimen and angle", LAGOON,
        ("two-theta offset", "specimen displacement", "line positions", "line areas", "temperature",
         "thermal expansion", "illuminated length", "strain state", "strain gauge"),
    ),
    Part(
        "scattering and absorption", CLAY,
        ("scattering table", "charge transfer", "displacement parameters", "microabsorption",
         "niobium or tantalum", "lattice distribution"),
    ),
    Part("a(tin) scale", GARNET, ("a(tin) scale", "a(tin) slope", "a(tin) scatter")),
    Part(
        "dopant, usual order", STRAW,
        ("dopant content", "dopant site", "dopant lattice effect", "usual order"),
    ),
)  # fmt: skip
"""All families of sources that are named; any other goes with `OTHER`.

Parts that often fill a bar (certificate, a(tin) scale) and neighbours in it differ in lightness, for grey print."""
OTHER = Part("other", FOG, ())

MOST = 12
"""Samples in one figure."""

_ROW_IN = {True: 0.24, False: 0.165}
"""Lower where quantities stand below each other: three of twelve samples then fit a page."""
_BOTTOM_IN, _TITLE_IN, _GAP_IN, _NUMBER_IN = 0.34, 0.24, 0.14, 0.58
_NAME_IN, _SHORT_NAME_IN = 1.6, 1.05
_KEY_ROW_IN, _LEAST_IN = 0.18, 0.95
_LEAST_PERCENT = 0.01

_REMARK = (
    "Shares of the variance. Plain: independent; hatched: shared with other samples, which cancels in differences "
    "as far as it is shared. Numbers: standard uncertainty (k = 1)."
)


def budget_figure(
    results: xr.Dataset, names: Sequence[str] = (), quantities: Sequence[str] = (), *, title: str = "",
    size: Size = SCREEN,
) -> Figure:
    """Show the uncertainty budgets of samples, a row each, quantities side by side.

    Parameters
    ----------
    results : Dataset
        Collated results of a study.
    names : sequence of str
        Samples; all unless given. Those without any of the quantities are passed over.
    quantities : sequence of str
        One panel each; lattice parameter, order and tin by the lattice unless given.
    title : str
    size : Size

    Raises
    ------
    StudyError
        No sample has one of the quantities, or there are more than `MOST`.
    """
    known = [str(name) for name in results["sample"].values]
    tables = {}
    for name in names or known:
        table = _table(results, known.index(name)) if name in known else Contributions.empty()
        if table.quantities:
            tables[name] = table
    if not tables:
        raise StudyError("no sample has an uncertainty table of lattice parameter, order or tin")
    if len(tables) > MOST:
        raise StudyError(f"{len(tables)} budgets in one figure cannot be read; choose up to {MOST} samples")
    there = {name for table in tables.values() for name in table.quantities}
    shown = [
        quantity
        for quantity in standing_in("budget")
        if quantity.name in there and (not quantities or quantity.name in quantities)
    ]
    labels = [fitted(name, _NAME_IN if size.columns > 1 else _SHORT_NAME_IN) for name in tables]
    left = 0.2 + max(map(width_in, labels))
    free = size.width_in - left - 0.08
    abreast = max(1, min(len(shown), int((free + _GAP_IN) / (_LEAST_IN + _NUMBER_IN + _GAP_IN))))
    wide = (free + _GAP_IN) / abreast - _GAP_IN - _NUMBER_IN
    parts = [part for part in (*PARTS, OTHER) if any(np.any(_squares(t, q)[1][part.title]) for t in tables.values()
             for q in (entry.name for entry in shown) if q in t.quantities)]  # fmt: skip
    across = size.width_in - 0.3
    entries = len(parts) + 1
    columns = max(1, min(entries, int(across / 1.75)))
    key = _KEY_ROW_IN * -(-entries // columns) + 0.12
    stacks = -(-len(shown) // abreast)
    tall = _ROW_IN[stacks == 1] * len(tables)
    body = key + stacks * (_TITLE_IN + tall + _BOTTOM_IN) + 0.12
    figure = page(size, body, title=title, remark=_REMARK, left_in=0.2)
    for k, quantity in enumerate(shown):
        stack, column = divmod(k, abreast)
        bottom = body - key - (stack + 1) * (_TITLE_IN + tall) - stack * _BOTTOM_IN
        axes = place(figure, left + column * (wide + _NUMBER_IN + _GAP_IN), bottom, wide, tall)
        _draw(axes, tables, quantity, labels if column == 0 else [""] * len(labels), last=stack == stacks - 1)
    handles = [Patch(facecolor=part.colour, linewidth=0.0, label=part.title) for part in parts]
    shared = Patch(facecolor=PAPER, edgecolor=TEXT, linewidth=HAIR, hatch="/////", label="shared by samples")
    shared.set_hatch_linewidth(THIN)
    draw_key(figure, [*handles, shared], 0.2, body - key + 0.06, columns, handletextpad=0.4)
    return figure


def _table(results: xr.Dataset, k: int) -> Contributions:
    sample = results.isel(sample=k)
    values = dict(zip((str(name) for name in sample["quantity"].values), sample["value"].values, strict=True))
    table = uncertainty.from_dataset(sample)
    names = [quantity.name for quantity in standing_in("budget") if quantity.name in table.quantities]
    return table.select([name for name in names if np.isfinite(values.get(name, np.nan))])


def _squares(table: Contributions, quantity: str) -> tuple[float, dict[str, tuple[float, float]]]:
    """Variance, and of each part what is the sample's own and what is shared, as shares of it."""
    home = {family: part.title for part in PARTS for family in part.families}
    squares = {part.title: [0.0, 0.0] for part in (*PARTS, OTHER)}
    for source, group, value in zip(table.sources, table.groups, table.row(quantity), strict=True):
        part = home.get(source.split("/", 1)[0], OTHER.title)
        squares[part][group != PRIVATE] += float(value) ** 2
    total = sum(own + shared for own, shared in squares.values())
    scale = 1.0 / total if total > 0.0 else 0.0
    shares = {part: (own * scale, shared * scale) for part, (own, shared) in squares.items()}
    return total, shares


def _draw(
    axes: Axes, tables: dict[str, Contributions], about: Quantity, labels: Sequence[str], *,
    last: bool,
) -> None:
    """One quantity: a bar for each sample, and its standard uncertainty in numbers."""
    quantity, unit = about.name, about.differences.unit
    style(axes, x_label="share of the variance (%)" if last else "")
    axes.set_xlim(0.0, 100.0)
    axes.set_xticks([0, 50, 100])
    name_rows(axes, labels)
    wide = axes.get_window_extent().width / axes.figure.get_dpi()
    title = about.noun if width_in(about.noun, bold=True) < wide else about.symbol
    write(axes, title, (0.0, 1.0), on="frame", by=(0.0, 4.0), weight="bold")
    write(axes, f"u ({unit})" if unit else "u", (1.0, 1.0), SMALL, SLATE, on="frame", by=(5.0, 4.0))
    for row, table in enumerate(tables.values()):
        if quantity not in table.quantities:
            continue
        variance, shares = _squares(table, quantity)
        start = 0.0
        for shared in (False, True):  # what is a sample's own stands left, in one piece
            for part in (*PARTS, OTHER):
                share = 100.0 * shares[part.title][shared]
                if share >= _LEAST_PERCENT:
                    _piece(axes, row, start, share, part.colour, shared=shared)
                    start += share
        u = about.differences.factor * math.sqrt(variance)
        write(axes, u_text(u), (103.0, row), va="center")


def _piece(axes: Axes, row: int, start: float, share: float, colour: str, *, shared: bool) -> None:
    bars = axes.barh(
        row, share, 0.68, start, color=colour, edgecolor=_hatch(colour) if shared else PAPER, linewidth=0.0,
        hatch="/////" if shared else None, zorder=2,
    )  # fmt: skip
    for bar in bars:
        bar.set_hatch_linewidth(THIN)
    axes.plot([start, start], [row - 0.34, row + 0.34], color=PAPER, linewidth=THIN, zorder=3)


def _hatch(colour: str) -> str:
    """Colour of the strokes that is seen on a fill."""
    return PAPER if colour in (INK, GARNET, LAGOON, CLAY) else SLATE
