"""The digits of values and uncertainties, by the package `uncertainties` (E. O. Lebigot; it comes with lmfit).

It rounds by the rule of the Particle Data Group (Review of Particle Physics, introduction, section 5.3), too.
"""

import numpy as np
import pytest
from uncertainties import ufloat

from xrdorder.quantities.formatting import concise, rounded

# the examples that the Review gives of its rule (from memory)
OF_THE_REVIEW = [(0.827, 0.119, "0.83 ± 0.12"), (0.827, 0.367, "0.8 ± 0.4")]


@pytest.mark.parametrize(("value", "u", "text"), OF_THE_REVIEW)
def test_examples_of_the_review(value, u, text):
    assert rounded(value, u) == text


def test_values_with_their_uncertainties_in_brackets():
    rng = np.random.default_rng(4)
    other = []
    for u in 10.0 ** rng.uniform(-4.0, 1.97, 2000):  # above, the package writes exponents
        value = float(rng.uniform(0.0, 100.0) * u + 2.0 * u)
        given = f"{ufloat(value, u):S}"
        if "e" not in given and concise(value, float(u)) != given:
            other.append((value, u, given))
    assert other == []
