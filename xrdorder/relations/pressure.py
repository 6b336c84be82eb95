"""Tc and Bc2 under hydrostatic pressure: straight lines through zero."""

import numpy as np

from xrdorder.relations.entry import Array, Relation, Scatter, Symbol

_PRESSURE = Symbol("P", "hydrostatic pressure", "GPa", 1.0)
_SOURCE = "A. Godeke, Supercond. Sci. Technol. 19 (2006) R68"
_SIGN = "minus signs restored from what the text says (from memory)"


def _line(slope: float, name: str, kind: str, title: str, output: Symbol, scatter: Scatter) -> Relation:
    def change(pressure: Array) -> Array:
        return np.asarray(slope * pressure)

    def inverse(drop: Array) -> Array:
        return np.asarray(drop / slope)

    return Relation(
        name=name,
        kind=kind,
        title=title,
        formula=f"change = {slope:g} {output.unit}/GPa x P",
        function=change,
        inverse=inverse,
        inputs=(_PRESSURE,),
        output=output,
        source=_SOURCE,
        equation=f"text on pressure; {_SIGN}",
        valid=(0.0, 2.0),
        scatter=scatter,
        known="read",
        notes="Range judged: the lines are read near zero pressure.",
    )


_TC = Symbol("dTc", "change of the critical temperature", "K", -0.14)
_BETWEEN = Scatter("judged: half the difference of crystal and layer", relative=0.25)

CRYSTAL = _line(-0.14, "pressure-tc-crystal", "tc-pressure", "single crystal", _TC, _BETWEEN)
LAYER = _line(-0.22, "pressure-tc-layer", "tc-pressure", "polycrystalline layer", _TC, _BETWEEN)
FIELD = _line(
    -1.2,
    "pressure-bc2",
    "bc2-pressure",
    "upper critical field",
    Symbol("dBc2", "change of the upper critical field", "T", -1.2),
    Scatter("stated: 1.2 ± 0.2 T/GPa", relative=0.2 / 1.2),
)

ENTRIES = (CRYSTAL, LAYER, FIELD)
