"""Does a stored formula still give the stored value? Evaluated by a walk over its syntax, never as code.

Beside arithmetic (`xrdorder.relations.expression`) a formula may name what cannot be written in a line: `FUNCTIONS`.
"""

import math
from functools import partial

import numpy as np

from xrdorder.crystals.a15 import DOPANT_SITES
from xrdorder.exceptions import XrdorderError
from xrdorder.material.lattice_strain import bounded_strain
from xrdorder.material.order import dopant_contrast
from xrdorder.profiles.width_terms import as_lorentz, voigt_breadth
from xrdorder.quantities.records import Record
from xrdorder.relations import expression


def _usual_strain(bound: float) -> float:
    return bounded_strain(float(bound))[0]


FUNCTIONS: expression.Functions = {
    **expression.FUNCTIONS,
    "radians": (np.radians, 1),
    "voigt_breadth": (voigt_breadth, 2),
    "as_lorentz": (as_lorentz, 2),
    "usual_strain": (_usual_strain, 1),
    **{f"contrast_of_{element}": (partial(dopant_contrast, element), 3) for element in DOPANT_SITES},
}
"""Functions that formulas may name, and how many arguments each takes."""


def recomputed(record: Record) -> float:
    """Value of a recorded formula with the recorded inputs; NaN where there is none.

    Examples
    --------
    >>> from xrdorder.quantities.records import Input
    >>> recomputed(Record("tin_lower_bound", "tin_lower_bound", 0.23, "x / 4", (Input("x", "order", 0.92),)))
    0.23
    """
    if not record.formula:
        return math.nan
    values = {"pi": math.pi, **record.numbers, **{given.symbol: given.value for given in record.inputs}}
    try:
        function = expression.compile_expression(record.formula, tuple(values), FUNCTIONS)
        return float(function(*values.values()))
    except (ValueError, XrdorderError):  # a name or a number that this version does not know
        return math.nan
