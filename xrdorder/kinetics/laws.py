r"""The equations, vectorised: parameters (draws,) and m treatments to numbers (draws, m).

Layers that first grow linearly and then by diffusion, and cylinders that are used up, both look like

.. math:: X = 1 - \exp[-(\Theta_{Q_X} / \tau)^n]

with n near one (bronze wire after 570 °C/250 h and t at 650 °C: 75 % of the final current at 0 h, above 96 % at 20 h:
arXiv:1701.08681). What forms keeps its composition, as tin hardly moves in the A15 (below 1e-23 m²/s at 650 °C, X. Xu,
Supercond. Sci. Technol. 30 (2017) 093001), so that the temperature at which the layer formed counts for it.
"""

import numpy as np
from numpy.typing import NDArray

from xrdorder.kinetics.courses import REFERENCE_K, Courses
from xrdorder.treatments.history import GAS_CONSTANT

Array = NDArray[np.float64]


def conversion(courses: Courses, q_kj_per_mol: Array, tau_h: Array, exponent: Array) -> Array:
    """Share X of the reaction that is done, shape (draws, m).

    Parameters
    ----------
    courses : Courses
    q_kj_per_mol, tau_h, exponent : array, (draws,)
        Activation energy, hours at 650 °C after which 1 - 1/e is done, and n.

    Examples
    --------
    >>> from xrdorder.treatments import Schedule, Step
    >>> bronze = Courses([Schedule((Step(570, 250),)), Schedule((Step(570, 250), Step(650, 20)))])
    >>> conversion(bronze, *np.array([[225.0], [12.0], [1.0]])).round(2).tolist()  # 0.75 and above 0.96 are published
    [[0.72, 0.95]]
    """
    done = exponent[:, None] * (courses.log_integrals(q_kj_per_mol) - np.log(tau_h)[:, None])
    return np.asarray(-np.expm1(-np.exp(np.minimum(done, 50.0))))


def formation_k(courses: Courses, q_kj_per_mol: Array, tau_h: Array, exponent: Array) -> Array:
    r"""Mean temperature in K at which the layer formed, :math:`\int T dX / X`, shape (draws, m)."""
    hours, kelvin = courses.steps
    c = q_kj_per_mol * 1e3 / GAS_CONSTANT
    done = np.cumsum(hours * np.exp(c[:, None, None] * (1.0 / REFERENCE_K - 1.0 / kelvin)), axis=2)
    # in parts of the whole, which has closed forms
    logs = np.log(np.maximum(done, 1e-300)) - np.log(np.maximum(done[..., -1:], 1e-300))
    logs += (courses.log_integrals(q_kj_per_mol) - np.log(tau_h)[:, None])[..., None]
    converted = -np.expm1(-np.exp(np.minimum(exponent[:, None, None] * logs, 6.5)))
    first = converted[..., 0] * kelvin[:, 0]
    rest = np.einsum("dmk,mk->dm", np.diff(converted, axis=2), kelvin[:, 1:])
    return np.asarray((first + rest) / np.maximum(converted[..., -1], 1e-300))


def log_grain_size(courses: Courses, log_d0: Array, e_kj_per_mol: Array, exponent: Array) -> Array:
    """Logarithm of the grain size, in the unit of d0: that after 100 h at 650 °C, shape (draws, m).

    ln d = ln d0 + m ln(Θ / 100 h), with the activation energy E/m of the rate, so that d goes with exp(-E/RT) after
    equal times. A small m means that the hottest hold decides.
    """
    logs = courses.log_integrals(e_kj_per_mol / exponent) - np.log(100.0)
    return np.asarray(log_d0[:, None] + exponent[:, None] * logs)


def climb(
    courses: Courses,
    formed_k: Array,
    level: Array,
    per_kelvin: Array,
    deficit: Array,
    q_kj_per_mol: Array,
    tau_h: Array,
) -> Array:
    """Bc2 or Tc: level at 650 °C, slope with the temperature of formation, deficit that goes with conversion.

    level + per_kelvin (T_formed - 923.15 K) - deficit exp(-Θ/tau), shape (draws, m).
    """
    left = np.exp(-np.minimum(np.exp(courses.log_integrals(q_kj_per_mol)) / tau_h[:, None], 700.0))
    return np.asarray(level[:, None] + per_kelvin[:, None] * (formed_k - REFERENCE_K) - deficit[:, None] * left)


def inverse_rrr(courses: Courses, clean: Array, factor: Array, e_kj_per_mol: Array, exponent: Array) -> Array:
    """One over the RRR of the copper: that of clean copper, and what tin through the barrier adds, A (Θ / 100 h)^k.

    As with grains the rate has the energy E/k, so that what is added goes with exp(-E/RT) after equal times.
    """
    added = exponent[:, None] * (courses.log_integrals(e_kj_per_mol / exponent) - np.log(100.0))
    return np.asarray(1.0 / clean[:, None] + factor[:, None] * np.exp(np.minimum(added, 50.0)))
