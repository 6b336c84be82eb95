"""The results of a study on the terminal: the answer, the table, one line for each flag and assumption; the log."""

import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from xrdorder.cli.console import Entry, File, Part, rendered, whole
from xrdorder.files.atomic import write_atomically
from xrdorder.quantities.caveats import ANCHORED, ESTIMATES
from xrdorder.quantities.formatting import concise, counted
from xrdorder.quantities.tables import Table
from xrdorder.results.collate import own_words
from xrdorder.results.study_table import anchored_words, extremes, flags_of, rows_of, study_table, study_words

if TYPE_CHECKING:
    import xarray as xr

_MOST_ASSUMPTIONS = 4
READING = (
    "In brackets: standard uncertainty (k = 1) of the last digits, shared parts included; of Tc and Bc2 half the 68 % "
    "interval."
)
_DETAILS = (
    "Independent u: the part of the uncertainty of tin that no other sample shares. Between samples of one lot, "
    "measured alike, it is what counts in a difference, with a quarter of the difference in tin; between lots with "
    "different dopants the unknown effect of the dopant on the lattice comes on top. Grade: A where independent "
    "analyses of the same pattern agree and nothing else speaks against the fit, B use with care, C do not use. "
    "Missing: what nobody told about the sample; it does not lower the grade."
)


def study_parts(results: "xr.Dataset", study: Path, *, details: bool = False) -> list[Part]:
    """Answer, table, a line for each flag and assumption; with `details` all columns and whole messages."""
    from xrdorder.estimates.study_draws import study_remarks

    table, words = extremes(study_table(results))
    parts: list[Part] = [*_answer(results, study), ""]
    parts += [words, ""] if words and not details else []
    said = study_remarks(results)
    parts += [whole(study_table(results)) if details else table, "", *_other_phases(results), READING]
    parts += [f"{text}." for text in (said if details else said[:1])]
    assumptions = _assumptions(results)
    if details:
        parts += [_DETAILS, *_section("Flags", _flags(results)), *_section("Assumptions", assumptions)]
        return [*parts, *_section("Models of the fits", _models(results))]
    lines = [f"{text} ({counted(samples)})" for text, samples in assumptions.items()]
    rest = len(lines[_MOST_ASSUMPTIONS:]) + len(said[1:])
    more = [f"{rest} more in the log"] if rest else []
    shown = [*lines[:_MOST_ASSUMPTIONS], *more]
    return [*parts, *(Entry("Assumptions" if k == 0 else "", line) for k, line in enumerate(shown))]


def _answer(results: "xr.Dataset", study: Path) -> list[Part]:
    """How many were fitted, which wire leads, by how much, how surely, and what to do next."""
    from xrdorder.comparison.leading import leading

    return [
        study_words(results),
        *(leader.words for leader in leading(results)),
        *own_part(results),
        ESTIMATES,
        File("Next", f"{_to_compare(results, study)} · xrdorder report {study}"),
    ]


def _to_compare(results: "xr.Dataset", study: Path) -> str:
    if any(str(words) for words in results["treatment"].values):
        return f"xrdorder compare {study}"
    return f"give lots and treatments in {study / 'study.toml'} and run it"


def file_parts(results: "xr.Dataset", study: Path) -> list[Part]:
    """Write the log, which holds all that the screen leaves out, and name the files of the results."""
    folder = study / "results"
    log = folder / "log.txt"
    text = rendered(*study_parts(results, study, details=True)) + "\n"
    write_atomically(log, lambda part: part.write_text(text, encoding="utf-8"))
    names = {"Table": "results.csv", "Everything": "results.nc", "Log": log.name}
    return ["", *(File(label, str(folder / name)) for label, name in names.items())]


def own_part(results: "xr.Dataset") -> list[Part]:
    """Name what of the laboratory's own results rest on: anchors of a lot, tin scale, relations."""
    own = own_words(results)
    anchored = anchored_words(results)
    parts: list[Part] = [f"{anchored[0].upper()}{anchored[1:]}."] if anchored else []
    return [*parts, *([f"Of the laboratory's own: {own}."] if own else [])]


def _section(title: str, texts: Mapping[str, list[str]]) -> list[Part]:
    return ["", title, *(f"  {text} ({', '.join(samples)})" for text, samples in texts.items())] if texts else []


def _flags(results: "xr.Dataset") -> dict[str, list[str]]:
    """First message of each flag, with all samples that carry it."""
    samples_by_flag: dict[str, tuple[str, list[str]]] = {}
    for sample in rows_of(results):
        for name, message in dict(flags_of(sample["flag_messages"])).items():
            samples_by_flag.setdefault(name, (message, []))[1].append(str(sample["sample"]))
    return {f"{name}: {message}": samples for name, (message, samples) in samples_by_flag.items()}


def _assumptions(results: "xr.Dataset") -> dict[str, list[str]]:
    samples_by_assumption: dict[str, list[str]] = {}
    for name, texts in zip(results["sample"].values, results["assumptions"].values, strict=True):
        for text in filter(None, str(texts).split("; ")):
            if not text.startswith(ANCHORED):  # said with the answer
                samples_by_assumption.setdefault(text, []).append(str(name))
    return samples_by_assumption


def _models(results: "xr.Dataset") -> dict[str, list[str]]:
    samples_by_model: dict[str, list[str]] = {}
    for name, words in zip(results["sample"].values, results["model"].values, strict=True):
        if words:
            samples_by_model.setdefault(str(words), []).append(str(name))
    return dict(sorted(samples_by_model.items(), key=lambda item: -len(item[1])))


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
