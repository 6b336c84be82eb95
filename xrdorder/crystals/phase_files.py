"""Reading phases from TOML and CIF, with every mistake told in one line.

`xrdorder.crystals.catalogue` describes the TOML format for the person who writes one.
"""

import math
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import gemmi
import numpy as np
from numpy.typing import NDArray

from xrdorder.crystals.phase import Order, Phase, Site
from xrdorder.crystals.symmetry import (
    SAME_ATOM_NM,
    distances_nm,
    equivalent_positions,
    space_group,
    system_of,
)
from xrdorder.crystals.unit_cell import all_lengths, free_lengths
from xrdorder.exceptions import PhaseError, UnknownNameError
from xrdorder.files import read_bytes, toml_table
from xrdorder.files.cif import read_document
from xrdorder.xrays.scattering import GEMMI_TABLE

Array = NDArray[np.float64]

#: Displacement parameter where a file gives none, nm² (0.6 angstrom², common practice for inorganic
#: crystals at room temperature, no source), and the range in which one may be fitted.
DEFAULT_B_ISO_NM2 = 0.006
DEFAULT_B_BOUNDS_NM2 = (0.001, 0.05)
DEFAULT_RANGE_PERCENT = 1.0
#: Spacing down to which lines of a phase without atoms are used, nm: far enough to recognise it, and few enough
#: for each to have an intensity of its own.
DEFAULT_FREE_D_MIN_NM = 0.14
#: No two atoms come nearer than this, nm; the shortest bonds, those of hydrogen, are 0.074 nm.
CLOSEST_ATOMS_NM = 0.04
#: Largest sum of occupancies: one part in a thousand over full is how three thirds are written.
FULL = 1.001

_KEYS = {
    "name", "title", "space_group", "lengths_nm", "angles_deg", "range_percent", "range_nm", "sites", "order",
    "thermal_expansion_per_k", "source", "intensities", "d_min_nm",
}  # fmt: skip
_SITES_EXAMPLE = '[{ label = "2a", position = [0, 0, 0], occupancy = { Nb = 1.0 } }] (or a [[sites]] table each)'
_FREE_HINT = ', or intensities = "free" if its atoms are not known'
_SITE_KEYS = {"label", "position", "occupancy", "b_iso_nm2", "b_iso_bounds_nm2"}
_ANGLES = ("alpha", "beta", "gamma")


class _Reader:
    """Takes values out of one table and says which file, entry and value is wrong."""

    def __init__(self, where: str, table: Mapping[str, Any], allowed: Iterable[str]) -> None:
        self.where, self.table = where, table
        unknown = sorted(set(table) - set(allowed))
        if unknown:
            raise PhaseError(f"{where}: unknown entry '{unknown[0]}'; known are {', '.join(sorted(allowed))}")

    def fail(self, key: str, problem: str) -> PhaseError:
        return PhaseError(f"{self.where}: {key} = {self.table.get(key)!r}: {problem}")

    def need(self, key: str, example: str) -> Any:
        if key not in self.table:
            raise PhaseError(f"{self.where}: entry '{key}' is missing, as in {key} = {example}")
        return self.table[key]

    def text(self, key: str, default: str | None, example: str = '"..."') -> str:
        value = self.need(key, example) if default is None else self.table.get(key, default)
        if not isinstance(value, str) or not value.strip():
            raise self.fail(key, "text in quotation marks is expected")
        return value

    def number(self, key: str, value: Any, low: float, high: float) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise self.fail(key, f"a number between {low:g} and {high:g} is expected")
        return float(value)

    def pair(self, key: str, value: Any, low: float, high: float) -> tuple[float, float]:
        if not isinstance(value, list) or len(value) != 2:
            raise self.fail(key, "a pair [low, high] is expected")
        first, second = (self.number(key, x, low, high) for x in value)
        if not first < second:
            raise self.fail(key, "the first of the pair must be the smaller")
        return first, second

    def mapping(self, key: str, value: Any) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise self.fail(key, "a table in braces is expected")
        return value


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())


