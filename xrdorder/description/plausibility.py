"""What a description says that may be so, but is more likely a slip: told as flags, never refused.

None of it needs a fit. `remarks` says it before a run, `study_flags` is what of it goes into the results.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from xrdorder.description.study import Study
from xrdorder.files.atomic import file_hash
from xrdorder.material.lattice import in_kelvin_words
from xrdorder.material.specimen import LEAST_AT_PERCENT
from xrdorder.treatments import History, kelvin_words

SAME_PATTERN = "same-pattern"
TREATMENT_IN_KELVIN = "treatment-in-kelvin"
DOSE_IN_KELVIN = "dose-in-kelvin"


def same_patterns(hashes: Mapping[str, Mapping[str, str]]) -> dict[str, tuple[str, ...]]:
    """Other samples that a pattern file of a sample also stands for, by its content; only samples that have such.

    Parameters
    ----------
    hashes : mapping of str to mapping of str to str
        By sample: SHA-256 of its files, by their names.

    Examples
    --------
    >>> same_patterns({"a": {"a.xy": "1f"}, "b": {"copy.xy": "1f"}, "c": {"c.xy": "2e"}})
    {'a': ('b',), 'b': ('a',)}
    """
    users: dict[str, list[str]] = {}
    for name, files in hashes.items():
        for digest in dict.fromkeys(files.values()):
            users.setdefault(digest, []).append(name)
    twins: dict[str, dict[str, None]] = {}
    for names in users.values():
        for name in names if len(names) > 1 else ():
            twins.setdefault(name, {}).update(dict.fromkeys(other for other in names if other != name))
    return {name: tuple(others) for name, others in twins.items()}


def study_flags(study: Study, hashes: Mapping[str, Mapping[str, str]]) -> dict[str, list[tuple[str, str]]]:
    """Flags (name and message) of samples that follow from the description as a whole.

    Parameters
    ----------
    study : Study
    hashes : mapping of str to mapping of str to str
        As of `same_patterns`.
    """
    others, dose = same_patterns(hashes), _dose_words(study)
    flags = {}
    for sample in study.samples:
        said = {
            SAME_PATTERN: _same_words(others.get(sample.name, ())),
            TREATMENT_IN_KELVIN: _treatment_words(sample.treatment),
            DOSE_IN_KELVIN: "" if sample.treatment is None else dose,
        }
        flags[sample.name] = [(flag, words) for flag, words in said.items() if words]
    return flags


def _same_words(names: Sequence[str]) -> str:
    """Say of which other samples a pattern is also."""
    return "" if not names else (
        f"the content of its pattern file is also that of {_few(names)}: one measurement, and no replicates; the names "
        "do not make it several wires. Correct the path, or leave out what stands twice"
    )


def _few(names: Sequence[str]) -> str:
    return ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")


def _treatment_words(treatment: History | None) -> str:
    """Say that temperatures of a treatment look like kelvin; empty where they do not."""
    words = "" if treatment is None else kelvin_words(treatment.peak_c)
    return f"{words}; treatments are in °C, and doses, strain and the site of tantalum follow them" if words else ""


def _dose_words(study: Study) -> str:
    """Say that the reference of the dose looks like kelvin; empty where it does not."""
    told = {key: getattr(study.dose, key) for key in ("reference_c", "above_c")}
    said = {key: kelvin_words(value) for key, value in told.items() if value is not None}
    return "; ".join(f"{key} of [dose]: {words}" for key, words in said.items() if words)


def remarks(study: Study) -> list[str]:
    """What to say before a run, a line each: fractions, absent files, one pattern under several names, kelvin."""
    said = _like_fractions(study)
    said += [] if study.lacks_calibration else [f"{where}: {words}" for where, words in study.absent]
    groups = dict.fromkeys(tuple(sorted((name, *others))) for name, others in same_patterns(_hashes(study)).items())
    same = "one pattern file under several names is one measurement, no replicates"
    return [*said, *(f"samples {_few(group)}: {same}" for group in groups), *_in_kelvin(study)]


def _like_fractions(study: Study) -> list[str]:
    """Contents of dopants that look like fractions."""
    return [
        f"lots.{name}.dopant_at_percent: {element} = {content:g} reads {content:g} at.%; "
        f"did you mean {100.0 * content:g}?"
        for name, lot in {sample.lot.name: sample.lot for sample in study.samples}.items()
        for element, content in lot.dopant_at_percent.items()
        if 0.0 < content < LEAST_AT_PERCENT
    ]


def _in_kelvin(study: Study) -> list[str]:
    """Temperatures of furnaces and specimens that look like kelvin, each once with the samples it holds for."""
    names_by_words: dict[str, list[str]] = {}
    for sample in study.samples:
        if words := _treatment_words(sample.treatment):
            names_by_words.setdefault(f"treatment: {words}", []).append(sample.name)
        if (told := sample.temperature_c) is not None and (words := in_kelvin_words(told)):
            names_by_words.setdefault(f"temperature_c: {told:g} °C{words}", []).append(sample.name)
    of_samples = [f"{_few(names)}, {words}" for words, names in names_by_words.items()]
    return [*of_samples, *filter(None, [_dose_words(study)])]


def _hashes(study: Study) -> dict[str, dict[str, str]]:
    """Hashes of pattern files of equal size; others cannot be the same."""
    sizes: dict[Path, int] = {}
    users = Counter(path for sample in study.samples for path in sample.pattern)
    for path in users:
        with suppress(OSError):
            sizes[path] = path.stat().st_size
    often = Counter(sizes.values())
    digests: dict[str, dict[str, str]] = {}
    for sample in study.samples:
        for path in sample.pattern:
            if often[sizes.get(path, -1)] > 1 or users[path] > 1:
                with suppress(OSError):
                    digests.setdefault(sample.name, {})[str(path)] = file_hash(path)
    return digests
