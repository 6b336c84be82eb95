"""How small may the smallest of many probabilities be by chance?"""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def holm(p: ArrayLike) -> NDArray[np.float64]:
    """Adjust probabilities for their number by Holm's step-down rule; they keep their order.

    S. Holm, Scand. J. Stat. 6 (1979) 65: the chance of any false verdict stays below the limit whatever the
    probabilities have in common.

    >>> holm([0.01, 0.04, 0.03]).tolist()
    [0.03, 0.06, 0.06]
    """
    numbers = np.asarray(p, dtype=float)
    order = np.argsort(numbers, kind="stable")
    adjusted = np.empty_like(numbers)
    factors = numbers.size - np.arange(numbers.size)
    adjusted[order] = np.minimum(1.0, np.maximum.accumulate(numbers[order] * factors))
    return adjusted
