"""Joint draws as a study stores them, made by hand: medians and limits are given, doubt is shared by all samples."""

import numpy as np
import xarray as xr

from xrdorder.estimates.conductors import conductor, section
from xrdorder.estimates.streams import shared_normals
from xrdorder.estimates.study_draws import with_draws
from xrdorder.quantities.registry import ESTIMATED
from xrdorder.relations import bc2_of_temperature
from xrdorder.relations.tc_from_tin import BOLTZMANN
from xrdorder.superconductivity.layers import layer
from xrdorder.superconductivity.mixture import Common
from xrdorder.uncertainty import quantity_draws, separate, standard_normal

N = 2000
OWN = 0.1
"""Of a sample's doubt about Tc and Bc2, what it shares with no other."""


def normals(samples, n=N):
    """Standard normal numbers, exactly uncorrelated: the first row for all samples, then one row a sample."""
    # of variance one as samples have it, over n - 1
    return np.sqrt((n - 1) / n) * shared_normals(n, 3, [f"row {k:03d}" for k in range(samples + 1)]).T


def centred(draws, centres):
    """Draws whose medians are these."""
    return draws - np.median(draws, axis=1)[:, None] + np.asarray(centres, dtype=float)[:, None]


def drawn(results, centres, below=2.0, above=1.0, n=N, tin=(0.015, 0.0015)):
    """Results with draws: `centres` are medians by target, one a sample, NaN where there is none.

    The 68 % interval of Tc and Bc2 reaches from `below` under the median to `above` over it, nearly all of it common to
    the samples; `tin` is the standard uncertainty of the tin fraction that all share, and that of each alone.
    """
    samples = results["sample"].values
    common, *each = normals(len(samples), n)
    own = np.array(each)
    z = centred(np.sqrt(1.0 - OWN**2) * common + OWN * own, np.zeros(len(samples)))
    skew = np.where(z < 0.0, below, above) / 0.9945 * z
    tc = np.asarray(centres["Tc_K"], dtype=float)[:, None]
    middle = centres.get("tin_fraction", np.full(len(samples), 0.24))
    tin = centred(tin[0] * common + np.broadcast_to(np.reshape(tin[1], (-1, 1)), own.shape) * own, middle)
    tin = np.where(np.isfinite(tc), tin, np.nan)
    values = {
        "tin_fraction": tin,
        "S_a": 0.96 + 0.0 * tin,
        "S_b": 3.0 * 0.96 * tin / (1.0 - tin),
        "Tc_K": centred(skew, centres["Tc_K"]),
        "Bc2_0K_T": centred(skew, centres.get("Bc2_0K_T", tc[:, 0] + 10.0)),
        "Bc2_4K2_T": centred(skew, centres.get("Bc2_4K2_T", tc[:, 0] + 6.0)),
        "Bc2_slope_T_per_K": 2.0 + 0.01 * (tc + skew),
        "resistivity_uohm_cm": 25.0 + skew,
    }
    values["resistivity_uohm_cm"] = np.where(np.isfinite(tc), values["resistivity_uohm_cm"], np.nan)
    found = xr.Dataset(
        {"estimate_draws": (("sample", "target", "draw"), np.stack([values[name] for name in ESTIMATED], axis=1),
                            {"long_name": "made by hand"})},
        coords={"sample": samples, "target": ("target", np.array(ESTIMATED, dtype=object), {"long_name": "target"})},
        attrs={"estimate_seed": 0, "estimate_law": bc2_of_temperature.POWER.name},
    )  # fmt: skip
    found["target_units"] = ("target", np.array(["1"] * len(ESTIMATED), dtype=object), {"long_name": "units"})
    return with_draws(results, found)


