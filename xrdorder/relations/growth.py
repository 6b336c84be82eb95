"""What a reaction does: grains, layers, tin profiles, and where tantalum goes."""

import numpy as np

from xrdorder.relations.entry import Array, Check, Relation, Scatter, Symbol

_TEMPERATURE = Symbol("T", "reaction temperature", "°C", 650.0)
_GRAIN = Symbol("d", "grain size", "nm", 120.0)
_TIME = Symbol("t", "time at temperature", "h", 100.0)
_GROWTH = Symbol("l/l(1 h)", "thickness of the layer over that after one hour", "1", 10.0)
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
        scatter=Scatter("judged: 10 %; no residuals are printed", relative=0.1),
        known=known,
        checks=(Check((1.0,), 1.0, 1e-12, "by definition"),),
        notes=notes,
        wire=wire,
    )


INTERFACE = _growth(
    0.9, "hayase-2006-interface", "bronze with titanium at high temperature",
    "T. Hayase, M. Kajihara, Mater. Sci. Eng. A 433 (2006) 83", "read",
    "About 1 at 650 to 700 °C (the interface rules), 0.9 to 0.7 at 700 to 780 °C.", wire="Ti",
)  # fmt: skip
BRONZE = _growth(
    0.41, "bronze-multifilament-growth", "multifilamentary bronze wire at 670 °C",
    "abstract of work on the initial stages in niobium-bronze wire, Rare Metals (2020), doi "
    "10.1007/s12598-020-01398-1: squared thickness with t^0.82",
    "read", "Initial stage of the reaction. Grain growth lowers the exponent below the 0.5 of diffusion.",
)  # fmt: skip
FILM = _growth(
    0.38, "vapour-diffusion-growth", "films by vapour diffusion",
    "S. Posen, D. L. Hall, Supercond. Sci. Technol. 30 (2017) 033004, as given in a review", "secondary", "Not wire.",
    wire="binary",
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

ENTRIES = (GRAINS, OXIDISED, INTERFACE, BRONZE, FILM, PROFILE, TANTALUM_SITE)
