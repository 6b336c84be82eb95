"""For which wire a relation holds, by rules: what its own words say, what it is made of, and where samples lie."""

import re

import numpy as np
import pytest

from xrdorder.relations import relation, relations
from xrdorder.superconductivity.targets import wire_of

# Words of a title, or of what a relation says of itself, that name what it was found on.
NAMED = {
    r"tantalum[- ](doped|on)": {"Ta"},
    r"with titanium": {"Ti"},
    r"ternary|alloyed wire": {"doped", "Ta", "Ti"},
    r"\b(binary|films|irradiated|vapour)\b": {"binary"},
}

# Tc in K and Bc2(0) in T as printed. A. Godeke et al., J. Appl. Phys. 97 (2005) 093909, table II; L. D. Cooley et al.,
# Appl. Phys. Lett. 88 (2006) 142506, annealed samples; S. M. Heald et al., Sci. Rep. 8 (2018) 4798, table II;
# V. Guritanu et al., Phys. Rev. B 70 (2004) 184526; J. Zhou et al., Appl. Phys. Lett. 99 (2011) 122507, table 1. Left
# out are the grains that one of the relations was found on, and powders as milled (disorder of another kind).
DOPED = np.array([
    (17.2, 28.1), (17.3, 28.4), (17.8, 29.4), (17.7, 29.5), (17.9, 29.1), (17.4, 28.9), (17.7, 28.5),
    (17.5, 29.0), (17.6, 28.9),
    (18.5, 27.30), (18.1, 28.77), (18.2, 28.35), (17.9, 29.29), (18.4, 27.49),
])  # fmt: skip
UNDOPED = np.array([
    (17.9, 27.4), (16.6, 28.3),
    (18.0, 24.0), (18.0, 25.6),
    (17.8, 25.0),
    (18.05, 29.1), (17.90, 27.6), (17.87, 29.4), (18.05, 29.1), (17.67, 29.0), (17.81, 27.6),
])  # fmt: skip


@pytest.mark.parametrize("entry", relations(), ids=lambda entry: entry.name)
def test_a_relation_holds_for_what_its_title_says_it_was_found_on(entry):
    for words, wires in NAMED.items():
        if re.search(words, f"{entry.title}; {entry.notes.split(':')[0]}"):
            assert entry.wire in wires, f"{entry.name} speaks of {words}"


@pytest.mark.parametrize("entry", relations("bc2-0-from-tin"), ids=lambda entry: entry.name)
def test_a_field_that_falls_toward_stoichiometry_is_that_of_undoped_a15(entry):
    """Dopants suppress the transformation below 43 K, and with it the fall (N. Paudel et al., arXiv:2412.09514).

    A. Godeke, Supercond. Sci. Technol. 19 (2006) R68: suppressed above 2.8 at.% Ta or 1.3 at.% Ti.
    """
    field = entry(np.linspace(0.23, entry.valid[1], 201))
    falls = field.max() - field[-1] > float(entry.scatter.at(0.25, field.max()))
    assert falls == (entry.wire == "binary")


@pytest.mark.parametrize("wire", ["doped", "Ta", "Ti"])
def test_doped_wire_near_stoichiometry_has_the_field_that_was_measured_there(wire):
    """S. M. Heald et al., Sci. Rep. 8 (2018) 4798: 25.2 at.% tin and 2.4 at.% Ta, 27.3 T; the fall leaves 21.4 T."""
    asked = relations("bc2-0-from-tin", wire)
    assert asked
    for entry in asked:
        assert abs(float(entry(0.25)) - 27.3) < 2.0 * float(entry.scatter.at(0.25, 27.3))


@pytest.mark.parametrize("entry", relations("bc2-0-from-tc"), ids=lambda entry: entry.name)
def test_a_field_by_tc_holds_for_the_samples_it_is_nearer_to(entry):
    far = {}
    for sort, (tc, field) in {"doped": DOPED.T, "binary": UNDOPED.T}.items():
        far[sort] = abs(float(np.mean(field - entry(tc)))) / float(entry.scatter.at(18.0, entry(18.0)))
    if entry.wire == "any":
        assert max(far.values()) < 0.5  # in its scatter: of neither sort is it far on the mean
    else:
        assert min(far, key=far.get) == entry.wire
        assert max(far.values()) > 0.5


def test_what_is_made_of_a_relation_holds_for_the_same_wire():
    step = relation("godeke-2006-boltzmann")
    made = [entry for entry in relations() if "then the saturating step" in entry.formula]
    assert len(made) >= 2
    for entry in made:
        assert entry.wire == step.wire


def test_tc_under_strain_of_binary_wire_takes_the_exponent_of_binary_wire():
    """D. M. J. Taylor, D. P. Hampshire, Supercond. Sci. Technol. 18 (2005) S241: binary 3, ternary 2.2."""

    def exponents(wire):
        ratio = 0.9
        return sorted(float(np.log(ratio) / np.log(entry(ratio))) for entry in relations("tc-strain", wire))

    assert exponents("binary") == pytest.approx([3.0])
    for wire in ("doped", "Ta", "Ti"):
        assert exponents(wire) == pytest.approx([2.2, 3.0])


@pytest.mark.parametrize("wire", ["doped", "Ta", "Ti", "binary"])
def test_no_relation_of_another_wire_is_asked_where_the_question_has_one_of_its_own(wire):
    others = {"doped": {"Ta", "Ti"}, "Ta": {"Ti"}, "Ti": {"Ta"}, "binary": {"doped", "Ta", "Ti"}}[wire]
    for kind in {entry.kind for entry in relations()}:
        asked = relations(kind, wire)
        assert not others & {entry.wire for entry in asked}
        if any(entry.wire in ("any", "doped", wire) for entry in asked) and wire != "binary":
            assert "binary" not in {entry.wire for entry in asked}


def test_any_dopant_makes_a_doped_wire():
    assert wire_of({"Hf": 0.01}) == "doped"
    assert wire_of({"Hf": 0.01, "Ta": 0.02}) == "Ta"
    assert wire_of({"Hf": 0.0}) == "any"
