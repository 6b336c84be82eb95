"""A fitted pattern and a calibration: tables, tidy numbers, figures."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from xrdorder import figures
from xrdorder.fitting import Calibration, PatternFit
from xrdorder.profiles.instrument import INSTRUMENT_PARAMETERS
from xrdorder.quantities.formatting import concise
from xrdorder.quantities.registry import unit_of
from xrdorder.quantities.tables import Table
from xrdorder.views.showing import figure, frame, table, title

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure


# A fitted pattern


@title.register(PatternFit)
def _(fit: PatternFit) -> str:
    quality = f"R_wp {100.0 * fit.r_wp:.2f} %, reduced chi square {fit.chi2_reduced:.2f}"
    return f"Fitted pattern, {fit.status}: {quality}; {fit.quality_words}"


@frame.register(PatternFit)
def _(fit: PatternFit) -> pd.DataFrame:
    import pandas as pd

    item = [(name, value, _u(fit, name), unit_of(name)) for name, value in fit.values.items()]
    return pd.DataFrame(item, columns=["quantity", "value", "u", "unit"])


def _u(fit: PatternFit, name: str) -> float:
    """Total standard uncertainty of a value; NaN of one that is none of the measured quantities."""
    return fit.u(name) if name in fit.contributions.quantities else math.nan


@table.register(PatternFit)
def _(fit: PatternFit) -> Table:
    lines = [(name, concise(value, _u(fit, name)), unit_of(name)) for name, value in fit.values.items()]
    flags = [f"{flag.name}: {flag.message}" for flag in fit.flags]
    return Table.of(["quantity", ("value", ""), "unit"], lines, flags)


@figure.register(PatternFit)
def _(fit: PatternFit, **options: Any) -> Figure:
    remark = f"R_wp {100 * fit.r_wp:.1f} % · reduced χ² {fit.chi2_reduced:.2f}"
    return figures.fit_figure(fit.curves, fit.lines, fit.phases, **{"title": "Fit", "remark": remark, **options})


# A calibration


@title.register(Calibration)
def _(item: Calibration) -> str:
    return f"Instrument calibrated with {item.instrument.standard}"


@frame.register(Calibration)
def _(item: Calibration) -> pd.DataFrame:
    import pandas as pd

    instrument = item.instrument
    lines = [
        (name, instrument.values[name], instrument.total(name), dimension, meaning)
        for name, (dimension, meaning) in INSTRUMENT_PARAMETERS.items()
    ]
    return pd.DataFrame(lines, columns=["parameter", "value", "u", "unit", "meaning"])


@table.register(Calibration)
def _(item: Calibration) -> Table:
    lines = []
    for name, (dimension, meaning) in INSTRUMENT_PARAMETERS.items():
        value, u = item.instrument.values[name], item.instrument.total(name)
        shown = concise(value, u) if u > 0.0 else f"{value:.6g} held"
        lines.append((name, shown, "" if dimension == "1" else dimension, meaning))
    return Table.of(["parameter", ("value", ""), "unit", "meaning"], lines)


@figure.register(Calibration)
def _(item: Calibration, **options: Any) -> Figure:
    quality = f"R_wp {100 * item.fit.r_wp:.1f} % · reduced χ² {item.fit.chi2_reduced:.2f}"
    remark = f"{item.instrument.standard} · {quality}"
    return figure(item.fit, **{"title": "Calibration", "remark": remark, **options})
