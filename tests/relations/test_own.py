"""Relations and adjustments from a file."""

import numpy as np
import pytest

from xrdorder.exceptions import ValidityError
from xrdorder.relations import PUBLISHED, read_relations, relation
from xrdorder.relations.expression import compile_expression

OWN = """\
[[relation]]
name = "our-tc"
kind = "tc-from-tin"
expression = "Tc0 - 12 / (1 + exp((beta - 0.22) / 0.009))"
inputs = [{ name = "beta", usual = 0.24 }, { name = "Tc0", meaning = "highest Tc", unit = "K", usual = 18.1 }]
source = "invented notebook"
valid = [0.20, 0.25]
scatter = 0.2
wire = "Ta"

[[adjustment]]
of = "godeke-2006-boltzmann"
name = "ours"
offset = 0.2
slope = 1.01
u_offset = 0.4
source = "invented wires"
"""


def written(tmp_path, text):
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_own_relation_and_adjustment(tmp_path):
    own, adjusted = read_relations(written(tmp_path, OWN))
    beta = np.array([0.20, 0.24])
    np.testing.assert_allclose(own(beta), 18.1 - 12.0 / (1.0 + np.exp((beta - 0.22) / 0.009)), rtol=1e-14)
    assert (own.known, own.wire, own.output.unit) == ("own", "Ta", "K")
    model = relation("godeke-2006-boltzmann")
    np.testing.assert_allclose(adjusted(beta), 0.2 + 1.01 * model(beta), rtol=1e-14)
    np.testing.assert_allclose(adjusted.inverse(adjusted(beta)), beta, rtol=1e-12)
    # 0.3 K of scatter above 24 at.%, times the slope, and the doubt about the offset
    assert float(adjusted.scatter.at(0.245, 17.0)) == pytest.approx(np.hypot(0.303, 0.4))
    assert "invented wires" in adjusted.source and "Godeke" in adjusted.source
    library = PUBLISHED.with_entries([own, adjusted])
    # the adjusted one is asked in place of the published one, which can still be looked up
    binary = [one.name for one in library.relations("tc-from-tin", "binary")]
    assert "ours" in binary and "godeke-2006-boltzmann" not in binary
    assert library.relation("godeke-2006-boltzmann") is model
    assert [one.name for one in library.relations("tc-from-tin", "Ta")] == ["baumgartner-2017-tantalum", "our-tc"]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('name = "our-tc"', 'name = "Our Tc"', "'Our Tc': name is 'Our Tc'"),
        ('kind = "tc-from-tin"', 'kind = "tc"', "relation 'our-tc': kind is 'tc'; known are"),
        ("exp((beta", "exp((tin", r"expression unknown name 'tin' \(inputs: beta, Tc0\)"),
        ("exp((beta", "open((beta", "expression unknown function 'open'"),
        ("0.009))", "0.009)", "expression is no arithmetic expression"),
        ("Tc0 - 12", "beta.real - 12", "expression attribute is not arithmetic"),
        ("Tc0 - 12", "[Tc0][0] - 12", "expression subscript is not arithmetic"),
        ("valid = [0.20, 0.25]", "valid = [0.25, 0.20]", "valid is"),
        ("valid = [0.20, 0.25]", "valid = 0.25", r"valid is 0\.25; give the range"),
        ("scatter = 0.2", "scatter = -0.2", "scatter is -0.2; give a number of 0 or more"),
        ("scatter = 0.2", "scater = 0.2", "key 'scater' is unknown"),
        ("scatter = 0.2\n", "", "scatter is missing"),
        ('source = "invented notebook"\n', "", "source is missing"),
        ("usual = 0.24 }", 'usual = 0.24, unit = "at.%" }', "input 1: unit is 'at.%'; .* take 1"),
        ('wire = "Ta"', 'wire = "Hf"', "wire is 'Hf'; known are any, binary, Ta, Ti"),
        ('of = "godeke-2006-boltzmann"', 'of = "nobody"', "adjustment 'ours': of is 'nobody'"),
        ("slope = 1.01", "slope = 0", "slope is 0"),
        ('name = "ours"', 'name = "kramer-shape"', "'kramer-shape' is the name of another relation"),
        ("[[adjustment]]", "[[adjustments]]", "unknown key 'adjustments'"),
    ],
)
def test_mistakes_get_one_line_with_their_place(tmp_path, old, new, message):
    assert old in OWN
    path = written(tmp_path, OWN.replace(old, new, 1))
    with pytest.raises(ValidityError, match=message) as caught:
        read_relations(path)
    assert str(caught.value).startswith(f"{path}: ") and "\n" not in str(caught.value)


def test_files_that_hold_nothing(tmp_path):
    with pytest.raises(ValidityError, match="holds no relation"):
        read_relations(written(tmp_path, ""))
    with pytest.raises(ValidityError, match="is no TOML"):
        read_relations(written(tmp_path, "[[relation"))
    with pytest.raises(ValidityError, match="cannot be read"):
        read_relations(tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("text", "expected"),
    [("-x**2", -4.0), ("2**3**x", 512.0), ("min(x, 1) + max(x, 3)", 4.0), ("1e-3 * x / 4 - +1", -0.9995), ("7", 7.0)],
)
def test_arithmetic_is_that_of_mathematics(text, expected):
    found = compile_expression(text, ("x",))(np.array([2.0, 2.0]))
    np.testing.assert_allclose(found, [expected, expected], rtol=1e-14)


@pytest.mark.parametrize(
    "text",
    ["__import__('os')", "x if x else 1", "lambda: 1", "x < 1", "'x'", "x; x", "sqrt(x, x)", "sqrt(y=x)", "True", "1j",
     "x" * 501, "(" * 60 + "x" + ")" * 60 + "+" + "-" * 60 + "x", "f'{x}'", "(x := 1)", "x @ x", "9" * 400],
)  # fmt: skip
def test_what_is_no_arithmetic_is_refused(text):
    with pytest.raises(ValueError):
        compile_expression(text, ("x",))
