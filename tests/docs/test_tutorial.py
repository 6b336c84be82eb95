"""The tutorial comes true: every command runs, and what the page says of the results holds."""

import csv
import re
from pathlib import Path

import pytest

from tests.docs.tutorial import PAGE, STEP, follow


@pytest.mark.slow
def test_the_tutorial_leads_from_scans_to_the_next_treatment(tmp_path: Path) -> None:
    screens: dict[str, list[str]] = {}
    follow(
        PAGE.read_text(encoding="utf-8"),
        tmp_path,
        lambda command, screen: screens.setdefault(command.split()[1], []).append(screen),
    )
    results = tmp_path / "wires" / "results"
    rows = list(csv.DictReader((results / "results.csv").open(encoding="utf-8-sig")))
    assert [row["status"] for row in rows] == ["ok"] * 6
    assert all(row["quality"].startswith("trustworthy") for row in rows), [row["quality"] for row in rows]
    pages = "".join((PAGE.parent / "reference" / name).read_text() for name in ("results.md", "quantities.md"))
    columns = {re.sub(r"(weight_fraction(_limit)?)_[a-z].*", r"\1_<phase>", name) for name in rows[0]}
    assert columns - set(re.findall(r"`([^`]+)`", pages)) == set(), "columns that no page explains"
    # more tin and order at the hottest reaction than at the coolest is what the invented lot was made with
    first, last = rows[0], rows[-1]
    rise = float(last["a_nm"]) - float(first["a_nm"])
    assert rise > 5.0 * (float(first["u_a_nm"]) ** 2 + float(last["u_a_nm"]) ** 2) ** 0.5
    # a measured Tc anchors the lot: both runs gave estimates, and the second is not that of the first
    assert len(screens["run"]) == 2 and screens["run"][0] != screens["run"][1]
    for name in ("comparison.csv", "measured.csv", "suggestions.csv", "report/report.html"):
        assert (results / name).stat().st_size > 100, name
    assert (tmp_path / "plan.png").is_file() and (tmp_path / "calibration.png").is_file()


def test_every_step_of_the_tutorial_is_read() -> None:
    """A marker with a slip in it would be passed over in silence."""
    text = PAGE.read_text(encoding="utf-8")
    assert text.count("<!--") == len(STEP.findall(text))
