"""Critical temperature from the tin content: four forms, three of them fitted to much the same data.

They agree within 0.5 K above 23 at.% tin, apart from the straight line, which does not saturate, and part
by up to 2.2 K near 20 at.%. Measured samples disagree more: bulk samples of 23.3 to 24.9 at.% by
microanalysis all have 17.7 to 18.05 K (J. Zhou et al., Appl. Phys. Lett. 99 (2011) 122507). Of the published samples
below 24.2 at.% by microanalysis each of 21 has more Tc than the saturating step: it needs 1.3 (bulk) to 3.0 at.%
(films) more tin than was measured. Onset, microanalysis that sees niobium, percolation of the best part and the tin
scale of the step cannot be told apart. The scatter of the forms knows nothing of it; the model of `estimates` does.
"""

import numpy as np

from xrdorder.relations.entry import Array, Check, Relation, Scatter, Symbol

_TIN = Symbol("beta", "atomic fraction of tin", "1", 0.24)
_TC = Symbol("Tc", "critical temperature, free of strain", "K", 18.0)
# No source prints residuals. Judged from how published tables of samples lie about the forms.
_SCATTER = Scatter(
    "judged from published sample tables: 0.3 K above 24 at.%, 0.8 K above 22 at.%, 1.5 K below",
    ((0.0, 1.5), (0.22, 0.8), (0.24, 0.3)),
)


def _step(beta: Array, low: float, high: float, centre: float, width: float) -> Array:
    """Boltzmann step from `low` to `high` (K)."""
    return np.asarray((low - high) / (1.0 + np.exp((beta - centre) / width)) + high)


def _step_inverse(tc: Array, low: float, high: float, centre: float, width: float) -> Array:
    return np.asarray(centre + width * np.log((low - high) / (tc - high) - 1.0))


def _cubic(beta: Array) -> Array:
    x = 100.0 * beta
    return ((-0.065923 * x + 4.3157) * x - 91.612) * x + 641.31


LINE = Relation(
    name="devantay-1981-line",
    kind="tc-from-tin",
    title="straight line",
    formula="Tc = 12 (beta - 0.18) / 0.07 + 6",
    function=lambda beta: 12.0 / 0.07 * (beta - 0.18) + 6.0,
    inverse=lambda tc: (tc - 6.0) * 0.07 / 12.0 + 0.18,
    inputs=(_TIN,),
    output=_TC,
    source=(
        "H. Devantay et al., J. Mater. Sci. 16 (1981) 2145, as given by A. Godeke, Supercond. Sci. "
        "Technol. 19 (2006) "
        "R68, and L. D. Cooley et al., J. Appl. Phys. 96 (2004) 2122"
    ),
    equation="eq. (9) of Godeke, eq. (2) of Cooley",
    valid=(0.18, 0.25),
    scatter=_SCATTER,
    known="read",
    notes="Too high by about 1 K at 20 at.%; misses the saturation above 24 at.%.",
    wire="binary",
    checks=(Check((0.18,), 6.0, 0.05, "L. D. Cooley et al. (2004), eq. (2): 6 K at 18 at.%"),),
    contradicts="godeke-2006-boltzmann by up to 2.2 K near 20 at.%",
)

BOLTZMANN = Relation(
    name="godeke-2006-boltzmann",
    kind="tc-from-tin",
    title="saturating step, binary",
    formula="Tc = -12.3 / (1 + exp((beta - 0.22) / 0.009)) + 18.3",
    function=lambda beta: _step(beta, 6.0, 18.3, 0.22, 0.009),
    inverse=lambda tc: _step_inverse(tc, 6.0, 18.3, 0.22, 0.009),
    inputs=(_TIN,),
    output=_TC,
    source=(
        "A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, fitted to H. Devantay et al., J. Mater. "
        "Sci. 16 (1981) 2145"
    ),
    equation="eq. (10)",
    valid=(0.18, 0.25),
    scatter=_SCATTER,
    known="read",
    notes="Takes 18.3 K as the highest Tc (J. J. Hanak et al., RCA Rev. 25 (1964) 342; from memory).",
    wire="binary",
    checks=(
        Check((0.18,), 6.0, 0.5, "A. Godeke (2006), section III: 6 K at 18 at.%"),
        Check((0.25,), 18.0, 0.5, "A. Godeke (2006), section III: 18 K at 25 at.%"),
    ),
    contradicts=(
        "21 of 21 published samples below 24.2 at.%, which have more Tc, as tin higher by 1.3 to 3.0 at.% would give; "
        "among them bulk of 23.3 at.% with 17.87 K (J. Zhou et al., Appl. Phys. Lett. 99 (2011) 122507)"
    ),
)

TANTALUM = Relation(
    name="baumgartner-2017-tantalum",
    kind="tc-from-tin",
    title="saturating step, tantalum-doped",
    formula="Tc = -12.21 / (1 + exp((beta - 0.2201) / 0.00921)) + 18.6",
    function=lambda beta: _step(beta, 6.39, 18.6, 0.2201, 0.00921),
    inverse=lambda tc: _step_inverse(tc, 6.39, 18.6, 0.2201, 0.00921),
    inputs=(_TIN,),
    output=_TC,
    source="T. Baumgartner et al., Supercond. Sci. Technol. 30 (2017) 014011",
    equation="eq. (3)",
    valid=(0.18, 0.255),
    scatter=_SCATTER,
    known="read",
    notes="For tantalum-doped powder-in-tube wire: the binary data raised by 0.3 K.",
    wire="Ta",
    checks=(Check((0.255,), 18.33, 0.005, "T. Baumgartner et al. (2017): 18.33 K at 25.5 at.%"),),
)

CUBIC = Relation(
    name="li-gao-2014-cubic",
    kind="tc-from-tin",
    title="cubic",
    formula="Tc = -0.065923 x^3 + 4.3157 x^2 - 91.612 x + 641.31, x = 100 beta",
    function=_cubic,
    inputs=(_TIN,),
    output=_TC,
    source=(
        "Y. Li, Y. Gao, arXiv:1408.0353, fitted to the collection of R. Fluekiger et al., Cryogenics "
        "48 (2008) 293"
    ),
    equation="table 1",
    valid=(0.18, 0.25),
    scatter=_SCATTER,
    known="read",
    wire="binary",
    checks=(Check((0.25,), 18.0, 0.5, "as all of them, 18 K at 25 at.%: A. Godeke (2006), section III"),),
)

ENTRIES = (LINE, BOLTZMANN, TANTALUM, CUBIC)
