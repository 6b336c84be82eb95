"""Wires as the model is told of them, made of plain numbers."""

import math

import numpy as np

from xrdorder.estimates import Wire
from xrdorder.uncertainty import Contributions

U_A_NM, U_ORDER = 3e-6, 0.008


def table(
    *, u_a: float = U_A_NM, u_order: float = U_ORDER, shared: float = 0.008, site: float = 0.0
) -> Contributions:
    """Own counting noise, a scattering table that all share, and where a dopant sits."""
    columns = {
        ("counting/0", ""): (u_a, 0.0),
        ("counting/1", ""): (0.0, u_order),
        ("certificate", "srm"): (5e-6, 0.0),
        ("scattering table/order", "cu-ka"): (0.0, shared),
    }
    if site:
        columns[("dopant site/Ta", "")] = (0.0, site)
    return Contributions(
        ("a_nm", "site_order"), tuple(source for source, _ in columns), np.array(list(columns.values())).T,
        tuple(group for _, group in columns),
    )  # fmt: skip


def wire(
    name: str, lot: str = "lot", tin: float = 24.0, s_a: float = 0.97, kind: str = "binary", **more
) -> Wire:
    """A wire on the published line, measured without noise."""
    a_nm = 1e-3 * (529.0 + 0.136 * (tin - 25.0) + 5.0 * (0.98 - s_a))
    order = math.nan if more.pop("no_order", False) else 0.04 * tin * s_a
    return Wire(
        name, lot, kind, more.pop("treatment", name), a_nm, order, more.pop("contributions", table()), **more
    )


def lot(n: int = 5, name: str = "lot", tin: float = 24.0, **more) -> list[Wire]:
    """Wires of one lot from half an at.% below to half above."""
    return [wire(f"{name}-{k}", name, tin - 0.5 + k / max(n - 1, 1), **more) for k in range(n)]
