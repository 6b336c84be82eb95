"""Which parameters explain the counts?

`calibrate` fits a certified powder and gives the instrument, `fit_pattern` fits a sample and gives a `PatternFit`; what
there is to choose stands in `FitOptions`. Behind them, on top of `xrdorder.forward_model`:

- least squares: `engines`, `refinement` (data, weights, rounds), `initial_values`;
- a fit without a user: `procedure` (the order of steps), `score_test` and `effects` (what the residual asks for),
  `unindexed`, `phase_search` and `kbeta_tungsten` (unexpected reflections);
- what is handed on: `derived`, `uncertainty_budget` and `model_errors` (values with every source of uncertainty),
  `quality`, `flags`, `contradictions`, `curves_and_lines`, `pattern_fit`; beside the fit `single_lines`,
  `line_scatter`, `from_lines` and `cross_checks`.

The package knows nothing of Tc or wires; of tin only what the A15 scatters at a content that is held.
"""

from xrdorder.crystals import DEFAULT_PHASES
from xrdorder.exceptions import Flag
from xrdorder.fitting.instrument_calibration import Calibration, calibrate
from xrdorder.fitting.options import LATTICE_DISTRIBUTIONS, FitOptions
from xrdorder.fitting.result import PatternFit, PhaseResult
from xrdorder.fitting.whole_pattern import DEFAULT_COMPOSITION, fit_pattern
from xrdorder.least_squares.engines import ENGINES

__all__ = [
    "DEFAULT_COMPOSITION",
    "DEFAULT_PHASES",
    "ENGINES",
    "LATTICE_DISTRIBUTIONS",
    "Calibration",
    "FitOptions",
    "Flag",
    "PatternFit",
    "PhaseResult",
    "calibrate",
    "fit_pattern",
]
