"""What each published relation says of each sample of a study, beside its joint estimates."""

from __future__ import annotations

import numpy as np
import xarray as xr

from xrdorder.estimates.stored_draws import StudyDraws
from xrdorder.quantities.registry import unit_of
from xrdorder.relations import LABELS, PUBLISHED, Library
from xrdorder.results.conventions import units_beside
from xrdorder.superconductivity.by_relation import branches_words, by_relation
from xrdorder.superconductivity.mixture import Answer, Band, Common


def with_relations(results: xr.Dataset, library: Library = PUBLISHED) -> xr.Dataset:
    """Add what each relation says of each sample by itself, and where it was published."""
    draws = StudyDraws.of(results)
    n = draws.values["Tc_K"].shape[1]
    samples = zip(draws.samples, results["lot"].values, results["wire"].values, draws.known(), strict=True)
    entries: dict[str, Answer] = {}
    said: list[dict[str, tuple[str, Band]]] = []
    branches = []
    for k, (name, lot, wire, known) in enumerate(samples):
        answers: tuple[Answer, ...] = ()
        if known:
            given = {target: rows[k] for target, rows in draws.values.items()}
            answers = by_relation(given, Common(n, 0, name, str(lot), library, str(wire)))
        entries |= {f"{answer.target}: {answer.name}": answer for answer in answers}
        said.append({f"{answer.target}: {answer.name}": (answer.reason, answer.band) for answer in answers})
        branches.append(branches_words(answers, float(np.median(draws.values["Bc2_0K_T"][k]))) if answers else "")
    names = list(entries)
    reason = np.full((len(said), len(names)), "no result", dtype=object)
    numbers = {key: np.full(reason.shape, np.nan) for key in _RELATION_NUMBERS}
    for k, of in enumerate(said):
        for name, (why, band) in of.items():
            j = names.index(name)
            reason[k, j] = why
            for key, array in numbers.items():
                array[k, j] = getattr(band, key)
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
    dims = ("sample", "relation")
    return results.assign(
        {
            "relation_units": ("relation", *units_beside([unit_of(entry.target) for entry in entries.values()],
                                                         "relation_median, _low and _high")),
            "relation_reason": (dims, reason, {"long_name": "why the relation is refused; empty where it applies"}),
            "bc2_branches": ("sample", np.array(branches, dtype=object), {"long_name": _BRANCHES}),
            **{f"relation_{key}": ("relation", np.array(words, dtype=object), {"long_name": meaning})
               for key, (meaning, words) in texts.items()},
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


def _joined(result: Answer, what: str) -> str:
    return "; ".join(dict.fromkeys(getattr(entry, what) for entry in result.relations))
