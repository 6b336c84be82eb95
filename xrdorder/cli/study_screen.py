"""The results of a study on the terminal: how many were fitted and how well, the table, remarks, what comes next."""

import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from xrdorder.cli.console import File, Part, whole
from xrdorder.quantities.formatting import concise
from xrdorder.quantities.tables import Table
from xrdorder.reports.cautions import ESTIMATES
from xrdorder.results.collate import own_words
from xrdorder.results.study_table import extremes, flags_of, study_table, study_words

if TYPE_CHECKING:
    import xarray as xr

_NAMED = 4  # samples named with something before the rest is counted
READING = (
    "In brackets: standard uncertainty (k = 1) of the last digits, shared parts included; of Tc and Bc2 half the 68 % "
    f"interval. {ESTIMATES}"
)
_DETAILS = (
    "Independent u: the part of the uncertainty of tin that no other sample shares. Between samples of one lot, "
    "measured alike, it is what counts in a difference, with a quarter of the difference in tin; between lots with "
    "different dopants the unknown effect of the dopant on the lattice comes on top. Grade: A where independent "
    "analyses of the same pattern agree and nothing else speaks against the fit, B use with care, C do not use."
)


def study_parts(results: "xr.Dataset", study: Path, *, details: bool = False) -> list[Part]:
    """Answer, table, remarks; all columns, messages of flags, assumptions and models with `details`."""
    title = str(results.attrs.get("title", ""))
    table, words = extremes(study_table(results))
    parts: list[Part] = [study_words(results) + (f" · {title}" if title else ""), ""]
    parts += [words, ""] if words and not details else []
    parts += [whole(study_table(results)) if details else table, ""]
    parts += _other_phases(results)
    parts += [READING, *own_part(results), *anchors_part(results)]
    if details:
        parts += [_DETAILS, *_section("Flags", _flags(results)), *_section("Assumptions", _assumptions(results))]
        parts += _section("Models of the fits", _models(results))
    folder = study / "results"
    return [*parts, "", File("Table", str(folder / "results.csv")), File("Everything", str(folder / "results.nc"))]


def next_part(study: Path, results: "xr.Dataset") -> Part:
    """Name the commands that follow."""
    first = str(results["sample"].values[0])
    return File("Next", f"xrdorder report {study} · xrdorder compare {study} · xrdorder explain {study} {first}")


def own_part(results: "xr.Dataset") -> list[Part]:
    """Name the tin scale and relations of the laboratory that results rest on; nothing where there are none."""
    own = own_words(results)
    return [f"Of the laboratory's own: {own}."] if own else []


def anchors_part(results: "xr.Dataset") -> list[Part]:
    """To what the estimates are anchored, and what the draws say of the study as a whole."""
    from xrdorder.estimates.study_draws import anchors_in_words, study_remarks

    return [f"{text}." for text in (anchors_in_words(results), *study_remarks(results)) if text]


def _section(title: str, texts: Mapping[str, list[str]]) -> list[Part]:
    return ["", title, *(f"  {text} ({_named(samples)})" for text, samples in texts.items())] if texts else []


def _named(samples: list[str]) -> str:
    more = len(samples) - _NAMED
    return ", ".join(samples[:_NAMED]) + (f" and {more} more" if more > 0 else "")


def _flags(results: "xr.Dataset") -> dict[str, list[str]]:
    """First message of each flag, with all samples that carry it."""
    found: dict[str, tuple[str, list[str]]] = {}
    for k in range(results.sizes["sample"]):
        one = results.isel(sample=k)
        for name, message in dict(flags_of(one)).items():
            found.setdefault(name, (message, []))[1].append(str(one["sample"].item()))
    return {f"{name}: {message}": samples for name, (message, samples) in found.items()}


def _assumptions(results: "xr.Dataset") -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, texts in zip(results["sample"].values, results["assumptions"].values, strict=True):
        for text in filter(None, str(texts).split("; ")):
            found.setdefault(text, []).append(str(name))
    return found


def _models(results: "xr.Dataset") -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, words in zip(results["sample"].values, results["model"].values, strict=True):
        if words:
            found.setdefault(str(words), []).append(str(name))
    return dict(sorted(found.items(), key=lambda item: -len(item[1])))


def _other_phases(results: "xr.Dataset") -> list[Part]:
    """Lattices and amounts of the phases in patterns that hold no A15, and limits of those that were not found."""
    rows = []
    for k, sample in enumerate(str(name) for name in results["sample"].values):
        if str(results["status"].values[k]) != "no A15":
            continue
        for name in (str(q) for q in results["quantity"].values):
            match = re.fullmatch(r"lattice_(\w)_nm_(.+)", name)
            value = float(results["value"].sel(quantity=name).values[k])
            if match is None or not math.isfinite(value):
                continue
            u = float(np.sqrt(np.nansum(results["contribution"].sel(quantity=name).values[k] ** 2)))
            share, u_share = (  # none where atoms are not known
                100.0 * float(results[stem].reindex(phase=[match[2]]).values[k, 0])
                for stem in ("weight_fraction", "u_weight_fraction")
            )
            rows.append((sample, match[2], match[1], concise(value, u), concise(share, u_share)))
        for phase, limit in zip(results["phase"].values, results["weight_fraction_limit"].values[k], strict=True):
            if math.isfinite(limit):
                rows.append((sample, str(phase), "", "not found", f"below {100.0 * limit:.2g}"))
    head: list[tuple[str, str] | str] = ["sample", "phase", "axis", ("length", "nm"), ("weight", "wt.%")]
    return [Table.of(head, rows, title="Without A15"), ""] if rows else []
