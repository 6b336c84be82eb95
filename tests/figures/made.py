"""Results with known numbers, as the fit and the studies hand them on."""


import numpy as np
import xarray as xr

from tests import descriptions
from tests.drawn import drawn, with_tables
from xrdorder.material import PUBLISHED_SCALE
from xrdorder.quantities.registry import PREDICTED
from xrdorder.results.collate import collate
from xrdorder.results.sample_file import StoredSample
from xrdorder.treatments import Schedule, Step
from xrdorder.uncertainty import Contributions

# phase, hkl, angle (degrees), area: those of a reacted wire with copper radiation
LINES = (
    ("nb3sn", "1 1 0", 23.76, 140.0),
    ("nb3sn", "2 0 0", 33.86, 2400.0),
    ("nb3sn", "2 1 0", 38.00, 5500.0),
    ("nb3sn", "2 1 1", 41.79, 5300.0),
    ("nb3sn", "3 2 1", 66.02, 2500.0),
    ("nb", "1 1 0", 38.53, 900.0),
    ("nb", "2 0 0", 55.60, 150.0),
)
WIDTH_DEG = 0.11


def lines(keep=LINES):
    names, hkl, angle, area = zip(*keep, strict=True) if keep else ((), (), (), ())
    return xr.Dataset(
        {"two_theta": ("line", np.array(angle, dtype=float)), "area": ("line", np.array(area, dtype=float))},
        coords={
            "phase": ("line", np.array(names, dtype=object)),
            "hkl": ("line", np.array(hkl, dtype=object)),
        },
    )


def curves(low=20.0, high=70.0, keep=LINES, counting_time=1.0):
    """Gaussian lines on a sloping background, with counting noise; the fit is perfect."""
    x = np.arange(low, high, 0.04)
    background = 300.0 + 4.0 * (high - x)
    parts = {f"part_{name}": np.zeros_like(x) for name in dict.fromkeys(line[0] for line in keep)}
    for name, _, angle, area in keep:
        shape = np.exp(-0.5 * ((x - angle) / (WIDTH_DEG / 2.3548)) ** 2) / (WIDTH_DEG / 2.3548 * 2.5066)
        parts[f"part_{name}"] += area * shape
    calculated = background + sum(parts.values())
    rng = np.random.default_rng(7)
    observed = rng.poisson(calculated * counting_time) / counting_time
    u = np.sqrt(calculated / counting_time)
    data = {
        "observed": observed,
        "calculated": calculated,
        "background": background,
        "weighted_residual": (observed - calculated) / u,
        **parts,
    }
    return xr.Dataset({name: ("two_theta", y) for name, y in data.items()}, coords={"two_theta": x})


def phases(*absent):
    names = ["nb3sn", "nb", "cu-sn"]
    fraction = {"nb3sn": 0.888, "nb": 0.088, "cu-sn": 0.024}
    rows = [
        (0, np.nan, np.nan, 0.0123) if name in absent else (1, fraction[name], 0.002, np.nan)
        for name in names
    ]
    keys = ("present", "weight_fraction", "u_weight_fraction", "upper_limit")
    return xr.Dataset(
        {key: ("phase", np.array(column)) for key, column in zip(keys, zip(*rows, strict=True), strict=True)},
        coords={"phase": np.array(names, dtype=object)},
    )


A_NM, SHIFT, LORENTZ_SEC, GAUSS_TAN2 = 0.5288, 1.5e-4, 0.06, 1e-3
"""Of `single_lines`: lattice parameter, displacement over the distance of the detector, widths of the specimen."""


def single_lines(hkl=("1 1 0", "2 0 0", "2 1 0", "2 1 1", "3 2 1", "4 0 0", "6 0 0", "6 1 1"), covered=("6 0 0",)):
    """Lines of the A15 one by one, a third of a standard uncertainty above the fit; (110) is too weak for a width."""
    root = np.sqrt([sum(int(i) ** 2 for i in text.split()) for text in hkl])
    theta = np.arcsin(0.154059 * root / (2.0 * A_NM))
    calculated = A_NM * (1.0 + SHIFT * np.cos(theta) ** 2 / np.sin(theta))
    out = np.isin(hkl, covered)
    lorentz, u, u_width = LORENTZ_SEC / np.cos(theta), np.full(len(hkl), 3e-6), np.full(len(hkl), 3e-3)
    weak = out | (np.array(hkl) == "1 1 0")
    columns = {
        "theta": np.degrees(theta),
        "a_nm": np.where(out, np.nan, calculated + u / 3.0),
        "u_a_nm": np.where(out, np.nan, u),
        "calculated_a_nm": calculated,
        "area": np.where(out, np.nan, 1000.0 / root),
        "specimen_lorentz": np.where(weak, np.nan, lorentz + u_width / 3.0),
        "u_specimen_lorentz": np.where(weak, np.nan, u_width),
        "calculated_specimen_lorentz": lorentz,
        "specimen_gauss_squared": GAUSS_TAN2 * np.tan(theta) ** 2,
        "reason": np.where(out, "other lines lie on it", "").astype(object),
    }
    return xr.Dataset(
        {name: ("single_line", column) for name, column in columns.items()},
        coords={"hkl": ("single_line", np.array(hkl, dtype=object))},
    )


