"""Which parameters explain the counts?

`calibrate` fits a certified powder and gives the instrument, `fit_pattern` fits a sample and gives a `PatternFit`.
Behind them: `geometry` and `phase_lines` (where lines stand, how strong and wide), `model` (the whole pattern),
`engines` (least squares), `refinement` (data, weights, rounds), `start` (values to begin with), `whole_pattern` (the
order of steps), `propagation` (from parameters to quantities with every source of doubt), `quality`, `remarks`
and `tables` (what is handed on), `texture` (is there any?). The package knows nothing of tin, Tc or wires.
"""

from xrdorder.exceptions import Flag
from xrdorder.fitting.calibration import Calibration, calibrate
from xrdorder.fitting.engines import ENGINES
from xrdorder.fitting.result import PatternFit, PhaseResult
from xrdorder.fitting.whole_pattern import DEFAULT_COMPOSITION, DEFAULT_PHASES, fit_pattern

__all__ = [
    "DEFAULT_COMPOSITION",
    "DEFAULT_PHASES",
    "ENGINES",
    "Calibration",
    "Flag",
    "PatternFit",
    "PhaseResult",
    "calibrate",
    "fit_pattern",
]
