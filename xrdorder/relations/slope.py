"""The slope of Bc2 at Tc, and Tc and Bc2 against the normal resistivity.

In the dirty limit the slope grows with the resistivity, and Bc2(0) with slope and Tc. Above some 30 microohm cm the
disorder behind the resistivity costs more Tc than the slope gains, so that Bc2 has a maximum.
"""

import numpy as np

from xrdorder.relations import resistivity, tc_from_tin
from xrdorder.relations.entry import Array, Check, Relation, Scatter, Symbol

GAMMA_J_PER_M3_K2 = 1236.0
"""Sommerfeld coefficient 13.7 mJ/(K² gat) over 11.085 cm³/gat: V. Guritanu et al., Phys. Rev. B 70 (2004) 184526."""

_RHO = Symbol("rho", "normal resistivity just above Tc", "microohm cm", 20.0)
_SLOPE = Symbol("|dBc2/dT|", "slope of the upper critical field at Tc", "T/K", 2.2)
_TC = Symbol("Tc", "critical temperature", "K", 18.0)
_FIELD = Symbol("Bc2(0)", "upper critical field at 0 K", "T", 29.0)
_FILMS = (
    "T. P. Orlando et al., Phys. Rev. B 19 (1979) 4545 and IEEE Trans. Magn. 17 (1981) 368, as summarised by "
    "A. Godeke, Supercond. Sci. Technol. 19 (2006) R68"
)
_FILM_RHO = (9.0, 35.0, 70.0)
_FILM_TC = (18.0, 16.0, 10.5)
_FILM_FIELD = (26.5, 29.0, 15.0)


def _dirty(rho: Array) -> Array:
    return np.asarray(4480.0 * GAMMA_J_PER_M3_K2 * rho * 1e-8)


def _dirty_inverse(slope: Array) -> Array:
    return np.asarray(slope / (4480.0 * GAMMA_J_PER_M3_K2 * 1e-8))


def _field(slope: Array, tc: Array) -> Array:
    return np.asarray(0.693 * tc * slope)


def _field_inverse(field: Array, tc: Array) -> Array:
    with np.errstate(divide="ignore", invalid="ignore"):  # a draw of no Tc has no slope
        return np.asarray(field / (0.693 * tc))


def _film_tc(rho: Array) -> Array:
    return np.asarray(np.interp(rho, _FILM_RHO, _FILM_TC))


def _film_field(rho: Array) -> Array:
    return np.asarray(np.interp(rho, _FILM_RHO, _FILM_FIELD))


def _chain(rho: Array) -> Array:
    return tc_from_tin.BOLTZMANN.function(resistivity.equivalent_tin(rho))


DIRTY = Relation(
    name="dirty-limit-slope",
    kind="bc2-slope",
    title="slope in the dirty limit",
    formula="|dBc2/dT| = 4480 gamma rho (T/K), gamma = 1236 J/(m^3 K^2), rho in ohm m",
    function=_dirty,
    inverse=_dirty_inverse,
    inputs=(_RHO,),
    output=_SLOPE,
    source=(
        "Ginzburg-Landau-Abrikosov-Gorkov theory; gamma of V. Guritanu et al., Phys. Rev. B 70 (2004) 184526, for one "
        "composition"
    ),
    equation="dirty-limit slope, from memory",
    valid=(35.0, 60.0),
    scatter=Scatter(
        "root mean square distance of the two samples of 39 and 48 microohm cm in L. D. Cooley et al., Appl. Phys. "
        "Lett. 88 (2006) 142506 (2.07 and 2.40 T/K), 0.2 T/K",
        ((0.0, 0.2),),
    ),
    known="memory",
    notes=(
        "A clean term is needed above some 24 at.% tin (Y. Li, Y. Gao, arXiv:1408.0353): at 26 microohm cm 1.93 T/K "
        "were measured where this gives 1.44. Refused below the 35 of 23.6 at.%."
    ),
    checks=(
        Check((35.0,), 1.94, 0.01, "derived: 4480 x 1236 J/(m^3 K^2) x 35e-8 ohm m"),
        Check((39.0,), 2.07, 0.2, "B6D of L. D. Cooley et al. (2006), to the scatter"),
        Check((48.0,), 2.40, 0.3, "T2D (titanium) of the same table, to 1.5 of the scatter"),
    ),
    contradicts="B6A of L. D. Cooley et al. (2006): 300 microohm cm with 3.34 T/K, disorder of another kind",
)

