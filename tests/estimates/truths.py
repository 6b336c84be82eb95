"""Simulated wires: a second way from what wires hold to what is measured on them.

Shares no code and no forms with the model: populations are gamma, beta and triangular, order is counted in misplaced
atoms, the lattice goes by volume, Tc by an error function, Bc2 by slope and resistivity. Only sizes are the same, as
they come from the same published samples; `sizes` makes all of them larger or smaller.
"""

import math
from dataclasses import dataclass, field

import numpy as np

# pm and at.%: A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, eqs (2), (3): 529.0 at 25, slope 0.136 or 0.176.
FULL_PM, SLOPE_PM = 529.0, 0.136
EDGE = 25.2


@dataclass(frozen=True)
class Setting:
    """How truths are drawn.

    Attributes
    ----------
    tin : "priors" or "uniform"
        Lots short of tin by a gamma variate, or anywhere between 19 and 25.2 at.%.
    order : "priors" or "uniform"
        A beta variate, or anywhere between 0.85 and 1.
    widening_pm : float
        Of the lattice, when S_a falls by one; NaN: drawn.
    sizes : float
        Times the usual offsets of laboratories and lots.
    """

    tin: str = "priors"
    order: str = "priors"
    widening_pm: float = math.nan
    sizes: float = 1.0


@dataclass
class SimulatedWire:
    """Truth and measurement of one wire."""

    lot: int
    kind: str
    treatment: int
    tin: float
    s_a: float
    tc_k: float
    bc2_t: float
    a_nm: float = math.nan
    site_order: float = math.nan
    contributions: dict[tuple[str, str], tuple[float, float]] = field(default_factory=dict)


def error_function(y: float) -> float:
    return 0.5 * (1.0 + math.erf(y / math.sqrt(2.0)))


def study(rng: np.random.Generator, lots: int, wires: int, setting: Setting) -> list[SimulatedWire]:
    """Wires of a study measured with one instrument on one scale."""
    s = setting.sizes
    offset = s * 0.134 * rng.standard_t(5) * math.sqrt(3 / 5) * 1.15
    slope = SLOPE_PM * rng.uniform(1 - 0.2 * s, 1 + 0.2 * s)
    widening = rng.gamma(2.0, 2.5) if math.isnan(setting.widening_pm) else setting.widening_pm
    shared = {"certificate": 5e-6 * rng.standard_normal(), "table": 0.008 * rng.standard_normal()}
    found = []
    for lot in range(lots):
        kind = ("binary", "Ta")[lot % 2] if lots > 1 else "binary"
        found += _lot(rng, lot, kind, wires, setting, (offset, slope, widening), shared)
    return found


def _triangular(rng: np.random.Generator, sd: float) -> float:
    half = sd * math.sqrt(6.0)
    return float(rng.triangular(-half, 0.0, half))


def _lot(rng, lot, kind, wires, setting, scale, shared) -> list[SimulatedWire]:
    s = setting.sizes
    level = min(25.4 - rng.gamma(1.6, 0.72), EDGE) if setting.tin == "priors" else rng.uniform(19.3, 24.9)
    order = rng.beta(14.0, 0.75) if setting.order == "priors" else rng.uniform(0.86, 0.99)
    tin_spread, order_spread = 0.6 * s * rng.uniform(0.6, 1.4), 0.018 * s * rng.uniform(0.6, 1.4)
    lattice = _triangular(rng, 0.03 * s)
    relation = (
        1.35 + s * rng.uniform(-1.3, 1.3),
        _triangular(rng, 0.2 * s) + (0.3 if kind == "Ta" else 0.0),
        _triangular(rng, (0.05 if kind == "Ta" else 0.08) * s),
        _triangular(rng, 0.10 * s),
    )
    site = 0.0197 * math.sqrt(0.7) * rng.standard_normal() if kind == "Ta" else 0.0
    sites = [0.0197 * math.sqrt(0.3) * rng.standard_normal() if kind == "Ta" else 0.0 for _ in range(wires)]
    found, at = [], _tc(level, relation)
    for k in range(wires):
        treatment = k - k % 2 if k < 4 else k  # the first two pairs are replicates
        tin = _inside(level + _triangular(rng, tin_spread), 18.3, EDGE, rng)
        s_a = _inside(order + _triangular(rng, order_spread), 0.8, 1.0, rng)
        tc = _tc(tin, relation) + _triangular(rng, 0.12 * s)
        bc2 = _bc2(tc, at, kind, relation) + tc * _triangular(rng, 0.02 * s)
        wire = SimulatedWire(lot, kind, treatment, tin, s_a, tc, bc2)
        _measure(rng, wire, scale, lattice + _triangular(rng, 0.02 * s), shared, site + sites[treatment])
        found.append(wire)
    return found


def _inside(value: float, low: float, high: float, rng: np.random.Generator) -> float:
    """Reflect at the ends, as what would go over is found just below."""
    if value > high:
        value = high - 0.3 * (value - high)
    return float(min(max(value, low), high))


def _tc(tin: float, relation: tuple[float, float, float, float]) -> float:
    """A cumulative normal step from 6 to 18.2 K at 22 at.%: width such that the steepest rise is 3.3 K per at.%."""
    return 6.0 + 12.2 * error_function((tin + relation[0] - 22.0) / 1.5) + relation[1]


def _bc2(tc: float, at: float, kind: str, relation: tuple[float, float, float, float]) -> float:
    """0.693 Tc times a slope: 2.32 T/K in doped wire, 2.2 undoped, and a lot's own change with Tc that levels off."""
    change = relation[3] * float(np.clip(tc - at, -0.7, 0.7))
    return 0.693 * tc * ((2.32 if kind == "Ta" else 2.21) + (relation[2] + change) / 0.693)


def _measure(rng, wire: SimulatedWire, scale, scatter_pm: float, shared, site: float) -> None:
    """Lattice by volume; contrast by misplaced atoms: of every hundred, 75 sites of niobium and 25 of tin."""
    offset, slope, widening = scale
    volume = FULL_PM**3 + 3.0 * FULL_PM**2 * (slope * (wire.tin - 25.0) + offset + scatter_pm)
    a_pm = volume ** (1 / 3) + widening * (0.98 - wire.s_a)
    u_a, u_order = 3e-6, 0.0075
    wire.a_nm = 1e-3 * a_pm + u_a * rng.standard_normal() + shared["certificate"]
    tin_on_niobium = (wire.tin / 100.0) * (1.0 - wire.s_a)  # share of niobium sites
    tin_on_tin = (wire.tin - 75.0 * tin_on_niobium) / 25.0
    wire.site_order = tin_on_tin - tin_on_niobium + u_order * rng.standard_normal() + shared["table"] + site
    wire.contributions = {
        ("counting/0", ""): (u_a, 0.0),
        ("counting/1", ""): (0.0, u_order),
        ("certificate", "srm"): (5e-6, 0.0),
        ("scattering table/order", "cu-ka"): (0.0, 0.008),
    }
    if wire.kind == "Ta":
        wire.contributions[("dopant site/Ta", "")] = (0.0, 0.0197)
