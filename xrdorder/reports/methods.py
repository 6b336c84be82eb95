"""How the numbers came about, for the methods part of a report: in words, with formulas and sources."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from xrdorder.comparison import methods_sentence
from xrdorder.exceptions import UnknownNameError
from xrdorder.relations import LABELS, Library
from xrdorder.reports.first_look import FirstLook

METHODS = (
    "Each pattern was fitted as a whole (Rietveld's method): emission lines, axial divergence, instrument from a "
    "certified powder, displacement of the specimen, lattice parameters, widths, amounts, displacement parameters and "
    "the contrast of the A15 sublattices, all free together; effects that the pattern does not ask for stay out.",
    "Site order is one less tin on niobium sites less niobium on tin sites. Tin, Tc and Bc2 are "
    "joint draws of one model of all samples: lattice parameter and order of each, what wires of a lot and of a study "
    "share, how published samples scatter about published relations, and what was measured of any wire.",
    "Uncertainties are standard (k = 1), made of signed contributions by source, each with the samples it is shared "
    "by. Tin, Tc and Bc2 are medians of the draws, with their 68 % intervals; differences are taken draw by draw.",
)


@dataclass(frozen=True)
class Used:
    """A published relation that took part.

    Attributes
    ----------
    target, name, formula, source, known : str
    samples : int
        For how many samples it applies.
    """

    target: str
    name: str
    formula: str
    source: str
    known: str
    samples: int


def relations_used(results: xr.Dataset, library: Library) -> list[Used]:
    """List the relations that apply to at least one sample; pairs and chains by their parts."""
    uses: dict[tuple[str, str], int] = {}
    applies = results["relation_reason"].values == ""
    for k, target in enumerate(results["relation_target"].values):
        count = int(np.sum(applies[:, k]))
        if count:
            names = str(results["relation"].values[k]).removeprefix(f"{target}: ")
            for name in names.split(" + "):
                key = (str(target), name)
                uses[key] = max(uses.get(key, 0), count)
    used: dict[str, Used] = {}
    for (target, name), count in uses.items():
        try:
            entry = library.relation(name)
        except UnknownNameError:
            continue  # of another version, or of a file that is gone
        known = LABELS[entry.known]
        source = f"{entry.source}, {entry.equation}" if entry.equation else entry.source
        if name not in used or used[name].samples < count:
            used[name] = Used(target, name, entry.formula, source, known, count)
    return list(used.values())


def sentences(look: FirstLook) -> list[str]:
    """One sentence to paste, for all quantities compared; none where nothing was."""
    return [methods_sentence(*(entry.comparison for entry in look.compared.values()))] if look.compared else []
