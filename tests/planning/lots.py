"""Results of a study that was never measured: two lots over temperature and time, with currents as if measured."""

import numpy as np

from tests.drawn import with_joint
from xrdorder.treatments import Schedule, Step
from xrdorder.uncertainty import Contributions, collate

POINTS = ((620, 50), (620, 200), (650, 50), (650, 100), (680, 50), (680, 100), (710, 50), (710, 150))
BEFORE = (Step(210, 48, 25), Step(400, 48, 50))


def current(peak, hours, field):
    """Summit that moves to higher temperatures with field."""
    top = 640.0 + 4.0 * (field - 12.0) * 2.5
    return 500.0 * np.exp(-(((peak - top) / 140.0) ** 2) - (np.log(hours / 100.0) / 3.0) ** 2) / field


def study(points=POINTS, lot="heron", *, fields=(), before=(), tin=None, niobium=None, rrr=False, wires=1, sizes=None,
          u_scale=0.015, measured=()):
    """Treatments by sample, and collated results; `fields` are those at which currents were measured.

    `measured` are further values of all samples: (key, values, u).
    """
    names, treatments = [], {}
    for peak, hours in points:
        for wire in range(wires):
            names.append(f"{lot}-{peak}-{hours}-{wire}")
            treatments[names[-1]] = Schedule((*before, Step(peak, hours, 50.0)))
    n = len(names)
    places = np.repeat(np.array(points, dtype=float), wires, axis=0)
    if tin is None:
        tin = 0.23 + 0.0001 * (places[:, 0] - 620.0) + 0.002 * np.log(places[:, 1] / 50.0)
    size = 60.0 + 0.6 * (places[:, 0] - 620.0) + 10.0 * np.log(places[:, 1] / 50.0) if sizes is None else sizes
    quantities = {"a_nm": np.full(n, 0.5288), "tin_fraction_lattice": np.broadcast_to(tin, n), "domain_size_nm": size}
    if niobium is not None:
        quantities["weight_fraction_nb"] = np.asarray(niobium, dtype=float)
    tables = {}
    for k, name in enumerate(names):
        table = Contributions.empty().extend("a_nm", {}, {"counting": (1e-5, "")})
        table = table.extend("tin_fraction_lattice", {}, {"scale": (u_scale, "published"), "counting": (0.0003, "")})
        table = table.extend("domain_size_nm", {}, {"calibration": (0.3, "b"), "counting": (1.0, "")})
        if niobium is not None and np.isfinite(niobium[k]):
            table = table.extend("weight_fraction_nb", {}, {"counting": (0.003, "")})
        tables[name] = table
    found = collate(tables)
    every = [str(one) for one in found["quantity"].values]
    found["value"] = (("sample", "quantity"), np.stack([quantities[one] for one in every], axis=1))
    found["a_nm"] = ("sample", np.full(n, 0.5288))
    found["lot"] = ("sample", np.array([lot] * n, dtype=object))
    found["wire"] = ("sample", np.array(["binary"] * n, dtype=object))
    limit = np.full((n, 1), np.nan)
    if niobium is not None:
        limit[np.isnan(niobium), 0] = 0.01
    found["weight_fraction_limit"] = (("sample", "phase"), limit)
    found = found.assign_coords(phase=("phase", np.array(["nb"], dtype=object)))
    rows = [(name, "critical_current_a", current(*p, b), 0.3, 4.2, b) for name, p in zip(names, places, strict=True)
            for b in fields]  # fmt: skip
    if rrr:
        rows += [(name, "rrr_copper", 300.0 * np.exp(-(p[0] - 620) / 40.0), 5.0, np.nan, np.nan)
                 for name, p in zip(names, places, strict=True)]  # fmt: skip
    rows += [(name, key, value, u, np.nan, np.nan) for key, values, u in measured
             for name, value in zip(names, values, strict=True)]  # fmt: skip
    columns = list(zip(*rows, strict=True)) if rows else [()] * 6
    kinds = ("measured_sample", "measured_quantity", "measured_value", "u_measured_value", "measured_temperature_k",
             "measured_field_t")  # fmt: skip
    for kind, column in zip(kinds, columns, strict=True):
        dtype = object if kind in kinds[:2] else float
        found[kind] = ("measurement", np.array(column, dtype=dtype))
    return with_joint(found), treatments
