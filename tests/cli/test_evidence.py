"""xrdorder evidence as a user types it."""

import csv

import pytest
from click.testing import CliRunner

from xrdorder.cli import evidence, main
from xrdorder.relations.published_samples import KNOWN, published_samples, select


def run(*words, **environment):
    return CliRunner().invoke(main, ["evidence", *words], env={"COLUMNS": "80", **environment})


def test_the_answer_comes_first_and_fits_the_terminal():
    said = run()
    assert said.exit_code == 0, said.output
    lines = said.output.splitlines()
    assert lines[0] == f"{len(published_samples())} published samples of 15 laboratories"
    assert "Tc (K)" in "".join(lines[:10])
    assert max(map(len, lines)) <= 80
    assert "onset of a transition to its middle" in " ".join(said.output.split())
    assert len(lines) < 25 and len(run("--details").output.splitlines()) > len(published_samples())


def test_filters_narrow_the_list():
    def number(*words):
        return int(run(*words).output.split()[0])

    assert number("--with", "a", "--with", "Tc") == len(select("a_nm", "Tc_K"))
    assert number("--dopant", "none") == len(select(doped=False))
    assert number("--dopant", "ta", "--route", "wire") == len(select(form="wire", where=lambda s: "Ta" in s.dopants))
    tubes = run("--route", "powder-in-tube", COLUMNS="160").output
    assert "powder-in-tube wire, undoped" in tubes and "bronze" not in tubes
    assert number("--known", "abstract") == len(select(where=lambda s: s.known == "abstract"))
    assert number("--laboratory", "twente") == len(select(laboratory="Twente"))
    assert "Nb-4Ta" in run("--find", "2412.09514").output


def test_what_is_known_is_what_the_library_knows():
    assert evidence._KNOWN == KNOWN


def test_one_sample_whole():
    said = " ".join(run("hot-pressed bulk, flash annealed").output.split())
    for text in ("0.52910 ± 5e-05 nm, at 22.5 °C", "0.98 ± 0.02, diffraction", "17.9 K, onset", "25.2 T, at 0 K",
                 "T. Spina", "read in the cited source", "of this one specimen"):  # fmt: skip
        assert text in said


def test_all_of_it_in_a_table(tmp_path):
    path = tmp_path / "samples.csv"
    said = run("--dopant", "none", "--csv", str(path))
    assert said.exit_code == 0 and str(path) in said.output
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["name"] for row in rows] == [s.name for s in select(doped=False)]
    assert float(rows[0]["a_nm"]) == 0.52882 and rows[0]["judges"] == "lattice tin field"
    assert all(row["source"] for row in rows)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("hot-press",), "did you mean 'hot-pressed polycrystal'"),
        (("--with", "mass"), "is not one of 'a', 'tin', 'order', 'Tc'"),
        (("--dopant", "Xx"), "known are Hf, Ta, Ti, Zr, none"),
        (("--known", "guessed"), "is not one of 'read', 'abstract'"),
        (("--route", "tape"), "no published sample is like that"),
        (("hot-pressed polycrystal", "--dopant", "Ta"), "leave out NAME"),
        (("--csv", "nowhere/x.csv"), "there is no folder nowhere"),
    ],
)
def test_wrong_use_is_one_line(words, message):
    said = run(*words)
    assert said.exit_code == 2
    assert message in said.output
    assert len(said.output.strip().splitlines()) == 1
