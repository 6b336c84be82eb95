"""What the model of a fit was made of, in words: what the user chose and what the fit took in because it was asked."""

import math
import re
from collections.abc import Mapping
from functools import cache
from typing import Any

from xrdorder.studies.store import StoredSample
from xrdorder.xrays import radiation, radiation_names
from xrdorder.xrays.stray import stray_lines

ASKED = " (asked for)"

_OF_A15 = (
    ("depth_slope", "depth_gradient", "A15 lattice that changes with depth"),
    ("elastic_shift", "elastic_shifts", "elastic shifts of A15 grains"),
)


def model_words(sample: StoredSample) -> tuple[str, ...]:
    """Say what stands in the model beyond ideal powder lines of the phases.

    Parameters
    ----------
    sample : StoredSample
        Read with its groups.

    Returns
    -------
    tuple of str
        Phases first; empty where the fit is not stored. What was asked for and did not come in is said as well.
    """
    table = sample.groups.get("parameters")
    if table is None or "parameter" not in table.coords:
        return ()
    names = [str(name) for name in table["parameter"].values]
    free = {str(name) for name in table["free"].values}
    if "vary" in table:
        free |= {name for name, so in zip(names, table["vary"].values, strict=True) if so}
    choices: Mapping[str, Any] = sample.provenance.options.get("fit") or {}
    phases = _phases(sample)
    a15 = next((name.removesuffix("_order_contrast") for name in names if name.endswith("_order_contrast")), "")
    words = [f"phases {', '.join(phases.values())}"] if phases else []
    words += _lattice(sample, choices, free, a15)
    words += _texture(choices, free, phases)
    for ending, said in (("strain_anisotropy", "microstrain by direction"), ("b_iso", "displacement parameters")):
        of = [phase for key, phase in phases.items() if _any(free, rf"{key}_{ending}(_\w+)?")]
        if of:
            words.append(f"{said} of {', '.join(of)}")
    strays = [name for name in names if name.startswith("stray_") and name in free]
    words += [f"{_stray(name)} of the tube" for name in strays]
    return (*words, *_given(sample, choices))


def _phases(sample: StoredSample) -> dict[str, str]:
    """Phases found, by the beginning of their parameters' names."""
    table = sample.groups.get("phases")
    if table is None:
        return {}
    names = [str(name) for name in table["phase"].values]
    pairs = zip(names, table["present"].values if "present" in table else [1] * len(names), strict=True)
    return {re.sub(r"\W", "_", name): name for name, there in pairs if there}


def _any(names: set[str], pattern: str) -> bool:
    return any(re.fullmatch(pattern, name) for name in names)


def _lattice(sample: StoredSample, choices: Mapping[str, Any], free: set[str], a15: str) -> list[str]:
    words = []
    chosen = choices.get("lattice_distribution", "auto")
    if math.isfinite(sample.values.get("rich_share", math.nan)):
        words.append("two populations of A15" + ASKED * (chosen == "two-populations"))
    elif f"{a15}_lattice_tail_nm" in free:
        words.append("tail of the A15 lattice parameters" + ASKED * (chosen == "tail"))
    elif chosen == "single":
        words.append("one A15 lattice parameter" + ASKED)
    elif chosen != "auto":
        words.append(f"not in: {chosen} of the A15 lattice, though asked for")
    for name, key, said in _OF_A15:
        if choices.get(key):
            words.append(f"{said}{ASKED}" if f"{a15}_{name}" in free else f"not in: {said}, though asked for")
    return words


def _texture(choices: Mapping[str, Any], free: set[str], phases: Mapping[str, str]) -> list[str]:
    words = []
    axes = {re.sub(r"\W", "_", name): (name, axis) for name, axis in (choices.get("texture_axes") or {}).items()}
    for key, name in phases.items():
        if f"{key}_march_r" in free:
            normal = f" about ({' '.join(map(str, axes[key][1]))})" if key in axes else ""
            words.append(f"texture of {name}{normal} by March's function{ASKED}")
        elif orders := sorted(int(n.rpartition("_")[2]) for n in free if re.fullmatch(rf"{key}_texture_\d+", n)):
            words.append(f"texture of {name} by cubic harmonics up to order {orders[-1]}")
    missing = [name for key, (name, _) in axes.items() if f"{key}_march_r" not in free]
    return [*words, *(f"not in: texture of {name}, though asked for" for name in missing)]


@cache
def _stray_names() -> dict[str, str]:
    """Stray lines of all radiations, by the parameter that says how strong they are."""
    return {line.share_name: line.name for name in radiation_names() for line in stray_lines(radiation(name))}


def _stray(name: str) -> str:
    return _stray_names().get(name, name)


def _given(sample: StoredSample, choices: Mapping[str, Any]) -> list[str]:
    """What was given and is held, and what was not looked for."""
    words = []
    if choices.get("roughness"):
        p, q = choices["roughness"]
        words.append(f"surface roughness p = {p:g}, q = {q:g} (as given)")
    words += [f"{said} = {choices[key]:g} (as given)" for key, said in (("mu_t", "µt"), ("mu_r", "µR"))
              if choices.get(key) is not None]  # fmt: skip
    if choices.get("particle_size_um") is not None:
        words.append(f"microabsorption of particles of {choices['particle_size_um']:g} µm (as given)")
    if choices.get("measured_dispersion"):
        words.append(f"f' and f'' of {', '.join(choices['measured_dispersion'])} (as given)")
    if standard := sample.provenance.options.get("internal_standard"):
        words.append(f"angles by {standard} mixed in")
    for key, said in (("stray_radiation", "stray lines of the tube"), ("seek_phases", "further phases")):
        if choices.get(key) is False:
            words.append(f"not looked for: {said}")
    return words
