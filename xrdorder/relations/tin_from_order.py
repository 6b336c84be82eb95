"""Tin content from the site order, without any lattice parameter.

With x = r_a + r_b - 1 the site order, the balance of sites in an undoped A15 gives x = 4 beta S_a. As S_a
cannot exceed one, beta is at least x / 4; how much more depends on the disorder, which in reacted Nb3Sn is
small. With dopants on the tin site, x stands for the site order less the share of tin sites they take.
"""

from xrdorder.relations.entry import Check, Relation, Scatter, Symbol

_ORDER = Symbol("x", "site order r_a + r_b - 1", "1", 0.94)
_TIN = Symbol("beta", "atomic fraction of tin", "1", 0.24)

USUAL_S_A = 0.98
U_USUAL_S_A = 0.02


BOUND = Relation(
    name="order-bound",
    kind="tin-from-order",
    title="least tin the order allows (S_a = 1)",
    formula="beta >= x / 4",
    function=lambda x: x / 4.0,
    inverse=lambda beta: 4.0 * beta,
    inputs=(_ORDER,),
    output=_TIN,
    source="site balance of the A15 structure: 3 (1 - r_a) + r_b = 4 beta, and S_a <= 1",
    equation="from the definitions of A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, eq. (1)",
    valid=(0.0, 1.0),
    scatter=Scatter("exact: a bound"),
    known="derived",
    notes="Free of the lattice parameter scale. A bound, not a value.",
    checks=(Check((1.0,), 0.25, 1e-12, "full order of stoichiometric A15"),),
)

USUAL = Relation(
    name="order-as-measured-before",
    kind="tin-from-order",
    title="tin if the order is as usual (S_a = 0.98)",
    formula="beta = x / (4 S_a), S_a = 0.98 +- 0.02",
    function=lambda x: x / (4.0 * USUAL_S_A),
    inverse=lambda beta: 4.0 * USUAL_S_A * beta,
    inputs=(_ORDER,),
    output=_TIN,
    source=(
        "S before irradiation, mean of about twelve measurements of one hot-pressed specimen without dopants: "
        "T. Spina, doctoral thesis, University of Geneva"
    ),
    equation="site balance x = 4 beta S_a",
    valid=(0.7, 1.0),
    scatter=Scatter("S = 0.98 +- 0.02 in the same thesis", relative=U_USUAL_S_A / USUAL_S_A),
    known="derived",
    notes="Free of the lattice parameter scale, but takes the order of the niobium sites for granted.",
    wire="binary",
    checks=(Check((0.94,), 0.2398, 5e-5, "worked out apart: 0.94 / 3.92"),),
)

ENTRIES = (BOUND, USUAL)
