"""Expected counts of invented powder patterns, for the tests of this folder only: no physics is meant."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def expected(
    step: float = 0.02,
    width: float = 0.1,
    lines: int = 35,
    top: float = 25000.0,
    background: float = 300.0,
    span: tuple[float, float] = (18.0, 140.0),
    seed: int = 0,
) -> tuple[Array, Array]:
    """Doublets of half Gauss, half Lorentz on a falling background; angles and expected counts."""
    rng = np.random.default_rng(seed)
    x = np.arange(span[0], span[1], step)
    y = background * (1.0 + 2.0 * np.exp(-(x - span[0]) / 15.0))
    for centre in rng.uniform(*span, lines):
        height = top * 10.0 ** rng.uniform(-2.5, 0.0)
        fwhm = width * (1.0 + (centre / 100.0) ** 2)
        for position, weight in ((centre, 1.0), (centre + 0.05 + 0.3 * (centre / 100.0) ** 2, 0.5)):
            t = 2.0 * (x - position) / fwhm
            y = y + height * weight * (0.5 * np.exp(-np.log(2.0) * t**2) + 0.5 / (1.0 + t**2))
    return x, y


#: Ways laboratories scan: steps, widths and densities of lines, long and short, many counts and few.
SETTINGS: tuple[dict[str, object], ...] = (
    {},
    {"width": 0.05},
    {"width": 0.3},
    {"step": 0.05},
    {"step": 0.05, "width": 0.06},
    {"step": 0.1, "width": 0.1},
    {"lines": 80},
    {"lines": 80, "step": 0.05},
    {"top": 1e6, "background": 20000.0},
    {"top": 300.0, "background": 5.0},
    {"top": 100.0, "background": 0.05},
    {"top": 1e5, "background": 1.0},
    {"span": (30.0, 45.0), "lines": 6},
    {"span": (30.0, 34.0), "lines": 1},
    {"span": (30.0, 31.0), "lines": 1, "step": 0.01},
)
