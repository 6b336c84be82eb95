"""Published kinetics by route: a value, its uncertainty, and how each is known.

Every parameter has two uncertainties. The wide one holds for a wire of which nothing is known but the route; the
narrow one where measured critical currents hold the model to the wire (two treatments at least). Both are wider than
any one source states, as a source describes one wire.

``known`` is "read", "abstract", "secondary", "derived" (from published tables, by the numbers said) or "judged".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

KNOWN = ("read", "abstract", "secondary", "derived", "judged")


@dataclass(frozen=True)
class Parameter:
    """One parameter of the process.

    Attributes
    ----------
    value : float
    wide, narrow : float
        Standard uncertainty; of a logarithm (a factor as its logarithm) where `by_factor`.
    unit, source, known : str
    by_factor : bool
        Uncertain by a factor, and above zero.
    """

    value: float
    wide: float
    narrow: float
    unit: str
    known: str
    source: str
    by_factor: bool = False

    def __post_init__(self) -> None:
        if self.known not in KNOWN or not 0.0 < self.narrow <= self.wide:
            raise ValueError(f"parameter from {self.source}: say how it is known, and narrow below wide")


@dataclass(frozen=True)
class Window:
    """Where makers react wire of a route: middle of the usual temperatures and hours, and how far they spread.

    Attributes
    ----------
    temperature_c, u_temperature_k : float
    hours, factor : float
    """

    temperature_c: float
    u_temperature_k: float
    hours: float
    factor: float


@dataclass(frozen=True)
class Route:
    """A way to make wire.

    Attributes
    ----------
    name : str
        In words.
    parameters : mapping of str to Parameter
    usual : Window
    """

    name: str
    parameters: Mapping[str, Parameter]
    usual: Window


def _factor(value: float, wide: float, narrow: float, unit: str, known: str, source: str) -> Parameter:
    return Parameter(value, float(np.log(wide)), float(np.log(narrow)), unit, known, source, by_factor=True)


_T14 = "C. Tarantini et al., Supercond. Sci. Technol. 27 (2014) 065013, six treatments of one Ta wire"
_SCHEELE = "arXiv:1701.08681 with arXiv:1907.00476 (230 kJ/mol of Paul, Laurila, Vuorinen 2010)"

_INTERNAL_TIN: dict[str, Parameter] = {
    "q_conversion": Parameter(225.0, 35.0, 25.0, "kJ/mol", "derived", f"75 % after 570 °C/250 h: 219; {_SCHEELE}"),
    "tau_h": _factor(12.0, 1.8, 1.6, "h", "read", "time constant of Ic and Bc2 at 650 °C, arXiv:1701.08681"),
    "exponent": _factor(1.0, 1.3, 1.2, "1", "derived", "0.74 and 0.95 against 0.75 and 0.96 published with n = 1"),
    "e_grain": Parameter(53.0, 15.0, 8.0, "kJ/mol", "derived", f"{_T14}: 50 ± 3; 63 ± 2 in arXiv:2301.00756"),
    "m_grain": _factor(0.08, 1.6, 1.6, "1", "derived", f"{_T14}: boundary density with t^(-0.07 ± 0.03)"),
    "d0_nm": _factor(110.0, 1.16, 1.16, "nm", "read", "110 to 130 nm at 625 to 650 °C, X. Xu (2017)"),
    "field_per_k": Parameter(0.018, 0.014, 0.010, "T/K", "derived", f"{_T14}: 0.023 ± 0.007"),
    "field_t": Parameter(25.0, 1.2, 1.2, "T", "derived", "Bc2 at 4.2 K after 650 °C, wires of five laboratories"),
    "field_deficit_t": Parameter(2.0, 1.3, 1.3, "T", "judged", "tin-poor layer of an unfinished reaction"),
    "field_lag": _factor(1.1, 1.5, 1.5, "1", "read", "Bc2 follows in 13 h where Ic takes 12 h, arXiv:1701.08681"),
    "tc_per_k": Parameter(0.0054, 0.004, 0.003, "K/K", "derived", f"{_T14}: middle of the transition, ± 0.001"),
    "tc_k": Parameter(17.3, 0.6, 0.6, "K", "derived", "51 reacted wires: 17.67 ± 0.38"),
    "tc_deficit_k": Parameter(0.9, 0.6, 0.6, "K", "judged", "as the deficit of Bc2, by 0.4 K/T"),
    "grain_power": Parameter(1.0, 0.25, 0.15, "1", "derived", f"{_T14}: force over boundary density constant to 6 %"),
    "field_power": Parameter(2.2, 0.4, 0.3, "1", "read", "peak force with Bc2^2 to Bc2^2.5, cond-mat/0608404"),
    "p": Parameter(0.45, 0.07, 0.07, "1", "read", "0.38 to 0.42 of Ta wire, arXiv:1311.6901; Kramer's 0.5"),
    "q": Parameter(2.05, 0.12, 0.12, "1", "read", "2.1 of Ta wire, arXiv:1311.6901; Kramer's 2"),
    "force_left": Parameter(0.0, 0.09, 0.04, "ln", "derived", f"{_T14}: force over density and field constant to 6 %"),
    "field_left_t": Parameter(0.0, 0.8, 0.3, "T", "judged", "what the laws leave of Bc2; widened where wires stray"),
    "tc_left_k": Parameter(0.0, 0.2, 0.15, "K", "judged", "what the laws leave of Tc"),
    "tin_per_field": _factor(5.5, 1.5, 1.5, "T/at.%", "derived", f"5.77, A. Godeke (2006) eq. 11; {_T14}: about 7"),
    "niobium_used": Parameter(0.97, 0.05, 0.05, "1", "judged", "share of the niobium that can react; a barrier cannot"),
    "clean_rrr": _factor(500.0, 1.4, 1.4, "1", "derived", f"{_T14}"),
    "e_copper": Parameter(265.0, 30.0, 30.0, "kJ/mol", "derived", f"{_T14}: 267 ± 13; 244 in arXiv:1701.08681"),
    "k_copper": _factor(0.3, 1.8, 1.8, "1", "judged", f"{_T14}: exponent of time not resolved"),
    "a_copper": _factor(2.3e-3, 2.5, 2.5, "1", "derived", f"{_T14}: RRR 233 after 650 °C/96 h; other barriers differ"),
}
"""Wires with a distributed barrier; other routes say where they differ."""


def _changed(**new: Parameter) -> dict[str, Parameter]:
    return {**_INTERNAL_TIN, **new}


_BRONZE = _changed(
    tau_h=_factor(12.0, 1.6, 1.6, "h", "read", "time constant of Ic at 650 °C, arXiv:1701.08681"),
    field_per_k=Parameter(0.012, 0.010, 0.010, "T/K", "judged", "as internal tin, less: tin is short"),
    field_t=replace(_INTERNAL_TIN["field_t"], value=25.5),
    field_deficit_t=Parameter(2.0, 3.0, 2.0, "T", "judged", "tin-poor layer; steep gradients of tin in bronze wire"),
)
_POWDER = _changed(
    q_conversion=Parameter(280.0, 70.0, 70.0, "kJ/mol", "derived", "415 to 520 internally oxidised, arXiv:1903.08121"),
    tau_h=_factor(25.0, 2.0, 2.0, "h", "judged", "675 °C/84 h is usual"),
    field_per_k=Parameter(0.005, 0.020, 0.020, "T/K", "read",
                          "28.8 T after 675 °C/84 h, 31.7 T after 625 °C/320 h: arXiv:1301.5251"),
    tc_per_k=Parameter(0.004, 0.006, 0.006, "K/K", "judged", "as Bc2: need not rise with temperature"),
    field_t=replace(_INTERNAL_TIN["field_t"], value=25.3),
    field_deficit_t=replace(_INTERNAL_TIN["field_deficit_t"], value=1.6),
)  # fmt: skip

_TIN = Route("internal tin with a distributed barrier", _INTERNAL_TIN, Window(660.0, 30.0, 70.0, 2.2))
ROUTES: Mapping[str, Route] = {
    "internal-tin": _TIN,
    "bronze": Route("bronze", _BRONZE, Window(650.0, 25.0, 140.0, 2.2)),
    "powder-in-tube": Route("powder in tube", _POWDER, Window(650.0, 30.0, 120.0, 2.2)),
}
"""By the words of `description.lots.ROUTES`; windows are common practice, from the schedules in
arXiv:1701.08681, 2302.07825 and 1301.5251."""


def route_of(name: str) -> tuple[Route, str]:
    """Route of a lot by its name in study.toml, and a remark where its kinetics are those of another."""
    if name in ROUTES:
        return ROUTES[name], ""
    said = f"no kinetics of route '{name}' are known" if name else "the lot tells no route"
    return _TIN, f"{said}: those of {_TIN.name} are taken"