QUANTITIES = ("a_nm", "site_order", "tin_fraction_lattice")


def contributions(order_own=0.008, tin_own=0.0015, lot="A"):
    """Own parts, and common ones: 1.5 at.% of tin for all, 0.01 of order for the lot."""
    values = np.array(
        [[1e-6, 5e-6, 0.0, 0.0], [order_own, 0.0, 0.0, 0.01], [tin_own, 0.0, 0.015, 0.0]],
    )
    sources = ("counting/0", "certificate", "a(tin) scale", "dopant")
    return Contributions(QUANTITIES, sources, values, ("", "srm-660c", "published", lot))


def tables(tc):
    """Two relations a target that apply, half a kelvin (tesla) below and above, and one that does not."""
    level = {"Tc_K": tc, "Bc2_0K_T": tc + 10.0, "Bc2_4K2_T": tc + 6.0}
    median = np.array([level.get(target, 2.0 + 0.01 * tc) for target in PREDICTED])
    n = len(PREDICTED)
    return xr.Dataset(
        {
            "relation_target": ("relation", np.repeat(np.array(PREDICTED, dtype=object), 3)),
            "relation_source": ("relation", np.array(["A (2001)", "B (2002)", "C (2003)"] * n, dtype=object)),
            "relation_median": ("relation", np.ravel([[m - 0.5, m + 0.5, np.nan] for m in median])),
            "relation_low": ("relation", np.ravel([[m - 1.0, m - 1.0, np.nan] for m in median])),
            "relation_high": ("relation", np.ravel([[m + 1.0, m + 1.0, np.nan] for m in median])),
            "relation_reason": ("relation", np.array(["", "", "too little tin"] * n, dtype=object)),
        },
        coords={
            "relation": np.array([f"{w} {t}" for t in PREDICTED for w in "abc"], dtype=object),
        },
    )


# name, lot, peak °C, hours, site order, tin fraction, Tc
PIECES = (
    ("A-625", "A", 625, 100, 0.90, 0.235, 15.5),
    ("A-650-a", "A", 650, 100, 0.93, 0.240, 16.2),
    ("A-650-b", "A", 650, 100, 0.94, 0.241, 16.4),
    ("A-700", "A", 700, 50, 0.96, 0.244, 17.0),
    ("B-650", "B", 650, 150, 0.91, 0.238, 15.9),
    ("B-675", "B", 675, 50, 0.92, 0.239, 16.0),
)


def described(pieces=PIECES, more=()):
    """What study.toml would say of the samples."""
    lots = {name: descriptions.lot(name) for name in dict.fromkeys([p[1] for p in pieces] + [m[1] for m in more])}
    found = []
    for name, lot, peak, hours, *_ in pieces:
        treatment = None if peak is None else Schedule((Step(peak, hours, 50),))
        found.append(descriptions.sample(name, lots[lot], mount="ground-powder", treatment=treatment))
    short = Schedule((Step(650, 10, 50),))
    return [*found, *(descriptions.sample(name, lots[lot], treatment=short) for name, lot, _ in more)]


def collated(pieces=PIECES, more=(), title="A made study", sizes=(), amounts=()):
    """Collated results, without estimates; see `results`."""
    stored = []
    for k, (name, lot, _, _, order, tin, _) in enumerate(pieces):
        values = {"a_nm": PUBLISHED_SCALE.lattice(tin), "site_order": order, "tin_fraction_lattice": tin}
        table = contributions(lot=lot)
        if sizes:
            values["domain_size_nm"] = sizes[k]
            table = table.extend("domain_size_nm", {}, {"counting": (1.0, ""), "calibration": (0.5, "scan")})
        if amounts:
            values["a15_fraction"] = amounts[k]
            table = table.extend("a15_fraction", {}, {"counting": (0.004, "")})
        stored.append(StoredSample(name, "ok", values=values, contributions=table))
    stored += [StoredSample(name, status) for name, _, status in more]
    samples = tuple(described(pieces, more))
    return collate(descriptions.study(".", samples, ("nb3sn",), title=title), stored, ("nb3sn",))


def results(pieces=PIECES, more=(), title="A made study", sizes=(), amounts=()):
    """Collated results; `more` are samples that have none, as (name, lot, status).

    `sizes` are those of domains, nm, `amounts` weight fractions of the A15.
    """
    none = [np.nan] * len(more)
    centres = {"Tc_K": [p[6] for p in pieces] + none, "tin_fraction": [p[5] for p in pieces] + none}
    found = drawn(collated(pieces, more, title, sizes, amounts), centres)
    return with_tables(found, [*(tables(p[6]) for p in pieces), *(None for _ in more)])
