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


OF_FIELD = Relation(
    name="cooley-2004-peak-force",
    kind="peak-pinning-force-from-field",
    title="square of the field where the force vanishes",
    formula="Fp,max = 0.1 BK^2 GN/m^3",
    function=lambda field: 0.1 * field**2,
    inverse=lambda force: np.sqrt(force / 0.1),
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


OF_BOUNDARIES = Relation(
    name="tarantini-2014-boundaries",
    kind="peak-pinning-force-from-boundaries",
    title="density of grain boundaries and square of the field, wire with tantalum on internal tin",
    formula="Fp,max = 4.68 kN/m^2 SB (BK / 23.6 T)^2",
    function=lambda density, field: 4.68e-6 * density * (field / 23.6) ** 2,
    inverse=lambda force, field: force / (4.68e-6 * (field / 23.6) ** 2),
    inputs=(
        Symbol("SB", "length of grain boundary in a section by its area", "1/m", 2e7),
        Symbol("BK", "extrapolated field of vanishing pinning force at 4.2 K", "T", 23.6),
    ),
    output=_force("peak pinning force at 4.2 K of the layer", 94.0),
    source="C. Tarantini et al., Supercond. Sci. Technol. 27 (2014) 065013",
    equation="fitted here to the six treatments of its table 3, with the power of peak-force-power",
    valid=(1.19e7, 2.65e7),
    scatter=Scatter("standard deviation of the six, 6.5 %; with no power of the field 6.7 %", relative=0.065),
    known="derived",
    criterion="extrapolated",
    wire="Ta",
    checks=(
        Check((2.65e7, 22.71), 109.7, 15.0, "620 °C, 192 h, to two of the scatter"),
        Check((1.19e7, 25.20), 58.4, 8.0, "750 °C, 96 h, likewise"),
    ),
    notes="In one wire field and grains go together: the six cannot tell the power (1.1 ± 0.5 left to themselves).",
)


FIELD_POWER = Relation(
    name="peak-force-power",
    kind="peak-pinning-force-ratio",
    title="power of the upper critical field",
    formula="Fp,max / Fp,max' = (Bc2 / Bc2')^2.25, same grains",
    function=lambda ratio, power: ratio**power,
    inverse=lambda force, power: np.asarray(force ** (1.0 / power)),
    inputs=(
        Symbol("Bc2/Bc2'", "ratio of the upper critical fields at one temperature, free of strain", "1", 1.05),
        Symbol("nu", "power, 2 to 2.5", "1", 2.25),
    ),
    output=Symbol("Fp/Fp'", "ratio of the peaks of the pinning force", "1", 1.12),
    source="collected in arXiv:cond-mat/0608404; L. D. Cooley et al., J. Appl. Phys. 96 (2004) 2122, has 2",
    equation="sect. 2.1: 2 to 2.5 usual, 2.5 for flux shear",
    valid=(0.7, 1.4),
    scatter=Scatter("2 to 2.5 as a rectangle, at 10 % more field", relative=0.014),
    known="read",
    checks=(Check((1.1,), 1.239, 0.0005, "1.1^2.25, worked out apart"), Check((1.2, 2.0), 1.44, 1e-9, "square")),
    notes=(
        "For wires of equal grains. Relations with grain size were found on wires over treatments, where the field "
        "rises as grains grow: they hold part of it, and this is no factor on top of them."
    ),
    contradicts="powers of 3.0 and 3.2 in works that leave the Ginzburg-Landau parameter out (same section)",
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


FLUENCE, FLUENCE_POWER = 1.87e22, 0.656


def _two_components(h: Array, fluence: Array, p: Array, q: Array) -> Array:
    points = 1.0 - np.exp(-((fluence / FLUENCE) ** FLUENCE_POWER))
    if not np.any(points):
        return _shape(h, p, q)
    return np.asarray((1.0 - points) * _shape(h, p, q) + points * _shape(h, np.asarray(1.0), np.asarray(2.0)))


def _of_wires(p: float, q: float, name: str, wire: str, title: str, exponents: str) -> Relation:
    """Exponents of one sort of wire, and the second part that fast neutrons add."""
    return Relation(
        name=name,
        kind="reduced-pinning-force",
        title=title,
        formula=f"f = (1 - beta) g(h; {p:g}, {q:g}) + beta g(h; 1, 2), g = h^p (1 - h)^q over its peak, "
        "beta = 1 - exp(-(F / 1.87e22 m^-2)^0.656)",
        function=_two_components,
        inputs=(
            Symbol("h", "field over the upper critical field", "1", 0.5),
            Symbol("F", "fluence of neutrons above 0.1 MeV", "1/m^2", 0.0),
            Symbol("p", "low-field exponent before irradiation", "1", p),
            Symbol("q", "high-field exponent before irradiation", "1", q),
        ),
        output=SHAPE.output,
        source="T. Baumgartner et al., arXiv:1311.6901",
        equation=f"{exponents}; the share of grain boundaries, 1 - beta, and a peak of one for both parts assumed",
        valid=(0.0, 1.0),
        scatter=SHAPE.scatter,
        known="read",
        criterion="50 %",
        notes="Fitted to magnetisation at 12 to 15 K. Exponents change with temperature; those of Kramer are older.",
        wire=wire,
        checks=(
            Check((p / (p + q),), 1.0, 1e-12, "peak at p / (p + q)"),
            Check((1.0 / 3.0, 1e26), 1.0, 1e-9, "after a very large fluence the peak of h (1 - h)^2"),
        ),
        contradicts="kramer-shape, whose fit of the same currents ends at a lower field",
    )


TANTALUM_SHAPE = _of_wires(
    0.39, 2.12, "baumgartner-2014-tantalum", "Ta", "two components, wires with tantalum",
    "p 0.379, 0.383, 0.417 and q 2.102, 2.117, 2.149 of three wires: means",
)  # fmt: skip
TITANIUM_SHAPE = _of_wires(
    0.384, 1.737, "baumgartner-2014-titanium", "Ti", "two components, wire with titanium", "one restacked wire"
)
BINARY_SHAPE = _of_wires(
    0.447, 1.942, "baumgartner-2014-binary", "binary", "two components, binary wire", "one internal-tin wire"
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
    checks=(Check((12.0, 4.2, 1.0), 652.9, 0.1, "worked out apart: t = 0.25, h = 0.4450"),),
)


def _iter(
    field: Array, temperature: Array, s: Array, field_0: Array, tc_0: Array, c: Array, p: Array, q: Array
) -> Array:
    zero = field_0 * np.maximum(s, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        tc = tc_0 * np.cbrt(np.maximum(s, 0.0))
        t = np.clip(temperature / tc, 0.0, 1.0)
        h = np.clip(field / (zero * (1.0 - t**1.52)), 0.0, 1.0)
        return np.asarray(np.nan_to_num(c / field * s * (1.0 - t**1.52) * (1.0 - t**2) * h**p * (1.0 - h) ** q))


ITER_2008 = Relation(
    name="iter-2008-scaling",
    kind="layer-current",
    title="scaling of fusion strands, one internal-tin strand",
    formula=(
        "Jc = (C / B) s (1 - t^1.52) (1 - t^2) h^p (1 - h)^q, h = B / (Bc20m s (1 - t^1.52)), t = T / (Tc0m s^(1/3))"
    ),
    function=_iter,
    inputs=(
        Symbol("B", "field", "T", 12.0),
        Symbol("T", "temperature", "K", 4.2),
        Symbol("s", "strain function", "1", 0.95),
        Symbol("Bc20m", "upper critical field at 0 K, free of strain", "T", 33.24),
        Symbol("Tc0m", "critical temperature, free of strain", "K", 16.34),
        Symbol("C", "level", "A T/mm^2", 83075.0),
        Symbol("p", "low-field exponent", "1", 0.593),
        Symbol("q", "high-field exponent", "1", 2.156),
    ),
    output=Symbol("Jc", "critical current density", "A/mm^2", 1000.0),
    source="L. Bottura, B. Bordini, IEEE Trans. Appl. Supercond. 19 (2009) 1521, as given by others for magnet codes",
    equation="scaling and constants of one strand; s as godeke-2006-deviatoric with C1 50.06, C2 0, e0 0.312 %",
    valid=(1.0, 15.0),
    scatter=Scatter("judged: 5 %; stated are 3.8 A on average (1.5 to 7.5 A), without the current", relative=0.05),
    known="secondary",
    notes="Bc20m and Tc0m are fitted: no estimates of field and Tc. Strain to -0.8 %. Only courses carry over.",
    checks=(
        Check((12.0, 4.2, 1.0), 1058.6, 0.1, "worked out apart: t = 0.2570, h = 0.4134"),
        Check((12.0, 4.2, 0.9), 831.1, 0.1, "worked out apart: h = 0.4631"),
    ),
)


def _summers(field: Array, temperature: Array, field_0: Array, tc_0: Array) -> Array:
    def level(b: Array, at: Array) -> Array:
        t = np.clip(at / tc_0, 1e-9, 1.0)
        limit = field_0 * (1.0 - t**2) * (1.0 - 0.31 * t**2 * (1.0 - 1.77 * np.log(t)))
        with np.errstate(divide="ignore", invalid="ignore"):
            h = np.where(limit > 0.0, np.clip(b / limit, 0.0, 1.0), 1.0)
        return np.asarray((1.0 - h) ** 2 * (1.0 - t**2) ** 2 / np.sqrt(b))

    return np.asarray(level(field, temperature) / level(np.asarray(12.0), np.asarray(4.2)))


_COURSE = Symbol("Jc/Jc'", "critical current density over that at 12 T and 4.2 K, free of strain", "1", 1.0)

SUMMERS = Relation(
    name="summers-1991-scaling",
    kind="layer-current",
    title="scaling with field and temperature",
    formula=(
        "Jc = C B^(-1/2) (1 - h)^2 (1 - t^2)^2, h = B / Bc2(T), "
        "Bc2(T) = Bc20 (1 - t^2) [1 - 0.31 t^2 (1 - 1.77 ln t)], t = T / Tc0"
    ),
    function=_summers,
    inputs=(
        Symbol("B", "field", "T", 12.0),
        Symbol("T", "temperature", "K", 4.2),
        Symbol("Bc20", "upper critical field at 0 K", "T", 28.0),
        Symbol("Tc0", "critical temperature", "K", 18.0),
    ),
    output=_COURSE,
    source="L. T. Summers et al., IEEE Trans. Magn. 27 (1991) 2041, as given by others for magnet codes",
    equation="scaling and usual values; volume and page from memory",
    valid=(1.0, 25.0),
    scatter=Scatter("judged: 10 %; poor above 13 K (arXiv:cond-mat/0608404)", relative=0.1),
    known="secondary",
    checks=(
        Check((12.0,), 1.0, 1e-12, "by definition"),
        Check((16.0, 4.2), 0.4116, 1e-4, "worked out apart: Bc2(4.2 K) = 24.88 T"),
    ),
    contradicts="godeke-2006-power-law for the field at a temperature, by 2 % of Bc2(0) near half of Tc",
)


def _durham(field: Array, temperature: Array, s: Array, field_0: Array, tc_0: Array, w: Array) -> Array:
    def level(b: Array, at: Array, strain: Array) -> Array:
        tc = tc_0 * np.maximum(strain, 0.0) ** (1.0 / w)
        with np.errstate(divide="ignore", invalid="ignore"):
            t = np.clip(at / tc, 0.0, 1.0)
            limit = field_0 * strain * (1.0 - t**1.5)
            h = np.where(limit > 0.0, np.clip(b / limit, 0.0, 1.0), 1.0)
            shape = h**-0.5 * (1.0 - h) ** 2
            return np.where(h < 1.0, (tc * (1.0 - t**2)) ** 2 * limit**-0.5 * shape, 0.0)

    unity = np.asarray(1.0)
    return np.asarray(level(field, temperature, s) / level(np.asarray(12.0), np.asarray(4.2), unity))


DURHAM = Relation(
    name="taylor-2005-scaling",
    kind="layer-current",
    title="scaling with field, temperature and strain by Tc",
    formula=(
        "Jc = A [Tc (1 - t^2)]^2 [Bc2 (1 - t^1.5)]^(-1/2) h^(-1/2) (1 - h)^2, with Bc2 = Bc20 s and Tc = Tc0 s^(1/w)"
    ),
    function=_durham,
    inputs=(
        Symbol("B", "field", "T", 12.0),
        Symbol("T", "temperature", "K", 4.2),
        Symbol("s", "strain function", "1", 1.0),
        Symbol("Bc20", "upper critical field at 0 K, free of strain", "T", 30.0),
        Symbol("Tc0", "critical temperature, free of strain", "K", 17.5),
        Symbol("w", "2.2 for ternary wire of high field, 3 for binary", "1", 2.2),
    ),
    output=_COURSE,
    source="D. M. J. Taylor, D. P. Hampshire, Supercond. Sci. Technol. 18 (2005) S241, as given by somebody else",
    equation="n = 2.5, v = 1.5, p = 0.5, q = 2 from memory; w from the abstract; A taken as free of strain",
    valid=(1.0, 28.0),
    scatter=Scatter("judged: 10 %, as A, n and the strain polynomial belong to one strand each", relative=0.1),
    known="secondary",
    checks=(
        Check((12.0,), 1.0, 1e-12, "by definition"),
        Check((16.0, 4.2), 0.4535, 1e-4, "worked out apart: Bc2(4.2 K) = 26.47 T"),
    ),
)


SPACING = Relation(
    name="triangular-flux-lattice",
    kind="flux-line-spacing",
    title="triangular lattice",
    formula="a = (4 / 3)^(1/4) (phi_0 / B)^(1/2)",
    function=lambda field: 1e9 * (4.0 / 3.0) ** 0.25 * np.sqrt(FLUX_QUANTUM / field),
    inverse=lambda spacing: FLUX_QUANTUM * np.sqrt(4.0 / 3.0) / (1e-9 * spacing) ** 2,
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
    OF_BOUNDARIES,
    FIELD_POWER,
    SHAPE,
    TANTALUM_SHAPE,
    TITANIUM_SHAPE,
    BINARY_SHAPE,
    LAYER_CURRENT,
    ITER_2008,
    SUMMERS,
    DURHAM,
    SPACING,
)
