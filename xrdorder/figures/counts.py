"""What is drawn of a fitted pattern: phases with their lines and colours, and counts over the calculated curve."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from numpy.typing import NDArray

from xrdorder.drawing import palette
from xrdorder.drawing.layout import LINE, THIN
from xrdorder.drawing.text import POINTS_PER_IN, fitted
from xrdorder.quantities.formatting import rounded

if TYPE_CHECKING:
    from xrdorder.fitting import PhaseResult

Array = NDArray[np.float64]

_TITLE_IN = 0.75
_ROOM_FOR_ZERO_IN = 0.4
_FREE, _PALE = 2.0, 0.45
"""Bars are so many of their widths apart at least; and how opaque points without room are."""
TITLES = {
    "nb3sn": "Nb₃Sn",
    "nb": "Nb",
    "ta": "Ta",
    "cu": "Cu",
    "cu-sn": "Cu-Sn",
    "si": "Si",
    "lab6": "LaB₆",
}
"""Phases as chemists write them."""


@dataclass(frozen=True)
class Lane:
    """What is drawn of one phase: its name and colour, its amount in words, angle, area and indices of its lines."""

    name: str
    colour: str
    remark: str
    two_theta: Array
    area: Array
    hkl: tuple[str, ...]

    @property
    def title(self) -> str:
        """The phase as chemists write it, or its name, shortened if need be."""
        return TITLES.get(self.name) or fitted(self.name, _TITLE_IN, bold=True)


def lanes_of(lines: xr.Dataset, phases: "Mapping[str, PhaseResult] | xr.Dataset | None") -> list[Lane]:
    """Give a lane to each phase that has lines or an amount, in the order of amounts."""
    amounts = _amounts(phases)
    of = lines["phase"].values.astype(str)
    names = list(dict.fromkeys([*amounts, *of]))
    lanes = []
    for k, name in enumerate(names):
        mine = of == name
        lanes.append(
            Lane(
                name, palette.phase_colour(k), amounts.get(name, ""), lines["two_theta"].values[mine],
                lines["area"].values[mine], tuple(indices(text) for text in lines["hkl"].values[mine].astype(str)),
            )
        )
    return lanes


def indices(text: str) -> str:
    """Write indices as crystallographers do: "1 1 0" as "110", unless one has two digits or a sign."""
    parts = text.split()
    return "".join(parts) if all(len(part) == 1 for part in parts) else " ".join(parts)


def _amounts(phases: "Mapping[str, PhaseResult] | xr.Dataset | None") -> dict[str, str]:
    """Say in a few words how much there is of each phase."""
    if phases is None:
        return {}
    if isinstance(phases, xr.Dataset):
        keys = ("present", "weight_fraction", "u_weight_fraction", "upper_limit")
        rows = {
            str(name): tuple(float(phases[key].values[k]) for key in keys)
            for k, name in enumerate(phases["phase"].values)
        }
    else:
        rows = {
            name: (float(phase.present), phase.weight_fraction, phase.u_weight_fraction, phase.upper_limit)
            for name, phase in phases.items()
        }
    words = {}
    for name, (present, fraction, u, limit) in rows.items():
        if present and len(rows) > 1:
            certain = not u > 0.0  # the only one found: nothing to set it against
            words[name] = f"{100 * fraction:.4g} wt.%" if certain else rounded(100 * fraction, 100 * u, "wt.%")
        elif present:
            words[name] = ""  # all of it
        else:
            words[name] = f"below {100 * limit:.2g} wt.%" if np.isfinite(limit) else "not found"
    return words


def standard_uncertainty(curves: xr.Dataset) -> Array:
    """Standard uncertainty of the counts as the fit took it, out of the weighted residual."""
    observed, calculated = curves["observed"].values, curves["calculated"].values
    residual = curves["weighted_residual"].values
    plain = np.sqrt(np.maximum(calculated, 1.0))
    with np.errstate(all="ignore"):
        exact = np.abs((observed - calculated) / residual)
    return np.asarray(np.where(np.isfinite(exact) & (np.abs(residual) > 1e-6), exact, plain))


def at_equal_times(curves: xr.Dataset) -> xr.Dataset:
    """Curves as if all points had been counted as long as most."""
    if "time_factor" not in curves:
        return curves
    plain = ("weighted_residual", "time_factor")
    return curves.assign({name: curves[name] / curves["time_factor"] for name in curves if name not in plain})


def draw_curves(axes: Axes, curves: xr.Dataset, lanes: Sequence[Lane], *, point: float) -> None:
    """Fill background and phases one on the other, draw their sum, and the counts as points over it.

    Points have bars of one standard uncertainty where bars have room beside each other; where not even points have
    any, they are pale and the sum lies over them.
    """
    x = curves["two_theta"].values
    base = curves["background"].values.copy()
    axes.fill_between(x, 0.0, base, color=palette.FOG, linewidth=0.0, zorder=1, label="background")
    for lane in lanes:
        name = f"part_{lane.name}"
        if name in curves:
            part = curves[name].values
            axes.fill_between(
                x, base, base + part, color=lane.colour, linewidth=0.0, zorder=1.1, label=lane.title
            )
            base = base + part
    pitch = axes.get_window_extent().width * POINTS_PER_IN / axes.figure.get_dpi() / max(len(x), 1)
    dense = point > 2.0 * pitch
    axes.plot(
        x, curves["calculated"].values, color=palette.TEXT, linewidth=THIN, zorder=2.6 if dense else 2,
        label="calculated",
    )  # fmt: skip
    observed, u = curves["observed"].values, standard_uncertainty(curves)
    if pitch > _FREE * LINE:
        # one line with gaps: a collection of as many bars takes ten times as long to make
        gap = np.full_like(x, np.nan)
        axes.plot(
            np.repeat(x, 3), np.column_stack([np.maximum(observed - u, 0.0), observed + u, gap]).ravel(),
            color=palette.INK, linewidth=THIN, solid_capstyle="butt", zorder=2.4, label="_bars",
        )  # fmt: skip
    axes.plot(
        x, observed, "o", markersize=point, color=palette.INK, markeredgewidth=0.0, alpha=_PALE if dense else 1.0,
        zorder=2.5, label="observed",
    )  # fmt: skip


def draw_residual(axes: Axes, curves: xr.Dataset, least: float, most: float) -> float:
    """Fill the residual in standard uncertainties, mark what goes beyond the frame, and give the limit of the frame."""
    x, residual = curves["two_theta"].values, curves["weighted_residual"].values
    used = np.isfinite(residual)
    largest = float(np.max(np.abs(residual[used]))) if np.any(used) else 0.0
    limit = float(np.clip(1.08 * largest, least, most))
    axes.set_ylim(-limit, limit)
    tick = 2.0 * math.floor(0.4 * limit)  # away from the ends, where neighbours have theirs
    tall = axes.get_window_extent().height / axes.figure.get_dpi()
    axes.set_yticks([-tick, 0.0, tick] if tall > _ROOM_FOR_ZERO_IN else [-tick, tick])
    axes.fill_between(x, 0.0, np.clip(residual, -limit, limit), color=palette.SKY, linewidth=0.0, zorder=1)
    for sign, mark in ((1.0, "^"), (-1.0, "v")):
        beyond = used & (sign * residual > limit)
        edge = np.full(np.count_nonzero(beyond), 0.93 * sign * limit)
        axes.plot(x[beyond], edge, mark, color=palette.GARNET, markersize=3.5, linestyle="none")
    if not np.all(used):
        axes.plot(
            x[~used], np.zeros(np.count_nonzero(~used)), "x", color=palette.GARNET, markersize=4, linestyle="none"
        )
    return limit