WHH = Relation(
    name="werthamer-helfand-hohenberg",
    kind="bc2-0-from-slope",
    title="dirty limit, no paramagnetic limit",
    formula="Bc2(0) = 0.693 Tc |dBc2/dT|",
    function=_field,
    inverse=_field_inverse,
    inputs=(_SLOPE, _TC),
    output=_FIELD,
    source=(
        "N. R. Werthamer, E. Helfand, P. C. Hohenberg, Phys. Rev. 147 (1966) 295, as given by C. Senatore, "
        "R. Fluekiger, Appl. Phys. Lett. 102 (2013) 012602"
    ),
    equation="eq. (4) of the latter",
    valid=(1.0, 4.0),
    scatter=Scatter("judged: 2 % between this and tables that give slope and Bc2(0) both", relative=0.02),
    known="read",
    criterion="extrapolated",
    checks=(
        Check((3.34, 15.1), 35.7, 1.0, "B6A of L. D. Cooley et al. (2006): 35.7 T, read to 2 % by their extrapolation"),
        Check((1.93, 18.0), 24.0, 0.3, "B2D of the same table"),
    ),
)

FILMS_TC = Relation(
    name="orlando-1979-films-tc",
    kind="tc-from-resistivity",
    title="films, straight between three points",
    formula="Tc = 18, 16, 10.5 K at rho = 9, 35, 70 microohm cm, straight between",
    function=_film_tc,
    inputs=(_RHO,),
    output=Symbol("Tc", "critical temperature", "K", 17.0),
    source=_FILMS,
    equation="three points of the summary",
    valid=(9.0, 70.0),
    scatter=Scatter("judged: 1 K, by how far straight lines may be from a curve that stays level to 30 microohm cm",
                    ((0.0, 1.0),)),
    known="secondary",
    criterion="50 %",
    notes="The summary says that Tc is unaffected up to about 30 microohm cm: the straight line is low there.",
    wire="binary",
    checks=(Check((35.0,), 16.0, 0.5, "A. Godeke (2006): 16 K at 35 microohm cm"),),
)

FILMS_FIELD = Relation(
    name="orlando-1979-films-bc2",
    kind="bc2-0-from-resistivity",
    title="films, straight between three points",
    formula="Bc2(0) = 26.5, 29, 15 T at rho = 9, 35, 70 microohm cm, straight between",
    function=_film_field,
    inputs=(_RHO,),
    output=_FIELD,
    source=_FILMS,
    equation="three points of the summary",
    valid=(9.0, 70.0),
    scatter=Scatter("judged: 1.5 T, as the maximum lies near 25 microohm cm, between two points", ((0.0, 1.5),)),
    known="secondary",
    criterion="50 %",
    wire="binary",
    checks=(Check((70.0,), 15.0, 0.5, "A. Godeke (2006): 15 T at 70 microohm cm"),),
    contradicts="ball-milled Nb3Sn with 35 T at 300 microohm cm (L. D. Cooley et al., 2006)",
)

CHAIN_TC = Relation(
    name="resistivity-equivalent-tin-tc",
    kind="tc-from-resistivity",
    title="tin content of the same resistivity (indirect)",
    formula="beta = ((1 - (rho - 3.4) / 91)^(1/4) + 0.75) / 7; then the saturating step",
    function=_chain,
    inputs=(_RHO,),
    output=Symbol("Tc", "critical temperature", "K", 17.0),
    source="A. Godeke, Supercond. Sci. Technol. 19 (2006) R68",
    equation="eqs (5) and (10) in a row",
    valid=(3.4, 88.0),
    scatter=Scatter("judged: films lie 0.4 K below to 1.5 K above (T. P. Orlando et al., 1979)", ((0.0, 1.0),)),
    known="derived",
    notes="Takes for granted that all resistivity is that of antisite atoms.",
    wire=tc_from_tin.BOLTZMANN.wire,
    checks=(Check((35.0,), 16.0, 0.6, "A. Godeke (2006): films of 35 microohm cm have 16 K, to half a kelvin"),),
    contradicts="ball-milled Nb3Sn with 15.1 K at 300 microohm cm (L. D. Cooley et al., 2006)",
)

ENTRIES = (DIRTY, WHH, FILMS_TC, FILMS_FIELD, CHAIN_TC)
