"""What a description says that may be so, but is more likely a slip: told as flags, never refused.

None of it needs a fit. `remarks` says it before a run, `xrdorder.running.flags.with_study_flags` puts it into the
results.
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
    names_by_digest: dict[str, dict[str, None]] = {}
    for names in users.values():
        for name in names if len(names) > 1 else ():
            names_by_digest.setdefault(name, {}).update(dict.fromkeys(other for other in names if other != name))
    return {name: tuple(of) for name, of in names_by_digest.items()}


def same_words(names: Sequence[str]) -> str:
    """Say of which other samples a pattern is also."""
    return (
        f"the content of its pattern file is also that of {_few(names)}: one measurement, and no replicates; the names "
        "do not make it several wires. Correct the path, or leave out what stands twice"
    )


def _few(names: Sequence[str]) -> str:
    return ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")


def treatment_words(treatment: History | None) -> str:
    """Say that temperatures of a treatment look like kelvin; empty where they do not."""
    words = "" if treatment is None else kelvin_words(treatment.peak_c)
    return f"{words}; treatments are in °C, and doses, strain and the site of tantalum follow them" if words else ""


def dose_words(study: Study) -> str:
    """Say that the reference of the dose looks like kelvin; empty where it does not."""
    said = [
        f"{key} of [dose]: {words}"
        for key, value in (("reference_c", study.dose.reference_c), ("above_c", study.dose.above_c))
        if value is not None and (words := kelvin_words(value))
    ]
    return "; ".join(said)


def remarks(study: Study) -> list[str]:
    """What to say before a run, a line each: fractions, absent files, one pattern under several names, kelvin."""
    said = _like_fractions(study)
    said += [] if study.lacks_calibration else [f"{where}: {words}" for where, words in study.absent]
    hashes = _hashes(study)
    for group in dict.fromkeys(tuple(sorted((name, *others))) for name, others in same_patterns(hashes).items()):
        said.append(f"samples {_few(group)}: one pattern file under several names is one measurement, no replicates")
    said += _in_kelvin(study)
    return said


def _like_fractions(study: Study) -> list[str]:
    """Contents of dopants that look like fractions."""
    lots = {sample.lot.name: sample.lot for sample in study.samples}
    return [
        f"lots.{name}.dopant_at_percent: {element} = {content:g} reads {content:g} at.%; "
        f"did you mean {100.0 * content:g}?"
        for name, lot in lots.items()
        for element, content in lot.dopant_at_percent.items()
        if 0.0 < content < LEAST_AT_PERCENT
    ]


def _in_kelvin(study: Study) -> list[str]:
    """Temperatures of furnaces and specimens that look like kelvin, each once with the samples it holds for."""
    names_by_file: dict[str, list[str]] = {}
    for sample in study.samples:
        if words := treatment_words(sample.treatment):
            names_by_file.setdefault(f"treatment: {words}", []).append(sample.name)
        if (told := sample.temperature_c) is not None and (words := in_kelvin_words(told)):
            names_by_file.setdefault(f"temperature_c: {told:g} °C{words}", []).append(sample.name)
    lines = [f"{_few(names)}, {text}" for text, names in names_by_file.items()]
    return [*lines, *([words] if (words := dose_words(study)) else [])]


def _hashes(study: Study) -> dict[str, dict[str, str]]:
    """Hashes of pattern files of equal size; others cannot be the same."""
    sizes: dict[Path, int] = {}
    for path in dict.fromkeys(path for sample in study.samples for path in sample.pattern):
        with suppress(OSError):
            sizes[path] = path.stat().st_size
    often = Counter(sizes.values())
    shared = Counter(path for sample in study.samples for path in sample.pattern)
    digests: dict[str, dict[str, str]] = {}
    for sample in study.samples:
        for path in sample.pattern:
            if often[sizes.get(path, -1)] > 1 or shared[path] > 1:
                with suppress(OSError):
                    digests.setdefault(sample.name, {})[str(path)] = file_hash(path)
    return digests
