"""The script of docs/howto/recompute.md gives every filled cell of `results.csv` from the netCDF files alone."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests import descriptions
from tests.drawn import drawn
from tests.results import made
from xrdorder.description.study import DoseReference
from xrdorder.least_squares.quality import agreement
from xrdorder.material import PUBLISHED_SCALE
from xrdorder.results.collate import RESULTS_CSV, collate, write_results
from xrdorder.results.columns import column_names
from xrdorder.results.sample_file import StoredSample, write_sample
from xrdorder.treatments import LoggedTreatment, Repeat, Schedule, Step

PAGE = Path(__file__).parents[2] / "docs/howto/recompute.md"
WRITTEN = 1e-9
"""Ten digits are written, so that a cell is within 5e-10; the rest is for rounding in two ways to one number."""

PHASES = ("nb3sn", "nb")
TREATMENTS = {
    "ramps": Schedule((Step(210, 48, 25), Step(400, 48, 25), Step(650, 100, 50), Step(25, 0, 20))),
    "swings": Schedule(
        (Step(210, 48), Repeat(3, (Step(640, 10.3, 50, 8.0, 0.7), Step(600, 5, 50))), Step(655, 20, 50, 3, 2.0))
    ),
    "logged": LoggedTreatment(
        np.array([1.0, 14.0, 15.0, 60.0, 61.0, 114.0, 130.0]), np.array([20, 650, 660, 651.0, 648, 652, 30])
    ),
    "again": Schedule((Step(210, 48, 25), Step(400, 48, 25), Step(650, 100, 50), Step(25, 0, 20))),
}


def script() -> str:
    """All blocks of the page, one after the other."""
    return "\n".join(re.findall(r"^```python\n(.*?)^```$", PAGE.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL))


def recomputed(folder, monkeypatch):
    """Cells of the table as the script found them: names, and the largest relative difference."""
    monkeypatch.setattr("sys.argv", ["recompute.py", str(folder)])
    found: dict = {}
    exec(compile(script(), "recompute.py", "exec"), found)
    return {name for _, name, _ in found["filled"]}, found["worst"]


def fitted(name, seed):
    """A sample whose agreement is that of its curves; one point was left out of the fit."""
    curves, rng = made.curves(), np.random.default_rng(seed)
    calculated = 1000.0 * curves["calculated"].values + 100.0
    observed = rng.poisson(calculated).astype(float)
    used = np.arange(calculated.size) != 7
    residual = np.where(used, (observed - calculated) / np.sqrt(calculated), np.nan)
    curves = curves.assign(
        {
            of: ("two_theta", values, curves[of].attrs)
            for of, values in (("observed", observed), ("calculated", calculated), ("weighted_residual", residual))
        }
    )
    free = made.parameters().sizes["free"]
    found = agreement(observed[used], calculated[used], calculated[used], free)
    one = made.sample(name, quality={"r_wp": found.r_wp, "chi2_reduced": found.chi2_reduced})
    return replace(one, groups={**one.groups, "curves": curves})


@pytest.fixture
def results(tmp_path):
    """A table in which every column is filled."""
    told = {"position_m": 12.5, "date": "2026-03-14"}
    lots = {name: descriptions.lot(name[0], dopant_at_percent={"Ta": 2.4}) for name in TREATMENTS}
    samples = [
        descriptions.sample(name, lots[name], tmp_path / f"{name}.xy", treatment=treatment, **told)
        for name, treatment in TREATMENTS.items()
    ] + [descriptions.sample(name, None, tmp_path / f"{name}.xy") for name in ("bad", "none")]
    dose = DoseReference(q_kj_per_mol=250.0, u_q_kj_per_mol=60.0, reference_c=680.0, above_c=641.5)
    study = descriptions.study(tmp_path, samples, PHASES, dose=dose)
    ours = replace(PUBLISHED_SCALE, name="ours", source="seven cast buttons")
    fraction = made.contributions().select(["weight_fraction_nb"])
    none = replace(
        fitted("none", 9),
        status="no A15",
        values={"weight_fraction_nb": 1.0, "upper_limit_nb3sn": 0.004, "upper_limit_nb": 0.001},
        contributions=fraction,
    )
    stored = [*(fitted(name, k) for k, name in enumerate(TREATMENTS)), StoredSample("bad", 'failed: "x"'), none]
    flagged = replace(stored[0], flags=(("sample-size", "few grains"), ("slit-not-given", "the slit is not told")))
    stored[0] = flagged
    centres = [17.5, 17.6, 16.9, 17.2, np.nan, np.nan]
    found = drawn(collate(study, stored, PHASES, ours, ["our-tc"]), {"Tc_K": centres})
    write_results(found, tmp_path)
    (tmp_path / "samples").mkdir()
    for one in stored:
        write_sample(one, tmp_path / "samples" / f"{one.name}.nc")
    return tmp_path


@pytest.mark.slow
def test_every_cell_of_every_column_is_recomputed(results, monkeypatch):
    names, worst = recomputed(results, monkeypatch)
    assert names == set(column_names(PHASES))
    assert worst[0] < WRITTEN, worst


@pytest.mark.slow
def test_a_cell_that_was_changed_is_noticed(results, monkeypatch):
    path = results / RESULTS_CSV
    text = path.read_text(encoding="utf-8")
    header, first, rest = text.split("\n", 2)
    cells, k = first.split(","), header.split(",").index("dose_low_h")
    cells[k] = f"{float(cells[k]) * (1 + 3e-9):.10g}"
    path.write_text("\n".join([header, ",".join(cells), rest]), encoding="utf-8")
    assert recomputed(results, monkeypatch)[1][:2] == (pytest.approx(3e-9, abs=1e-9), "dose_low_h")


def test_the_script_needs_nothing_but_numpy_and_a_reader_of_netcdf():
    imports = set(re.findall(r"^(?:import|from) (.*)$", script(), re.MULTILINE))
    assert imports == {"csv, re, sys", "pathlib import Path", "statistics import NormalDist", "h5netcdf", "numpy as np"}
