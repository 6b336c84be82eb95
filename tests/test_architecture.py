"""The tree keeps its own rules: imports go one way, files stay small, nothing heavy hides at the top."""

import ast
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "xrdorder"
ORDER = (
    "exceptions faults files quantities xrays crystals profiles uncertainty treatments relations patterns "
    "forward_model identification fitting material superconductivity description results estimates running "
    "comparison measured planning explanation figures reports cli"
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


def test_imports_go_one_way() -> None:
    homes = {path: room(path) for path in MODULES if room(path) != "__init__"}
    assert set(homes.values()) <= set(ORDER), "a package has no place in the order"
    backward = [
        f"{path} imports {other}, which comes after {here}"
        for path, here in homes.items()
        for other in imported_rooms(path) & set(ORDER)
        if ORDER.index(other) > ORDER.index(here)
    ]
    assert backward == []


def test_files_stay_readable() -> None:
    lengths = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES}
    assert {path: lines for path, lines in lengths.items() if lines > 600} == {}


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
