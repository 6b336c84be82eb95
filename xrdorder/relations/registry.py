"""All relations, by name and by kind."""

from __future__ import annotations

from xrdorder.exceptions import UnknownNameError
from xrdorder.relations import (
    bc2_from_tc,
    bc2_from_tin,
    bc2_of_temperature,
    resistivity,
    tc_from_order,
    tc_from_tin,
    tin_from_lattice,
    tin_from_order,
)
from xrdorder.relations.entry import KINDS, Relation

# In the order in which they are used on the way from a lattice parameter to Bc2(T).
_MODULES = (
    tin_from_lattice,
    tin_from_order,
    resistivity,
    tc_from_tin,
    tc_from_order,
    bc2_from_tin,
    bc2_from_tc,
    bc2_of_temperature,
)


def collect(entries: tuple[Relation, ...]) -> dict[str, Relation]:
    """Arrange relations by name.

    Raises
    ------
    ValueError
        Two have the same name.
    """
    table: dict[str, Relation] = {}
    for entry in entries:
        if entry.name in table:
            raise ValueError(f"relation '{entry.name}': defined twice; give each its own name")
        table[entry.name] = entry
    return table


_TABLE = collect(tuple(entry for module in _MODULES for entry in module.ENTRIES))


def relation(name: str) -> Relation:
    """Give the relation of this name.

    Raises
    ------
    UnknownNameError
        There is none; the message lists those there are.

    Examples
    --------
    >>> float(relation("godeke-2006-measured")(0.5290).round(6))
    0.25
    """
    if name not in _TABLE:
        raise UnknownNameError(f"no relation '{name}'; known are: {', '.join(_TABLE)}")
    return _TABLE[name]


def relations(kind: str | None = None) -> tuple[Relation, ...]:
    """Give all relations, or those that answer one question (a key of `KINDS`).

    Raises
    ------
    UnknownNameError
        There is no such kind; the message lists those there are.
    """
    if kind is not None and kind not in KINDS:
        raise UnknownNameError(f"no kind of relation '{kind}'; known are: {', '.join(KINDS)}")
    return tuple(entry for entry in _TABLE.values() if kind in (None, entry.kind))
