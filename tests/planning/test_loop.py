"""The loop closed, from counts to counts: a simulated study, a suggestion added, its wire simulated, run and judged."""

import re
import tomllib

import pytest
from click.testing import CliRunner

from tests.simulation.made import instrument_of
from xrdorder.cli import main
from xrdorder.simulation.rehearsal import read_rehearsal, write_rehearsal

SPECIMEN = """[specimen]
from_deg = 28.0
to_deg = 98.0
step_deg = 0.04
[lots.one]
route = "internal-tin"
undoped = true
"""
REACTED = {"a": "625/60 h", "b": "625/200 h", "c": "650/60 h", "d": "650/150 h", "e": "690/60 h"}


def sample(name, treatment, **more):
    extra = "".join(f"{key} = {value}\n" for key, value in more.items())
    return f'[[samples]]\nname = "{name}"\nlot = "one"\ntreatment = "{treatment}"\n{extra}'


def simulate(folder, text):
    folder.mkdir()
    (folder / "described.toml").write_text(text, encoding="utf-8")
    write_rehearsal(read_rehearsal(folder / "described.toml", 3), instrument_of(), folder / "study", seed=3)
    return folder / "study"


def printed(*words):
    found = CliRunner().invoke(main, [str(word) for word in words], env={"COLUMNS": "300"})
    assert found.exit_code == 0, found.output
    return found.output


@pytest.mark.slow
def test_a_suggestion_is_added_reacted_run_and_held_against_what_was_predicted(tmp_path):
    study = simulate(tmp_path / "first", SPECIMEN + "".join(sample(*one) for one in REACTED.items()))
    printed("run", study, "--workers", 1)
    said = printed("suggest", study, "--field", 12, "--add", 1)
    assert "Added to" in said and "Predicted by" not in said
    new = tomllib.loads((study / "study.toml").read_text(encoding="utf-8"))
    (step,) = new["treatments"]["suggested-1"]["steps"][-1:]
    (wire,) = [one for one in new["samples"] if one["treatment"] == "suggested-1"]
    waits = f"Added before: {wire['name']} has no pattern yet at {wire['pattern']}."
    assert waits in printed("suggest", study, "--field", 12)

    told = f"{step['hold_c']:g}/{step['hours']:g} h"
    for number, (more, expected) in enumerate((({}, ""), ({"domain_size_nm": 30.0}, "grains grow less"))):
        reacted = simulate(tmp_path / f"reacted-{number}", SPECIMEN + sample("new", told, **more))
        (study / wire["pattern"]).write_bytes((reacted / "patterns" / "new.xy").read_bytes())
        printed("run", study, "--workers", 1)
        said = printed("suggest", study, "--field", 12)
        assert waits not in said and "Predicted by the other wires, against found" in said
        misses = {line.split("  ")[0].strip(): float(line.split()[-1].replace("−", "-")) for line in said.splitlines()
                  if re.search(r" [+−]\d+\.\d$", line)}  # fmt: skip
        assert len(misses) >= 1, said
        if expected:
            # a third of the size is 1.1 in its logarithm, of which domains and their gap to grains leave some 0.15
            assert f"Missed: {expected} than published" in said, said
        else:
            # the wire reacted by the published kinetics: nothing is missed
            assert all(abs(one) < 3.0 for one in misses.values()), said
            assert "Missed" not in said or max(map(abs, misses.values())) > 2.0
