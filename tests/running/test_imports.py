"""What is loaded when: describing needs no fit."""

import subprocess
import sys

import pytest


@pytest.mark.parametrize(
    ("module", "absent"),
    [
        ("xrdorder", "numpy"),
        ("xrdorder.description.study", "lmfit"),
        ("xrdorder.cli", "pydantic"),
        ("xrdorder.estimates", "pydantic"),
    ],
)
@pytest.mark.slow
def test_heavy_packages_are_loaded_only_where_they_are_used(module, absent):
    code = f"import sys, {module}; print('{absent}' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