def with_tables(results, tables):
    """Results with relations as made for each sample; None for a sample that none was asked about."""
    first = next((table for table in tables if table is not None), None)
    if first is None:
        return results
    names = first["relation"].values
    for key in ("median", "low", "high"):
        rows = [np.full(len(names), np.nan) if t is None else t[f"relation_{key}"].values for t in tables]
        results[f"relation_{key}"] = ("sample", "relation"), np.array(rows), {"long_name": key}
    none = np.full(len(names), "no result", dtype=object)
    reasons = np.array([none if t is None else t["relation_reason"].values for t in tables], dtype=object)
    results["relation_reason"] = ("sample", "relation"), reasons, {"long_name": "reason"}
    for key in ("target", "source", "formula", "known"):
        if f"relation_{key}" not in first:
            continue
        results[f"relation_{key}"] = "relation", first[f"relation_{key}"].values, {"long_name": key}
    results["relation_units"] = "relation", np.array(["K"] * len(names), dtype=object), {"long_name": "units"}
    nothing = np.array([""] * results.sizes["sample"], dtype=object)
    results["bc2_branches"] = "sample", nothing, {"long_name": "branches"}
    return results.assign_coords(relation=("relation", names, {"long_name": "relation"}))


TIN_OFFSET = 0.0  # of the lot from the published step of Tc over tin, at.%
U_TC, RATIO = 0.1, 1.55


def joint(material, name="", n=N, seed=0):
    """Joint draws of tin, Tc and Bc2 at 0 K of a sample from its tin and the sources of that: no model, one step."""
    values, table = material
    if not np.isfinite(values.get("tin_fraction_lattice", np.nan)):
        return (np.full(n, np.nan),) * 3
    tin = np.full(n, float(values["tin_fraction_lattice"]))
    if "tin_fraction_lattice" in table.quantities:
        tin = quantity_draws(values, table, ["tin_fraction_lattice"], n=n, seed=seed, key=name)["tin_fraction_lattice"]
    own = standard_normal(n, seed, "made/Tc", "", name)
    tc = np.maximum(BOLTZMANN.function(tin + 0.01 * TIN_OFFSET) + U_TC * own, 1.0)
    return tin, tc, RATIO * tc


def made_conductor(name, material, *, n=N, seed=0, lot="", design="", **more):
    """A conductor of joint draws made of its tin."""
    _, tc, bc2_0 = joint(material, name, n, seed)
    return conductor(name, tc, bc2_0, material, common=Common(n, seed, name, lot, design=design), **more)


def made_layer(material, *, n=N, design="", bound=False):
    """A layer of joint draws made of its tin."""
    common = Common(n, design=design)
    pieces = section(material, common, bound=bound)
    return layer(pieces, *joint(material, n=n), np.full(n, TIN_OFFSET), common=common)


def with_joint(results, n=N):
    """Results with joint draws made of the tin of each sample and the sources of that."""
    found = np.full((results.sizes["sample"], len(ESTIMATED), n), np.nan)
    for k, (name, table) in enumerate(separate(results).items()):
        quantities = [str(one) for one in results["quantity"].values]
        values = dict(zip(quantities, results["value"].transpose("sample", "quantity").values[k], strict=True))
        tin, tc, zero = joint((values, table), name, n)
        derived = {
            "tin_fraction": tin, "S_a": 0.96 + 0.0 * tin, "S_b": 2.88 * tin / (1.0 - tin), "Tc_K": tc,
            "Bc2_0K_T": zero, "Bc2_4K2_T": bc2_of_temperature.POWER.function(np.array(4.2), zero, tc),
            "Bc2_slope_T_per_K": zero / (0.693 * tc), "resistivity_uohm_cm": 20.0 + 0.0 * tc,
        }  # fmt: skip
        found[k] = [derived[target] for target in ESTIMATED]
    drawn = xr.Dataset(
        {"estimate_draws": (("sample", "target", "draw"), found, {"long_name": "made by hand"})},
        coords={"target": ("target", np.array(ESTIMATED, dtype=object), {"long_name": "target"})},
        attrs={"estimate_seed": 0, "estimate_law": bc2_of_temperature.POWER.name},
    )
    return with_draws(results, drawn)
