"""The columns of a result table: name, unit, meaning, and where each comes from.

The same columns stand in `results.csv` and, as variables over the dimension `sample`, in `results.nc`. Every
number in them is a view of the tables beside them in `results.nc`: a value is ``value`` of its quantity, a
standard uncertainty the root of the summed squares of ``contribution``, and tin, Tc, Bc2, slope and resistivity are
quantiles of ``estimate_draws``, each times `Column.scale`.
"""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["value", "total", "median", "low", "high", "deviation", "left"]


@dataclass(frozen=True)
class Column:
    """One column of numbers.

    Attributes
    ----------
    name : str
        Name in the table.
    quantity : str
        Quantity it shows, as named in the uncertainty table or among the predictions.
    kind : str
        "value" of the quantity; "total" standard uncertainty; of the draws of an estimate their "median", the ends
        "low" and "high" of the 68 % interval, the standard "deviation", and what would be "left" of it if the draws
        of all other samples were known.
    units, long_name : str
    scale : float
        Factor from the quantity to the column: 100 where a fraction is shown in per cent.
    """

    name: str
    quantity: str
    kind: Kind
    units: str
    long_name: str
    scale: float = 1.0


def _pair(
    name: str, units: str, long_name: str, quantity: str | None = None, scale: float = 1.0
) -> list[Column]:
    """Column of a value and the column of its standard uncertainty."""
    of = quantity or name
    return [
        Column(name, of, "value", units, long_name, scale),
        Column(f"u_{name}", of, "total", units, f"standard uncertainty (k = 1) of: {long_name}", scale),
    ]


_UNITS = {"T_per_K": "T/K", "uohm_cm": "microohm cm"}


def _prediction(name: str, units: str, long_name: str, stem: str) -> list[Column]:
    """Columns of an estimated median and its interval; `units` as they stand in a name."""
    said = _UNITS.get(units, units)
    return [
        Column(name, name, "median", said, f"{long_name}, median"),
        Column(f"{stem}_low_{units}", name, "low", said, f"{long_name}, lower end of the 68 % interval"),
        Column(f"{stem}_high_{units}", name, "high", said, f"{long_name}, upper end of the 68 % interval"),
    ]


TIN = "tin content of the A15, from lattice parameters and site orders of all samples"

NUMBERS: tuple[Column, ...] = (
    *_pair("a_nm", "nm", "lattice parameter of the A15 at 22.5 degrees Celsius"),
    *_pair("order_contrast", "1", "contrast of the A15 sublattices, (f_2a - f_6c) / (f_Sn - f_Nb)"),
    *_pair(
        "site_order", "1", "site order of the A15, one less tin on niobium sites less niobium on tin sites"
    ),
    *_pair("S_a", "1", "long-range order parameter of the niobium sites"),
    *_pair("S_b", "1", "long-range order parameter of the tin sites"),
    Column("tin_at_percent", "tin_fraction", "median", "at.%", f"{TIN}, median", 100.0),
    Column(
        "u_tin_at_percent", "tin_fraction", "deviation", "at.%", f"standard uncertainty (k = 1) of: {TIN}", 100.0
    ),
    Column(
        "u_tin_independent_at_percent",
        "tin_fraction",
        "left",
        "at.%",
        f"standard uncertainty (k = 1) that would be left if all other samples were known, of: {TIN}",
        100.0,
    ),
    Column(
        "tin_lower_bound_at_percent",
        "tin_lower_bound",
        "value",
        "at.%",
        "least tin content that the site order allows (S_a cannot exceed one); free of the a(tin) scale",
        100.0,
    ),
    *_pair("domain_size_nm", "nm", "volume-weighted domain size of the A15 along the scattering vector"),
    *_pair("microstrain", "1", "root mean square microstrain of the A15"),
    Column(
        "tin_spread_at_percent",
        "tin_spread",
        "value",
        "at.%",
        "spread of the tin content if it alone broadened the lines: an upper bound",
        100.0,
    ),
    *_pair("a15_fraction", "1", "weight fraction of the A15 in the crystalline phases fitted"),
    *_prediction("Tc_K", "K", "estimated critical temperature", "Tc"),
    *_prediction("Bc2_0K_T", "T", "estimated upper critical field at 0 K", "Bc2_0K"),
    *_prediction("Bc2_4K2_T", "T", "estimated upper critical field at 4.2 K", "Bc2_4K2"),
    *_prediction("Bc2_slope_T_per_K", "T_per_K", "estimated slope of the upper critical field at Tc", "Bc2_slope"),
    *_prediction("resistivity_uohm_cm", "uohm_cm", "estimated resistivity just above Tc", "resistivity"),
)
"""Columns from `a_nm` to `resistivity_high_uohm_cm`, in the order of the table."""

QUALITY: tuple[Column, ...] = (
    Column("r_wp", "r_wp", "value", "1", "weighted profile residual of the fit"),
    Column("chi2_reduced", "chi2_reduced", "value", "1", "reduced chi square of the fit"),
)

ESTIMATES: tuple[Column, ...] = tuple(
    column for column in NUMBERS if column.kind in ("median", "low", "high", "deviation", "left")
)
"""Those that are taken from the joint draws of all samples."""

ESTIMATED: tuple[str, ...] = tuple(column.quantity for column in ESTIMATES if column.kind == "median")
"""Quantities behind them."""

TARGETS: tuple[str, ...] = tuple(quantity for quantity in ESTIMATED if quantity != "tin_fraction")
"""Those that published relations predict."""


TOLD: dict[str, str] = {
    "lot": "lot",
    "treatment": "treatment",
    "peak_c": "peak_c",
    "hold_at_peak_h": "hold_at_peak_h",
    "dose_h": "dose_h",
    "dose_low_h": "dose_low_h",
    "dose_high_h": "dose_high_h",
    "hours_above": "hours_above",
    "position_m": "position",
    "date": "date",
    "own": "own",
}
"""Columns that repeat what the description tells, and their variables in `results.nc`."""


def column_names(phases: tuple[str, ...] | list[str]) -> list[str]:
    """Names of all columns of `results.csv` for a study of these phases, in order.

    >>> column_names(["nb3sn"])[:4], column_names(["nb3sn"])[-3:]
    (['sample', 'status', 'a_nm', 'u_a_nm'], ['own', 'weight_fraction_limit_nb3sn', 'quality'])
    """
    names = ["sample", "status", *(column.name for column in (*NUMBERS, *QUALITY)), "flags"]
    for phase in phases:
        names += [f"weight_fraction_{phase}", f"u_weight_fraction_{phase}"]
    return [*names, *TOLD, *(f"weight_fraction_limit_{phase}" for phase in phases), "quality"]
