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
    entries = {f"{result.target}: {result.name}": result for of in by_sample for result in of}
    names = list(entries)
    reason = np.full((len(by_sample), len(names)), "no result", dtype=object)
    numbers = {key: np.full(reason.shape, np.nan) for key in _RELATION_NUMBERS}
    for k, of in enumerate(by_sample):
        for result in of:
            j = names.index(f"{result.target}: {result.name}")
            reason[k, j] = result.reason
            for key, array in numbers.items():
                array[k, j] = getattr(result, key)
    texts = {
        "target": ("quantity the relation predicts", [entry.target for entry in entries.values()]),
        "source": ("publication of the relation", [_joined(entry, "source") for entry in entries.values()]),
        "formula": ("formula of the relation", [_joined(entry, "formula") for entry in entries.values()]),
        "known": (
            "how its form is known",
            ["; ".join(dict.fromkeys(LABELS[e.known] for e in entry.relations)) for entry in entries.values()],
        ),
        "route": ("what the relation was asked with", [entry.route for entry in entries.values()]),
    }
    branches = [
        branches_words(of, float(np.median(draws.values["Bc2_0K_T"][k]))) if of else ""
        for k, of in enumerate(by_sample)
    ]
    dims = ("sample", "relation")
    return results.assign(
        {
            "relation_units": ("relation", *units_beside([unit_of(entry.target) for entry in entries.values()],
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


def _joined(result: RelationResult, what: str) -> str:
    return "; ".join(dict.fromkeys(getattr(entry, what) for entry in result.relations))
