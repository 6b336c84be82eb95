"""What others found: published relations with source, validity and scatter.

`relation` gives one by name, `relations` all of them or those that answer one question; a `Library` holds the
published ones (`PUBLISHED`) and those a laboratory adds from a file (`read_relations`). A `Relation` is
plain data and one vectorised function; calling it refuses inputs outside its validity, `Relation.evaluate`
gives NaN there. Every definition is checked when it is loaded. One module holds one kind; a new relation is
one more entry there, a new kind one more module and a line in `entry.KINDS`.

Published relations disagree. Nothing here chooses between them: see `xrdorder.superconductivity` for how
they are combined.
"""

from xrdorder.relations.entry import DOPANTS, KINDS, LABELS, WIRES, Check, Relation, Scatter, Symbol
from xrdorder.relations.library import PUBLISHED, Library, relation, relations
from xrdorder.relations.own import read_relations

__all__ = [
    "DOPANTS",
    "KINDS",
    "LABELS",
    "PUBLISHED",
    "WIRES",
    "Check",
    "Library",
    "Relation",
    "Scatter",
    "Symbol",
    "read_relations",
    "relation",
    "relations",
]
