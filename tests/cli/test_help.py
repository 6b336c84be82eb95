"""Help tells of every command and option, and costs nothing."""

import re
import subprocess
import sys
from dataclasses import fields

import click
import pytest
from click.testing import CliRunner

from xrdorder.cli import main, options
from xrdorder.fitting import ENGINES, LATTICE_DISTRIBUTIONS, FitOptions
from xrdorder.material import MOUNTS
from xrdorder.patterns import pattern
from xrdorder.profiles import instrument


def flags(command):
    return {
        word
        for parameter in command.params
        if isinstance(parameter, click.Option)
        for word in (*parameter.opts, *parameter.secondary_opts)
    }


COMMANDS = list(main.commands)
"""Which commands and options there are is promised by docs/reference/commands.md (`tests/docs/test_reference.py`)."""


@pytest.mark.parametrize("name", COMMANDS)
def test_help_shows_every_option_with_a_text(name):
    result = CliRunner().invoke(main, [name, "--help"])
    assert result.exit_code == 0
    for word in flags(main.commands[name]):
        assert re.search(rf"(^|[\s/,]){word}\b", result.output), word
    for parameter in main.commands[name].params:
        if isinstance(parameter, click.Option):
            assert parameter.help, parameter.name


def test_the_first_help_names_every_command():
    output = CliRunner().invoke(main, ["--help"]).output
    for name, command in main.commands.items():
        assert re.search(rf"^  {name}\s+{re.escape(command.get_short_help_str()[:20])}", output, re.MULTILINE)
    assert "never measurements" in " ".join(output.split())


def test_help_loads_none_of_the_heavy_packages():
    code = (
        "import sys\n"
        "from xrdorder.cli import main\n"
        "for words in (['--help'], ['fit', '--help'], ['--version']):\n"
        "    try:\n"
        "        main(words)\n"
        "    except SystemExit as end:\n"
        "        assert end.code == 0\n"
        "heavy = {'numpy', 'scipy', 'xarray', 'lmfit', 'matplotlib', 'gemmi', 'h5py', 'pydantic', 'rich'}\n"
        "loaded = heavy & set(sys.modules)\n"
        "assert not loaded, loaded\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, timeout=60)


def test_names_repeated_for_a_quick_help_are_those_of_the_library():
    assert options.MOUNTS == MOUNTS
    assert set(options.ENGINES) == set(ENGINES)
    assert options.GEOMETRIES == pattern.GEOMETRIES == instrument.GEOMETRIES
    assert options.LATTICE_DISTRIBUTIONS == LATTICE_DISTRIBUTIONS
    assert set(options.CHOICES) == {f.name for f in fields(FitOptions)}
    assert options.AXES == tuple(pattern.AXES)
    assert {unit for units in pattern.AXIS_UNITS.values() for unit in units} <= set(options.AXIS_UNITS)
