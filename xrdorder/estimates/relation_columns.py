"""What each published relation says of each sample of a study, beside its joint estimates."""

from __future__ import annotations

import numpy as np
import xarray as xr

from xrdorder.estimates.stored_draws import StudyDraws
from xrdorder.quantities.registry import unit_of
from xrdorder.relations import LABELS, PUBLISHED, Library
from xrdorder.results.conventions import units_beside
from xrdorder.superconductivity.by_relation import branches_words, by_relation
from xrdorder.superconductivity.mixture import RelationResult


def with_relations(results: xr.Dataset, library: Library = PUBLISHED) -> xr.Dataset:
    """Add what each relation says of each sample by itself, and where it was published."""
    draws = StudyDraws.of(results)
    samples = zip(draws.samples, results["lot"].values, results["wire"].values, draws.known(), strict=True)
    by_sample = [
        by_relation(
            {target: rows[k] for target, rows in draws.values.items()},
            library=library, wire=str(wire), key=name, lot=str(lot),
        ) if known else ()
        for k, (name, lot, wire, known) in enumerate(samples)
    ]  # fmt: skip
    entries = {f"{one.target}: {one.name}": one for of in by_sample for one in of}
    names = list(entries)
    reason = np.full((len(by_sample), len(names)), "no result", dtype=object)
    numbers = {key: np.full(reason.shape, np.nan) for key in _RELATION_NUMBERS}
    for k, of in enumerate(by_sample):
        for one in of:
            j = names.index(f"{one.target}: {one.name}")
            reason[k, j] = one.reason
            for key, array in numbers.items():
                array[k, j] = getattr(one, key)
    texts = {
        "target": ("quantity the relation predicts", [one.target for one in entries.values()]),
        "source": ("publication of the relation", [_joined(one, "source") for one in entries.values()]),
        "formula": ("formula of the relation", [_joined(one, "formula") for one in entries.values()]),
        "known": (
            "how its form is known",
            ["; ".join(dict.fromkeys(LABELS[e.known] for e in one.relations)) for one in entries.values()],
        ),
        "route": ("what the relation was asked with", [one.route for one in entries.values()]),
    }
    branches = [
        branches_words(of, float(np.median(draws.values["Bc2_0K_T"][k]))) if of else ""
        for k, of in enumerate(by_sample)
    ]
    dims = ("sample", "relation")
    return results.assign(
        {
            "relation_units": ("relation", *units_beside([unit_of(one.target) for one in entries.values()],
                                                         "relation_median, _low and _high")),
            "relation_reason": (dims, reason, {"long_name": "why the relation is refused; empty where it applies"}),
            "bc2_branches": ("sample", np.array(branches, dtype=object), {"long_name": _BRANCHES}),
            **{f"relation_{key}": ("relation", np.array(said, dtype=object), {"long_name": meaning})
               for key, (meaning, said) in texts.items()},
            **{f"relation_{key}": (dims, array, {"long_name": _RELATION_NUMBERS[key]})
               for key, array in numbers.items()},
        }
    ).assign_coords(
        relation=("relation", np.array(names, dtype=object), {"long_name": "name of the published relation"})
    )  # fmt: skip


_RELATION_NUMBERS = {
    "median": "median of the prediction by this relation alone",
    "low": "lower end of the 68 % interval of the prediction by this relation alone",
    "high": "upper end of the 68 % interval of the prediction by this relation alone",
}
_BRANCHES = "how far the published branches of Bc2 near stoichiometry part; empty where one does not apply"


def _joined(one: RelationResult, what: str) -> str:
    return "; ".join(dict.fromkeys(getattr(entry, what) for entry in one.relations))
