"""Upper critical field at 0 K from the tin content: with and without a collapse near stoichiometry.

The published fit (A. Godeke, Supercond. Sci. Technol. 19 (2006) R68) falls from 31 T at 24.3 at.% to 21 T at 25
at.%, where the lattice turns tetragonal below 43 K (same source). Bulk samples of 23.3 to 24.6 at.% measured later
have 29.1 T in either lattice, and 27.6 T where they are cleanest; the low value goes back to one crystal of unknown
order (J. Zhou et al., Appl. Phys. Lett. 99 (2011) 122507). Both branches are offered for undoped A15; nobody has
settled the question for wires.

Dopants suppress the transformation (above 2.8 at.% Ta or 1.3 at.% Ti: A. Godeke, 2006), and with them the field follows
the composition over the whole range (N. Paudel et al., arXiv:2412.09514): doped wire has no branch that falls. One of
25.2 at.% tin and 2.4 at.% Ta has 27.3 T (S. M. Heald et al., Sci. Rep. 8 (2018) 4798).
"""

import numpy as np

from xrdorder.relations.entry import Array, Check, Relation, Scatter, Symbol

_TIN = Symbol("beta", "atomic fraction of tin", "1", 0.24)
_FIELD = Symbol("Bc2(0)", "upper critical field at 0 K, free of strain", "T", 29.0)
_SCATTER = Scatter(
    "judged from published sample tables: 1.5 T (no residuals are printed; criteria for the transition "
    "differ as much)",
    ((0.0, 1.5),),
)
# The rise reaches zero at 18.5 at.% although wires of 18 at.% still have about 5 T (same author, Supercond.
# Sci. Technol. 19 (2006) R100): refuse below 19 at.%.
_VALID = (0.19, 0.25)
_PLATEAU_T = 29.1


def _rise(beta: Array) -> Array:
    return 577.0 * beta - 107.0


COLLAPSE = Relation(
    name="godeke-2006-collapse",
    kind="bc2-0-from-tin",
    title="rise and collapse near stoichiometry",
    formula="Bc2(0) = -1e-30 exp(beta / 0.00348) + 577 beta - 107",
    function=lambda beta: _rise(beta) - 1e-30 * np.exp(beta / 0.00348),
    inputs=(_TIN,),
    output=_FIELD,
    source="A. Godeke, Supercond. Sci. Technol. 19 (2006) R68",
    equation="eq. (11); the factor 1e-30 from memory, confirmed by the printed maximum near 31 T",
    valid=_VALID,
    scatter=_SCATTER,
    known="read",
    notes=(
        "Undoped A15 only: dopants suppress the transformation behind the fall. Above 24.3 at.% it is contradicted by "
        "bulk samples measured later, whose field goes with resistivity: undoped-bc2-by-resistivity."
    ),
    criterion="extrapolated",
    wire="binary",
    checks=(
        Check((0.2428,), 31.0, 0.5, "A. Godeke et al., Supercond. Sci. Technol. 19 (2006) R100: 31 T at most"),
        Check((0.25,), 21.4, 0.05, "A. Godeke (2006): 21.4 T at 25 at.%"),
    ),
    contradicts="rise-and-plateau above 24.3 at.%: 29.1 T cubic or tetragonal (J. Zhou et al., 2011)",
)

PLATEAU = Relation(
    name="rise-and-plateau",
    kind="bc2-0-from-tin",
    title="same rise, then 29.1 T without collapse",
    formula="Bc2(0) = min(577 beta - 107, 29.1 T)",
    function=lambda beta: np.minimum(_rise(beta), _PLATEAU_T),
    inputs=(_TIN,),
    output=_FIELD,
    source=(
        "rise: A. Godeke, Supercond. Sci. Technol. 19 (2006) R68; level: J. Zhou et al., Appl. Phys. "
        "Lett. 99 (2011) "
        "122507, 29.1 +- 0.2 T at 0.3 K for 23.3 to 24.6 at.%"
    ),
    equation="linear part of eq. (11); table 1",
    valid=_VALID,
    scatter=_SCATTER,
    known="derived",
    notes=(
        "The cleanest samples (resistivity below 13 microohm cm) reach 27.6 T only. Level of undoped bulk; doped wires "
        "have 27.3 to 29.5 T (S. M. Heald et al., 2018; A. Godeke et al., J. Appl. Phys. 97 (2005) 093909)."
    ),
    criterion="extrapolated",
    checks=(Check((0.246,), 29.1, 0.2, "J. Zhou et al. (2011), table 1"),),
    contradicts="godeke-2006-collapse above 24.3 at.%",
)

ENTRIES = (COLLAPSE, PLATEAU)
