"""What a relation is, and which definitions are refused."""

import dataclasses

import numpy as np
import pytest

from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.relations import KINDS, LABELS, Scatter, relation, relations
from xrdorder.relations.library import collect

BOLTZMANN = relation("godeke-2006-boltzmann")


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("name", "Two Words", "name is 'Two Words'"),
        ("kind", "tc-from-moon", "kind is 'tc-from-moon'.*tc-from-tin"),
        ("known", "guess", "known is 'guess'.*derived"),
        ("source", "  ", "source is '  '"),
        ("equation", "", "equation is ''"),
        ("inputs", (), "inputs is ()"),
        ("valid", (0.25, 0.18), "valid is"),
        ("valid", (0.18, np.inf), "valid is"),
        ("function", lambda beta: np.sqrt(beta - 0.2), "function is"),
        ("function", lambda beta: np.array(18.0), "function is"),
        ("inverse", lambda tc: tc / 72.0, "inverse is"),
        ("scatter", Scatter("somewhere", ((0.0, -1.0),)), "scatter is"),
        ("scatter", Scatter("", ((0.0, 1.0),)), "scatter.source is"),
    ],
)
def test_definitions_that_cannot_be_relied_on_are_refused(field, value, message):
    with pytest.raises(ValueError, match=r"'(godeke-2006-boltzmann|Two Words)'") as caught:
        dataclasses.replace(BOLTZMANN, **{field: value})
    assert caught.match(message.replace("()", r"\(\)"))
    assert "\n" not in str(caught.value)


def test_a_name_is_taken_once():
    with pytest.raises(ValueError, match="defined twice"):
        collect((BOLTZMANN, BOLTZMANN))


def test_outside_its_validity_a_relation_refuses_or_gives_nothing():
    with pytest.raises(ValidityError, match=r"beta = 0\.26 lies outside its validity 0\.18 to 0\.25"):
        BOLTZMANN(0.26)
    with pytest.raises(ValidityError):
        BOLTZMANN([0.24, 0.17])
    with pytest.raises(ValidityError):
        BOLTZMANN(float("nan"))
    values = BOLTZMANN.evaluate([0.17, 0.24, 0.26, np.nan])
    np.testing.assert_array_equal(np.isnan(values), [True, False, True, True])
    assert BOLTZMANN.refusal(0.25) == ""
    # 0.0136 x 0.25 + 0.5256 is 0.5289999... in binary: the printed end of a range still belongs to it.
    assert relation("godeke-2006-measured").refusal(0.5290) == ""


def test_scatter_follows_input_and_output():
    scatter = Scatter("test", ((0.18, 1.5), (0.22, 0.8)), relative=0.1)
    np.testing.assert_allclose(scatter.at([0.1, 0.2, 0.22, 0.3], 0.0), [1.5, 1.5, 0.8, 0.8])
    np.testing.assert_allclose(scatter.at(0.2, 20.0), 2.5)


def test_inputs_after_the_first_have_usual_values():
    slope = relation("senatore-2013-slope")
    assert slope(18.0) == slope(18.0, 2.27)
    assert slope(18.0, 1.96) < slope(18.0)
    with pytest.raises(TypeError, match="takes 2 inputs"):
        slope(18.0, 2.0, 3.0)


def test_names_and_kinds_that_do_not_exist_are_answered_with_those_that_do():
    with pytest.raises(UnknownNameError, match="godeke-2006-boltzmann"):
        relation("boltzman")
    with pytest.raises(UnknownNameError, match="tc-from-tin"):
        relations("tc")


def test_every_kind_has_its_relations():
    assert {entry.kind for entry in relations()} == set(KINDS)
    assert {entry.known for entry in relations()} <= set(LABELS)
    least = {"tin-from-lattice": 2, "tc-from-tin": 4, "tc-from-order": 1, "bc2-0-from-tin": 2}
    least |= {
        "bc2-0-from-tc": 2,
        "bc2-temperature": 2,
        "resistivity-from-order": 1,
        "resistivity-from-tin": 1,
    }
    for kind, number in least.items():
        assert len(relations(kind)) >= number


@pytest.mark.parametrize("entry", relations(), ids=lambda entry: entry.name)
def test_every_relation_tells_what_a_reader_needs(entry):
    for text in (entry.title, entry.formula, entry.source, entry.equation, entry.scatter.source):
        assert text
        assert "\n" not in text
    # A publication has a year or an archive number.
    assert any(character.isdigit() for character in entry.source + entry.equation) or entry.known == "derived"
    assert "to" in entry.validity
    scalar = entry(np.mean(entry.valid))
    assert scalar.shape == ()
    grid = np.linspace(*entry.valid, 12).reshape(3, 4)
    assert entry(grid).shape == grid.shape
