"""All relations, by name and by kind."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.relations import (
    a15_lattice,
    bc2_from_tc,
    bc2_from_tin,
    bc2_of_strain,
    bc2_of_temperature,
    growth,
    pinning_force,
    resistivity,
    slope,
    tc_from_order,
    tc_from_tin,
    tin_from_lattice,
    tin_from_order,
)
from xrdorder.relations.entry import KINDS, WIRES, Relation

# In the order in which they are used on the way from a lattice parameter to the current of a layer.
_MODULES = (
    tin_from_lattice,
    tin_from_order,
    a15_lattice,
    resistivity,
    tc_from_tin,
    tc_from_order,
    bc2_from_tin,
    bc2_from_tc,
    slope,
    bc2_of_temperature,
    bc2_of_strain,
    growth,
    pinning_force,
)


def collect(entries: Iterable[Relation]) -> dict[str, Relation]:
    """Arrange relations by name.

    Raises
    ------
    ValidityError
        Two have the same name.
    """
    table: dict[str, Relation] = {}
    for entry in entries:
        if entry.name in table:
            raise ValidityError(f"relation '{entry.name}': defined twice; give each its own name")
        table[entry.name] = entry
    return table


class Library:
    """Relations that may be asked: the published ones, and those of a laboratory.

    Parameters
    ----------
    entries : iterable of Relation

    Raises
    ------
    ValidityError
        Two have the same name.
    """

    def __init__(self, entries: Iterable[Relation]) -> None:
        self._table = collect(entries)

    def relation(self, name: str) -> Relation:
        """Give the relation of this name.

        Raises
        ------
        UnknownNameError
            There is none; the message names those that are spelt alike.
        """
        if name not in self._table:
            close = get_close_matches(name, self._table, 3, 0.5)
            known = f"did you mean {' or '.join(close)}?" if close else "xrdorder relations lists them"
            raise UnknownNameError(f"no relation '{name}'; {known}")
        return self._table[name]

    def relations(
        self, kind: str | None = None, wire: str | None = None, *, replaced: bool = False
    ) -> tuple[Relation, ...]:
        """Give all relations, those that answer one question, or those that hold for one sort of wire.

        One that a laboratory has adjusted for this wire is left out: the adjusted one stands in its place.

        Parameters
        ----------
        kind : str, optional
            A key of `KINDS`.
        wire : str, optional
            One of `WIRES`: relations that hold for such wire; where a question has none of them, those of undoped A15
            stand in. Without it, or with "any", all.
        replaced : bool, optional
            Give those that were adjusted too, to compare them.

        Raises
        ------
        UnknownNameError
            There is no such kind or wire; the message lists those there are.
        """
        if kind is not None and kind not in KINDS:
            raise UnknownNameError(f"no kind of relation '{kind}'; known are: {', '.join(KINDS)}")
        if wire is not None and wire not in WIRES:
            raise UnknownNameError(f"no sort of wire '{wire}'; known are: {', '.join(WIRES)}")
        entries = [entry for entry in self._table.values() if kind in (None, entry.kind)]
        if wire not in (None, "any"):
            served = {entry.kind for entry in entries if entry.holds_for(wire)}
            entries = [
                entry
                for entry in entries
                if entry.holds_for(wire) or (entry.wire == "binary" and entry.kind not in served)
            ]
        left_out = set() if replaced else {entry.replaces for entry in entries}
        return tuple(entry for entry in entries if entry.name not in left_out)

    def with_entries(self, entries: Iterable[Relation]) -> Library:
        """Give a library that holds these relations too.

        Raises
        ------
        ValidityError
            One has a name that is taken.
        """
        return Library((*self._table.values(), *entries))


PUBLISHED = Library(entry for module in _MODULES for entry in module.ENTRIES)
"""What others found."""


def relation(name: str) -> Relation:
    """Give the published relation of this name, see `Library.relation`.

    Examples
    --------
    >>> float(relation("godeke-2006-measured")(0.5290).round(6))
    0.25
    """
    return PUBLISHED.relation(name)


def relations(kind: str | None = None, wire: str | None = None) -> tuple[Relation, ...]:
    """Give published relations, see `Library.relations`."""
    return PUBLISHED.relations(kind, wire)
