"""What stands in a file is read once a command: a treatment by the description, a sample by whoever shows it."""

from collections import Counter
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.explanation import explained
from xrdorder.cli import main
from xrdorder.description import treatments
from xrdorder.description.study import read_study
from xrdorder.results import collate, sample_file

STUDY = """
title = "six wires, three treatments"
[instrument]
file = "instrument.toml"
[treatments.long]
steps = [{ ramp_k_per_h = 50, hold_c = 650, hours = 100 }]
"""
STEPS = "[{ hold_c = 640, hours = 20 }]"
SAMPLES = {"a": '"650/50 h"', "b": '"long"', "c": '"650/50 h"', "d": '"long"', "e": STEPS, "f": STEPS}


def counted(monkeypatch, module, name, key):
    calls = Counter()
    usual = getattr(module, name)

    def counting(first, *args, **more):
        calls[key(first)] += 1
        return usual(first, *args, **more)

    monkeypatch.setattr(module, name, counting)
    return calls


@pytest.mark.parametrize("to_run", [False, True])
def test_a_treatment_is_read_once_however_many_samples_have_it(monkeypatch, tmp_path, to_run):
    """Also where patterns are not there, and the study is looked at without them."""
    (tmp_path / "instrument.toml").write_text("", encoding="utf-8")
    samples = (
        f'[[samples]]\nname = "{name}"\npattern = "{name}.xy"\ntreatment = {of}\n' for name, of in SAMPLES.items()
    )
    (tmp_path / "study.toml").write_text(STUDY + "".join(samples), encoding="utf-8")
    lines = counted(monkeypatch, treatments, "schedule_of_holds", str)
    steps = counted(monkeypatch, treatments, "read_schedule", repr)
    study = read_study(tmp_path, to_run=to_run)
    a, b, c, d, e, f = (sample.treatment for sample in study.samples)
    assert (a.peak_c, b.total_h > 100.0) == (650.0, True)
    assert a is c and b is d and e is f
    assert [*lines.values(), *steps.values()] == [1, 1, 1]


@pytest.mark.parametrize("quantity", [(), ("Tc_K",), ("tin_fraction_lattice", "--details")])
def test_explain_opens_each_file_once(monkeypatch, tmp_path, quantity):
    folder = explained.folder(tmp_path)
    by_module = [counted(monkeypatch, module, "read_sealed", Path) for module in (sample_file, collate)]
    assert CliRunner().invoke(main, ["explain", str(folder), "A-650-100", *quantity]).exit_code == 0
    assert set(sum(by_module, Counter()).values()) == {1}
    assert len(by_module[0]) == 1
