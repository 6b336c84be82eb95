"""A specimen without A15: how much there may be, amounts with their doubt, and nothing about order."""

import pytest

from tests.results.test_collate import rows
from xrdorder.cli.console import rendered
from xrdorder.running import run
from xrdorder.running.fit_sample import with_absent
from xrdorder.uncertainty import Contributions
from xrdorder.views.study import study_parts


def test_what_was_not_found_may_be_there_up_to_its_limit():
    table = Contributions(("weight_fraction_nb", "a"), ("counting",), [[0.0], [1.0]], ("",))
    found = with_absent(table, {"weight_fraction_nb": 1.0, "a": 3.0}, {"nb3sn": 1.645e-3, "cu": float("nan")})
    assert found.total("weight_fraction_nb") == pytest.approx(1e-3)
    assert found.total("a") == 1.0
    assert with_absent(table, {"weight_fraction_nb": 1.0, "a": 3.0}, {}).total("weight_fraction_nb") == 0.0


@pytest.mark.slow
def test_the_row_of_a_specimen_without_a15(tiny):
    folder = tiny.describe("niobium")
    dataset = run.run_study(folder, workers=1)
    (row,) = rows(folder / "results")
    assert row["status"] == "no A15"
    limit = float(row["weight_fraction_limit_nb3sn"])
    assert 0.0 < limit < 0.01
    assert float(row["u_weight_fraction_nb"]) == pytest.approx(limit / 1.645)
    assert "order" not in row["flags"] + str(dataset["flag_messages"].item())
    text = " ".join(rendered(*study_parts(dataset, folder), width=120).split())
    assert f"nb3sn not found below {100.0 * limit:.2g}" in text and "± 0.0" not in text
