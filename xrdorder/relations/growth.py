"""What a reaction does: grains, layers, tin profiles, where tantalum goes, and what it makes of Tc and Bc2.

A layer grows with the square root of time where tin comes along grain boundaries, slower as these get fewer, and up to
linearly where the interface decides (H. H. Farrell, G. H. Gilmer, M. Suenaga, J. Appl. Phys. 45 (1974) 4025; abstract
of the conference version).
"""

import numpy as np

from xrdorder.relations.entry import Array, Check, Relation, Scatter, Symbol

_TEMPERATURE = Symbol("T", "reaction temperature", "°C", 650.0)
_GRAIN = Symbol("d", "grain size", "nm", 120.0)
_TIME = Symbol("t", "time at temperature", "h", 100.0)
_GROWTH = Symbol("l/l(1 h)", "thickness of the layer over that after one hour", "1", 10.0)
_GROWTH_SCATTER = Scatter("judged: 10 %; no residuals are printed", relative=0.1)
SHARES = ((634.0, 0.43), (666.0, 0.11), (711.0, 0.08))
"""Reaction temperature in °C and share of tantalum on the tin site."""


def _exponential(
    low: tuple[float, float], high: tuple[float, float], name: str, title: str, source: str, equation: str,
    valid: tuple[float, float], relative: float, scatter: str,
) -> Relation:  # fmt: skip
    """Grain size that grows exponentially with temperature, through two points (°C, nm)."""
    per_kelvin = float(np.log(high[1] / low[1]) / (high[0] - low[0]))

    def size(temperature: Array) -> Array:
        return np.asarray(low[1] * np.exp(per_kelvin * (temperature - low[0])))

    def inverse(grain: Array) -> Array:
        return np.asarray(low[0] + np.log(grain / low[1]) / per_kelvin)

    return Relation(
        name=name,
        kind="grain-size",
        title=title,
        formula=f"d = {low[1]:g} nm exp({per_kelvin:.5f} (T - {low[0]:g} °C))",
        function=size,
        inverse=inverse,
        inputs=(_TEMPERATURE,),
        output=_GRAIN,
        source=source,
        equation=equation,
        valid=valid,
        scatter=Scatter(scatter, relative=relative),
        known="derived",
        checks=tuple(Check((x,), y, 1e-6, "point it is drawn through") for x, y in (low, high)),
        notes="Time is left out: grains hardly grow while tin arrives, and grow in the long run.",
    )


GRAINS = _exponential(
    (615.0, 100.0), (637.5, 120.0), "grains-of-usual-wires", "usual wires",
    "X. Xu, Supercond. Sci. Technol. 30 (2017) 093001; C. Senatore, R. Fluekiger, Appl. Phys. Lett. 102 (2013) 012602",
    "90 to 110 nm at 615 °C, 110 to 130 nm at 625 to 650 °C; exponential growth in words", (600.0, 700.0), 0.15,
    "judged: 15 %, half of the spread of what is stated for wires as they are made (100 to 200 nm)",
)  # fmt: skip
OXIDISED = _exponential(
    (625.0, 36.0), (650.0, 44.0), "grains-of-internal-oxidation", "internally oxidised wires",
    "X. Xu, Supercond. Sci. Technol. 30 (2017) 093001 and arXiv:1402.3001",
    "36 nm at 625 °C, 43 to 45 nm at 650 °C", (600.0, 675.0), 0.1, "judged: 10 %; 20 to 30 nm are stated at 600 °C",
)  # fmt: skip


