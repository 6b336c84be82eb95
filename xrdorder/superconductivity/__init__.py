"""What the A15 will do: Tc and Bc2 over all published relations that apply.

`predict` takes a `xrdorder.material.Material`; `estimate` takes numbers alone and gives a table of
everything that follows from them.
"""

from xrdorder.superconductivity.estimating import Estimate, estimate
from xrdorder.superconductivity.prediction import TARGETS, Combined, Prediction, RelationResult, predict
from xrdorder.superconductivity.rows import Row

__all__ = ["TARGETS", "Combined", "Estimate", "Prediction", "RelationResult", "Row", "estimate", "predict"]
