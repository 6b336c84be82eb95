"""Where an element begins to absorb.

`absorption_edges` lists the K and L edges of an element, `nearest_edge` tells how far a photon energy is from
the closest edge of a specimen. Within `EDGE_REACH_EV` of an edge no table of f' and f'' holds; see
`MeasuredDispersion`. M edges are left out: all but those of the actinides lie below the softest tube here, Cr.
"""

import math
import tomllib
from collections.abc import Iterable
from functools import lru_cache
from importlib.resources import files

from xrdorder.exceptions import UnknownNameError, ValidityError

#: Distance from an edge, eV, within which calculated f' and f'' are not to be trusted: they know neither white
#: lines and fine structure nor the chemical shift (rule of thumb, no source).
EDGE_REACH_EV = 30.0

_NAMES = ("K", "L1", "L2", "L3")


@lru_cache(maxsize=1)
def _table() -> dict[str, tuple[tuple[str, float], ...]]:
    text = (files("xrdorder.xrays") / "edges.toml").read_text(encoding="utf-8")
    return {
        element: tuple(zip(_NAMES, map(float, energies), strict=False))
        for element, energies in tomllib.loads(text).items()
    }


def absorption_edges(element: str) -> tuple[tuple[str, float], ...]:
    """Return the K and L edges of an element.

    Parameters
    ----------
    element : str
        Symbol without charge, "Nb".

    Returns
    -------
    tuple of (str, float)
        Name and energy in eV, K first, as far as the atom has them (Elam, Ravel & Sieber, Radiat. Phys. Chem. 63
        (2002) 121; good to a few eV).

    Raises
    ------
    UnknownNameError
        If there is no such element.

    Examples
    --------
    >>> absorption_edges("Nb")
    (('K', 18986.0), ('L1', 2698.0), ('L2', 2465.0), ('L3', 2371.0))
    """
    edges = _table().get(element)
    if edges is None:
        raise UnknownNameError(
            f"element '{element}': no absorption edge of that name; write a plain symbol such as Nb or Sn"
        )
    return edges


def nearest_edge(elements: Iterable[str], energy_ev: float) -> tuple[str, str, float]:
    """Return the edge of a specimen that is closest to a photon energy.

    Parameters
    ----------
    elements : iterable of str
        Symbols of what the beam meets.
    energy_ev : float
        Photon energy, eV.

    Returns
    -------
    element : str
        Whose edge it is.
    edge : str
        "K", "L1", "L2" or "L3".
    distance_ev : float
        Photon energy less edge, eV; negative below the edge.

    Raises
    ------
    UnknownNameError
        If an element does not exist.
    ValidityError
        If there is no element, or the energy is not positive.

    Examples
    --------
    Mo Kα1 stays 1.5 keV below the K edge of niobium, where f' is large but still calculable:

    >>> nearest_edge(["Nb", "Sn"], 17479.5)
    ('Nb', 'K', -1506.5)
    """
    if not (math.isfinite(energy_ev) and energy_ev > 0.0):
        raise ValidityError(f"nearest absorption edge: energy {energy_ev} eV must be positive")
    distances = [
        (element, edge, energy_ev - energy)
        for element in elements
        for edge, energy in absorption_edges(element)
    ]
    if not distances:
        raise ValidityError("nearest absorption edge: no element given; name those of the specimen")
    return min(distances, key=lambda distance: abs(distance[2]))
