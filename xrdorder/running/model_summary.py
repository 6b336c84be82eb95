"""What the model of a fit was made of, in words: what the user chose and what the fit took in because it was asked."""

import math
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from xrdorder.crystals.harmonics import TEXTURE_ORDERS
from xrdorder.forward_model.roles import Kind
from xrdorder.results.parameters import StoredParameters
from xrdorder.results.sample_file import StoredSample
from xrdorder.xrays import radiation, radiation_names
from xrdorder.xrays.contamination import contamination_lines

ASKED = " (asked for)"

_OF_A15 = (
    (Kind.DEPTH, "depth_gradient", "A15 lattice that changes with depth"),
    (Kind.ELASTIC, "elastic_shifts", "elastic shifts of A15 grains"),
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
    fitted = StoredParameters.of(sample)
    if not fitted.roles:
        return ()
    choices: Mapping[str, Any] = sample.provenance.options.get("fit") or {}
    phases = _phases(sample)
    words = [f"phases {', '.join(phases)}"] if phases else []
    words += _lattice(sample, choices, fitted)
    words += _texture(choices, fitted, phases)
    for kind, text in ((Kind.ANISOTROPY, "microstrain by direction"), (Kind.B_ISO, "displacement parameters")):
        of = [phase for phase in phases if fitted.decided(kind, owner=phase)]
        if of:
            words.append(f"{text} of {', '.join(of)}")
    words += [f"{_contamination(name)} of the tube" for name in fitted.decided(Kind.CONTAMINATION, owner="")]
    return (*words, *_given(sample, choices))


def _phases(sample: StoredSample) -> list[str]:
    """Phases found."""
    table = sample.groups.get("phases")
    if table is None:
        return []
    names = [str(name) for name in table["phase"].values]
    pairs = zip(names, table["present"].values if "present" in table else [1] * len(names), strict=True)
    return [name for name, there in pairs if there]


def _lattice(sample: StoredSample, choices: Mapping[str, Any], fitted: StoredParameters) -> list[str]:
    words, a15 = [], fitted.a15
    chosen = choices.get("lattice_distribution", "auto")
    if math.isfinite(sample.values.get("rich_share", math.nan)):
        words.append("two populations of A15" + ASKED * (chosen == "two-populations"))
    elif fitted.decided(Kind.TAIL, owner=a15):
        words.append("tail of the A15 lattice parameters" + ASKED * (chosen == "tail"))
    elif chosen == "single":
        words.append("one A15 lattice parameter" + ASKED)
    elif chosen != "auto":
        words.append(f"not in: {chosen} of the A15 lattice, though asked for")
    for kind, key, text in _OF_A15:
        if choices.get(key):
            words.append(f"{text}{ASKED}" if fitted.decided(kind, owner=a15) else f"not in: {text}, though asked for")
    return words


def _texture(choices: Mapping[str, Any], fitted: StoredParameters, phases: Sequence[str]) -> list[str]:
    words = []
    axes = choices.get("texture_axes") or {}
    for name in phases:
        if fitted.decided(Kind.MARCH, owner=name):
            normal = f" about ({' '.join(map(str, axes[name]))})" if name in axes else ""
            words.append(f"texture of {name}{normal} by March's function{ASKED}")
        elif harmonics := fitted.decided(Kind.HARMONIC, owner=name):  # a higher order comes on top of the lower ones
            order = TEXTURE_ORDERS[len(harmonics) - 1]
            words.append(f"texture of {name} by cubic harmonics up to order {order}")
    missing = [name for name in axes if not fitted.decided(Kind.MARCH, owner=name)]
    return [*words, *(f"not in: texture of {name}, though asked for" for name in missing)]


@cache
def _contamination_names() -> dict[str, str]:
    """Contaminating lines of all radiations, by the parameter that says how strong they are."""
    return {line.share_name: line.name for name in radiation_names() for line in contamination_lines(radiation(name))}


def _contamination(name: str) -> str:
    return _contamination_names().get(name, name)


_GIVEN = (
    ("roughness", "surface roughness p = {0[0]:g}, q = {0[1]:g}"),
    ("mu_t", "µt = {0:g}"),
    ("mu_r", "µR = {0:g}"),
    ("particle_size_um", "microabsorption of particles of {0:g} µm"),
)
_NOT_LOOKED_FOR = {"tube_lines": "K-beta and tungsten lines of the tube", "identify_phases": "further phases"}


def _given(sample: StoredSample, choices: Mapping[str, Any]) -> list[str]:
    """What was given and is held, and what was not looked for."""
    words = [f"{text.format(choices[key])} (as given)" for key, text in _GIVEN if choices.get(key) is not None]
    if choices.get("measured_dispersion"):
        words.append(f"f' and f'' of {', '.join(choices['measured_dispersion'])} (as given)")
    if standard := sample.provenance.options.get("internal_standard"):
        words.append(f"angles by {standard} mixed in")
    return [*words, *(f"not looked for: {text}" for key, text in _NOT_LOOKED_FOR.items() if choices.get(key) is False)]
