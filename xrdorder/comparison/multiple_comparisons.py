"""How small may the smallest of many probabilities be by chance?"""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def holm(p: ArrayLike) -> NDArray[np.float64]:
    """Adjust probabilities (..., k) for their number k by Holm's step-down rule; they keep their order.

    S. Holm, Scand. J. Stat. 6 (1979) 65: the chance of any false verdict stays below the limit whatever the
    probabilities have in common.

    >>> holm([0.01, 0.04, 0.03]).tolist()
    [0.03, 0.06, 0.06]
    """
    numbers = np.asarray(p, dtype=float)
    order = np.argsort(numbers, axis=-1, kind="stable")
    factors = numbers.shape[-1] - np.arange(numbers.shape[-1])
    raised = np.maximum.accumulate(np.take_along_axis(numbers, order, axis=-1) * factors, axis=-1)
    adjusted = np.empty_like(numbers)
    np.put_along_axis(adjusted, order, np.minimum(1.0, raised), axis=-1)
    return adjusted
