"""Predicted against found: wires that were reacted as suggested, held against what the other wires foretold of them.

Nothing is stored for it. The wires are those whose treatment stands in study.toml under a name that `suggest --add`
gave; the process is held against all the others and asked for these. What is found is compared with its uncertainty
and that of the prediction.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from xrdorder.kinetics import Courses
from xrdorder.planning.conversion_courses import LAW
from xrdorder.planning.inference import Observed
from xrdorder.planning.observations import wires_of
from xrdorder.planning.planner import FIELD, TC, LotProcess, Objective, Wires
from xrdorder.planning.study import MAXIMISED, LotPlan
from xrdorder.treatments import History

ADDED = "suggested-"
"""How names of treatments begin that `suggest --add` gives."""

MISSED = 2.0
"""Standard uncertainties from which a prediction is called missed (the usual convention)."""

_NOUNS = {
    "niobium": ("niobium reacted", 100.0, "%"), "size": ("domain size", 1.0, "nm"), "grains": ("grain size", 1.0, "nm"),
    "tin": ("tin", 1.0, "at.%"), "field": ("Bc2", 1.0, "T"), "tc": ("Tc", 1.0, "K"), "rrr": ("copper RRR", 1.0, ""),
    "area": ("A15 area", 100.0, "%"), "resistivity": ("resistivity of the A15", 1.0, "µΩ cm"),
    LAW: ("course of conversion", 1.0, ""),
}  # fmt: skip
_SAYS = {
    "niobium": ("the reaction is slower than published kinetics", "the reaction is faster than published kinetics"),
    "size": ("grains grow less than published", "grains grow more than published"),
    "grains": ("grains grow less than published", "grains grow more than published"),
    "tin": ("the layer forms poorer in tin there", "the layer forms richer in tin there"),
    "resistivity": ("the layer forms richer in tin there", "the layer forms poorer in tin there"),
    "field": ("Bc2 rises less with the reaction than published", "Bc2 rises more with the reaction than published"),
    "tc": ("Tc rises less with the reaction than published", "Tc rises more with the reaction than published"),
    "rrr": ("tin reaches the copper sooner than in the published wire", "the barrier holds better than published"),
    "area": ("the reaction is slower than published kinetics", "the reaction is faster than published kinetics"),
    "current": ("something that the model does not know costs current there", "the model misses a gain there"),
}
_LOGARITHMS = ("size", "grains", "area", "rrr", "current")


@dataclass(frozen=True)
class Foretold:
    """One quantity of one wire.

    Attributes
    ----------
    treatment, noun, unit : str
    predicted, u_predicted, found, u_found : float
    score : float
        Found less predicted, over the uncertainty of that.
    says : str
        What the miss says of the model; empty where it is none.
    """

    treatment: str
    noun: str
    unit: str
    predicted: float
    u_predicted: float
    found: float
    u_found: float
    score: float
    says: str


def noun_of(kind: str) -> str:
    """What a kind of measurement is called.

    >>> noun_of("size"), noun_of("current 12")
    ('domain size', 'Ic at 12 T')
    """
    short, *at = kind.split()
    return f"Ic at {at[0]} T" if at else _NOUNS[short][0]


def suggested(treatments: Mapping[str, History | None], named: Mapping[str, History | None]) -> tuple[str, ...]:
    """Samples that were reacted as suggested: their treatment stands under a name given by `suggest --add`."""
    mine = [key for name, key in named.items() if name.startswith(ADDED) and key is not None]
    return tuple(
        name
        for name, treatment in treatments.items()
        if any(treatment is other or treatment == other for other in mine)
    )


def foretold(lot_plan: LotPlan, results: xr.Dataset, added: tuple[str, ...]) -> tuple[Foretold, ...]:
    """Compare predictions by the other wires of a lot with what was found.

    Parameters
    ----------
    lot_plan : LotPlan
    results : Dataset
        Collated results of the study.
    added : tuple of str
        Samples reacted as suggested, of any lot.

    Returns
    -------
    tuple of Foretold
        Empty where no wire of the lot was suggested, or no other is left.
    """
    new = [name for name in lot_plan.treatments if name in added]
    old = [name for name in lot_plan.treatments if name not in added]
    if not new or not old:
        return ()
    kind, at_k = MAXIMISED[lot_plan.maximised], lot_plan.conditions.temperature_k

    # of the lot, so known beforehand, and no wire's
    of_lot = [observation for observation in lot_plan.wires.observed if observation.parts[0][0] == LAW]

    def wires(names: list[str], courses: Sequence[Observed] = ()) -> Wires:
        places = [k for k, sample in enumerate(results["sample"].values) if str(sample) in names]
        part = results.isel(sample=places)
        ordered = {str(name): lot_plan.treatments[str(name)] for name in part["sample"].values}
        return wires_of(part, ordered, kind, at_k, courses)

    before, after = wires(old, of_lot), wires(new)
    process = LotProcess(
        before, lot_plan.process.route, after.fields_t, field_scale=lot_plan.process.process.field_scale
    )
    objective = {"Bc2": FIELD, "Tc": TC}.get(lot_plan.maximised) or Objective.current(lot_plan.fields_t[0])
    if objective.kind.startswith("current") and lot_plan.fields_t[0] not in process.fields_t:
        process = LotProcess(before, lot_plan.process.route, (*after.fields_t, lot_plan.fields_t[0]))
    z = process.draws(objective, np.random.default_rng(0))
    courses = Courses(after.treatments)
    told = process.predict(z, courses)
    return tuple(_compared(lot_plan, before.fields_t, after, told))


def _compared(
    lot_plan: LotPlan, known_fields: tuple[float, ...], after: Wires, told: Mapping[str, np.ndarray]
) -> Iterator[Foretold]:
    for observed in after.observed:
        u = np.sqrt(np.diag(observed.covariance))
        start = 0
        for kind, treatment in observed.parts:
            short = kind.split()[0]
            rows = range(start, start + len(treatment))
            start += len(treatment)
            if short == "current" and not known_fields:
                continue  # relative: no level was known beforehand
            for row, place in zip(rows, treatment, strict=True):
                mine, value = told[kind][:, place], observed.value[row]
                yield _one(lot_plan, kind, after.treatments[place], mine, float(value), float(u[row]))


def _one(lot_plan: LotPlan, kind: str, treatment: History, mine: np.ndarray, value: float, u: float) -> Foretold:
    short = kind.split()[0]
    _, factor, unit = _NOUNS.get(short, ("", 1.0, "A"))
    middle, u_told = float(mine.mean()), float(mine.std())
    score = (value - middle) / float(np.hypot(u, u_told))
    sign = -1.0 if short == "rrr" else 1.0
    says = _SAYS[short][int(sign * score > 0.0)] if abs(score) > MISSED else ""
    if short in _LOGARITHMS:
        a, b = float(np.exp(sign * middle)), float(np.exp(sign * value))
        middle, u_told, value, u = a, a * u_told, b, b * u
    told, seen = (factor * middle, factor * u_told), (factor * value, factor * u)
    return Foretold(lot_plan.label(treatment), noun_of(kind), unit, *told, *seen, sign * score, says)
