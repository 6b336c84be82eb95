"""What the models of a study's fits were made of, for the terminal."""

import shutil
import textwrap
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from xrdorder.exceptions import StudyError

if TYPE_CHECKING:
    import xarray as xr

_MODELS = 6  # told apart before the rest is counted
_SAMPLES = 4  # named with a model before the rest are counted


def model_text(study: Path, results: "xr.Dataset") -> str:
    """Each model once, with the samples it holds for; the commonest first. Empty where nothing was fitted."""
    from xrdorder.studies.modelled import model_words
    from xrdorder.studies.run import RESULTS, SAMPLES, sample_file
    from xrdorder.studies.store import read_sample

    found: dict[str, list[str]] = {}
    for name in map(str, results["sample"].values):
        with suppress(StudyError):  # a sample that failed may have no file
            words = model_words(read_sample(sample_file(study / RESULTS / SAMPLES, name)))
            if words:
                found.setdefault("; ".join(words), []).append(name)
    models = sorted(found.items(), key=lambda item: -len(item[1]))
    lines = [f"model: {text} ({_named(names)})" for text, names in models[:_MODELS]]
    if len(models) > _MODELS:
        lines.append(f"and {len(models) - _MODELS} more models; xrdorder explain shows that of a sample")
    width = min(max(shutil.get_terminal_size((100, 24)).columns, 60), 120)
    return "".join(textwrap.fill(line, width, subsequent_indent="  ", break_on_hyphens=False) + "\n" for line in lines)


def _named(names: list[str]) -> str:
    more = len(names) - _SAMPLES
    return ", ".join(names[:_SAMPLES]) + (f" and {more} more" if more > 0 else "")
