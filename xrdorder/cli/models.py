"""What the models of a study's fits were made of, for the terminal."""

import shutil
import textwrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import xarray as xr

_MODELS = 6  # told apart before the rest is counted
_SAMPLES = 4  # named with a model before the rest are counted


def model_text(results: "xr.Dataset") -> str:
    """Each model once, with the samples it holds for; the commonest first. Empty where nothing was fitted."""
    found: dict[str, list[str]] = {}
    for name, words in zip(results["sample"].values, results["model"].values, strict=True):
        if words:
            found.setdefault(str(words), []).append(str(name))
    models = sorted(found.items(), key=lambda item: -len(item[1]))
    lines = [f"model: {text} ({_named(names)})" for text, names in models[:_MODELS]]
    if len(models) > _MODELS:
        lines.append(f"and {len(models) - _MODELS} more models; xrdorder explain shows that of a sample")
    width = min(max(shutil.get_terminal_size((100, 24)).columns, 60), 120)
    return "".join(textwrap.fill(line, width, subsequent_indent="  ", break_on_hyphens=False) + "\n" for line in lines)


def _named(names: list[str]) -> str:
    more = len(names) - _SAMPLES
    return ", ".join(names[:_SAMPLES]) + (f" and {more} more" if more > 0 else "")
