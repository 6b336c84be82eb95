"""What do all samples together say? One hierarchical model, and joint draws of tin, order, Tc and Bc2 of every wire.

>>> import numpy as np
>>> from xrdorder.uncertainty import Contributions
>>> table = Contributions(("a_nm",), ("counting",), np.array([[3e-6]]), ("",))
>>> drawn = joint_draws([Wire("piece", kind="binary", a_nm=0.52880, contributions=table)], n=500)
>>> bool(22.0 < 100.0 * np.median(drawn.of("piece", "tin_fraction")) < 25.0)
True
"""

from xrdorder.estimates.hyperparameters import PUBLISHED, Hyperparameter, Hyperparameters
from xrdorder.estimates.model import DRAWS, TARGETS, JointDraws, joint_draws
from xrdorder.estimates.wires import KINDS, Measured, Wire

__all__ = [
    "DRAWS",
    "KINDS",
    "PUBLISHED",
    "TARGETS",
    "Hyperparameter",
    "Hyperparameters",
    "JointDraws",
    "Measured",
    "Wire",
    "joint_draws",
]
