"""Critical temperature from the order: an indirect chain, as no published Tc(S) with coefficients was found.

Order gives resistivity, resistivity gives the tin content of the same resistivity, and that gives Tc: it
takes for granted that disorder and tin deficit act through the same antisite atoms. The chain takes the
site order r_a + r_b - 1 for S. At stoichiometry they are the same, and off it the choice is borne out by
the relations themselves: fully ordered A15 of tin content beta has the site order 4 beta, and rho(S = 4
beta) follows rho(beta) within 5 microohm cm from 21 to 25 at.%.

Annealing and irradiation give different Tc for the same order in the same layers ("Superconductivity and crystal and
electronic structures in hydrogenated and disordered Nb3Ge and Nb3Sn layers with A15 structure", Phys. Rev. B; abstract,
which shows neither authors nor year), so that no single Tc(S) exists.
"""

import numpy as np

from xrdorder.relations import resistivity, tc_from_tin
from xrdorder.relations.entry import Array, Check, Relation, Scatter, Symbol

_RHO_STOICHIOMETRIC = 3.4


def _chain(order: Array) -> Array:
    rho = resistivity.FROM_ORDER.function(order)
    # Above S = 0.994 the first relation falls below what the second leaves to perfect Nb3Sn; nothing is
    # gained there.
    beta = resistivity.equivalent_tin(np.maximum(rho, _RHO_STOICHIOMETRIC))
    return tc_from_tin.BOLTZMANN.function(beta)


CHAIN = Relation(
    name="order-resistivity-chain",
    kind="tc-from-order",
    title="order, resistivity, equivalent tin (indirect)",
    formula="rho = 147 (1 - S^4); beta = ((1 - (rho - 3.4) / 91)^(1/4) + 0.75) / 7; then the saturating step",
    function=_chain,
    inputs=(Symbol("S", "site order r_a + r_b - 1", "1", 0.95),),
    output=Symbol("Tc", "critical temperature, free of strain", "K", 17.0),
    source=(
        "A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, with R. Fluekiger et al., IEEE Trans. "
        "Magn. 23 (1987) 980"
    ),
    equation="eqs (4), (5) and (10) in a row",
    valid=(0.80, 1.0),
    scatter=Scatter(
        "judged: wires with a site order of 0.91 to 0.97 lie up to 3 K above the chain (S. M. Heald et "
        "al., Sci. Rep. 8 "
        "(2018) 4798), films 0.4 K below to 1.5 K above (T. P. Orlando et al., Phys. Rev. B 19 (1979) 4545)",
        ((0.0, 2.0), (0.88, 1.5), (0.96, 0.5)),
    ),
    known="derived",
    notes="Indirect. Disorder of another kind (ball milling, strain) costs less Tc for the same resistivity.",
    wire=tc_from_tin.BOLTZMANN.wire,
    checks=(
        Check((0.95,), 17.04, 0.01, "worked out apart: 27.3 microohm cm, 23.95 at.%"),
        Check((0.90,), 14.18, 0.03, "worked out apart: 50.6 microohm cm, 22.62 at.%"),
    ),
)

ENTRIES = (CHAIN,)
