"""A pattern fitted to its minimum, for whoever asks the minimum more than `fit_pattern` hands on."""

from collections.abc import Sequence

import xarray as xr

from xrdorder.crystals import Phase, doped, phase
from xrdorder.fitting import DEFAULT_COMPOSITION
from xrdorder.fitting.effects import EFFECTS
from xrdorder.fitting.options import FitOptions
from xrdorder.fitting.procedure import Procedure
from xrdorder.fitting.whole_pattern import DEFAULT_PHASES, sample_geometry
from xrdorder.forward_model.phase_lines import Optics
from xrdorder.profiles import Instrument
from xrdorder.xrays import radiation


def finished(
    pattern: xr.DataArray, instrument: Instrument, phases: Sequence[str | Phase] = DEFAULT_PHASES
) -> Procedure:
    """Whole-pattern fit at its minimum; the first phase is the main one."""
    chosen = [p if isinstance(p, Phase) else phase(p) for p in phases]
    chosen = [doped(p, DEFAULT_COMPOSITION) if p.order else p for p in chosen]
    options = FitOptions(lattice_distribution="single")
    geometry = sample_geometry(instrument, None, None, options)
    optics = Optics(radiation(instrument.radiation), geometry)
    job = Procedure(pattern, optics, chosen, chosen[0].name, instrument.values, "own", None, options)
    job.search()
    job.refine(EFFECTS)
    return job
