"""Which variant is better? Many samples, described once and run any time.

`run_study` fits what `study.toml` of a folder describes; `open_study` looks at what was found;
`implicit_study` describes patterns that came without a study, `new_study` writes one to begin with. `read_study` gives
the description alone.

A study folder holds `study.toml` and `results/`: one netCDF file a sample in `results/samples/`, everything
collated in `results/results.nc` and, as a table, in `results/results.csv`.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from xrdorder.studies.description import (
        CalibrationInput,
        DoseReference,
        Lot,
        Reading,
        Sample,
        Study,
        read_study,
    )
    from xrdorder.studies.implicit import ImplicitOptions, implicit_study
    from xrdorder.studies.run import OpenStudy, open_study, run_study
    from xrdorder.studies.starter import new_study
    from xrdorder.studies.store import StoredSample, read_sample

_HOME = {
    "CalibrationInput": "description",
    "DoseReference": "description",
    "ImplicitOptions": "implicit",
    "Lot": "description",
    "OpenStudy": "run",
    "Reading": "description",
    "Sample": "description",
    "StoredSample": "store",
    "Study": "description",
    "implicit_study": "implicit",
    "new_study": "starter",
    "open_study": "run",
    "read_sample": "store",
    "read_study": "description",
    "run_study": "run",
}

__all__ = [  # noqa: RUF022 (the order of use)
    "run_study",
    "open_study",
    "OpenStudy",
    "read_study",
    "Study",
    "Sample",
    "Lot",
    "Reading",
    "CalibrationInput",
    "DoseReference",
    "new_study",
    "implicit_study",
    "ImplicitOptions",
    "read_sample",
    "StoredSample",
]


def __getattr__(name: str) -> Any:
    """Import the module that owns `name` the first time: describing a study needs no fit."""
    if name in _HOME:
        return getattr(import_module(f"xrdorder.studies.{_HOME[name]}"), name)
    raise AttributeError(f"module 'xrdorder.studies' has no attribute '{name}'")
