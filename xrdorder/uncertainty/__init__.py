"""How uncertain is a number, and with which other samples does it share its uncertainty?

One table answers both. `Contributions` holds, for the quantities of one sample, the *signed* standard
contribution of every source of uncertainty (columns), and for every source the group that shares it. Two
samples calibrated with the same instrument scan carry the column ``calibration/0`` under the same group, so
that their common error cancels in a difference; a column with the group ``""`` is private to its sample and
never cancels. Everything else is a view of that table:

* `Contributions.total`, `Contributions.covariance` and `Contributions.part` (independent and shared part,
  GUM F.1.2);
* `Contributions.budget`, what the uncertainty is made of;
* `difference`, the difference of two samples with its uncertainty;
* `quantity_draws`, random numbers that are equal where a source is shared;
* `to_dataset`, `from_dataset` and `collate`, the table as it is stored.

Columns are independent of each other by construction. Correlated quantities (the parameters of a fit) share
columns: `Contributions.from_covariance` turns a covariance matrix into such columns.

GUM: JCGM 100:2008, *Guide to the expression of uncertainty in measurement*; Monte Carlo as in JCGM 101:2008.
"""

from xrdorder.uncertainty.contributions import PRIVATE, Array, Contributions, Difference, difference
from xrdorder.uncertainty.draws import (
    DEFAULT_DRAWS,
    DEFAULT_LEVEL,
    ONE_SIDED_95,
    interval,
    quantity_draws,
    standard_normal,
)
from xrdorder.uncertainty.stored import collate, from_dataset, separate, to_dataset

__all__ = [
    "DEFAULT_DRAWS",
    "DEFAULT_LEVEL",
    "ONE_SIDED_95",
    "PRIVATE",
    "Array",
    "Contributions",
    "Difference",
    "collate",
    "difference",
    "from_dataset",
    "interval",
    "quantity_draws",
    "separate",
    "standard_normal",
    "to_dataset",
]
