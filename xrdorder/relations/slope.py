"""The slope of Bc2 at Tc, and Tc and Bc2 against the normal resistivity.

In the dirty limit the slope grows with the resistivity, and Bc2(0) with slope and Tc. Above some 30 microohm cm the
disorder behind the resistivity costs more Tc than the slope gains, so that Bc2 has a maximum.

The dirty limit alone is no estimate for Nb3Sn: thirteen undoped samples below 60 microohm cm have 0.97 T/K more than it
gives, and with a Sommerfeld coefficient that falls with tin, as it does, 1.20 more. With the clean and the
strong-coupling term it is right on the mean and 0.46 T/K off for a sample; one slope for all is 0.20 off.
"""

import numpy as np

from xrdorder.relations import a15_lattice, resistivity, tc_from_tin
from xrdorder.relations.entry import Array, Check, Relation, Scatter, Symbol

SLOPE_T_PER_K, U_SLOPE = 2.28, 0.20
MOLAR_VOLUME_CM3 = 11.085
"""Of a gram atom: V. Guritanu et al., Phys. Rev. B 70 (2004) 184526."""

_STRONG_COUPLING = 1.17
_FERMI_SURFACE_PER_CM2 = 1.6e15  # n^(2/3) S/S_F, the one constant that was fitted

_RHO = Symbol("rho", "normal resistivity just above Tc", "microohm cm", 20.0)
_SLOPE = Symbol("|dBc2/dT|", "slope of the upper critical field at Tc", "T/K", 2.2)
_TC = Symbol("Tc", "critical temperature", "K", 18.0)
_FIELD = Symbol("Bc2(0)", "upper critical field at 0 K", "T", 29.0)
_FILMS = (
    "T. P. Orlando et al., Phys. Rev. B 19 (1979) 4545 and IEEE Trans. Magn. 17 (1981) 368, as given by Y. Li, Y. Gao, "
    "arXiv:1408.0353 (9 and 35 microohm cm), and by A. Godeke, Supercond. Sci. Technol. 19 (2006) R68 (70)"
)
_FILM_RHO = (9.0, 35.0, 70.0)
_FILM_TC = (17.4, 16.0, 10.5)
_FILM_FIELD = (26.3, 29.5, 15.0)
_SAMPLES = "xrdorder evidence shows them"


def _clean_and_dirty(rho: Array, tc: Array) -> Array:
    mj_per_gat = a15_lattice.GAMMA.function(resistivity.equivalent_tin(rho))
    gamma = 1e4 * mj_per_gat / MOLAR_VOLUME_CM3  # erg/(cm³ K²)
    clean = 9.55e24 * gamma**2 * tc / _FERMI_SURFACE_PER_CM2**2
    return np.asarray(1e-4 * _STRONG_COUPLING * (clean + 5.26e4 * gamma * 1e-6 * rho))


def _field_inverse(field: Array, tc: Array) -> Array:
    with np.errstate(divide="ignore", invalid="ignore"):  # a draw of no Tc has no slope
        return np.asarray(field / (0.693 * tc))


ONE_SLOPE = Relation(
    name="undoped-slope",
    kind="bc2-slope",
    title="one slope for undoped A15, binary",
    formula="|dBc2/dT| = 2.28 T/K",
    function=lambda rho: np.full_like(rho, SLOPE_T_PER_K),
    inputs=(_RHO,),
    output=_SLOPE,
    source="thirteen published samples (1979 to 2020) without dopants and below 60 microohm cm, of five laboratories",
    equation=f"slope, or Bc2(0) / (0.693 Tc): mean 2.25 ± 0.20 T/K, 2.29 without those once milled; {_SAMPLES}",
    valid=(9.0, 45.0),
    scatter=Scatter("standard deviation of those samples", ((0.0, U_SLOPE),)),
    known="derived",
    notes=(
        "A line with resistivity, 2.11 + 0.0057 rho, does worse on a laboratory left out (0.25 against 0.23 T/K). "
        "Resistivity decides only that the sample is like them."
    ),
    wire="binary",
    checks=(
        Check((13.0,), 2.03, 0.5, "V. Guritanu et al., Phys. Rev. B 70 (2004) 184526, to 2.5 of the scatter"),
        Check((39.0,), 2.07, 0.5, "L. D. Cooley et al., Appl. Phys. Lett. 88 (2006) 142506, milled and annealed"),
    ),
    contradicts="ball-milled powder of 300 microohm cm with 3.34 T/K (L. D. Cooley et al., 2006), where it is refused",
)

CLEAN_AND_DIRTY = Relation(
    name="orlando-1979-slope",
    kind="bc2-slope",
    title="clean, dirty and strong-coupling terms, binary",
    formula=(
        "|dBc2/dT| = 1.17 [9.55e24 gamma^2 Tc / (1.6e15)^2 + 5.26e4 gamma rho] 1e-4 T/K, gamma in erg/(cm^3 K^2) from "
        "the tin of the same resistivity, rho in ohm cm"
    ),
    function=_clean_and_dirty,
    inputs=(_RHO, _TC),
    output=_SLOPE,
    source=(
        "T. P. Orlando et al., Phys. Rev. B 19 (1979) 4545; Y. Li, Y. Gao, arXiv:1408.0353, who agree with both "
        "coefficients and give gamma"
    ),
    equation="form from memory; n^(2/3) S/S_F = 1.6e15 per cm^2 fitted here to the thirteen samples of undoped-slope",
    valid=(9.0, 45.0),
    scatter=Scatter("root mean square distance of those samples, 0.46 T/K", ((0.0, 0.46),)),
    known="memory",
    notes="An illustration of where the slope comes from: undoped-slope is twice as near. Clean part 0.7 to 1.0 T/K.",
    wire="binary",
    checks=(
        Check((20.9, 18.05), 2.23, 0.006, "worked out apart, clean part 0.88 T/K"),
        Check((9.48, 17.81), 1.62, 0.006, "worked out apart, clean part 0.97 T/K"),
    ),
    contradicts="undoped-slope, by 0.7 T/K either way at 9 and at 43 microohm cm",
)

