"""Order, tin content, Tc and Bc2 of Nb3Sn wire from X-ray powder patterns.

In a notebook, in the order in which data flow:

>>> import xrdorder
>>> found = xrdorder.estimate(lattice_nm=0.52880, n=200)
>>> list(found.to_dataframe().columns[:3])
['quantity', 'by', 'value']

`read_pattern` reads what was measured; `calibrate` turns the pattern of a certified powder into an instrument
(`Calibration`); `fit_pattern` explains the counts of a sample (`PatternFit`). `run_study` does this for all samples
that a folder describes and keeps the results; `open_study` opens them (`OpenStudy`); `compare` compares heat treatments
(`StudyComparison`), `suggest` plans the next ones (`LotPlan`, one a wire lot). `estimate` gives tin, Tc and Bc2 from
numbers alone (`Estimate`), `relations` holds the published relations behind them. Each result shows itself in a
notebook, gives its numbers by ``.to_dataframe()`` and a figure by ``.plot()``; `plot` draws any of them.

Names are handed on lazily: importing the package loads nothing heavy.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from xrdorder import relations
    from xrdorder.comparison.study_comparison import StudyComparison
    from xrdorder.comparison.study_comparison import compare_study as compare
    from xrdorder.estimates.from_numbers import Estimate, estimate
    from xrdorder.fitting import Calibration, PatternFit, calibrate, fit_pattern
    from xrdorder.patterns import read_pattern, write_pattern
    from xrdorder.planning.study import LotPlan
    from xrdorder.planning.suggestion import suggest
    from xrdorder.planning.window import Limits
    from xrdorder.profiles import Instrument
    from xrdorder.results.open_study import OpenStudy, open_study
    from xrdorder.running.run import run_study
    from xrdorder.superconductivity.currents import Conditions
    from xrdorder.views import plot

__version__ = "0.1.0"

_HOME = {
    "read_pattern": "xrdorder.patterns",
    "write_pattern": "xrdorder.patterns",
    "Instrument": "xrdorder.profiles",
    "calibrate": "xrdorder.fitting",
    "Calibration": "xrdorder.fitting",
    "fit_pattern": "xrdorder.fitting",
    "PatternFit": "xrdorder.fitting",
    "estimate": "xrdorder.estimates.from_numbers",
    "Estimate": "xrdorder.estimates.from_numbers",
    "run_study": "xrdorder.running.run",
    "open_study": "xrdorder.results.open_study",
    "OpenStudy": "xrdorder.results.open_study",
    "compare": "xrdorder.comparison.study_comparison:compare_study",
    "StudyComparison": "xrdorder.comparison.study_comparison",
    "suggest": "xrdorder.planning.suggestion",
    "LotPlan": "xrdorder.planning.study",
    "Limits": "xrdorder.planning.window",
    "Conditions": "xrdorder.superconductivity.currents",
    "plot": "xrdorder.views",
}

__all__ = [
    "Calibration",
    "Conditions",
    "Estimate",
    "Instrument",
    "Limits",
    "LotPlan",
    "OpenStudy",
    "PatternFit",
    "StudyComparison",
    "__version__",
    "calibrate",
    "compare",
    "estimate",
    "fit_pattern",
    "open_study",
    "plot",
    "read_pattern",
    "relations",
    "run_study",
    "suggest",
    "write_pattern",
]


def __getattr__(name: str) -> Any:
    """Import the module that owns `name` the first time it is asked for."""
    if name == "relations":  # a package of that name, whose functions list and show published relations
        return import_module("xrdorder.relations")
    if name not in _HOME:
        raise AttributeError(f"module 'xrdorder' has no attribute '{name}'")
    home, _, there = _HOME[name].partition(":")
    return getattr(import_module(home), there or name)


def __dir__() -> list[str]:
    """List the public names."""
    return sorted(__all__)
