"""xrdorder relations as a user types it."""

import pytest
from click.testing import CliRunner

from xrdorder.cli import main
from xrdorder.relations import PUBLISHED, relation


def run(*words):
    return CliRunner().invoke(main, ["relations", *words])


def test_list_holds_every_relation():
    said = run()
    assert said.exit_code == 0
    for entry in PUBLISHED.relations():
        assert f"\n{entry.name} " in said.output
    assert said.output.startswith(f"{len(PUBLISHED.relations())} relations")


def test_filters_narrow_the_list():
    said = run("--kind", "tc-from-tin", "--wire", "Ta")
    assert "baumgartner-2017-tantalum" in said.output and "1 relation;" in said.output
    assert "godeke-2006-boltzmann" not in said.output
    assert "kramer-shape" in run("--find", "pinning force", "--known", "read").output


def test_the_list_tells_source_and_criterion_and_takes_the_beginning_of_a_kind():
    said = " ".join(run("--kind", "bc2").output.split())
    assert "0.19 to 0.25 extrapolated A. Godeke (2006)" in said and "6 to 19 K not told C. Senatore" in said
    for kind in ("bc2-0-from-tin", "bc2-0-from-tc", "bc2-temperature", "bc2-slope", "bc2-0-from-reaction"):
        assert f"({kind})" in said
    assert "tc-from-tin" not in said
    # a kind of that very name is that kind alone
    assert "peak-pinning-force-from-field" not in run("--kind", "peak-pinning-force").output
    assert "Criterion    not told" in run("godeke-2006-boltzmann").output
    assert "Criterion" not in run("kramer-shape").output


def test_one_relation_whole():
    said = run("rise-and-plateau")
    assert said.exit_code == 0, said.output
    entry = relation("rise-and-plateau")
    for text in (entry.formula, "0.19 to 0.25", "derived here", "godeke-2006-collapse above", "29.1 ± 0.2 T"):
        assert text in " ".join(said.output.split())


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("boltzman",), "did you mean godeke-2006-boltzmann"),
        (("--kind", "moon"), "no kind of relation 'moon'"),
        (("--wire", "Hf"), "no sort of wire 'Hf'"),
        (("--known", "guessed"), "known are read"),
        (("--find", "no such word"), "no relation is like that"),
        (("kramer-shape", "--kind", "tc-from-tin"), "leave out NAME"),
    ],
)
def test_wrong_use_is_one_line(words, message):
    said = run(*words)
    assert said.exit_code == 2
    assert message in said.output
    assert len(said.output.strip().splitlines()) == 1
