"""What a space group says: its system, and where equivalent atoms are.

The tables of space groups are gemmi's; this module is the only one beside `reflections` that asks them.
"""

import gemmi
import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.exceptions import PhaseError

Array = NDArray[np.float64]

#: Images of one atom closer than this (nm) are the same atom on a special position, written with few digits.
SAME_ATOM_NM = 0.005


def space_group(name: str) -> gemmi.SpaceGroup:
    """Return the space group of a Hermann-Mauguin symbol or a number.

    Where a symbol has two origins or two sets of axes, ":1", ":2", ":H" or ":R" behind it chooses; without,
    the first origin and hexagonal axes are meant.

    Raises
    ------
    PhaseError
        If no space group has that name.
    """
    group = gemmi.find_spacegroup_by_name(name)
    if group is None and name.strip().isdigit() and 1 <= int(name) <= 230:
        group = gemmi.find_spacegroup_by_number(int(name))
    if group is None:
        raise PhaseError(
            f"space group '{name}' is not known; write a Hermann-Mauguin symbol such as 'P m -3 n'"
        )
    return group


def system_of(group: gemmi.SpaceGroup) -> str:
    """Return the crystal system in the words of `xrdorder.crystals.free_lengths`."""
    if group.ext == "R":
        return "rhombohedral"
    return str(group.crystal_system_str())


def distances_nm(first: ArrayLike, second: ArrayLike, cell: gemmi.UnitCell) -> Array:
    """Return distances of fractional positions (m, 3) and (n, 3) by way of the nearest cell: nm, (m, n)."""
    step = np.asarray(first, dtype=np.float64)[:, None, :] - np.asarray(second, dtype=np.float64)[None, :, :]
    step -= np.round(step)
    to_nm = 0.1 * np.array(cell.orth.mat.tolist())
    return np.asarray(np.linalg.norm(step @ to_nm.T, axis=-1), dtype=np.float64)


def equivalent_positions(group: gemmi.SpaceGroup, position: ArrayLike, cell: gemmi.UnitCell) -> Array:
    """Return all positions in the cell that symmetry makes of one.

    Parameters
    ----------
    group : gemmi.SpaceGroup
        Space group.
    position : array_like, shape (3,)
        Fractional coordinates of one atom.
    cell : gemmi.UnitCell
        Cell (angstrom), for telling a special position from two atoms.

    Returns
    -------
    ndarray, shape (m, 3)
        Fractional coordinates, in [0, 1). An atom written near a special position (0.3333 for 1/3) is put
        on it.

    Raises
    ------
    PhaseError
        If images coincide in a way that no site of the group allows.
    """
    start = np.asarray(position, dtype=np.float64)
    operations = list(group.operations())
    images = np.array([op.apply_to_xyz(list(start)) for op in operations])
    clusters: list[list[Array]] = []
    for image in images:
        for cluster in clusters:
            if distances_nm([image], [cluster[0]], cell)[0, 0] < SAME_ATOM_NM:
                step = image - cluster[0]
                cluster.append(cluster[0] + step - np.round(step))
                break
        else:
            clusters.append([image])
    if len({len(cluster) for cluster in clusters}) != 1:
        raise PhaseError(
            f"position {tuple(float(x) for x in start)}: it lies close to a special position of "
            f"{group.hm} but not on it; write it exactly, fractions as '1/3'"
        )
    means = np.array([np.mean(cluster, axis=0) for cluster in clusters])
    # Rounding first, so that 0.9999999999 becomes 0 and not the far end of the cell.
    return np.round(means, 12) % 1.0
