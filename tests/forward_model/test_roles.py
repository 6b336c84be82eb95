"""A parameter knows its owner: names that begin alike, hold signs, or cannot be names at all cost nothing."""

import copy
from dataclasses import replace
from itertools import combinations

import lmfit
import pytest

from xrdorder.crystals import phase, phase_names
from xrdorder.exceptions import FitError
from xrdorder.forward_model.free_lines import FreeLines
from xrdorder.forward_model.geometry import Geometry
from xrdorder.forward_model.phase_lines import Optics, PhaseLines
from xrdorder.forward_model.roles import Kind, Role, add_parameter, parameter_name, role_of
from xrdorder.xrays import radiation

RANGE = (20.0, 124.0)
OPTICS = Optics(radiation("cu-ka"), Geometry(217.5))


def lines_of(name: str, **changes: object) -> PhaseLines:
    return PhaseLines(replace(phase("nb"), name=name, **changes), OPTICS, RANGE)


def test_no_two_phases_of_the_catalogue_share_a_parameter() -> None:
    every = [
        (FreeLines if one.free_intensities else PhaseLines)(one, OPTICS, RANGE) for one in map(phase, phase_names())
    ]
    for one, other in combinations(every, 2):
        assert not set(one.names) & set(other.names)
    for lines in every:
        assert {role.owner for role in lines.roles.values()} == {lines.phase.name}
        parameters = lmfit.Parameters()
        for name, role in lines.roles.items():
            add_parameter(parameters, name, role, 1.0)  # lmfit takes identifiers alone
        assert len(lines.b_iso_names) == len(set(lines.b_iso_names)) == len(lines.phase.sites)


def test_a_second_population_has_what_no_phase_can_have() -> None:
    first = lines_of("nb3sn")
    twin = PhaseLines(first.phase, OPTICS, RANGE, twin=first)
    assert not set(twin.names) - set(first.names) & set(lines_of("nb3sn-second").names)
    assert {role.owner for role in twin.roles.values()} == {"nb3sn"}


@pytest.mark.parametrize("name", ["2h-sic", "Nb (bcc)", "η′", "a.b", "lambda"])
def test_any_name_and_any_label_make_a_parameter(name: str) -> None:
    site = phase("nb").sites[0]
    sites = (replace(site, label="Nb-1"), replace(site, label="Nb 1"), replace(site, label="1′"))
    lines = lines_of(name, sites=sites)
    assert all(one.isidentifier() and one.isascii() for one in lines.names)
    assert len(set(lines.b_iso_names)) == 3
    parameters = lmfit.Parameters()
    for one, role in lines.roles.items():
        add_parameter(parameters, one, role, 1.0)
    copied = copy.deepcopy(parameters)
    assert {one: role_of(copied, one) for one in copied} == lines.roles


def test_names_that_differ_in_signs_alone_are_refused() -> None:
    parameters = lmfit.Parameters()
    name = parameter_name("cu-sn", "scale")
    add_parameter(parameters, name, Role("cu-sn", Kind.SCALE), 1.0)
    add_parameter(parameters, name, Role("cu-sn", Kind.SCALE), 2.0)  # another population of the same phase
    assert role_of(parameters, name) == Role("cu-sn", Kind.SCALE) and parameters[name].value == 1.0
    with pytest.raises(FitError, match=r"'cu\.sn' and 'cu-sn' have names too much alike .* rename one"):
        add_parameter(parameters, name, Role("cu.sn", Kind.SCALE), 1.0)
