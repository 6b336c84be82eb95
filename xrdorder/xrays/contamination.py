"""Which emission lines does a tube have beside Kα?

There is Kβ, and tungsten from the filament that has settled on the anode adds its L lines. Every strong reflection
then appears, weakly, at further angles, which belong to no phase. A metal foil against Kβ leaves a mark of its own: it
absorbs the continuum on the short side of its absorption edge, so that the background has a step on the low-angle
side of each strong reflection.

`contamination_lines` and `filter_edge` tell where; numbers and their sources are in ``contamination.toml``.
"""

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any, NamedTuple

from xrdorder.xrays.edges import absorption_edges
from xrdorder.xrays.emission import HC_1998_EV_NM, HC_EV_NM, Radiation


class ContaminationComponent(NamedTuple):
    """One Lorentzian of a contaminating line.

    Attributes
    ----------
    wavelength_nm : float
        Wavelength of its maximum, nm.
    width_relative : float
        Natural full width at half maximum over energy, dimensionless.
    weight : float
        Share of the integrated intensity of the line.
    """

    wavelength_nm: float
    width_relative: float
    weight: float


@dataclass(frozen=True)
class ContaminationLine:
    """A line, or lines that come and go together, beside Kα.

    Attributes
    ----------
    name : str
        "K-beta", "W L-alpha" or "W L-beta".
    wavelength_nm : float
        Wavelength of its top, nm: where to look for it.
    lines : tuple of ContaminationComponent
        Lorentzians; weights sum to 1.
    about : str
        Where it comes from and what lets it through, one sentence for the reader of a result.
    """

    name: str
    wavelength_nm: float
    lines: tuple[ContaminationComponent, ...]
    about: str

    @property
    def share_name(self) -> str:
        """Name of the fit parameter that says how strong it is: "stray_k_beta_share"."""
        return f"stray_{self.name.lower().replace(' ', '_').replace('-', '_')}_share"


@dataclass(frozen=True)
class FilterEdge:
    """The K edge of the metal foil that holds Kβ back.

    Attributes
    ----------
    metal : str
        Symbol, "Ni".
    energy_ev : float
        Energy of the edge, eV, good to a few eV.
    wavelength_nm : float
        Wavelength of the edge, nm.
    """

    metal: str
    energy_ev: float
    wavelength_nm: float


@lru_cache(maxsize=1)
def _table() -> dict[str, Any]:
    return tomllib.loads((files("xrdorder.xrays") / "contamination.toml").read_text(encoding="utf-8"))


def _components(entries: Sequence[Mapping[str, float]]) -> tuple[ContaminationComponent, ...]:
    total = math.fsum(entry["weight"] for entry in entries)
    return tuple(
        ContaminationComponent(
            HC_1998_EV_NM / entry["energy_ev"],
            entry["fwhm_ev"] / entry["energy_ev"],
            entry["weight"] / total,
        )
        for entry in entries
    )


def _anode(radiation: Radiation) -> dict[str, Any] | None:
    """Return what is known of the anode; None where a monochromator leaves Kα1 alone or no tube is named."""
    anode: dict[str, Any] | None = _table()["anode"].get(radiation.name.removesuffix("-ka"))
    return anode


def contamination_lines(radiation: Radiation) -> tuple[ContaminationLine, ...]:
    """Return the lines that may accompany a radiation.

    Parameters
    ----------
    radiation : Radiation
        As `xrdorder.xrays.radiation` returns it.

    Returns
    -------
    tuple of ContaminationLine
        Kβ of the anode, tungsten Lα and Lβ. Empty for Kα1 alone ("cu-ka1"), because a crystal that separates the two
        Kα lines lets none of these pass, and for a bare wavelength, whose tube is not known.

    Examples
    --------
    >>> from xrdorder.xrays import radiation
    >>> for line in contamination_lines(radiation("cu-ka")):
    ...     print(f"{line.name} {line.wavelength_nm:.5f}")
    K-beta 0.13922
    W L-alpha 0.14764
    W L-beta 0.12818
    """
    anode = _anode(radiation)
    if anode is None:
        return ()
    beta = ContaminationLine(
        "K-beta",
        HC_1998_EV_NM / anode["peak_ev"],
        _components(anode["lines"]),
        f"K-beta of the {anode['metal']} anode, {100.0 * anode['ratio']:.0f} % of K-alpha when nothing holds it back; "
        f"a {anode['filter']} filter, a monochromator or a detector that tells energies apart weakens it",
    )
    return (
        beta,
        *(
            ContaminationLine(
                entry["name"],
                HC_1998_EV_NM / entry["peak_ev"],
                _components(entry["lines"]),
                "tungsten from the filament on the anode: an old tube; a monochromator removes it",
            )
            for entry in _table()["tungsten"]
        ),
    )


def filter_edge(radiation: Radiation) -> FilterEdge | None:
    """Return the absorption edge of the usual Kβ filter of a radiation.

    The step it makes in the background lies at ``sin(theta) = wavelength_nm / (2 d)`` for each strong line.

    Parameters
    ----------
    radiation : Radiation
        As `xrdorder.xrays.radiation` returns it.

    Returns
    -------
    FilterEdge or None
        Ni for Cu, Fe for Co, Mn for Fe, V for Cr, Zr for Mo, Pd for Ag; None for Kα1 alone and for a bare wavelength.

    Examples
    --------
    >>> from xrdorder.xrays import radiation
    >>> edge = filter_edge(radiation("cu-ka"))
    >>> print(f"{edge.metal} {edge.wavelength_nm:.4f}")
    Ni 0.1488
    """
    anode = _anode(radiation)
    if anode is None:
        return None
    metal = str(anode["filter"])
    energy = dict(absorption_edges(metal))["K"]
    return FilterEdge(metal, energy, HC_EV_NM / energy)
