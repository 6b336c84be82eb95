"""Pinning force and current of an A15 layer: by grain size, by field, by temperature and strain.

Forces of different publications are taken over different areas (the A15, or all that is not copper) and must not be
mixed; the output says which. At 4.2 K throughout.
"""

import numpy as np

from xrdorder.relations.entry import Array, Check, Relation, Scatter, Symbol

_SIZE = Symbol("d", "grain size", "nm", 120.0)
_R68 = "A. Godeke, Supercond. Sci. Technol. 19 (2006) R68"
_LENGTHS = '"Characteristic length for pinning force density in Nb3Sn", arXiv:2306.13071'
FLUX_QUANTUM = 2.067833848e-15  # Wb: h / (2 e), exact since 2019

_OVER_A15 = "peak pinning force at 4.2 K over the A15 area"
_OVER_NON_COPPER = "peak pinning force at 4.2 K over the area that is not copper"


def _force(meaning: str, usual: float) -> Symbol:
    return Symbol("Fp,max", meaning, "GN/m^3", usual)


def _logarithm(factor: float, name: str, title: str, meaning: str, equation: str, largest_nm: float, usual: float,
               check: Check) -> Relation:
    def force(size: Array) -> Array:
        return np.asarray(factor * np.log(1000.0 / size) - 10.0)

    def inverse(force_: Array) -> Array:
        return np.asarray(1000.0 * np.exp(-(force_ + 10.0) / factor))

    return Relation(
        name=name,
        kind="peak-pinning-force",
        title=title,
        formula=f"Fp,max = {factor:g} ln(1 / d) - 10, d in micrometres",
        function=force,
        inverse=inverse,
        inputs=(_SIZE,),
        output=_force(meaning, usual),
        source=_R68,
        equation=equation,
        valid=(35.0, largest_nm),
        scatter=Scatter("judged: 15 % by which the wires scatter about it", relative=0.15),
        known="read",
        checks=(check,),
        notes="Negative for coarse grains, where it is refused.",
        contradicts="the exponential forms beyond some 300 nm",
    )


NON_COPPER = _logarithm(
    22.7, "godeke-2006-logarithm", "logarithm, non-copper area", _OVER_NON_COPPER,
    "eq. (14), data before 2002", 400.0, 38.0, Check((100.0,), 42.0, 0.5, "derived: 22.7 ln 10 - 10"),
)  # fmt: skip
A15_AREA = _logarithm(
    39.2, "fischer-2002-logarithm", "logarithm, A15 area", _OVER_A15,
    "eq. (15), data of C. M. Fischer", 400.0, 73.0, Check((100.0,), 80.0, 0.5, "derived: 39.2 ln 10 - 10"),
)  # fmt: skip


def _exponential(
    level: float, u_level: float, length_nm: float, u_length_nm: float, name: str, title: str, meaning: str
) -> Relation:
    def force(size: Array) -> Array:
        return np.asarray(level * np.exp(-size / length_nm))

    def inverse(force_: Array) -> Array:
        return np.asarray(-length_nm * np.log(force_ / level))

    return Relation(
        name=name,
        kind="peak-pinning-force",
        title=title,
        formula=f"Fp,max = {level:g} exp(-d / {length_nm:g} nm)",
        function=force,
        inverse=inverse,
        inputs=(_SIZE,),
        output=_force(meaning, level * float(np.exp(-120.0 / length_nm))),
        source=_LENGTHS,
        equation=f"fitted constants {level:g} ± {u_level:g} and {length_nm:g} ± {u_length_nm:g} nm",
        valid=(30.0, 500.0),
        scatter=Scatter(
            "stated uncertainty of the constants, at 150 nm",
            relative=float(np.hypot(u_level / level, 150.0 * u_length_nm / length_nm**2)),
        ),
        known="read",
        checks=(Check((length_nm,), level / float(np.e), 1e-9, "derived: one e-th at the characteristic length"),),
        notes="Well behaved for fine and coarse grains.",
    )


