"""A study that has been run: the answer, the table, one line for each flag and assumption."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from xrdorder import figures
from xrdorder.comparison.leading import leading
from xrdorder.estimates.study_draws import study_remarks
from xrdorder.quantities.caveats import ANCHORED, ESTIMATES
from xrdorder.quantities.formatting import concise, counted
from xrdorder.quantities.tables import File, Part, Table, entries
from xrdorder.results.collate import own_words
from xrdorder.results.open_study import OpenStudy
from xrdorder.results.study_table import (
    Row,
    anchored_words,
    extremes,
    flags_of,
    rows_of,
    study_table,
    study_words,
)
from xrdorder.views.showing import figure, frame, parts, table, title

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr
    from matplotlib.figure import Figure

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


@title.register(OpenStudy)
def _(opened: OpenStudy) -> str:
    name = str(opened.results.attrs.get("title", "")) or opened.study.folder.name
    return f"{name}: {study_words(opened.results)}"


@frame.register(OpenStudy)
def _(opened: OpenStudy) -> pd.DataFrame:
    per_sample = [name for name, variable in opened.results.data_vars.items() if variable.dims == ("sample",)]
    return opened.results[per_sample].to_dataframe().reset_index()


@table.register(OpenStudy)
def _(opened: OpenStudy) -> Table:
    return study_table(opened.results)


@figure.register(OpenStudy)
def _(opened: OpenStudy, **options: Any) -> Figure:
    return figures.trend_figure(opened.results, **options)


@parts.register(OpenStudy)
def _(opened: OpenStudy, details: bool = False) -> list[Part]:
    return study_parts(opened.results, opened.study.folder, details=details)


def study_parts(results: xr.Dataset, study: Path, *, details: bool = False) -> list[Part]:
    """Answer, table, a line for each flag and assumption; with `details` all columns and whole messages."""
    every = study_table(results)
    table, words = (every.whole(), "") if details else extremes(every)
    said = study_remarks(results)
    shown: list[Part] = [
        study_words(results),
        *(leader.words for leader in leading(results)),
        *own_parts(results),
        ESTIMATES,
        File("Next", f"{_to_compare(results, study)} · xrdorder report {study}"),
        "",
        *([words, ""] if words else []),
        table,
        "",
        *_other_phases(results),
        READING,
        *(f"{text}." for text in (said if details else said[:1])),
    ]
    assumptions = _samples_by(results, _assumptions)
    if details:
        models = sorted(_samples_by(results, _models).items(), key=lambda item: -len(item[1]))
        return [
            *shown, _DETAILS, *_section("Flags", _flags(results)), *_section("Assumptions", assumptions),
            *_section("Models of the fits", dict(models)),
        ]  # fmt: skip
    lines = [f"{text} ({counted(samples)})" for text, samples in assumptions.items()]
    rest = len(lines[_MOST_ASSUMPTIONS:]) + len(said[1:])
    more = [f"{rest} more in the log"] if rest else []
    return [*shown, *entries("Assumptions", [*lines[:_MOST_ASSUMPTIONS], *more])]


def _to_compare(results: xr.Dataset, study: Path) -> str:
    if any(str(words) for words in results["treatment"].values):
        return f"xrdorder compare {study}"
    return f"give lots and treatments in {study / 'study.toml'} and run it"


def own_parts(results: xr.Dataset) -> list[Part]:
    """Name what of the laboratory's own results rest on: anchors of a lot, tin scale, relations."""
    own, anchored = own_words(results), anchored_words(results)
    said = [f"{anchored[0].upper()}{anchored[1:]}."] if anchored else []
    return [*said, *([f"Of the laboratory's own: {own}."] if own else [])]


def _section(title: str, texts: Mapping[str, list[str]]) -> list[Part]:
    return ["", title, *(f"  {text} ({', '.join(samples)})" for text, samples in texts.items())] if texts else []


def _flags(results: xr.Dataset) -> dict[str, list[str]]:
    """First message of each flag, with all samples that carry it."""
    first: dict[str, str] = {}

    def words(sample: Row) -> list[str]:
        flags = dict(flags_of(sample["flag_messages"]))
        return [f"{name}: {first.setdefault(name, message)}" for name, message in flags.items()]

    return _samples_by(results, words)


def _assumptions(sample: Row) -> list[str]:
    texts = str(sample["assumptions"]).split("; ")
    return [text for text in texts if text and not text.startswith(ANCHORED)]  # which is said with the answer


def _models(sample: Row) -> list[str]:
    return [str(sample["model"])] if sample["model"] else []


def _samples_by(results: xr.Dataset, words: Callable[[Row], list[str]]) -> dict[str, list[str]]:
    """Each text once, with the samples it is said of."""
    samples_by_text: dict[str, list[str]] = {}
    for sample in rows_of(results):
        for text in words(sample):
            samples_by_text.setdefault(text, []).append(str(sample["sample"]))
    return samples_by_text


def _other_phases(results: xr.Dataset) -> list[Part]:
    """Lattices and amounts of the phases in patterns that hold no A15, and limits of those that were not found."""
    rows = [
        row for k, status in enumerate(results["status"].values) if str(status) == "no A15"
        for row in _phases(results.isel(sample=k))
    ]  # fmt: skip
    head: list[tuple[str, str] | str] = ["sample", "phase", "axis", ("length", "nm"), ("weight", "wt.%")]
    return [Table.of(head, rows, title="Without A15"), ""] if rows else []


def _phases(sample: xr.Dataset) -> Iterator[tuple[str, ...]]:
    name = str(sample["sample"].item())
    for quantity in (str(q) for q in sample["quantity"].values):
        match = re.fullmatch(r"lattice_(\w)_nm_(.+)", quantity)
        value = float(sample["value"].sel(quantity=quantity))
        if match is not None and math.isfinite(value):
            u = float(np.sqrt(np.nansum(sample["contribution"].sel(quantity=quantity).values ** 2)))
            share, u_share = (  # none where atoms are not known
                100.0 * float(sample[stem].reindex(phase=[match[2]]).values[0])
                for stem in ("weight_fraction", "u_weight_fraction")
            )
            yield name, match[2], match[1], concise(value, u), concise(share, u_share)
    for phase, limit in zip(sample["phase"].values, sample["weight_fraction_limit"].values, strict=True):
        if math.isfinite(limit):
            yield name, str(phase), "", "not found", f"below {100.0 * limit:.2g}"
