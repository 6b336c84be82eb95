"""Limits of a furnace that look like kelvin are told, and the suggestions go on."""

import pytest


@pytest.mark.parametrize(("limit", "said"), [("923", True), ("720", False)])
def test_a_limit_in_kelvin_is_told(run, limit, said, tmp_path):
    result = run("suggest", tmp_path, "--field", "12", "--furnace-max-c", limit)
    assert ("remark: --furnace-max-c: 923 °C would be 650 °C if it was given in kelvin" in result.stderr) == said
