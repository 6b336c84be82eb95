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

OPTIONS = {
    "demo": {"--out", "--again", "--workers", "--details"},
    "calibrate": {
        "--standard",
        "--detector-distance-mm",
        "--radiation",
        "--axis",
        "--axis-unit",
        "--diffractogram",
        "--divergence-deg",
        "--specimen-length-mm",
        "--geometry",
        "--illuminated-length-mm",
        "--polarisation-ratio",
        "--mu-t",
        "--mu-r",
        "--focused",
        "--monochromator-two-theta-deg",
        "--temperature-c",
        "--standard-domain-size-nm",
        "--standard-lattice-nm",
        "--u-standard-lattice-nm",
        "--out",
        "--figure",
    },
    "fit": {
        "--instrument",
        "--phases",
        "--dopant",
        "--mount",
        "--temperature-c",
        "--divergence-deg",
        "--specimen-length-mm",
        "--internal-standard",
        "--radiation",
        "--axis",
        "--axis-unit",
        "--diffractogram",
        "--lattice-distribution",
        "--undoped",
        "--texture-axis",
        "--elastic-shifts",
        "--depth-gradient",
        "--roughness",
        "--particle-size-um",
        "--mu-t",
        "--mu-r",
        "--measured-dispersion",
        "--stray-radiation",
        "--no-stray-radiation",
        "--seek-phases",
        "--no-seek-phases",
        "--second-opinions",
        "--no-second-opinions",
        "--engine",
        "--out",
        "--figures",
        "--no-figures",
        "--again",
        "--workers",
        "--details",
    },
    "new": {"--name"},
    "run": {"--figures", "--no-figures", "--again", "--workers", "--details"},
    "compare": {
        "--by",
        "--quantity",
        "--reference",
        "--without",
        "--lot",
        "--all-pairs",
        "--figures",
        "--no-figures",
        "--details",
    },
    "measured": {"--lot", "--adopt", "--relation", "--slope", "--figures", "--no-figures", "--details"},
    "fields": {
        "--field",
        "--temperature",
        "--strain",
        "--design",
        "--sample",
        "--reference",
        "--figures",
        "--no-figures",
        "--details",
    },
    "suggest": {
        "--field",
        "--temperature",
        "--strain",
        "--design",
        "--lot",
        "--number",
        "--measured",
        "--furnace-min-c",
        "--furnace-max-c",
        "--min-hours",
        "--max-hours",
        "--ramp",
        "--total-hours",
        "--step-c",
        "--time-as",
        "--most-hours-above",
        "--rrr-above",
        "--niobium-below",
        "--figure",
        "--details",
    },
    "simulate": {"--instrument", "--out", "--seed", "--expected", "--repeats", "--format", "--truth"},
    "plan-scan": {
        "--instrument",
        "--from-pattern",
        "--about",
        "--target-site-order",
        "--target-lattice-pm",
        "--target-tin",
        "--target-size-nm",
        "--target-tc-k",
        "--target-bc2-t",
        "--difference",
        "--measured-tc-k",
        "--hours",
        "--range",
        "--least",
        "--table",
        "--consider",
        "--see",
        "--of",
        "--scatter",
        "--study",
        "--power",
        "--alpha",
        "--u-measured",
        "--cost",
        "--phases",
        "--dopant",
        "--undoped",
        "--mount",
        "--divergence-deg",
        "--specimen-length-mm",
        "--radiation",
        "--axis",
        "--axis-unit",
        "--diffractogram",
        "--figure",
        "--details",
    },
    "explain": {"--details"},
    "report": {"--only", "--format", "--size", "--sample"},
    "estimate": {
        "--lattice-nm",
        "--u-lattice-nm",
        "--site-order",
        "--u-site-order",
        "--tin-at-percent",
        "--u-tin-at-percent",
        "--temperature-c",
        "--dopant",
        "--undoped",
        "--bc2-at-k",
        "--strain",
        "--u-strain",
        "--relations",
        "--tin-scale",
        "--details",
    },
    "relations": {"--kind", "--wire", "--known", "--find", "--file", "--save"},
    "tin-scale": {"--out", "--name", "--source", "--u-common-at-percent", "--own-slope"},
    "strain-free": {"--poisson", "--u-poisson"},
}
"""What scripts and documents rely on."""


def flags(command):
    return {
        word
        for parameter in command.params
        if isinstance(parameter, click.Option)
        for word in (*parameter.opts, *parameter.secondary_opts)
    }


def test_the_commands_are_those_promised_in_the_order_of_use():
    assert main.list_commands(click.Context(main)) == list(OPTIONS)


@pytest.mark.parametrize("name", OPTIONS)
def test_every_option_here_exists_and_no_other(name):
    assert flags(main.commands[name]) == OPTIONS[name]


@pytest.mark.parametrize("name", OPTIONS)
def test_help_shows_every_option_with_a_text(name):
    result = CliRunner().invoke(main, [name, "--help"])
    assert result.exit_code == 0
    for word in OPTIONS[name]:
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
