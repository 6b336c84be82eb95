"""Relations and adjustments from a file."""

import numpy as np
import pytest

from xrdorder.exceptions import ValidityError
from xrdorder.relations import PUBLISHED, Scatter, read_relations, relation
from xrdorder.relations.expression import compile_expression
from xrdorder.relations.own import LineScatter

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
u_slope = 0.02
correlation = -0.9
source = "invented wires"
samples = ["w1", "w2"]
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
    # 0.3 K of scatter above 24 at.%, times the slope; doubts of offset and slope where the relation itself says 16 K
    line = 0.4**2 + (0.02 * 16.0) ** 2 - 2.0 * 0.9 * 0.4 * 0.02 * 16.0
    assert float(adjusted.scatter.at(0.245, 0.2 + 1.01 * 16.0)) == pytest.approx(np.sqrt(0.303**2 + line))
    assert "slope ± 0.02, correlation -0.9" in adjusted.scatter.source and adjusted.samples == ("w1", "w2")
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
        ("scatter = 0.2", "scatter = 0.2\nscatter_relative = 0.01", "scatter and scatter_relative are both given"),
        ("valid = [0.20, 0.25]", "valid = [20, 25]", r"beta is a fraction: write \[0\.2, 0\.25\] for per cent"),
        ("u_offset = 0.4\n", "", "u_offset is missing; give its standard uncertainty"),
        ("u_slope = 0.02\n", "", "u_slope is missing; give its standard uncertainty"),
        ("correlation = -0.9", "correlation = -1.1", "correlation is -1.1; give that of offset and slope, -1 to 1"),
        ('samples = ["w1", "w2"]', 'samples = "w1"', "samples is 'w1'; give a list of names"),
        ("offset = 0.2\nslope = 1.01\n", "", "offset is missing, and so is slope"),
        ('source = "invented notebook"\n', "", "source is missing"),
        ("usual = 0.24 }", 'usual = 0.24, unit = "at.%" }', "input 1: unit is 'at.%'; .* take 1"),
        ('wire = "Ta"', 'wire = "Hf"', "wire is 'Hf'; known are any, binary, doped, Ta, Ti"),
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


def test_the_doubt_of_a_line_is_that_of_its_draws():
    rng = np.random.default_rng(1)
    drawn = rng.multivariate_normal([-3.0, 1.2], [[1.0, -0.99 * 0.06], [-0.99 * 0.06, 0.06**2]], 100_000)
    line = LineScatter(
        "test", base=Scatter("exact"), offset=-3.0, slope=1.2, u_offset=1.0, u_slope=0.06, correlation=-0.99
    )
    old = np.array([12.0, 17.0, 18.0])
    # 2 %: six times 1 / sqrt(2 n), what the standard deviation of n draws is off by
    np.testing.assert_allclose(
        line.at(np.full(3, 0.24), -3.0 + 1.2 * old), np.std(drawn @ [np.ones(3), old], axis=0), rtol=0.02
    )


def test_an_adjustment_is_put_on_once(tmp_path):
    again = OWN + (
        '[[adjustment]]\nof = "ours"\nname = "twice"\noffset = 0.1\nu_offset = 0.1\nsource = "invented"\n'
    )
    with pytest.raises(ValidityError, match="'twice': of is 'ours', which is adjusted itself; adjust 'godeke-2006-bol"):
        read_relations(written(tmp_path, again))


def test_scatter_may_be_a_share_and_the_file_is_quoted_as_the_place(tmp_path):
    own, _ = read_relations(written(tmp_path, OWN.replace("scatter = 0.2", "scatter_relative = 0.02")))
    assert float(own.scatter.at(0.24, 17.0)) == pytest.approx(0.34)
    assert (own.source, own.equation) == ("invented notebook", "as in own.toml")


def test_an_adjustment_may_tell_its_criterion_and_keeps_that_of_its_relation_else(tmp_path):
    _, kept = read_relations(written(tmp_path, OWN))
    _, told = read_relations(written(tmp_path, f'{OWN}criterion = "50 %"\n'))
    assert (kept.criterion, told.criterion) == ("", "50 %")


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
