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
from xrdorder.planning.inference import Observed
from xrdorder.planning.kinds import LAW, Kind, kind_of
from xrdorder.planning.observations import wires_of
from xrdorder.planning.planner import LotProcess, Wires
from xrdorder.planning.study import MAXIMISED, LotPlan
from xrdorder.treatments import History

ADDED = "suggested-"
"""How names of treatments begin that `suggest --add` gives."""

MISSED = 2.0
"""Standard uncertainties from which a prediction is called missed (the usual convention)."""


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

    def wires(names: list[str], courses: Sequence[Observed] = ()) -> Wires:
        places = [k for k, sample in enumerate(results["sample"].values) if str(sample) in names]
        part = results.isel(sample=places)
        ordered = {str(name): lot_plan.treatments[str(name)] for name in part["sample"].values}
        return wires_of(part, ordered, MAXIMISED[lot_plan.maximised], lot_plan.conditions.temperature_k, courses)

    # courses are of the lot, so known beforehand, and no wire's
    of_lot = [observation for observation in lot_plan.wires.observed if observation.parts[0][0] == LAW]
    before, after, known = wires(old, of_lot), wires(new), lot_plan.process
    fields = [*after.fields_t, *(known.fields_t if lot_plan.maximised == "Ic" else ())]
    process = LotProcess(before, known.route, fields, field_scale=known.process.field_scale)
    z = process.draws(lot_plan.plans[0].objective, np.random.default_rng(0))
    told = process.predict(z, Courses(after.treatments))
    return tuple(_compared(lot_plan, bool(before.fields_t), after, told))


def _compared(
    lot_plan: LotPlan, level_known: bool, after: Wires, told: Mapping[str, np.ndarray]
) -> Iterator[Foretold]:
    for observed in after.observed:
        keys = [(key, int(place)) for key, treatments in observed.parts for place in treatments]
        us = np.sqrt(np.diag(observed.covariance))
        for (key, place), value, u in zip(keys, observed.value.tolist(), us.tolist(), strict=True):
            if level_known or not key.startswith("current "):  # else relative: no level was known beforehand
                yield _one(lot_plan.label(after.treatments[place]), kind_of(key), told[key][:, place], value, u)


def _one(treatment: str, kind: Kind, mine: np.ndarray, value: float, u: float) -> Foretold:
    middle, u_told = float(mine.mean()), float(mine.std())
    score = (kind.logarithm or 1) * (value - middle) / float(np.hypot(u, u_told))
    says = kind.misses[int(score > 0.0)] if abs(score) > MISSED else ""
    if kind.logarithm:
        middle, value = (float(np.exp(kind.logarithm * x)) for x in (middle, value))
        u_told, u = middle * u_told, value * u
    told, seen = (kind.factor * middle, kind.factor * u_told), (kind.factor * value, kind.factor * u)
    return Foretold(treatment, kind.noun, kind.unit, *told, *seen, score, says)