BRONZE = _exponential(
    74.0, 3.0, 176.0, 12.0, "exponential-bronze", "exponential, bronze wires",
    "peak pinning force at 4.2 K over the area the bronze data were given for",
)  # fmt: skip
POWDER_IN_TUBE = _exponential(
    189.0, 11.0, 175.0, 13.0, "exponential-powder-in-tube", "exponential, powder-in-tube wires", _OVER_A15
)
OTHER_BRONZE = _exponential(
    8.9, 0.5, 146.0, 15.0, "exponential-bronze-other-level", "exponential, bronze wires of another collection",
    "peak pinning force at 4.2 K in another normalisation: only its course with grain size is of use",
)  # fmt: skip


def _inverse_size(size: Array) -> Array:
    return np.asarray(100.0 / size)


INVERSE = Relation(
    name="scanlan-1975-inverse",
    kind="peak-pinning-force",
    title="inversely with grain size",
    formula="Fp,max / Fp,max(100 nm) = 100 nm / d",
    function=_inverse_size,
    inverse=_inverse_size,
    inputs=(_SIZE,),
    output=Symbol("Fp,max", "peak pinning force relative to that of 100 nm grains, over whatever area", "1", 0.83),
    source=(
        "R. M. Scanlan et al., J. Appl. Phys. 46 (1975) 2244; likewise X. Xu, Supercond. Sci. Technol. "
        "30 (2017) 093001"
    ),
    equation="proportionality, from memory; the second in words",
    valid=(30.0, 400.0),
    scatter=Scatter("judged: 15 %, as for the logarithm", relative=0.15),
    known="memory",
    checks=(Check((200.0,), 0.5, 1e-12, "by definition"),),
)


def _of_field(field: Array) -> Array:
    return np.asarray(0.1 * field**2)


def _field_of(force: Array) -> Array:
    return np.asarray(np.sqrt(force / 0.1))


OF_FIELD = Relation(
    name="cooley-2004-peak-force",
    kind="peak-pinning-force-from-field",
    title="square of the field where the force vanishes",
    formula="Fp,max = 0.1 BK^2 GN/m^3",
    function=_of_field,
    inverse=_field_of,
    inputs=(Symbol("BK", "extrapolated field of vanishing pinning force", "T", 24.0),),
    output=_force("peak pinning force, layer", 58.0),
    source="L. D. Cooley et al., J. Appl. Phys. 96 (2004) 2122",
    equation="ten powder-in-tube samples",
    valid=(5.0, 27.0),
    scatter=Scatter("judged: 10 %, the last digit of the factor", relative=0.1),
    known="read",
    criterion="extrapolated",
    checks=(Check((20.0,), 40.0, 1e-9, "derived"),),
)


def _shape(h: Array, p: Array, q: Array) -> Array:
    peak = p / (p + q)
    h = np.clip(h, 0.0, 1.0)
    return np.asarray((h / peak) ** p * ((1.0 - h) / (1.0 - peak)) ** q)


SHAPE = Relation(
    name="kramer-shape",
    kind="reduced-pinning-force",
    title="h^0.5 (1 - h)^2 over its peak",
    formula="f = (h / hp)^p ((1 - h) / (1 - hp))^q, hp = p / (p + q), p = 0.5, q = 2",
    function=_shape,
    inputs=(
        Symbol("h", "field over the upper critical field", "1", 0.5),
        Symbol("p", "low-field exponent", "1", 0.5),
        Symbol("q", "high-field exponent", "1", 2.0),
    ),
    output=Symbol("f", "pinning force over its peak", "1", 0.63),
    source="X. Xu, Supercond. Sci. Technol. 30 (2017) 093001; A. Godeke et al., same journal 19 (2006) R100",
    equation="eq. (1); eq. (39)",
    valid=(0.0, 1.0),
    scatter=Scatter("none is printed; judged 0.05 of the peak", ((0.0, 0.05),)),
    known="read",
    checks=(
        Check((0.2,), 1.0, 1e-12, "peak at h = 0.2"),
        Check((0.5,), 1.5625 * np.sqrt(5.0) * np.sqrt(0.5) * 0.25, 1e-12, "printed factor 1.5625 sqrt 5"),
    ),
    contradicts=(
        "exponents that change with temperature, and a tail near Bc2 from inhomogeneous layers (C. Tarantini et al., "
        "Supercond. Sci. Technol. 32 (2019) 124003)"
    ),
)


