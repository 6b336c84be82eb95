"""The tree keeps its own rules: imports go one way, files stay small, nothing heavy hides at the top."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "xrdorder"
ORDER = (
    "exceptions xrays crystals profiles patterns uncertainty fitting relations material superconductivity treatments "
    "studies planning figures reports cli"
).split()
MODULES = sorted(PACKAGE.rglob("*.py"))


def room(path: Path) -> str:
    """Top-level package a module belongs to."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported_rooms(path: Path) -> set[str]:
    """Top-level packages of xrdorder that a module imports, at any depth of indentation."""
    rooms: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            if node.module == "xrdorder":
                rooms |= {alias.name for alias in node.names}
            elif node.module and node.module.startswith("xrdorder."):
                rooms.add(node.module.split(".")[1])
        elif isinstance(node, ast.Import):
            rooms |= {a.name.split(".")[1] for a in node.names if a.name.startswith("xrdorder.")}
    return rooms


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_one_way(path: Path) -> None:
    here = room(path)
    if here == "__init__":
        return
    assert here in ORDER, f"{here} has no place in the order"
    for other in imported_rooms(path) & set(ORDER):
        assert ORDER.index(other) <= ORDER.index(here), f"{path} imports {other}, which comes after {here}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_files_stay_readable(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 600


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; from xrdorder.cli import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'lmfit', 'xarray', 'matplotlib', 'gemmi'} & set(sys.modules)\n"
        "sys.exit(f'loaded {heavy}' if heavy else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_readme_and_guide_name_what_exists() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for name in re.findall(r"`((?:tests|xrdorder|\.ci)/[\w./]*)`", guide):
        assert (ROOT / name).exists(), f"DEVELOPERS.md names {name}"
    listed = set(re.findall(r"^\| `(\w+)` \|", guide, flags=re.MULTILINE))
    rooms = {room(path) for path in MODULES} - {"__init__"}
    assert listed == rooms