def _growth(
    exponent: float, name: str, title: str, source: str, known: str, notes: str, wire: str = "any"
) -> Relation:
    def thickness(time: Array) -> Array:
        return np.asarray(time**exponent)

    def inverse(ratio: Array) -> Array:
        return np.asarray(ratio ** (1.0 / exponent))

    return Relation(
        name=name,
        kind="layer-growth",
        title=title,
        formula=f"l = l(1 h) (t / 1 h)^{exponent:g}",
        function=thickness,
        inverse=inverse,
        inputs=(_TIME,),
        output=_GROWTH,
        source=source,
        equation="fitted exponent",
        valid=(1.0, 500.0),
        scatter=_GROWTH_SCATTER,
        known=known,
        checks=(Check((1.0,), 1.0, 1e-12, "by definition"),),
        notes=notes,
        wire=wire,
    )


def _interface_exponent(temperature: Array) -> Array:
    return np.where(temperature < 700.0, 1.0, np.interp(temperature, (700.0, 780.0), (0.9, 0.7)))


INTERFACE = Relation(
    name="hayase-2006-interface",
    kind="layer-growth",
    title="couples of niobium and bronze with titanium",
    formula="l = l(1 h) (t / 1 h)^n; n = 1 at 650 to 700 °C, from there 0.9 falling to 0.7 at 780 °C",
    function=lambda time, temperature: time ** _interface_exponent(temperature),
    inverse=lambda ratio, temperature: ratio ** (1.0 / _interface_exponent(temperature)),
    inputs=(_TIME, _TEMPERATURE),
    output=_GROWTH,
    source="T. Hayase, M. Kajihara, Mater. Sci. Eng. A 433 (2006) 83",
    equation="fitted exponents; copper with 8.1 at.% tin and 0.3 at.% titanium, 923 to 1053 K",
    valid=(1.0, 604.0),
    scatter=_GROWTH_SCATTER,
    known="abstract",
    notes="The interface decides at 650 to 700 °C; above, tin must come along grain boundaries that grow fewer.",
    wire="Ti",
    checks=(
        Check((100.0, 680.0), 100.0, 1e-9, "exponent 1 at 923 to 973 K"),
        Check((100.0, 780.0), 25.12, 0.01, "exponent 0.7 at 1053 K: 100^0.7"),
    ),
)
BRONZE = _growth(
    0.41, "bronze-multifilament-growth", "multifilamentary bronze wire at 670 °C",
    "work on the initial stages in niobium-bronze wire, Rare Metals (2020), doi 10.1007/s12598-020-01398-1: squared "
    "thickness with t^0.82",
    "abstract", "Initial stage of the reaction. Grain growth lowers the exponent below the 0.5 of diffusion.",
)  # fmt: skip
FILM = _growth(
    0.38, "vapour-diffusion-growth", "films by vapour diffusion",
    "S. Posen, D. L. Hall, Supercond. Sci. Technol. 30 (2017) 033004, as given in a review", "secondary", "Not wire.",
    wire="binary",
)  # fmt: skip


def _reaction(
    name: str, kind: str, title: str, output: Symbol, cold: float, hot: float, u: float, scatter: str
) -> Relation:
    """Straight between the means of one laboratory's alloys at two treatments, 670 and 750 °C."""

    def value(temperature: Array) -> Array:
        return np.asarray(cold + (hot - cold) * (temperature - 670.0) / 80.0)

    def inverse(field: Array) -> Array:
        return np.asarray(670.0 + 80.0 * (field - cold) / (hot - cold))

    return Relation(
        name=name,
        kind=kind,
        title=title,
        formula=f"{output.name} = {cold:g} {output.unit} + {1e3 * (hot - cold) / 80.0:.3g}e-3 (T - 670 °C)",
        function=value,
        inverse=inverse,
        inputs=(_TEMPERATURE,),
        output=output,
        source="N. Paudel et al., arXiv:2412.09514, table I; xrdorder evidence --find 2412.09514 shows each alloy",
        equation="means of 17 alloys with Ta, Hf, Zr, Ti after 670 °C, 100 h, and of 12 of them after 750 °C, 50 h",
        valid=(670.0, 750.0),
        scatter=Scatter(scatter, ((0.0, u),)),
        known="derived",
        criterion="90 %",
        notes="Monofilaments of one laboratory. Time, temperature and which alloys were tried go together.",
        wire="doped",
        checks=(Check((670.0,), cold, 1e-9, "mean at 670 °C"), Check((750.0,), hot, 1e-9, "mean at 750 °C")),
    )


