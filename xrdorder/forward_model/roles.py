"""Whose a parameter of the fit is and what it stands for: known from where it is made, never read off its name."""

import re
from collections.abc import Iterable
from enum import StrEnum
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from xrdorder.exceptions import FitError

if TYPE_CHECKING:
    import lmfit


class Kind(StrEnum):
    """What a parameter stands for."""

    BACKGROUND = "background"
    AXIAL = "axial divergence"
    OFFSET = "two-theta offset"
    PLACE = "specimen displacement"
    TRANSPARENCY = "transparency"
    WAVELENGTH = "wavelength"
    EMISSION = "emission lines"
    CONTAMINATION = "contaminating emission lines"
    SCALE = "scale"
    AREA = "line area"
    LENGTH = "lattice parameter"
    WIDTH = "line width"
    CONTRAST = "order contrast"
    B_ISO = "displacement parameter"
    HARMONIC = "cubic harmonic"
    MARCH = "March's function"
    ANISOTROPY = "strain anisotropy"
    TAIL = "lattice tail"
    ELASTIC = "elastic shift"
    DEPTH = "depth slope"


TEXTURE = (Kind.HARMONIC, Kind.MARCH)


class Role(NamedTuple):
    """Place of a parameter in the model.

    Attributes
    ----------
    owner
        Name of the phase; empty for what all phases share.
    kind
        What it stands for.
    """

    owner: str
    kind: Kind


def parameter_name(owner: str, term: str) -> str:
    """Name of a parameter of a phase, whatever signs the name of the phase and the term hold.

    Examples
    --------
    >>> parameter_name("cu-sn", "scale"), parameter_name("sic", "b_iso_Si-2b-1_nm2"), parameter_name("2h", "a_nm")
    ('cu_sn_scale', 'sic_b_iso_Si_2b_1_nm2', '_2h_a_nm')
    """
    name = re.sub(r"\W", "_", f"{owner}_{term}", flags=re.ASCII)
    return name if name.isidentifier() else f"_{name}"


def distinct(labels: Iterable[str]) -> list[str]:
    """Give labels that stay apart as parts of parameter names; a number where two would not.

    Examples
    --------
    >>> distinct(["Nb-1", "Nb 1", "Sn"])
    ['Nb_1', 'Nb_1_2', 'Sn']
    """
    names: list[str] = []
    for label in labels:
        plain = name = re.sub(r"\W", "_", label, flags=re.ASCII)
        count = 1
        while name in names:
            count += 1
            name = f"{plain}_{count}"
        names.append(name)
    return names


def add_parameter(
    parameters: "lmfit.Parameters",
    name: str,
    role: Role,
    value: float,
    low: float = -np.inf,
    high: float = np.inf,
) -> None:
    """Add a parameter, held, that is not there yet; populations of one phase share some.

    Raises
    ------
    FitError
        Another phase has a parameter of that name: names of two phases differ in signs alone.
    """
    if name not in parameters:
        parameters.add(name, value=value, min=low, max=high, vary=False, user_data=role)
    elif role_of(parameters, name) != role:
        raise FitError(
            f"fit: phases '{role.owner}' and '{role_of(parameters, name).owner}' have names too much alike "
            f"(both would have a parameter {name}); rename one of them"
        )


def role_of(parameters: "lmfit.Parameters", name: str) -> Role:
    """Tell whose a parameter is and what it stands for."""
    return Role(*parameters[name].user_data)
