"""The tree keeps its own rules: imports go one way, functions and rooms stay small, nothing heavy hides at the top."""

import ast
import re
import subprocess
import sys
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

from xrdorder.results.fingerprint import imported

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "xrdorder"
ORDER = (
    "exceptions faults files quantities display xrays crystals profiles uncertainty treatments kinetics relations "
    "patterns forward_model least_squares identification fitting material superconductivity description results "
    "estimates running series comparison measured planning simulation scan_planning explanation drawing figures "
    "views reports cli"
).split()
LONGEST_BODY = 60  # lines of a function without its docstring
LARGEST_ROOM = 5000
SHOWING = ("cli", "drawing", "figures", "reports", "views")
TO_BE_DIVIDED = {
}
SHARED_NAMES = {"study"}
MODULES = sorted(PACKAGE.rglob("*.py"))


def room(path: Path) -> str:
    """Top-level package a module belongs to."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


@cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def imports(path: Path) -> set[tuple[str, tuple[str, ...]]]:
    """Modules that a module imports, at any depth of indentation, and the names it takes from each."""
    found: set[tuple[str, tuple[str, ...]]] = set()
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found.add((str(node.module), tuple(alias.name for alias in node.names)))
        elif isinstance(node, ast.Import):
            found |= {(alias.name, ()) for alias in node.names}
    return found


def imported_rooms(path: Path) -> set[str]:
    """Top-level packages of xrdorder that a module imports."""
    own = [(module, names) for module, names in imports(path) if module.split(".")[0] == "xrdorder"]
    return {room for module, names in own for room in module.split(".")[1:2] or names}


def test_a_fingerprint_sees_every_import() -> None:
    """Results are known by the text of what computes them, which is found without the parser."""
    for path in MODULES:
        there = imports(path)
        seen: dict[str, set[str]] = {}
        for module, names in imported(path.read_text(encoding="utf-8")):
            seen.setdefault(module, set()).update(names)
        assert {module for module, _ in there} <= seen.keys(), path
        missed = [(module, name) for module, names in there for name in names if name not in seen[module]]
        assert missed == [], path


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


def body_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function without its signature and docstring."""
    body = function.body[1:] if ast.get_docstring(function) is not None else function.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def test_functions_stay_readable() -> None:
    long = {
        f"{path.relative_to(PACKAGE)}: {node.name}": body_lines(node)
        for path in MODULES
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and body_lines(node) > LONGEST_BODY
    }
    assert {name: lines for name, lines in long.items() if name not in TO_BE_DIVIDED} == {}


def test_rooms_stay_readable() -> None:
    lines = Counter[str]()
    for path in MODULES:
        lines[room(path)] += len(path.read_text(encoding="utf-8").splitlines())
    assert {name: count for name, count in lines.items() if count > LARGEST_ROOM} == {}


def test_names_of_modules_are_not_confused() -> None:
    """Two rooms share a module name only where one shows, as command, figure or section, what the other computes."""
    homes: dict[str, list[str]] = {}
    for path in MODULES:
        if path.stem != "__init__" and room(path) not in SHOWING:
            homes.setdefault(path.stem, []).append(room(path))
    shared = {name: rooms for name, rooms in homes.items() if len(rooms) > 1}
    assert {name: rooms for name, rooms in shared.items() if name not in SHARED_NAMES} == {}


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


_ESTIMATE = "from xrdorder.cli import main; main(['estimate', '--lattice-nm', '0.529'], standalone_mode=False)"


@pytest.mark.slow
@pytest.mark.parametrize(
    ("code", "late"),
    [
        ("import xrdorder.fitting", ""),
        ("import xrdorder.running.run", "scipy.optimize"),
        ("import xrdorder.comparison.study_comparison", ""),
        (_ESTIMATE, "scipy.optimize h5py pydantic xarray pandas"),
    ],
)
def test_what_is_heavy_is_loaded_when_it_is_needed(code: str, late: str) -> None:
    """Distributions of scipy.stats, whose import takes a third of a second, have functions in scipy.special."""
    heavy = {"scipy.stats", "lmfit", "numba", "matplotlib", *late.split()}
    code = f"import sys\n{code}\nsys.exit(str({heavy} & set(sys.modules) or ''))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.stderr.strip() == ""


def test_readme_and_guide_name_what_exists() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for name in re.findall(r"`((?:tests|xrdorder|\.ci)/[\w./]*)`", guide):
        assert (ROOT / name).exists(), f"DEVELOPERS.md names {name}"
    listed = set(re.findall(r"^\| `(\w+)` \|", guide, flags=re.MULTILINE))
    rooms = {room(path) for path in MODULES} - {"__init__"}
    assert listed == rooms
