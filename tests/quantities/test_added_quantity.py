"""A derived quantity takes two files: the function that computes it, and its entry in the registry."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
NAME = "niobium_distance_nm"
FUNCTION = '''

def _add_niobium_distance(derived: Material) -> None:
    """Add the distance of niobium atoms within their chains: half of the lattice parameter."""
    distance = 0.5 * derived.values["a_nm"]
    derived.add("niobium_distance_nm", distance, {"a_nm": 0.5}, formula="a_nm / 2", source="geometry of the A15")
'''
ENTRY = '''    Quantity(
        "niobium_distance_nm", "d_Nb", "niobium distance", "distance of niobium atoms within their chains",
        differences=PICOMETRES, parts=WITH_U, stands_in=_places("wide", "section", "trends", "compare"),
    ),
'''


def insert(path: Path, before: str, text: str) -> None:
    content = path.read_text(encoding="utf-8")
    assert content.count(before) == 1
    path.write_text(content.replace(before, text + before), encoding="utf-8")


@pytest.mark.slow
def test_a_quantity_added_in_two_files_stands_everywhere(tmp_path):
    package = Path(shutil.copytree(ROOT / "xrdorder", tmp_path / "xrdorder"))
    function = package / "material" / "characterise.py"
    insert(function, "    drop_intermediate(derived)\n", "    _add_niobium_distance(derived)\n")
    function.write_text(function.read_text(encoding="utf-8") + FUNCTION, encoding="utf-8")
    insert(package / "quantities" / "registry.py", '    Quantity(\n        "order_contrast"', ENTRY)

    run = subprocess.run(
        [sys.executable, "-P", "-m", "tests.quantities.added", NAME],
        env={**os.environ, "PYTHONPATH": f"{tmp_path}{os.pathsep}{ROOT}", "MPLBACKEND": "agg"},
        cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    said = json.loads(run.stdout)
    assert {NAME, f"u_{NAME}"} <= set(said["csv"])
    head, first, *_ = said["table"]
    assert first[head.index("d_Nb (nm)")].startswith("0.2643")  # half of 0.52879 nm less what 2.5 K and strain take
    assert ["niobium distance", "nm"] in [[words, unit] for words, _, unit in said["page"]]
    assert f"niobium distance ({NAME}) = 0.264" in said["explain"] and "a_nm / 2" in said["explain"]
    assert NAME in said["compare"] and any("niobium distance of" in text and "pm" in text for text in said["verdict"])
    assert "niobium distance (nm)" in said["figure"]