TC_OF_ALLOYS = _reaction(
    "paudel-2024-tc", "tc-from-reaction", "alloys with Ta, Hf, Zr, Ti",
    Symbol("Tc", "critical temperature", "K", 17.6), 17.31, 17.88, 0.20,
    "between alloys of one treatment, 0.20 and 0.14 K",
)  # fmt: skip
FIELD_OF_ALLOYS = _reaction(
    "paudel-2024-bc2", "bc2-0-from-reaction", "alloys with Ta, Hf, Zr, Ti",
    Symbol("Bc2(0)", "upper critical field at 0 K", "T", 28.4), 28.5, 28.2, 1.1,
    "between alloys of one treatment, 1.1 and 1.0 T",
)  # fmt: skip


def _profile(place: Array, exponent: Array) -> Array:
    place = np.clip(place, 0.0, 1.0)
    return np.asarray((18.0 + 3.5 * (1.0 - place**exponent + (1.0 - place) ** exponent)) / 100.0)


PROFILE = Relation(
    name="cooley-2004-profile",
    kind="tin-profile",
    title="power-law profile between 25 and 18 at.%",
    formula="100 beta = 18 + 3.5 [1 - r^N + (1 - r)^N], r = 0 at the source, 1 at the niobium",
    function=_profile,
    inputs=(
        Symbol("r", "place in the layer, from tin source to niobium", "1", 0.5),
        Symbol("N", "steepness; 1 is a straight line", "1", 1.0),
    ),
    output=Symbol("beta", "atomic fraction of tin", "1", 0.215),
    source="L. D. Cooley et al., J. Appl. Phys. 96 (2004) 2122",
    equation="model profile; the factor 3.5 is fixed by its printed ends of 25 and 18 at.%",
    valid=(0.0, 1.0),
    scatter=Scatter("a model: none"),
    known="derived",
    checks=(Check((0.0,), 0.25, 1e-12, "printed end"), Check((1.0,), 0.18, 1e-12, "printed end")),
    contradicts="powder-in-tube layers of 22 at.% fine and 24.5 at.% coarse grains (C. Senatore, R. Fluekiger, 2013)",
)


def _site(temperature: Array) -> Array:
    return np.asarray(np.interp(temperature, [at_c for at_c, _ in SHARES], [share for _, share in SHARES]))


TANTALUM_SITE = Relation(
    name="tarantini-2019-tantalum-site",
    kind="dopant-site",
    title="tantalum on the tin site, straight between three points",
    formula="43, 11, 8 % at 634, 666, 711 °C, straight between",
    function=_site,
    inputs=(_TEMPERATURE,),
    output=Symbol("share", "share of the tantalum on the tin site", "1", 0.27),
    source="C. Tarantini et al., Supercond. Sci. Technol. 32 (2019) 124003",
    equation="EXAFS of three heat treatments",
    valid=(634.0, 711.0),
    scatter=Scatter(
        "root mean square by which other wires miss it: 30 % at 640 °C, 21 % at 665 °C, S. M. Heald et al., Sci. Rep. "
        "8 (2018) 4798",
        ((0.0, 0.08),),
    ),
    known="read",
    wire="Ta",
    checks=(Check((666.0,), 0.11, 1e-12, "printed"),),
    contradicts="S. M. Heald et al. (2018) by 7 and 9 %; older reviews that put all tantalum on the niobium site",
)

ENTRIES = (GRAINS, OXIDISED, INTERFACE, BRONZE, FILM, PROFILE, TANTALUM_SITE, TC_OF_ALLOYS, FIELD_OF_ALLOYS)
