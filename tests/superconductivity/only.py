"""A library of a few relations, for tests that need to know all of them."""

import dataclasses

from xrdorder.relations import Scatter, relation


class Only:
    """Gives these relations and no others."""

    def __init__(self, *entries):
        self.entries = entries

    def relations(self, kind=None, wire=None):
        return tuple(entry for entry in self.entries if kind in (None, entry.kind))


def exact(name):
    """A published relation without its scatter."""
    return dataclasses.replace(relation(name), scatter=Scatter("none, for this test"))
