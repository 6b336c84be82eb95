"""Every screen: the answer in ten lines at 80 columns, then a table; as wide as the terminal; no number broken."""

import re

import pytest
from click.testing import CliRunner

from tests.cli.test_fields import held
from tests.explanation import explained
from tests.figures.test_measured import held as held_against_measurements
from tests.results import made
from tests.results.test_study_table import results
from xrdorder.cli import main
from xrdorder.cli.console import rendered
from xrdorder.quantities.registry import UNTESTED
from xrdorder.views.study import study_parts

WIDTHS = (80, 100, 160)
RULE = re.compile(r"-{20,}", re.MULTILINE)
COPIED = ("Next", "Table", "Figures", "Everything", "Log")  # commands and paths are never broken


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    return explained.folder(tmp_path_factory.mktemp("kept"))


@pytest.fixture
def screen(tmp_path, monkeypatch, kept):
    """Draw a screen at a width."""

    def draw(name, width):
        monkeypatch.setenv("COLUMNS", str(width))
        if name == "run":
            samples = [made.sample(f"A-{k}") for k in range(12)]
            return rendered(*study_parts(results(tmp_path, samples), tmp_path), width=width)
        if name == "measured":
            return rendered(*held_against_measurements().parts(), width=width)
        monkeypatch.setattr("xrdorder.results.open_study.open_study", lambda folder: held({}))
        words = {
            "fields": ["fields", str(tmp_path), "--no-figures"],
            "estimate": ["estimate", "--lattice-nm", "0.5288", "--undoped"],
            "explain": ["explain", str(kept), "A-650-100"],
            "explain one": ["explain", str(kept), "A-650-100", "site_order"],
        }[name]
        said = CliRunner().invoke(main, words)
        assert said.exit_code == 0, said.output
        return said.output

    return draw


SCREENS = ("run", "fields", "measured", "estimate", "explain", "explain one")


@pytest.mark.parametrize("name", SCREENS)
def test_a_screen_fits_the_terminal_and_begins_with_the_answer(screen, name):
    for width in WIDTHS:
        text = screen(name, width)
        lines = [line for line in text.splitlines() if not line.startswith(COPIED)]
        assert max(map(len, lines)) <= width, width
        assert "\x1b" not in text  # no terminal: plain text
        if width == WIDTHS[0]:
            before = text[: RULE.search(text).start()]
            answer = before.split("\n\n")[0]
            assert answer.strip() and len(answer.splitlines()) <= 10, answer


@pytest.mark.parametrize("name", ["run", "fields", "measured", "estimate", "explain"])
def test_beside_an_absolute_tc_stands_that_no_data_test_it(screen, name):
    assert UNTESTED in " ".join(screen(name, 80).split())


@pytest.mark.parametrize("name", ["run", "estimate", "fields"])
def test_no_number_is_broken(screen, name):
    """Numbers of the widest screen stand whole on the narrowest, but for those of columns that it leaves out."""
    number = re.compile(r"(?<![\w.])\d+\.\d+(?:\([\d.]+\))?")
    wide, narrow = (set(number.findall(screen(name, width))) for width in (160, 80))
    assert narrow <= wide and len(narrow) > 3
