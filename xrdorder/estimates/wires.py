"""What the model is told about a wire: lot, kind, treatment, what X-rays gave, and what else was measured on it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from xrdorder.exceptions import Flag, ValidityError
from xrdorder.material import A15_FIELD
from xrdorder.quantities.registry import quantity
from xrdorder.uncertainty import Contributions

KINDS = ("bulk", "binary", "Ta", "Ti", "any")
"""Undoped bulk, undoped wire, wire doped with one element, and what nobody has told."""

DOPED = ("Ta", "Ti")

LATTICE, ORDER = "a_nm", "site_order"
"""Rows that the table of contributions of a wire must have where it has the value."""

HIGHEST_TC_K = 18.4
"""No A15 Nb3Sn has more: 18.3 K is the highest published (A. Godeke, Supercond. Sci. Technol. 19 (2006) R68), and some
measuring error. The onset of a wire with tantalum, 18.5 K in one sample, is the exception that is asked about."""


@dataclass(frozen=True)
class Measured:
    """A value measured on a wire by other means, with its standard uncertainty.

    Attributes
    ----------
    value, u : float
        K, T, or at.%.
    criterion : str
        How a transition was read ("onset", "50 %", "90 %"...).
    temperature_k : float
        At which Bc2 was measured; 0 where it was carried there.
    """

    value: float
    u: float
    criterion: str = ""
    temperature_k: float = math.nan


@dataclass(frozen=True)
class Wire:
    """One reacted wire as the model sees it.

    Attributes
    ----------
    name : str
        No two wires of a study have the same.
    lot : str
        Wires of one lot share what is not known about it; "": a lot of its own.
    kind : str
        One of `KINDS`.
    treatment : str
        Label of the treatment; equal for equal treatments, "" where it is not known.
    a_nm : float
        Lattice parameter at 22.5 °C, free of strain, the dopants' effect taken off; NaN where there is none.
    site_order : float
        4 beta S_a: r_a + r_b - 1, less the share of tin sites that dopants hold; NaN where there is none.
    contributions : Contributions
        Rows `LATTICE` (nm) and `ORDER`. What belongs to the a(tin) line must not be in it: the model has its own.
    order_by_tin, order_at_tin : float
        Site order was found with this tin fraction, and would change by so much with unit tin fraction.
    tc_k, bc2_t, tin_at_percent : Measured, optional
        Anchors. Bc2 needs its temperature, Tc its criterion.

    Raises
    ------
    ValidityError
        The kind is unknown, a number impossible, or a row of the table is missing.
    """

    name: str
    lot: str = ""
    kind: str = "any"
    treatment: str = ""
    a_nm: float = math.nan
    site_order: float = math.nan
    contributions: Contributions = field(default_factory=Contributions.empty)
    order_by_tin: float = 0.0
    order_at_tin: float = math.nan
    tc_k: Measured | None = None
    bc2_t: Measured | None = None
    tin_at_percent: Measured | None = None

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValidityError(
                f"wire '{self.name}': kind '{self.kind}' is unknown; say one of {', '.join(KINDS)}"
            )
        for name, value, low, high, hint in (
            (LATTICE, self.a_nm, 0.51, 0.55, "give nm, for Nb3Sn near 0.529"),
            (ORDER, self.site_order, -0.2, 1.3, "give r_a + r_b - 1"),
        ):
            if math.isnan(value):
                continue
            if not low <= value <= high:
                raise ValidityError(f"wire '{self.name}': {name} is {value:g}; {hint}")
            if name not in self.contributions.quantities:
                raise ValidityError(
                    f"wire '{self.name}': no uncertainties of {name}; give its row of contributions"
                )
        if self.order_by_tin and not math.isfinite(self.order_at_tin):
            raise ValidityError(
                f"wire '{self.name}': site order changes with tin; give the tin it was found with"
            )

    @property
    def lot_key(self) -> tuple[str, str]:
        """Lot and kind: wires of another kind are another lot. A wire without a lot is its own."""
        return (self.lot or f"\x00{self.name}", self.kind)


def checked(wires: Sequence[Wire]) -> tuple[tuple[Wire, ...], dict[str, list[Flag]]]:
    """Sort wires, set aside what was measured but cannot be used, and say so.

    Returns
    -------
    wires : tuple of Wire
        By lot and name, so that their order plays no part.
    flags : dict of name to list of Flag

    Raises
    ------
    ValidityError
        Two have the same name.
    """
    flags: dict[str, list[Flag]] = {}
    kept = []
    for wire in sorted(wires, key=lambda wire: (wire.lot_key, wire.name)):
        if wire.name in flags:
            raise ValidityError(f"two wires are named '{wire.name}'; give each its own name")
        flags[wire.name] = []
        kept.append(_without_unusable(wire, flags[wire.name]))
    return tuple(kept), flags


def _without_unusable(wire: Wire, flags: list[Flag]) -> Wire:
    low, high = (100.0 * edge for edge in A15_FIELD)
    complaints: Mapping[str, str] = {
        "tc_k": _complaint(wire.tc_k, 0.0, HIGHEST_TC_K, "Tc_K", "no A15 has that"),
        "bc2_t": _complaint(wire.bc2_t, 0.0, 45.0, "Bc2_T", "no A15 has that")
        or ("Bc2 without a temperature" if wire.bc2_t and not wire.bc2_t.temperature_k >= 0.0 else ""),
        "tin_at_percent": _complaint(
            wire.tin_at_percent, low - 1.0, high + 1.0, "tin_at_percent", "outside the A15 field"
        ),
    }
    for name, complaint in complaints.items():
        if complaint:
            flags.append(
                Flag("anchor-set-aside", f"{complaint}: stands beside the estimates and anchors nothing")
            )
            wire = replace(wire, **{name: None})  # type: ignore[arg-type]
    if wire.tc_k and not wire.tc_k.criterion:
        flags.append(
            Flag(
                "anchor-without-criterion",
                "measured Tc without a criterion: taken as known to a quarter kelvin more",
            )
        )
    return wire


def _complaint(measured: Measured | None, low: float, high: float, name: str, why: str) -> str:
    about = quantity(name)
    if measured is None:
        return ""
    if not low < measured.value <= high:
        return f"measured {about.noun} of {measured.value:g} {about.of_column.unit} ({why})"
    if not 0.0 < measured.u < math.inf:
        return f"measured {about.noun} without an uncertainty"
    return ""
