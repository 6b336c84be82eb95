"""Upper critical field at 0 K from Tc and the slope of Bc2 at Tc (dirty limit, no paramagnetic limit).

N. R. Werthamer, E. Helfand, P. C. Hohenberg, Phys. Rev. 147 (1966) 295 (from memory; 0.6927 follows from the
digamma function): Bc2(0) = 0.6927 Tc |dBc2/dT|. The slope, which grows
with resistivity and doping, is the whole question: 1.9 to 2.1 T/K in pure Nb3Sn, 2.3 to 2.4 T/K in alloyed
(L. D. Cooley et al., Appl. Phys. Lett. 88 (2006) 142506). What the slope comes to is the ratio Bc2(0) / Tc, which
published samples have directly.
"""

import math

import numpy as np

from xrdorder.relations.entry import Array, Check, Relation, Scatter, Symbol

_TC = Symbol("Tc", "critical temperature", "K", 18.0)
_FIELD = Symbol("Bc2(0)", "upper critical field at 0 K", "T", 29.0)

USUAL_SLOPE = 2.27
"""Middle of the 1.96 to 2.58 T/K found by C. Senatore and R. Fluekiger (2013), T/K."""

U_USUAL_SLOPE = 0.62 / math.sqrt(12.0)
"""Standard deviation of a slope anywhere in that range (rectangular), T/K."""


def _ratio(
    ratio: float, u_ratio: float, name: str, wire: str, key: str, laboratories: str, check: Check
) -> Relation:
    """Mean and standard deviation of Bc2(0) / Tc (T/K) of published samples, one vote a sample."""

    def field(tc: Array) -> Array:
        return np.asarray(ratio * tc)

    def inverse(field_t: Array) -> Array:
        return np.asarray(field_t / ratio)

    return Relation(
        name=name,
        kind="bc2-0-from-tc",
        title=f"ratio of published samples, {wire}",
        formula=f"Bc2(0) = {ratio:g} T/K Tc",
        function=field,
        inverse=inverse,
        inputs=(_TC,),
        output=_FIELD,
        source=f"{key} of {laboratories} (1979 to 2024); powder as milled left out",
        equation=f"Bc2(0) / Tc = {ratio:g} ± {u_ratio:g} T/K; xrdorder evidence shows them",
        valid=(16.0, 18.5),
        scatter=Scatter("standard deviation of the ratio of those samples", relative=u_ratio / ratio),
        known="derived",
        notes="Criteria are mixed: 10 to 99 % of one transition are up to 2.8 T apart (A. Godeke et al., 2005).",
        criterion="mixed",
        wire=wire,
        checks=(check,),
    )


RATIO_DOPED = _ratio(
    1.609, 0.083, "doped-ratio", "doped", "49 published samples", "five laboratories (their means 1.53 to 1.65)",
    Check((17.8,), 29.4, 1.5, "A. Godeke et al., J. Appl. Phys. 97 (2005) 093909, wire with Ta, to the scatter"),
)  # fmt: skip
RATIO_UNDOPED = _ratio(
    1.53, 0.14, "undoped-ratio", "binary", "16 published samples", "six laboratories (their means 1.36 to 1.62)",
    Check((17.9,), 27.4, 2.5, "A. Godeke et al., J. Appl. Phys. 97 (2005) 093909, undoped wire, to the scatter"),
)  # fmt: skip

FIXED = Relation(
    name="cooley-2004-fixed-slope",
    kind="bc2-0-from-tc",
    title="one slope for all compositions",
    formula="Bc2(0) = 0.69 Tc (2.4 T/K)",
    function=lambda tc: 0.69 * 2.4 * tc,
    inverse=lambda field: field / (0.69 * 2.4),
    inputs=(_TC,),
    output=_FIELD,
    source="L. D. Cooley et al., J. Appl. Phys. 96 (2004) 2122",
    equation="section on the model; 2.4 T/K for all compositions",
    valid=(6.0, 19.0),
    scatter=Scatter(
        "root mean square distance of 29 published samples from it, 2.4 T (they lie 1.5 T below it on "
        "average)",
        ((0.0, 2.4),),
    ),
    known="read",
    notes="A slope of alloyed wire: too high for pure Nb3Sn.",
    criterion="extrapolated",
    wire="doped",
    checks=(Check((18.0,), 29.8, 0.05, "worked out apart"),),
    contradicts="slopes of 1.93 to 2.07 T/K in pure Nb3Sn, L. D. Cooley et al., Appl. Phys. Lett. 88 (2006) 142506",
)

SLOPED = Relation(
    name="senatore-2013-slope",
    kind="bc2-0-from-tc",
    title="measured slopes of powder-in-tube wire",
    formula="Bc2(0) = 0.693 Tc |dBc2/dT|, slope 2.27 +- 0.18 T/K unless given",
    function=lambda tc, slope: 0.693 * tc * slope,
    inverse=lambda field, slope: field / (0.693 * slope),
    inputs=(_TC, Symbol("|dBc2/dT|", "slope of Bc2 at Tc", "T/K", USUAL_SLOPE)),
    output=_FIELD,
    source="C. Senatore, R. Fluekiger, Appl. Phys. Lett. 102 (2013) 012602",
    equation="eq. (4); slopes 1.96 to 2.58 T/K",
    valid=(6.0, 19.0),
    scatter=Scatter(
        "range of the slopes found there, taken as rectangular", relative=U_USUAL_SLOPE / USUAL_SLOPE
    ),
    known="read",
    checks=(
        Check((18.0, 1.93), 24.0, 0.3, "L. D. Cooley et al. (2006), milled and annealed: both digits"),
        Check((17.5, 2.40), 29.0, 0.3, "the same table, with titanium"),
    ),
    notes="Wire with tantalum; the range of its slopes is that of pure and alloyed Nb3Sn both.",
)

ENTRIES = (RATIO_DOPED, RATIO_UNDOPED, FIXED, SLOPED)
