"""What the README promises exists."""

import re
from pathlib import Path

import click
import pytest

import xrdorder
from xrdorder.cli import main

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("marker", ["demo", "tests"])
def test_commands_that_ci_reads_are_marked(marker: str) -> None:
    block = re.search(rf"<!-- command: {marker} -->\n```\n(.+)\n```\n", README)
    assert block is not None, "the marked block holds exactly one command"


def test_options_exist() -> None:
    lines = re.findall(r"^ *`?xrdorder (\w[^`\n]*)", README, flags=re.MULTILINE)
    assert len(lines) >= 7
    for line in lines:
        name, *words = line.split()
        command = main.commands[name]
        known = {o for p in command.params if isinstance(p, click.Option) for o in p.opts}
        assert {w for w in words if w.startswith("--")} <= known | {"--help"}, line


def test_python_names_exist() -> None:
    names = set(re.findall(r"xrdorder\.(\w+)\(", README))
    assert {"read_pattern", "calibrate", "fit_pattern", "run_study", "estimate"} <= names
    for name in names:
        assert callable(getattr(xrdorder, name))


def test_links_lead_somewhere() -> None:
    for target in re.findall(r"\]\((?!http)([^)]+)\)", README):
        assert (Path(__file__).parent.parent / target).exists(), target
