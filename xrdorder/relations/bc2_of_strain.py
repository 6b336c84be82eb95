"""Bc2 and Tc under axial strain: the strain function s = Bc2(strain) / Bc2(0), and Tc as a power of it.

Strain is intrinsic, counted from the state with the highest Bc2; a wire as it comes from cooling has -0.1 to -0.4 %.
"""

import numpy as np

from xrdorder.relations.entry import Array, Check, Relation, Scatter, Symbol

_STRAIN = Symbol("eps", "intrinsic axial strain", "1", -0.0025)
_S = Symbol("s", "Bc2 under strain over Bc2 without", "1", 0.95)
_R100 = "A. Godeke et al., Supercond. Sci. Technol. 19 (2006) R100"
_SCATTER = Scatter(
    "judged: the two published functions part by 0.03 at -0.5 % and 0.002 at -0.1 %; half of the larger",
    ((-1.0, 0.015),),
)

COMPRESSION, TENSION, EXPONENT = 900.0, 1250.0, 1.7


def _power(strain: Array) -> Array:
    strength = np.where(strain < 0.0, COMPRESSION, TENSION)
    return np.asarray(1.0 - strength * np.abs(strain) ** EXPONENT)


def _deviatoric(strain: Array, c_1: Array, c_2: Array, remanent: Array) -> Array:
    shift = c_2 * remanent / np.sqrt(c_1**2 - c_2**2)
    root = np.sqrt(shift**2 + remanent**2) - np.sqrt((strain - shift) ** 2 + remanent**2)
    return np.asarray(1.0 + (c_1 * root - c_2 * strain) / (1.0 - c_1 * remanent))


EKIN = Relation(
    name="ekin-1980-power-law",
    kind="strain-function",
    title="power law",
    formula="s = 1 - a |eps|^1.7, a = 900 in compression, 1250 in tension",
    function=_power,
    inputs=(_STRAIN,),
    output=_S,
    source="J. W. Ekin, Cryogenics 20 (1980) 611",
    equation="eq. for Nb3Sn, from memory",
    valid=(-0.005, 0.004),
    scatter=_SCATTER,
    known="memory",
    checks=(Check((-0.002,), 0.977, 0.0005, "derived: 1 - 900 x 0.002^1.7"),),
    contradicts="godeke-2006-deviatoric beyond -0.3 %",
    notes="Holds for the compression that cooling leaves and for tension up to about 0.4 %.",
)

DEVIATORIC = Relation(
    name="godeke-2006-deviatoric",
    kind="strain-function",
    title="deviatoric strain, bronze wire",
    formula=(
        "s = 1 + {C1 [sqrt(es^2 + e0^2) - sqrt((eps - es)^2 + e0^2)] - C2 eps} / (1 - C1 e0), "
        "es = C2 e0 / sqrt(C1^2 - C2^2)"
    ),
    function=_deviatoric,
    inputs=(
        _STRAIN,
        Symbol("C1", "second invariant constant", "1", 47.6),
        Symbol("C2", "third invariant constant", "1", 6.4),
        Symbol("e0", "remanent strain", "1", 0.00273),
    ),
    output=_S,
    source=_R100,
    equation="eq. (22), form from memory; constants of a bronze wire as printed",
    valid=(-0.005, 0.004),
    scatter=_SCATTER,
    known="read",
    checks=(
        Check((0.0,), 1.0, 1e-12, "by definition"),
        Check((-0.003,), 0.935, 0.001, "derived from the printed constants"),
    ),
    notes="Constants differ from wire to wire; those of one bronze wire stand here.",
)


def _root(
    exponent: float, name: str, title: str, source: str, equation: str, notes: str, wire: str = "any"
) -> Relation:
    def ratio(s: Array) -> Array:
        return np.asarray(np.maximum(s, 0.0) ** (1.0 / exponent))

    def inverse(tc: Array) -> Array:
        return np.asarray(tc**exponent)

    return Relation(
        name=name,
        kind="tc-strain",
        title=title,
        formula=f"Tc / Tcm = s^(1/{exponent:g})",
        function=ratio,
        inverse=inverse,
        inputs=(_S,),
        output=Symbol("Tc/Tcm", "critical temperature under strain over that without", "1", 0.98),
        source=source,
        equation=equation,
        valid=(0.3, 1.0),
        scatter=Scatter("judged: 0.2 % of Tc, the last digit of printed tables", relative=0.002),
        known="read",
        checks=(Check((0.968,), 0.968 ** (1.0 / exponent), 1e-9, "derived"),),
        notes=notes,
        wire=wire,
    )


CUBE_ROOT = _root(
    3.0,
    "tc-strain-cube-root",
    "cube root",
    _R100,
    "exponent about 3, at all temperatures",
    "Binary wire and most others.",
)
TERNARY = _root(
    2.2,
    "taylor-2005-ternary",
    "exponent of ternary wire",
    "D. M. J. Taylor, D. P. Hampshire, Supercond. Sci. Technol. 18 (2005) S241",
    "abstract: 2.2 for ternary wires of high Bc2, 3 for binary",
    "Ternary wire of high Bc2.",
    wire="doped",
)

ENTRIES = (EKIN, DEVIATORIC, CUBE_ROOT, TERNARY)
