"""A wire of the model from what `xrdorder.material` derived of a pattern, and the model on a laboratory's own line.

The model has its own a(tin) line. So what `material` knows of the line is taken off again: the lattice parameter free
of strain and of the dopants' effect is the one that its line gives back for its tin, and the columns of the line go.
The order was referred to that tin; this is taken back too, and the model refers it to the tin of each draw.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from xrdorder.estimates.hyperparameters import PUBLISHED, Hyperparameters
from xrdorder.estimates.wires import LATTICE, ORDER, Wire
from xrdorder.material import PUBLISHED_SCALE, Material, Specimen, TinScale
from xrdorder.superconductivity.targets import wire_of
from xrdorder.uncertainty import Contributions

_OF_THE_LINE = "a(tin)"
_TIN, _BOUND = "tin_fraction_lattice", "tin_lower_bound"


_KINDS = {"binary": "binary", "Ta": "Ta", "Ti": "Ti", "doped": "Ti"}
"""Kinds of the model by those that relations are chosen for; any other wire is one that nothing was said of."""


def kind_of(wire: str) -> str:
    """Kind of the model for a kind of wire of `xrdorder.superconductivity.targets.wire_of`.

    >>> kind_of("doped"), kind_of("any")
    ('Ti', 'any')
    """
    return _KINDS.get(wire, "any")


def wire_of_values(
    name: str,
    values: Mapping[str, float],
    table: Contributions,
    *,
    lot: str = "",
    kind: str = "any",
    contrast_by_tin: float = 0.0,
    scale: TinScale = PUBLISHED_SCALE,
    treatment: str = "",
    **anchors: Any,
) -> Wire:
    """Make a wire of what was derived of its pattern.

    Parameters
    ----------
    name : str
    values : mapping of str to float
        With ``tin_fraction_lattice`` by the lattice alone, and ``tin_lower_bound`` where there is an order.
    table : Contributions
        Of both.
    lot, kind, treatment : str
        As of `Wire`.
    contrast_by_tin : float
        Change of the contrast with unit tin fraction, as the fit gave it.
    scale : TinScale
        Line that gave ``tin_fraction_lattice``.
    **anchors
        ``tc_k``, ``bc2_t``, ``tin_at_percent`` of `Wire`.
    """
    tin = values.get(_TIN, math.nan)
    bound = values.get(_BOUND, math.nan)
    by_tin = table.row(_TIN) if math.isfinite(tin) else np.zeros(len(table.sources))
    rows: dict[str, np.ndarray] = {}
    if math.isfinite(tin):
        of_line = np.array([source.startswith(_OF_THE_LINE) for source in table.sources], dtype=bool)
        rows[LATTICE] = scale.slope_nm * np.where(of_line, 0.0, by_tin)
    c = contrast_by_tin if math.isfinite(tin) else 0.0
    if math.isfinite(bound):
        rows[ORDER] = 4.0 * table.row(_BOUND) - c * by_tin
    numbers = np.array(list(rows.values())).reshape(len(rows), len(table.sources))
    return Wire(
        name,
        lot,
        kind,
        treatment,
        scale.lattice(tin) if math.isfinite(tin) else math.nan,
        4.0 * bound,
        Contributions(tuple(rows), table.sources, numbers, table.groups),
        c,
        tin,
        **anchors,
    )


def wire_of_material(name: str, material: Material, specimen: Specimen, **more: Any) -> Wire:
    """Make a wire of a characterised material; `more` as of `wire_of_values`."""
    kind = kind_of(wire_of(specimen.dopants, undoped=specimen.undoped))
    return wire_of_values(name, material.values, material.contributions, lot=specimen.lot, kind=kind, **more)


def on_scale(scale: TinScale, hyper: Hyperparameters = PUBLISHED) -> Hyperparameters:
    """Hyper-parameters with a laboratory's own line a(tin) in place of the published one.

    Examples
    --------
    >>> on_scale(PUBLISHED_SCALE) is PUBLISHED
    True
    """
    if scale is PUBLISHED_SCALE:
        return hyper
    pivot = scale.pivot
    return hyper.replaced(
        pivot_tin=100.0 * pivot,
        lattice_at_pivot_pm=1e3 * scale.lattice(pivot),
        slope_pm=10.0 * scale.slope_nm,
        slope_spread=scale.u_slope_nm / scale.slope_nm,
        scale_pm=1e3 * scale.slope_nm * scale.u_level(pivot),
    )