WHH = Relation(
    name="werthamer-helfand-hohenberg",
    kind="bc2-0-from-slope",
    title="dirty limit, no paramagnetic limit",
    formula="Bc2(0) = 0.693 Tc |dBc2/dT|",
    function=lambda slope, tc: 0.693 * tc * slope,
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
    formula="Tc = 17.4, 16, 10.5 K at rho = 9, 35, 70 microohm cm, straight between",
    function=lambda rho: np.asarray(np.interp(rho, _FILM_RHO, _FILM_TC)),
    inputs=(_RHO,),
    output=Symbol("Tc", "critical temperature", "K", 17.0),
    source=_FILMS,
    equation="table 2 of the first; text of the second, which rounds the others to 18 K, 26.5 T and 29 T",
    valid=(9.0, 70.0),
    scatter=Scatter("judged: 1 K, by how far straight lines may be from a curve that stays level to 30 microohm cm",
                    ((0.0, 1.0),)),
    known="secondary",
    criterion="50 %",
    notes="The summary says that Tc is unaffected up to about 30 microohm cm: the straight line is low there.",
    wire="binary",
    checks=(
        Check((9.0,), 17.4, 0.05, "Y. Li, Y. Gao, table 2"),
        Check((35.0,), 16.0, 0.1, "N. Paudel et al., arXiv:2412.09514: 16.1 K and 29 T at 36 microohm cm"),
    ),
)

FILMS_FIELD = Relation(
    name="orlando-1979-films-bc2",
    kind="bc2-0-from-resistivity",
    title="films, straight between three points",
    formula="Bc2(0) = 26.3, 29.5, 15 T at rho = 9, 35, 70 microohm cm, straight between",
    function=lambda rho: np.asarray(np.interp(rho, _FILM_RHO, _FILM_FIELD)),
    inputs=(_RHO,),
    output=_FIELD,
    source=_FILMS,
    equation="table 2 of the first; text of the second, which rounds the others to 18 K, 26.5 T and 29 T",
    valid=(9.0, 70.0),
    scatter=Scatter("judged: 1.5 T, as the maximum lies near 25 microohm cm, between two points", ((0.0, 1.5),)),
    known="secondary",
    criterion="50 %",
    wire="binary",
    checks=(
        Check((9.0,), 26.3, 0.05, "Y. Li, Y. Gao, table 2"),
        Check((35.0,), 29.5, 0.5, "N. Paudel et al., arXiv:2412.09514: 29 T at 36 microohm cm"),
        Check((70.0,), 15.0, 0.5, "A. Godeke (2006): 15 T at 70 microohm cm"),
    ),
    contradicts="ball-milled Nb3Sn with 35 T at 300 microohm cm (L. D. Cooley et al., 2006)",
)

BULK_FIELD = Relation(
    name="undoped-bc2-by-resistivity",
    kind="bc2-0-from-resistivity",
    title="undoped A15 near full tin, binary",
    formula="Bc2(0) = 26.3 T to 15 microohm cm, 29.1 T from 20 microohm cm, straight between",
    function=lambda rho: np.asarray(np.interp(rho, (15.0, 20.0), (26.3, 29.1))),
    inputs=(_RHO,),
    output=_FIELD,
    source="thirteen published samples (1979 to 2020) without dopants and below 60 microohm cm, of five laboratories",
    equation=f"means of the five cleanest and of six others; {_SAMPLES}",
    valid=(9.0, 45.0),
    scatter=Scatter("root mean square distance of all thirteen, 1.9 T", ((0.0, 1.9),)),
    known="derived",
    criterion="extrapolated",
    notes=(
        "Where tin is nearly full, resistivity tells the field and tin does not: clean samples have the lower one, "
        "cubic or tetragonal."
    ),
    wire="binary",
    checks=(
        Check((12.7,), 27.6, 1.9, "J. Zhou et al., Appl. Phys. Lett. 99 (2011) 122507, table 1, to the scatter"),
        Check((13.0,), 25.0, 1.9, "V. Guritanu et al., Phys. Rev. B 70 (2004) 184526, to the scatter"),
        Check((31.3,), 29.4, 0.5, "J. Zhou et al. (2011), table 1"),
    ),
    contradicts="milled and annealed powder with 24.0 and 25.6 T at 26 and 39 microohm cm (L. D. Cooley et al., 2006)",
)

CHAIN_TC = Relation(
    name="resistivity-equivalent-tin-tc",
    kind="tc-from-resistivity",
    title="tin content of the same resistivity (indirect)",
    formula="beta = ((1 - (rho - 3.4) / 91)^(1/4) + 0.75) / 7; then the saturating step",
    function=lambda rho: tc_from_tin.BOLTZMANN.function(resistivity.equivalent_tin(rho)),
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

ENTRIES = (ONE_SLOPE, CLEAN_AND_DIRTY, WHH, FILMS_TC, FILMS_FIELD, BULK_FIELD, CHAIN_TC)
