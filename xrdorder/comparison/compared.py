"""One quantity over all samples of a study: the comparison together with what it was made from."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from xrdorder.comparison.differences import Comparison
from xrdorder.comparison.quantity_draws import Values
from xrdorder.exceptions import StudyError


class Compared(NamedTuple):
    """One quantity over all samples.

    Attributes
    ----------
    comparison : Comparison
    values : Values
        Of the samples.
    labels : sequence of str
        Variant of each sample, in the order of `values`; empty for none.
    variable : sequence of float
        What the samples are ordered by; NaN for none.
    """

    comparison: Comparison
    values: Values
    labels: Sequence[str]
    variable: Sequence[float]

    @property
    def against(self) -> str:
        """The variant all others are compared with.

        Raises
        ------
        StudyError
            There are several: pairs were compared.
        """
        comparison = self.comparison
        against = np.unique(comparison.second)
        if against.size != 1:
            raise StudyError("variants were compared in pairs, not with one reference; leave out --all-pairs")
        return comparison.variants[int(against[0])]
