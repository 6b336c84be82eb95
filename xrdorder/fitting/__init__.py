"""Which parameters explain the counts?

`calibrate` fits a certified powder and gives the instrument, `fit_pattern` fits a sample and gives a `PatternFit`; what
there is to choose stands in `FitOptions`. Behind them:

- the forward model: `geometry`, `absorption` and `spacings` (what specimen and strain do), `phase_lines` and
  `free_intensities` (where lines stand, how strong and wide), `model` (the whole pattern);
- least squares: `parameters`, `roles` (whose a parameter is and what it stands for), `engines`, `refinement` (data,
  weights, rounds), `start` (values to begin with);
- a fit without a user: `procedure` (the order of steps), `evidence` and `effects` (what the residual asks for),
  `foreign`, `candidates` and `ghosts` (lines nobody asked for);
- what is handed on: `quantities`, `budget` and `what_ifs` (values with every source of doubt), `quality`, `remarks`,
  `tables`, `assembly`; `microabsorption`; beside the fit `single_lines`, `from_lines` and `opinions`.

The package knows nothing of tin, Tc or wires.
"""

from xrdorder.exceptions import Flag
from xrdorder.fitting.calibration import Calibration, calibrate
from xrdorder.fitting.engines import ENGINES
from xrdorder.fitting.options import LATTICE_DISTRIBUTIONS, FitOptions
from xrdorder.fitting.result import PatternFit, PhaseResult
from xrdorder.fitting.whole_pattern import DEFAULT_COMPOSITION, DEFAULT_PHASES, fit_pattern

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
