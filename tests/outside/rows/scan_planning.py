"""Order contrast, depth and fluorescence of radiations, and numbers of wires."""

import xraydb

from tests.outside.rows import Row
from xrdorder.scan_planning.power import wires_for
from xrdorder.scan_planning.radiation_choice import TUBES, Light, best_below_niobium, light, tube

_TABLES = "xraydb: f0 of Waasmaier & Kirfel 1995, f' and f'' of Chantler 2000"
_ELAM = "xraydb: Elam, Ravel & Sieber 2002"
_COHEN = "J. Cohen, Statistical Power Analysis for the Behavioral Sciences (1988), table 2.4.1: alpha 0.05, power 0.8"
_S_PER_ANGSTROM = 0.1337
_ABOVE_EV = 19026.0  # 40 eV above the K edge of niobium


def _contrast(energy: float) -> float:
    """|f_Sn - f_Nb|² at the line (110) by other tables than those in use."""
    tin, niobium = (
        complex(xraydb.f0(e, _S_PER_ANGSTROM)[0] + xraydb.f1_chantler(e, energy), xraydb.f2_chantler(e, energy))
        for e in ("Sn", "Nb")
    )
    return float(abs(tin - niobium) ** 2)


def _fluorescence() -> float:
    """Niobium's share of the absorption times what of it belongs to the K shell and comes back out."""
    shell = xraydb.xray_edge("Nb", "K")
    niobium, tin = 6.0 * xraydb.f2_chantler("Nb", _ABOVE_EV), 2.0 * xraydb.f2_chantler("Sn", _ABOVE_EV)
    return float(niobium / (niobium + tin) * (1.0 - 1.0 / shell.jump_ratio) * shell.fyield)


def _contrast_row(found: Light) -> Row:
    return Row(
        f"order contrast |f_Sn - f_Nb|² of (110), {found.name}", "electrons²", lambda: found.contrast,
        lambda: _contrast(found.energy_ev), found.contrast * (found.by_table + 0.025),
        "what the two tables of f' and f'' make of it here, and 0.1 electrons of f0, 2.5 %", _TABLES, "computed",
    )  # fmt: skip


def _wires_row(effect: float, wires: int) -> Row:
    return Row(
        f"wires of each treatment to see {effect:g} standard deviations", "", lambda: wires_for(effect, 1.0) or 0.0,
        wires, 0.5, "whole numbers", _COHEN, "from memory",
    )  # fmt: skip


ROWS = [
    *map(_contrast_row, [*map(tube, TUBES), best_below_niobium()]),
    Row(
        "fluorescence photons for each absorbed, 40 eV above the Nb K edge", "", lambda: light(_ABOVE_EV).fluorescence,
        _fluorescence, 0.012, "f'' of the two tables differs by 2 %", f"{_ELAM}; {_TABLES}", "computed", "shared input",
    ),
    *(_wires_row(*one) for one in ((0.8, 26), (1.0, 17), (1.2, 12))),
]  # fmt: skip
