"""What a single option turns its text into."""

import click
import pytest

from xrdorder.cli.options import CONTENT
from xrdorder.cli.report import report
from xrdorder.drawing.layout import SIZES
from xrdorder.reports.pictures import FORMATS


@pytest.mark.parametrize("text", ["Ta=2.4+-0.2", "Ta=2.4±0.2", "Ta=2.4+/-0.2", " Ta = 2.4 +- 0.2 "])
def test_a_content_with_its_uncertainty(text):
    assert CONTENT.convert(text, None, None) == ("Ta", 2.4, 0.2)


@pytest.mark.parametrize(("text", "number"), [("Ta=2.4", 2.4), ("Ta=0", 0.0), ("Ta=24e-1", 2.4)])
def test_a_content_alone(text, number):
    assert CONTENT.convert(text, None, None) == ("Ta", number, None)


@pytest.mark.parametrize("text", ["Ta", "=2.4", "Ta=", "Ta=2.4+-", "Ta=2,4", "Ta=2.4+0.2", "Ta=+-0.2", "Ta=2.4+-nan"])
def test_what_is_no_content(text):
    with pytest.raises(click.BadParameter):
        CONTENT.convert(text, None, None)


def test_formats_and_sizes_of_a_report_are_those_there_are():
    # typed into the command, so that its help loads no matplotlib
    choices = {one.name: one.type.choices for one in report.params if isinstance(one.type, click.Choice)}
    assert {name: tuple(of) for name, of in choices.items()} == {"form": FORMATS, "size": tuple(SIZES)}