def _current(field: Array, temperature: Array, s: Array, field_0: Array, tc_0: Array, c_1: Array) -> Array:
    tc = tc_0 * np.maximum(s, 0.0) ** (1.0 / 3.0)
    t = np.clip(temperature / tc, 0.0, 1.0)
    limit = np.maximum(field_0 * s * (1.0 - t**1.52), 1e-9)
    h = np.clip(field / limit, 0.0, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(c_1 / field * s * (1.0 - t**1.52) * (1.0 - t**2) * np.sqrt(h) * (1.0 - h) ** 2)


LAYER_CURRENT = Relation(
    name="godeke-2006-scaling",
    kind="layer-current",
    title="scaling with field, temperature and strain, bronze wire",
    formula="Jc = (C1 / B) s (1 - t^1.52) (1 - t^2) h^0.5 (1 - h)^2, h = B / Bc2(T, eps), t = T / Tc(eps)",
    function=_current,
    inputs=(
        Symbol("B", "field", "T", 12.0),
        Symbol("T", "temperature", "K", 4.2),
        Symbol("s", "strain function", "1", 0.95),
        Symbol("Bc2m(0)", "upper critical field at 0 K, free of strain", "T", 30.7),
        Symbol("Tcm(0)", "critical temperature, free of strain", "K", 16.8),
        Symbol("C1", "level", "A T/mm^2", 46300.0),
    ),
    output=Symbol("Jc", "critical current density of the layer", "A/mm^2", 500.0),
    source="A. Godeke et al., Supercond. Sci. Technol. 19 (2006) R100",
    equation="scaling relation of the conclusions; constants of a bronze wire",
    valid=(1.0, 30.0),
    scatter=Scatter("judged: 5 % for the wire it was fitted to", relative=0.05),
    known="read",
    notes="The level is that of one bronze wire; only courses carry over to others.",
)


def _spacing(field: Array) -> Array:
    return np.asarray(1e9 * (4.0 / 3.0) ** 0.25 * np.sqrt(FLUX_QUANTUM / field))


def _spacing_inverse(spacing: Array) -> Array:
    return np.asarray(FLUX_QUANTUM * np.sqrt(4.0 / 3.0) / (1e-9 * spacing) ** 2)


SPACING = Relation(
    name="triangular-flux-lattice",
    kind="flux-line-spacing",
    title="triangular lattice",
    formula="a = (4 / 3)^(1/4) (phi_0 / B)^(1/2)",
    function=_spacing,
    inverse=_spacing_inverse,
    inputs=(Symbol("B", "field", "T", 12.0),),
    output=Symbol("a", "distance of neighbouring flux lines", "nm", 14.1),
    source="geometry of the triangular lattice; 14 nm at 12 T in A. Godeke, Supercond. Sci. Technol. 19 (2006) R68",
    equation="one flux quantum a cell",
    valid=(0.1, 35.0),
    scatter=Scatter("exact"),
    known="read",
    checks=(Check((12.0,), 14.0, 0.5, "A. Godeke (2006): 14 nm at 12 T"),),
)

ENTRIES = (
    NON_COPPER,
    A15_AREA,
    BRONZE,
    POWDER_IN_TUBE,
    OTHER_BRONZE,
    INVERSE,
    OF_FIELD,
    SHAPE,
    LAYER_CURRENT,
    SPACING,
)
