"""Order, tin content, Tc and Bc2 of Nb3Sn wire from X-ray powder patterns.

The way through the package, in the order in which data flow:

`read_pattern` (`xrdorder.patterns`) reads what was measured; `calibrate` (`xrdorder.fitting`) turns the pattern of a
certified powder into an `Instrument`; `fit_pattern` explains the counts of a sample; `xrdorder.material` says what the
A15 phase is like; `estimate` (`xrdorder.estimates`) gives tin, Tc and Bc2 from numbers alone; `run_study`
(`xrdorder.running`) does all of it for many samples and keeps the results.

Names are handed on lazily: importing the package loads nothing heavy.
"""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_HOME = {
    "read_pattern": "xrdorder.patterns",
    "write_pattern": "xrdorder.patterns",
    "Instrument": "xrdorder.profiles",
    "calibrate": "xrdorder.fitting",
    "fit_pattern": "xrdorder.fitting",
    "estimate": "xrdorder.estimates.from_numbers",
    "run_study": "xrdorder.running.run",
    "open_study": "xrdorder.results.open_study",
}

__all__ = ["__version__", *_HOME]


def __getattr__(name: str) -> Any:
    """Import the module that owns `name` the first time it is asked for."""
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'xrdorder' has no attribute '{name}'")


def __dir__() -> list[str]:
    """List the public names."""
    return sorted(__all__)
