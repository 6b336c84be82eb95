"""Descriptions for tests, by position and without the checks of a file: as short as what they stand for."""

from pathlib import Path
from typing import Any, TypeVar

from xrdorder.description.lots import Lot
from xrdorder.description.measured_values import MeasuredValue
from xrdorder.description.sample import Sample
from xrdorder.description.study import Study
from xrdorder.files.checked_table import CheckedTable

M = TypeVar("M", bound=CheckedTable)


def measured(quantity: str, value: float, u: float, criterion: str = "", **more: Any) -> MeasuredValue:
    """Make a measured value; this one is checked."""
    return MeasuredValue(quantity=quantity, value=value, u=u, criterion=criterion, **more)


def lot(name: str = "", **told: Any) -> Lot:
    """Make a wire lot."""
    return Lot.model_construct(name=name, **told)


def sample(name: str, of: Lot | None = None, pattern: str | Path = "none.xy", **told: Any) -> Sample:
    """Make a sample of a lot."""
    return Sample.model_construct(name=name, lot=of or Lot(), pattern=(Path(pattern),), **told)


def study(folder: str | Path, samples: Any = (), phases: tuple[str, ...] = (), **told: Any) -> Study:
    """Make a study of these samples."""
    return Study.model_construct(folder=Path(folder), samples=tuple(samples), phases=phases, **told)


def changed(model: M, **what: Any) -> M:
    """Give the same with other values."""
    return model.model_copy(update=what)
