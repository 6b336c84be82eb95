"""Which variant differs from which, by how much, and is that significant?

Pure functions on the collated results of a study (`xrdorder.results.collate`); nothing is printed.

* `values_of` takes one quantity out of the results, with signed contributions of every source; `values_from_draws`
  does so for what is predicted by draws (Tc, Bc2, relative current density).
* `repeatability` asks replicates how far equal wires scatter beyond their known uncertainties; `about_course` bounds
  that from above where there are hardly any.
* `compare` puts samples into variants and gives all differences: what two variants share cancels, repeatability
  counts, many comparisons are corrected for; `verdict` says it in plain words. `Compared` keeps it with its samples.
* `trend` fits a line with a band that knows what all samples share; `drifts` asks for courses over position or date
  inside variants; `outliers` names samples that do not fit the others.

>>> import numpy as np
>>> shared, own = np.full((4, 1), 0.5), np.full((4, 1), 0.1)
>>> wires = Values("Tc_K", tuple("abcd"), np.array([17.0, 17.2, 17.9, 18.0]), shared, own)
>>> found = compare(wires, ["650 °C", "650 °C", "700 °C", "700 °C"])
>>> verdict(found.pair("700 °C", "650 °C"))
'Tc of 700 °C is 0.85 ± 0.11 K higher than that of 650 °C'

The common half kelvin has cancelled.
"""

from xrdorder.comparison.differences import Comparison, Difference, compare
from xrdorder.comparison.drifts import Drift, drift, drifts
from xrdorder.comparison.quantity_draws import Values, grouping, values_from_draws, values_of
from xrdorder.comparison.replicates import Repeatability, about_course, holm, repeatability
from xrdorder.comparison.trends import Outlier, Trend, outliers, trend
from xrdorder.comparison.variants import Compared
from xrdorder.comparison.wording import drift_words, methods_sentence, trend_words, verdict

__all__ = [
    "Compared",
    "Comparison",
    "Difference",
    "Drift",
    "Outlier",
    "Repeatability",
    "Trend",
    "Values",
    "about_course",
    "compare",
    "drift",
    "drift_words",
    "drifts",
    "grouping",
    "holm",
    "methods_sentence",
    "outliers",
    "repeatability",
    "trend",
    "trend_words",
    "values_from_draws",
    "values_of",
    "verdict",
]
