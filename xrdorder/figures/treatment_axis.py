"""Where samples stand on a page whose horizontal axis is what was done to them: temperature, time or dose.

Samples of one value stand side by side, so that replicates are seen. Lengths of time are drawn on a logarithmic axis.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator
from numpy.typing import ArrayLike, NDArray

from xrdorder.drawing import palette
from xrdorder.drawing.layout import log_ticks
from xrdorder.exceptions import StudyError
from xrdorder.quantities.formatting import digits
from xrdorder.quantities.registry import quantity

Array = NDArray[np.float64]

_LEAST_HOURS = 0.1  # a peak that was not held still has its place on a logarithmic axis
_MOST_STRIPES = 25
_DECADES_OF_TICKS = 0.8  # from which round numbers of a logarithmic axis are enough
_TICK_IN = 0.42
_COMMON_GAP = 0.55  # of the distance between two values, from the last one to the bars at the edge
MOST_COMMON = 6
"""Lots that have bars of their own at the right edge."""


@dataclass(frozen=True)
class Variable:
    """What samples are ordered by.

    Attributes
    ----------
    key : str
        As `xrdorder.comparison.grouping` knows it.
    column : str
        Of the collated results.
    logarithmic : bool
    beside : str
        Column that is said in numbers below the panels.
    """

    key: str
    column: str
    logarithmic: bool
    beside: str

    @property
    def title(self) -> str:
        """What it is called."""
        return quantity(self.column).noun

    @property
    def unit(self) -> str:
        """Unit of the column."""
        return quantity(self.column).unit

    @property
    def beside_title(self) -> str:
        """Symbol and unit of what is said in numbers below the panels."""
        about = quantity(self.beside)
        return f"{about.symbol} ({about.unit})"

    def coordinate(self, values: ArrayLike) -> Array:
        """Put values where they stand on an axis of equal steps."""
        numbers = np.asarray(values, dtype=float)
        return np.log10(np.maximum(numbers, _LEAST_HOURS)) if self.logarithmic else numbers

    def value(self, coordinates: ArrayLike) -> Array:
        """Inverse of `coordinate`."""
        numbers = np.asarray(coordinates, dtype=float)
        return np.asarray(10.0**numbers) if self.logarithmic else numbers

    def label(self, results: xr.Dataset) -> str:
        """Text below the axis; a dose is told with the temperature it refers to."""
        if self.column == "dose_h":
            told = str(results[self.column].attrs.get("long_name", "")).split(",")[0]
            return told or f"{self.title} ({self.unit})"
        return f"{self.title} ({self.unit})"


TEMPERATURE = Variable("reaction-temperature", "peak_c", logarithmic=False, beside="hold_at_peak_h")
HOLD = Variable("hold-time", "hold_at_peak_h", logarithmic=True, beside="peak_c")
DOSE = Variable("dose", "dose_h", logarithmic=True, beside="peak_c")


def usual_variable(results: xr.Dataset) -> Variable:
    """Temperature, unless only the time varies."""
    fitted = np.isfinite(results["a_nm"].values)
    varies = [
        np.unique(numbers[np.isfinite(numbers)]).size > 1
        for numbers in (results[variable.column].values[fitted] for variable in (TEMPERATURE, HOLD))
    ]
    return HOLD if varies == [False, True] else TEMPERATURE


@dataclass(frozen=True)
class Point:
    """One sample on the page: `k` in the results, `lot` in the lots, `at` its coordinate, `x` its place beside others.

    `beside` is what is said of it below the panels.
    """

    name: str
    k: int
    lot: int
    at: float
    x: float
    beside: float


@dataclass(frozen=True)
class Places:
    """All samples that have a place, and the scale of the horizontal axis.

    Attributes
    ----------
    variable : Variable
    label : str
    points : tuple of Point
    lots : tuple of str
    ends : tuple of float
        Least and largest coordinate.
    values : tuple of float
        Different coordinates.
    pitch : float
        Distance between neighbours, in coordinates.
    striped : bool
        Whether values are few and apart, so that each has a stripe.
    left_out : int
        Samples without a place.
    """

    variable: Variable
    label: str
    points: tuple[Point, ...]
    lots: tuple[str, ...]
    values: tuple[float, ...]
    pitch: float
    striped: bool
    left_out: int

    def of_lot(self, lot: int) -> list[Point]:
        """Points of one lot."""
        return [point for point in self.points if point.lot == lot]

    @property
    def bars(self) -> int:
        """How many bars stand at the right edge: one for each lot, or one for all where lots are many."""
        return len(self.lots) if len(self.lots) <= MOST_COMMON else 1

    def edge(self, bar: int) -> float:
        """Place of a bar at the right edge."""
        return self._x(self.values[-1] + 0.5 * self.pitch + self._edge_pitch * (0.22 + 0.16 * bar))

    @property
    def _edge_pitch(self) -> float:
        """What bars at the edge are spaced by: values that stand close would leave them no room."""
        return self.pitch if self.striped else max(self.pitch, (self.values[-1] - self.values[0]) / 8.0)

    def along(self, coordinates: ArrayLike) -> Array:
        """Place of coordinates on the axis."""
        return self.variable.value(coordinates)

    def _x(self, coordinate: float) -> float:
        return float(self.variable.value(coordinate))

    def scale(self, axes: Axes, *, with_common: bool) -> None:
        """Set limits, ticks and stripes of the horizontal axis."""
        low = self.values[0] - 0.6 * self.pitch
        room = self._edge_pitch * (_COMMON_GAP + 0.14 * self.bars) if with_common else 0.0
        high = self.values[-1] + 0.5 * self.pitch + room
        if self.variable.logarithmic:
            axes.set_xscale("log")
        axes.set_xlim(self._x(low), self._x(high))
        axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: digits(x, 3)))
        axes.xaxis.set_minor_locator(NullLocator())
        if not self.striped:
            if self.variable.logarithmic and high - low > _DECADES_OF_TICKS:
                log_ticks(axes.xaxis)
            else:
                axes.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
            return
        wide = axes.get_window_extent().width / axes.figure.get_dpi()
        ticks: list[float] = []
        for value in self.values:
            if not ticks or (value - ticks[-1]) / (high - low) * wide >= _TICK_IN:
                ticks.append(value)
        axes.xaxis.set_major_locator(FixedLocator([self._x(tick) for tick in ticks]))
        for value in self.values:
            ends = (self._x(value - 0.46 * self.pitch), self._x(value + 0.46 * self.pitch))
            axes.axvspan(*ends, color=palette.MIST, linewidth=0.0, zorder=0.1)


def places_of(results: xr.Dataset, variable: Variable) -> Places:
    """Find a place for every sample.

    Raises
    ------
    StudyError
        No sample has both a result and the variable.
    """
    numbers, beside = results[variable.column].values, results[variable.beside].values
    names, lot_of = results["sample"].values.astype(str), results["lot"].values.astype(str)
    fitted = np.isfinite(results["a_nm"].values)
    usable = [k for k in range(len(names)) if fitted[k] and np.isfinite(numbers[k])]
    if not usable:
        raise StudyError(
            "no sample has both a result and a treatment; give treatments in study.toml to see trends over treatments"
        )
    lots = tuple(dict.fromkeys(lot_of[k] for k in usable))
    at = {k: round(float(variable.coordinate(numbers[k])), 9) for k in usable}
    values = tuple(sorted(set(at.values())))
    span = values[-1] - values[0]
    least = float(min(np.diff(values), default=0.3 if variable.logarithmic else 25.0))
    pitch = max(least, span / _MOST_STRIPES)
    most = max(list(at.values()).count(value) for value in values)
    step = min(0.17, 0.82 / most) * pitch
    points = []
    for value in values:
        here = sorted((k for k in usable if at[k] == value), key=lambda k: (lots.index(lot_of[k]), beside[k], k))
        for i, k in enumerate(here):
            x = float(variable.value(value + step * (i - 0.5 * (len(here) - 1))))
            points.append(Point(names[k], k, lots.index(lot_of[k]), value, x, float(beside[k])))
    points.sort(key=lambda point: point.k)
    label = variable.label(results)
    return Places(
        variable, label, tuple(points), lots, values, pitch, least >= pitch, len(names) - len(usable)
    )