def short_name(text: str) -> str:
    """Return a name fit for a column of a table: lower case, hyphens for other signs."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-") or "phase"


def _fraction(value: Any) -> float | None:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value) if math.isfinite(value) else None
    match = re.fullmatch(r"\s*([-+]?\d+)\s*/\s*([1-9]\d*)\s*", value) if isinstance(value, str) else None
    return int(match[1]) / int(match[2]) if match else None


def _position(reader: _Reader) -> list[float]:
    raw = reader.need("position", '[0, "1/4", 0.305]')
    values = [_fraction(x) for x in raw] if isinstance(raw, list) else []
    good = [x for x in values if x is not None]
    if len(values) != 3 or len(good) != 3:
        raise reader.fail("position", 'three fractional coordinates are expected, as [0, "1/4", 0.305]')
    return good


def _occupancy(reader: _Reader) -> dict[str, float]:
    raw = reader.mapping("occupancy", reader.need("occupancy", "{ Nb = 1.0 }"))
    shares = {element: reader.number("occupancy", share, 0.0, 1.0) for element, share in raw.items()}
    if not shares or not 0.0 < sum(shares.values()) <= FULL:
        raise reader.fail("occupancy", "the shares of a site must add up to more than 0 and at most 1")
    for element in shares:
        _check_element(reader.where, element)
    return shares


def _check_element(where: str, element: str) -> None:
    try:
        GEMMI_TABLE.f0(element, np.zeros(1))
    except UnknownNameError as error:
        raise PhaseError(f"{where}: {error}") from None


def _lengths(reader: _Reader, system: str) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
    names = free_lengths(system)
    given = reader.mapping("lengths_nm", reader.need("lengths_nm", "{ a = 0.5289 }"))
    if set(given) != set(names):
        raise reader.fail("lengths_nm", f"a {system} cell needs {', '.join(names)} and no other")
    lengths = tuple(reader.number("lengths_nm", given[name], 0.1, 20.0) for name in names)
    percent = reader.number(
        "range_percent", reader.table.get("range_percent", DEFAULT_RANGE_PERCENT), 0.0, 10.0
    )
    low = [length * (1.0 - percent / 100.0) for length in lengths]
    high = [length * (1.0 + percent / 100.0) for length in lengths]
    ranges = reader.mapping("range_nm", reader.table.get("range_nm", {}))
    for name, value in ranges.items():
        if name not in names:
            raise reader.fail("range_nm", f"a {system} cell has {', '.join(names)} and no other")
        index = names.index(name)
        low[index], high[index] = reader.pair("range_nm", value, 0.1, 20.0)
        if not low[index] <= lengths[index] <= high[index]:
            raise reader.fail("range_nm", f"{name} = {lengths[index]} nm of lengths_nm lies outside")
    return lengths, tuple(low), tuple(high)


def _angles(reader: _Reader, group: gemmi.SpaceGroup, system: str) -> tuple[float, float, float]:
    fixed = {"hexagonal": (90.0, 90.0, 120.0), "trigonal": (90.0, 90.0, 120.0)}.get(
        system, (90.0, 90.0, 90.0)
    )
    needed: tuple[str, ...] = ()
    if system == "triclinic":
        needed = _ANGLES
    elif system == "monoclinic":
        needed = (_ANGLES["abc".index(str(group.monoclinic_unique_axis()))],)
    elif system == "rhombohedral":
        needed = ("alpha",)
    given = reader.mapping("angles_deg", reader.table.get("angles_deg", {}))
    if set(given) != set(needed):
        raise reader.fail(
            "angles_deg", f"a {system} cell needs {', '.join(needed) or 'none'} here and no other"
        )
    values = {name: reader.number("angles_deg", given[name], 20.0, 160.0) for name in needed}
    if system == "rhombohedral":
        return (values["alpha"],) * 3
    return (
        values.get("alpha", fixed[0]),
        values.get("beta", fixed[1]),
        values.get("gamma", fixed[2]),
    )


def _cell(system: str, lengths: Sequence[float], angles: Sequence[float]) -> gemmi.UnitCell:
    return gemmi.UnitCell(*(10.0 * all_lengths(system, lengths)), *angles)


def _check_apart(where: str, sites: Sequence[Site], cell: gemmi.UnitCell) -> None:
    """Refuse atoms on top of each other, unless their occupancies say that only one is there at a time."""
    for row, first in enumerate(sites):
        own = distances_nm(first.positions, first.positions, cell)[np.triu_indices(len(first.positions), 1)]
        if own.size and own.min() < CLOSEST_ATOMS_NM and 2 * sum(first.occupancy.values()) > FULL:
            raise PhaseError(
                f"{where}: site '{first.label}': equivalent positions are {own.min():.3f} nm apart, too "
                "close to a special position but not on it; write the position exactly"
            )
        for second in sites[row + 1 :]:
            apart = distances_nm(first.positions, second.positions, cell).min()
            both = sum(first.occupancy.values()) + sum(second.occupancy.values())
            if apart < CLOSEST_ATOMS_NM and both > FULL:
                raise PhaseError(
                    f"{where}: sites '{first.label}' and '{second.label}' share a place; "
                    "write one site with both elements in its occupancy"
                )


def _site(where: str, table: Any, group: gemmi.SpaceGroup, cell: gemmi.UnitCell, default_label: str) -> Site:
    if not isinstance(table, dict):
        raise PhaseError(f"{where}: a table [[sites]] is expected")
    label = table.get("label", default_label)
    reader = _Reader(f"{where} '{label}'", table, _SITE_KEYS)
    b_iso = reader.number("b_iso_nm2", table.get("b_iso_nm2", DEFAULT_B_ISO_NM2), 0.0, 1.0)
    bounds = reader.pair(
        "b_iso_bounds_nm2", table.get("b_iso_bounds_nm2", list(DEFAULT_B_BOUNDS_NM2)), 0.0, 1.0
    )
    if not bounds[0] <= b_iso <= bounds[1]:
        raise reader.fail("b_iso_nm2", f"outside its bounds {bounds[0]:g} to {bounds[1]:g} nm2")
    try:
        positions = equivalent_positions(group, _position(reader), cell)
    except PhaseError as error:
        message = str(error)
        raise (error if message.startswith(where) else PhaseError(f"{reader.where}: {message}")) from None
    positions.flags.writeable = False
    return Site(reader.text("label", default_label), positions, _occupancy(reader), b_iso, bounds)


def _sites(reader: _Reader, group: gemmi.SpaceGroup, cell: gemmi.UnitCell) -> tuple[Site, ...]:
    entries, where = reader.need("sites", _SITES_EXAMPLE + _FREE_HINT), reader.where
    if not isinstance(entries, list) or not entries:
        raise PhaseError(f"{where}: at least one table [[sites]] is expected")
    sites = tuple(
        _site(f"{where}: site {number}", entry, group, cell, f"site{number}")
        for number, entry in enumerate(entries, start=1)
    )
    labels = [site.label for site in sites]
    if len(set(labels)) != len(labels):
        raise PhaseError(f"{where}: two sites have the same label; labels are {', '.join(labels)}")
    _check_apart(where, sites, cell)
    return sites


def _free_d_min(reader: _Reader) -> float | None:
    """Return down to which spacing (nm) lines of a phase without atoms are used; None if it has atoms."""
    if "intensities" not in reader.table:
        if "d_min_nm" in reader.table:
            raise reader.fail("d_min_nm", 'only a phase without atoms, with intensities = "free", has it')
        return None
    if reader.table["intensities"] != "free":
        raise reader.fail("intensities", '"free" is expected, or leave it out and give [[sites]]')
    for key in ("sites", "order"):
        if key in reader.table:
            raise PhaseError(
                f'{reader.where}: intensities = "free" is for a phase whose atoms are not known: remove it or {key}'
            )
    value = reader.table.get("d_min_nm", DEFAULT_FREE_D_MIN_NM)
    return reader.number("d_min_nm", value, 0.05, 1.0)


def _order(where: str, table: Any, sites: Sequence[Site]) -> Order:
    if not isinstance(table, dict):
        raise PhaseError(f"{where}: a table [order] is expected")
    reader = _Reader(where, table, {"sites", "elements"})
    pairs = []
    for key, example in (("sites", '["2a", "6c"]'), ("elements", '["Sn", "Nb"]')):
        value = reader.need(key, example)
        if not isinstance(value, list) or len(value) != 2 or len(set(value)) != 2:
            raise reader.fail(key, f"two different names are expected, as {example}")
        pairs.append((str(value[0]), str(value[1])))
    for label in pairs[0]:
        if label not in {site.label for site in sites}:
            raise reader.fail("sites", f"there is no site '{label}'")
    for element in pairs[1]:
        _check_element(where, element)
    return Order(sites=pairs[0], elements=pairs[1])


def phase_from_toml(text: str, file_name: str) -> Phase:
    """Return the phase a TOML text describes.

    Parameters
    ----------
    text : str
        The text; `xrdorder.crystals.catalogue` tells what belongs in it.
    file_name : str
        Name of the file, for messages and, without its ending, for a phase without a name.

    Raises
    ------
    PhaseError
        If the text is no TOML, or an entry is missing, unknown or impossible; the message names file, entry
        and value.
    """
    try:
        table = toml_table(text)
    except tomllib.TOMLDecodeError as error:
        raise PhaseError(f"{file_name}: not valid TOML: {_one_line(error)}") from None
    reader = _Reader(file_name, table, _KEYS)
    symbol = reader.text("space_group", None, '"P m -3 n"')
    try:
        group = space_group(symbol)
    except PhaseError as error:
        raise PhaseError(f"{file_name}: {error}") from None
    if group.ext == "1" and ":" not in symbol:
        raise reader.fail("space_group", f"it has two origins; write '{group.hm}:1' or '{group.hm}:2'")
    system = system_of(group)
    lengths, low, high = _lengths(reader, system)
    angles = _angles(reader, group, system)
    cell = _cell(system, lengths, angles)
    free_d_min = _free_d_min(reader)
    sites = () if free_d_min is not None else _sites(reader, group, cell)
    name = short_name(reader.text("name", Path(file_name).stem))
    expansion = table.get("thermal_expansion_per_k")
    return Phase(
        name=name,
        title=reader.text("title", name),
        space_group=group.xhm(),
        system=system,
        lengths_nm=lengths,
        lengths_low_nm=low,
        lengths_high_nm=high,
        angles_deg=angles,
        sites=sites,
        order=_order(f"{file_name}: order", table["order"], sites) if "order" in table else None,
        thermal_expansion_per_k=(
            None if expansion is None else reader.number("thermal_expansion_per_k", expansion, -1e-3, 1e-3)
        ),
        source=reader.text("source", f"phase file {file_name}"),
        d_min_nm=free_d_min,
    )


def _structure(path: Path) -> gemmi.SmallStructure:
    try:
        # names of a phase are ASCII; what else stands in the file may be in any encoding
        document = read_document(read_bytes(path).decode("utf-8-sig", "replace"))
    except OSError as error:
        raise PhaseError(f"{path.name}: cannot be read ({error.strerror}); check the file") from None
    except ValueError as error:
        raise PhaseError(f"{path.name}: not a readable CIF: {error}; export it again") from None
    structures = []
    for block in document:
        try:
            structure = gemmi.make_small_structure_from_block(block)
        except (ValueError, RuntimeError) as error:
            raise PhaseError(f"{path.name}: block {block.name}: {_one_line(error)}") from None
        if len(structure.sites) > 0:
            structures.append(structure)
    if not structures:
        raise PhaseError(
            f"{path.name}: no atoms in it (loop with _atom_site_fract_x); give a CIF of a crystal structure, or, to "
            'use its lines alone, a phase file with space_group, lengths_nm and intensities = "free"'
        )
    if len(structures) > 1:
        raise PhaseError(f"{path.name}: {len(structures)} structures in it; leave the one that is meant")
    return structures[0]


def _cif_lengths(where: str, system: str, cell: gemmi.UnitCell) -> tuple[float, ...]:
    sides = 0.1 * np.array([cell.a, cell.b, cell.c])
    if not np.all(sides > 0.1):
        raise PhaseError(f"{where}: cell lengths are missing (_cell_length_a ...)")
    names = free_lengths(system)
    lengths = tuple(float(sides["abc".index(name)]) for name in names)
    if not np.allclose(all_lengths(system, lengths), sides, rtol=1e-3):
        raise PhaseError(
            f"{where}: cell lengths {', '.join(f'{x:.4f}' for x in sides)} nm do not fit a {system} group"
        )
    return lengths


def phase_from_cif(path: Path) -> Phase:
    """Return the phase of a crystal structure in a CIF, looked for within 1 % of its cell.

    Atoms that share a place become one site with both in its occupancy. Anisotropic displacement counts by
    its equivalent isotropic value, where the file gives it.

    Parameters
    ----------
    path : Path
        The file.

    Raises
    ------
    PhaseError
        If it is no CIF, or holds no structure or several, or no space group, or atoms without scattering
        factors.
    """
    where = path.name
    structure = _structure(path)
    group = structure.spacegroup
    if group is None:
        given = structure.spacegroup_hm or "none"
        raise PhaseError(
            f"{where}: space group ({given}) not known; give _space_group_name_H-M_alt of a tabulated one"
        )
    system = system_of(group)
    lengths = _cif_lengths(where, system, structure.cell)
    angles = (structure.cell.alpha, structure.cell.beta, structure.cell.gamma)
    cell = _cell(system, lengths, angles)
    sites: list[Site] = []
    for atom in structure.sites:
        element = atom.element.name
        _check_element(f"{where}: atom {atom.label}", element)
        if not 0.0 < atom.occ <= FULL:
            raise PhaseError(f"{where}: atom {atom.label}: occupancy {atom.occ} is not between 0 and 1")
        try:
            positions = equivalent_positions(group, atom.fract.tolist(), cell)
        except PhaseError as error:
            raise PhaseError(f"{where}: atom {atom.label}: {error}") from None
        for index, site in enumerate(sites):
            if distances_nm(positions[:1], site.positions, cell).min() < SAME_ATOM_NM:
                shares = dict(site.occupancy)
                shares[element] = shares.get(element, 0.0) + atom.occ
                if sum(shares.values()) > FULL:
                    raise PhaseError(f"{where}: atom {atom.label} shares a place that is already full")
                sites[index] = Site(site.label, site.positions, shares, site.b_iso_nm2, site.b_iso_bounds_nm2)
                break
        else:
            # B = 8 pi^2 U (International Tables C); angstrom^2 to nm^2.
            b_iso = 0.08 * math.pi**2 * atom.u_iso if atom.u_iso > 0.0 else DEFAULT_B_ISO_NM2
            low, high = DEFAULT_B_BOUNDS_NM2
            positions.flags.writeable = False
            taken = {site.label for site in sites}
            label = atom.label if atom.label not in taken else f"{atom.label}-{len(sites) + 1}"
            bounds = (min(low, 0.5 * b_iso), max(high, 2.0 * b_iso))
            sites.append(Site(label, positions, {element: float(atom.occ)}, b_iso, bounds))
    _check_apart(where, sites, cell)
    spread = DEFAULT_RANGE_PERCENT / 100.0
    return Phase(
        name=short_name(path.stem),
        title=path.stem,
        space_group=group.xhm(),
        system=system,
        lengths_nm=lengths,
        lengths_low_nm=tuple(length * (1.0 - spread) for length in lengths),
        lengths_high_nm=tuple(length * (1.0 + spread) for length in lengths),
        angles_deg=angles,
        sites=tuple(sites),
        order=None,
        thermal_expansion_per_k=None,
        source=f"structure file {where}",
    )
