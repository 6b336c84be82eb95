"""The worked example of docs/howto/scan-planning.md, as it stands there, and what it claims."""

import csv
import re
import shlex
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.simulation.made import instrument_of
from xrdorder.cli import main
from xrdorder.fitting import fit_pattern
from xrdorder.material import characterise
from xrdorder.patterns import read_patterns, write_pattern
from xrdorder.profiles.instrument import write_instrument
from xrdorder.simulation import read_description, simulate_scan
from xrdorder.simulation.expected_pattern import OPTIONS
from xrdorder.simulation.scans import counted
from xrdorder.xrays import radiation

PAGE = (Path(__file__).parents[2] / "docs" / "howto" / "scan-planning.md").read_text(encoding="utf-8")


def blocks(marker: str) -> list[str]:
    """Code blocks that stand below a marker of the page."""
    return re.findall(rf"<!-- {marker} -->\n```\n(.*?)```", PAGE, re.DOTALL)


@pytest.mark.slow
def test_the_example_comes_true(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (specimen_text,) = blocks("specimen")
    Path("specimen.toml").write_text(specimen_text)
    write_instrument(instrument_of(), "instrument.toml")
    for block in blocks("run"):
        words = shlex.split(block)
        result = CliRunner().invoke(main, words[1:])
        assert words[0] == "xrdorder" and result.exit_code == 0, result.output
    shown = " ".join(result.stdout.split())
    target = float(re.search(r"--target-site-order (\S+)", PAGE.rpartition("Worked example")[2])[1])
    assert re.search(rf"site order \S+ {target:g} ", shown)
    with open("ranges.csv", newline="") as stream:
        ranges = list(csv.DictReader(stream))
    assert len(ranges) > 2
    specimen = read_description("specimen.toml")
    whole = simulate_scan(specimen, instrument_of(), None)
    paths = []
    for number, one in enumerate(ranges):
        low, high, seconds = (float(one[key]) for key in ("from_deg", "to_deg", "seconds_per_step"))
        inside = (whole["two_theta"].values >= low - 1e-6) & (whole["two_theta"].values <= high + 1e-6)
        factor = seconds / specimen.seconds_per_step
        part = whole[inside]
        part = part.copy(data=factor * part.values)
        part = part.assign_coords(counting_time=part["counting_time"] * factor)
        paths.append(Path(f"range-{number}.xy"))
        write_pattern(counted(part, number + 10), paths[-1])
    pattern = read_patterns(tuple(paths))
    fit = fit_pattern(
        pattern, instrument_of(), composition=specimen.composition, specimen_length_mm=20.0,
        options=replace(OPTIONS, tube_lines=False),
    )  # fmt: skip
    found = characterise(
        fit.values, fit.contributions, specimen.specimen(), radiation=radiation("cu-ka"), tin_held=fit.tin_held,
        by_tin=fit.by_tin,
    )  # fmt: skip
    # seconds are written with two digits, and the quick scan had noise: within a tenth of what was asked for
    assert found.u("site_order") == pytest.approx(target, rel=0.1)
    assert abs(found.values["site_order"] - specimen.site_order) < 3.0 * found.u("site_order")

