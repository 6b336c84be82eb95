"""Normal resistivity just above Tc, from the order and from the tin content.

The one by order and the first by tin describe antisite atoms, and they agree: with S put equal to the site order of
fully ordered A15, 4 beta, the first gives the second within 5 microohm cm from 21 at.% tin upwards (9 apart at 20
at.%). The cubic, a fit to a collection, lies within 6 microohm cm of the second.
"""

import numpy as np

from xrdorder.relations.entry import Array, Check, Relation, Scatter, Symbol

_RHO = Symbol("rho", "normal resistivity just above Tc", "microohm cm", 20.0)
_UNKNOWN = Scatter(
    "none is printed; about a tenth of the value, from the distance of the two relations from each other",
    relative=0.1,
)


def _cubic(beta: Array) -> Array:
    x = 100.0 * beta
    return 10.0 * (((-0.021449 * x + 1.2923) * x - 26.735) * x + 196.6)


def equivalent_tin(rho: Array) -> Array:
    """Tin fraction that has this resistivity (microohm cm), inverse of the relation with tin."""
    return np.asarray(((1.0 - (rho - 3.4) / 91.0) ** 0.25 + 0.75) / 7.0)


FROM_ORDER = Relation(
    name="flukiger-1987-resistivity",
    kind="resistivity-from-order",
    title="resistivity of irradiated Nb3Sn",
    formula="rho = 147 (1 - S^4)",
    function=lambda order: 147.0 * (1.0 - order**4),
    inverse=lambda rho: (1.0 - rho / 147.0) ** 0.25,
    inputs=(Symbol("S", "long-range order parameter", "1", 0.95),),
    output=_RHO,
    source=(
        "R. Fluekiger et al., IEEE Trans. Magn. 23 (1987) 980, from ion irradiation; as given by A. Godeke, "
        "Supercond. Sci. Technol. 19 (2006) R68"
    ),
    equation="eq. (4) of the latter",
    valid=(0.7, 1.0),
    scatter=_UNKNOWN,
    known="read",
    notes=(
        "Antisite disorder only: ball-milled Nb3Sn reaches 300 microohm cm at 15 K, outside this law "
        "(L. D. Cooley et al., Appl. Phys. Lett. 88 (2006) 142506)."
    ),
    wire="binary",
    checks=(Check((0.95,), 27.3, 0.05, "worked out apart"),),
)

FROM_TIN = Relation(
    name="godeke-2006-resistivity",
    kind="resistivity-from-tin",
    title="resistivity over the A15 range",
    formula="rho = 91 (1 - (7 beta - 0.75)^4) + 3.4",
    function=lambda beta: 91.0 * (1.0 - (7.0 * beta - 0.75) ** 4) + 3.4,
    inverse=equivalent_tin,
    inputs=(Symbol("beta", "atomic fraction of tin", "1", 0.24),),
    output=_RHO,
    source="A. Godeke, Supercond. Sci. Technol. 19 (2006) R68",
    equation="eq. (5)",
    valid=(0.18, 0.25),
    scatter=_UNKNOWN,
    known="secondary",
    checks=(
        Check((0.248,), 9.0, 1.2, "A. Godeke (2006): 9 microohm cm at 24.8 at.%; half a digit of tin is 1.2"),
        Check((0.236,), 35.0, 1.0, "likewise 35 at 23.6 at.%; half a digit of tin is 1.0"),
        Check((0.210,), 70.0, 0.7, "likewise 70 at 21.0 at.%; half a digit of tin is 0.7"),
    ),
    notes="Reproduces the pairs printed beside it: 9, 35 and 70 microohm cm at 24.8, 23.6 and 21.0 at.% tin.",
    wire="binary",
)

CUBIC = Relation(
    name="li-gao-2014-resistivity",
    kind="resistivity-from-tin",
    title="cubic",
    formula="rho = 10 (-0.021449 x^3 + 1.2923 x^2 - 26.735 x + 196.6), x = 100 beta",
    function=_cubic,
    inputs=FROM_TIN.inputs,
    output=_RHO,
    source=(
        "Y. Li, Y. Gao, arXiv:1408.0353, fitted to the collection of R. Fluekiger et al., Cryogenics "
        "48 (2008) 293"
    ),
    equation="table 1; the factor 10 from the resistivities of its table 2",
    valid=(0.18, 0.25),
    scatter=_UNKNOWN,
    known="read",
    checks=(
        Check((0.18,), 90.0, 0.5, "90 at 18 at.%, worked out apart"),
        Check((0.2433,), 22.0, 0.6, "22 microohm cm of sintered bulk in table 2 of the source, to its last digit"),
        Check((0.25,), 7.6, 0.3, "7.6 at 25 at.%: the last digit of 1.2923 is 0.3 there"),
    ),
    wire="binary",
)

ENTRIES = (FROM_ORDER, FROM_TIN, CUBIC)
