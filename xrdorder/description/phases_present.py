"""Choices of the fit about phases and elements that lead nowhere, which the fit would pass over in silence."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from xrdorder.crystals import Phase, phase
from xrdorder.crystals.standards import standard
from xrdorder.exceptions import XrdorderError
from xrdorder.files.checked_table import Context, Problem, typed
from xrdorder.xrays.scattering import GEMMI_TABLE, MeasuredDispersion

SEPARATE, NIOBIUM_TANTALUM = ("nb", "ta"), "nb-ta"
USUAL_PHASES = ("nb3sn", "nb", "cu-sn")
"""Names of the fit, repeated because checking a description must not load it (a test holds them equal)."""


def phase_argument(name: str, folder: Path) -> str:
    """Give a path (it has an ending or a separator) from the study folder; a catalogue name as it is."""
    if name.lower().endswith((".cif", ".toml")) or "/" in name or "\\" in name:
        return str(folder / name)
    return name


@dataclass(frozen=True)
class Present:
    """What choices of the fit may speak of; None where it is not known because something else is wrong."""

    phases: tuple[str, ...] | None
    standards: frozenset[str]
    elements: frozenset[str] | None

    @classmethod
    def of(cls, samples: Sequence[Mapping[str, Any]], context: Context) -> "Present":
        """Phases asked for and of internal standards in any of the samples; elements of them and of the dopants.

        Parameters
        ----------
        samples : sequence of mapping
            As they were written, with what the defaults add.
        context : Context
        """
        asked, mixed_in, dopants = _asked(context), list[Phase](), set[str]()
        for sample in samples:
            with suppress(XrdorderError):
                mixed_in.append(phase(standard(typed(sample.get("internal_standard"), str)).phase))
            lot = typed(context.written("lots").get(typed(sample.get("lot"), str)), dict)
            dopants |= typed(lot.get("dopant_at_percent"), dict).keys()
        names = None if asked is None else tuple(phase.name for phase in asked)
        standards = frozenset(phase.name for phase in mixed_in)
        phases = [*(asked or ()), *mixed_in]
        # atoms not known: any may be there
        if asked is None or not samples or not all(phase.sites for phase in phases):
            return cls(names, standards, None)
        elements = {element for phase in phases for site in phase.sites for element in site.occupancy}
        return cls(names, standards, frozenset(elements | dopants))


def choice_problems(choices: object, present: Present) -> Iterator[Problem]:
    """Find choices that lead nowhere; locations begin with the key ``fit``."""
    told = typed(choices, dict)
    for name in typed(told.get("texture_axes"), dict):
        if complaint := _axis_complaint(name, present):
            yield ("fit", "texture_axes", name), complaint
    for element, numbers in typed(told.get("measured_dispersion"), dict).items():
        at = ("fit", "measured_dispersion", element)
        try:
            MeasuredDispersion(GEMMI_TABLE, {element: tuple(numbers)})
        except XrdorderError as error:
            yield at, str(error)
            continue
        except (TypeError, ValueError):
            continue  # no two numbers: the models complain
        if present.elements is not None and element not in present.elements:
            yield (
                at,
                f"no atom of {element} is in the phases looked for ({', '.join(present.phases or ())}) or among the "
                "dopants; add the phase that holds it, or remove this",
            )


def _asked(context: Context) -> list[Phase] | None:
    """Phases that are looked for; None where one of them is not known."""
    if "asked" not in context.read:
        names = typed(context.table.get("phases"), list) or USUAL_PHASES
        try:
            context.read["asked"] = [phase(phase_argument(name, context.folder)) for name in names]
        except (XrdorderError, TypeError, AttributeError):
            context.read["asked"] = None
    phases: list[Phase] | None = context.read["asked"]
    return phases


def _axis_complaint(name: str, present: Present) -> str:
    """Say why no phase fitted could have this texture; empty where one can, or where that is not known."""
    asked = present.phases
    if asked is None:
        return ""
    both = set(SEPARATE) <= set(asked)
    if name in SEPARATE and both:
        return f"niobium and tantalum are fitted together; name '{NIOBIUM_TANTALUM}' instead"
    if name in (*asked, *present.standards) or (name == NIOBIUM_TANTALUM and both):
        return ""
    if name == NIOBIUM_TANTALUM:
        return "niobium and tantalum are not both asked for; name the one that is, or add the other to the phases"
    try:
        phase(name)
    except XrdorderError as error:
        return str(error)
    return f"is not among the phases looked for ({', '.join(asked)}); add it to the phases, or remove this axis"
