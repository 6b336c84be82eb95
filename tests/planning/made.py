"""Reacted wires with a known response."""

import numpy as np

from xrdorder.comparison import Values
from xrdorder.planning import Furnace, Space

FURNACE = Furnace((600.0, 750.0), (10.0, 300.0), 50.0, 400.0, step_c=10.0)
SPACE = Space(FURNACE)
POINTS = ((610, 30), (615, 200), (660, 80), (700, 15), (705, 220), (740, 60), (650, 20), (640, 120))


def reacted(points=POINTS, furnace=FURNACE):
    return [furnace.schedule(t, h, 50.0) for t, h in points]


def hill(treatments, space=SPACE, top=(0.4, 0.6)):
    """A summit of one inside the limits."""
    x = space.coordinates(treatments)
    return np.exp(-(((x[:, 0] - top[0]) / 0.4) ** 2) - ((x[:, 1] - top[1]) / 0.5) ** 2)


def measured(true, *, own=0.02, common=0.1, seed=0, quantity="Jc"):
    true = np.asarray(true, dtype=float)
    n = len(true)
    random = np.random.default_rng(seed)
    value = true + own * random.standard_normal(n) + common * random.standard_normal()
    return Values(
        quantity, tuple(f"w{k}" for k in range(n)), value, np.full((n, 1), common), np.full((n, 1), own)
    )
