"""Upper critical field at a temperature, from its value at 0 K: a power law and the function it stands for.

The implicit function of Maki and de Gennes (dirty limit, no paramagnetic limit) is, with t = T / Tc and psi
the digamma function,

    ln t = psi(1/2) - psi(1/2 + x),   x = hbar D Bc2(T) / (2 phi_0 k_B T),

so that Bc2(T) / Bc2(0) = t x / x_0 with x_0 = exp(psi(1/2)) = 0.1404. For a given t the equation needs the
inverse of psi once and nothing else.
"""

from functools import cache

import numpy as np

from xrdorder.relations.entry import Array, Check, Relation, Scatter, Symbol

EXPONENT = 1.52

_INPUTS = (
    Symbol("T", "temperature", "K", 4.2),
    Symbol("Bc2(0)", "upper critical field at 0 K", "T", 29.0),
    Symbol("Tc", "critical temperature", "K", 18.0),
)
_FIELD = Symbol("Bc2(T)", "upper critical field at the temperature", "T", 25.8)
# A15 Nb3Sn: nothing above the highest Tc.
_VALID = (0.0, 18.6)
_SCATTER = Scatter(
    "largest distance of the power law from the implicit function, 1.3 % of Bc2(0); no residuals are printed",
    relative=0.013,
)


def _power(temperature: Array, field_0: Array, tc: Array) -> Array:
    t = np.clip(temperature / tc, 0.0, 1.0)
    return np.asarray(field_0 * (1.0 - t**EXPONENT))


def inverse_digamma(y: Array) -> Array:
    """Solve psi(z) = y for y of psi(1/2) = -1.9635 and more, by Newton.

    Examples
    --------
    >>> round(float(inverse_digamma(np.array(-0.5772156649015329))), 12)  # psi(1) = -gamma
    1.0
    """
    from scipy.special import digamma, polygamma

    z = np.asarray(np.exp(y) + 0.5, dtype=np.float64)
    # psi is concave and increasing: after the first step Newton comes up from below, doubling its digits each
    # time; five steps reach 1e-14 everywhere.
    for _ in range(5):
        z = z - (digamma(z) - y) / polygamma(1, z)
    return z


def reduced_field(t: Array) -> Array:
    """Bc2(T) / Bc2(0) of the implicit function for t = T / Tc between 0 and 1.

    Examples
    --------
    >>> [round(float(b), 3) for b in reduced_field(np.array([0.0, 0.5, 0.9, 1.0]))]
    [1.0, 0.65, 0.142, 0.0]
    """
    from scipy.special import digamma

    half = float(digamma(0.5))
    # Below t = 1e-6 the value is 1 within 1e-12, and x would overflow.
    t = np.clip(np.asarray(t, dtype=np.float64), 1e-6, 1.0)
    x = inverse_digamma(half - np.log(t)) - 0.5
    return np.asarray(np.clip(t * x / np.exp(half), 0.0, 1.0))


@cache
def _grid() -> tuple[Array, Array]:
    t = np.linspace(0.0, 1.0, 20_001)
    return t, reduced_field(t)


def _implicit(temperature: Array, field_0: Array, tc: Array) -> Array:
    # Interpolated: the second derivative is below 5, so that steps of 5e-5 leave less than 2e-9 of Bc2(0). The grid is
    # even: its place needs no search.
    t, reduced = _grid()
    place = np.clip(temperature / tc, 0.0, 1.0) * (len(t) - 1)
    lower = np.minimum(np.nan_to_num(place), len(t) - 2).astype(np.intp)
    return np.asarray(field_0 * (reduced[lower] + (place - lower) * (reduced[lower + 1] - reduced[lower])))


POWER = Relation(
    name="godeke-2006-power-law",
    kind="bc2-temperature",
    title="power law",
    formula="Bc2(T) = Bc2(0) (1 - (T / Tc)^1.52)",
    function=_power,
    inputs=_INPUTS,
    output=_FIELD,
    source="A. Godeke et al., Supercond. Sci. Technol. 19 (2006) R100",
    equation="eq. (14)",
    valid=_VALID,
    scatter=_SCATTER,
    known="read",
    notes="Stated to hold for all compositions and strains. Zero above Tc.",
    checks=(Check((4.2, 1.0, 18.0), 0.8905, 1e-4, "worked out apart"),),
)

IMPLICIT = Relation(
    name="maki-de-gennes",
    kind="bc2-temperature",
    title="implicit function of the dirty limit",
    formula="ln(T / Tc) = psi(1/2) - psi(1/2 + hbar D Bc2 / (2 phi_0 k_B T))",
    function=_implicit,
    inputs=_INPUTS,
    output=_FIELD,
    source=(
        "K. Maki and P. G. de Gennes, as given by A. Godeke et al., Supercond. Sci. Technol. 19 (2006) R100"
    ),
    equation="eq. (12); form from memory, checked: it gives Bc2(0) = 0.693 Tc |dBc2/dT|",
    valid=_VALID,
    scatter=_SCATTER,
    known="memory",
    notes="Zero above Tc.",
    checks=(
        Check((9.0, 1.0, 18.0), 0.650, 5e-4, "solved apart, three digits"),
        Check((16.2, 1.0, 18.0), 0.142, 5e-4, "likewise"),
    ),
)


THREE_HALVES = Relation(
    name="three-halves-power-law",
    kind="bc2-temperature",
    title="power law with exponent 3/2",
    formula="Bc2(T) = Bc2(0) (1 - (T / Tc)^1.5)",
    function=lambda temperature, field_0, tc: field_0 * (1.0 - np.clip(temperature / tc, 0.0, 1.0) ** 1.5),
    inputs=_INPUTS,
    output=_FIELD,
    source=(
        "N. Cheggour, D. P. Hampshire, and S. Oh, K. Kim, as named by A. Godeke et al., Supercond. Sci. Technol. 19 "
        "(2006) R100"
    ),
    equation="text beside eq. (14)",
    valid=_VALID,
    scatter=_SCATTER,
    known="secondary",
    notes="Fits to critical currents. Zero above Tc.",
    checks=(Check((9.0, 1.0, 18.0), 0.6464, 5e-5, "worked out apart"),),
)

ENTRIES = (POWER, IMPLICIT, THREE_HALVES)
