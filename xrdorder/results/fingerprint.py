"""When is a stored result still the answer? When input, options and program are those it was made from."""

import ast
import hashlib
import json
from collections.abc import Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from xrdorder import __version__
from xrdorder.results.sample_file import FORMAT

OF_FIT = ("xrdorder.patterns", "xrdorder.fitting")
"""Modules that read and fit a pattern; with all that they import they are what a fit is computed by."""

OF_RESULT = (*OF_FIT, "xrdorder.running.interpretation")
"""What a result is computed by."""

_TABLES = (".toml", ".cif", ".csv")
"""Endings of files whose numbers a module of the same package may read."""


@lru_cache(maxsize=4)
def code_hash(modules: tuple[str, ...], package: Path = Path(__file__).parent.parent) -> str:
    """SHA-256 of the text of modules, of all they import within the package, and of the tables beside these.

    Parameters
    ----------
    modules : tuple of str
        Full names; a package stands for what its entrance imports, at the top or for the reader of types.
    package : Path
        Folder of the package.

    Raises
    ------
    ModuleNotFoundError
        There is no such module: a name that is gone must not hash to nothing.
    """
    digest = hashlib.sha256()
    for path in import_closure(modules, package):
        digest.update(path.relative_to(package).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def import_closure(modules: tuple[str, ...], package: Path) -> list[Path]:
    """Files of modules and of all that they import within the package, and the tables beside them, in order."""
    files: set[Path] = set()
    waiting = [*modules]
    while waiting:
        name = waiting.pop()
        path = _file_of(name, package)
        if path is None:
            raise ModuleNotFoundError(f"there is no module {name}")
        if path not in files:
            files.add(path)
            waiting += _imports(path, package)
    # the entrance of the package itself hands names on lazily and computes nothing
    files.discard(package / "__init__.py")
    folders = {path.parent for path in files} - {package}
    tables = {table for folder in folders for table in folder.rglob("*") if table.suffix in _TABLES}
    return sorted(files | tables)


def _file_of(module: str, package: Path) -> Path | None:
    place = package.parent.joinpath(*module.split("."))
    candidates = (place / "__init__.py", place.with_suffix(".py"))
    return next((path for path in candidates if path.is_file()), None)


def _imports(path: Path, package: Path) -> Iterator[str]:
    """Modules of the package that a file imports, wherever the statement stands."""
    for node in ast.walk(ast.parse(path.read_bytes())):
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == package.name:
            assert node.module is not None
            yield node.module
            named = (f"{node.module}.{alias.name}" for alias in node.names)
            yield from (name for name in named if _file_of(name, package) is not None)
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name.split(".")[0] == package.name)


def fingerprint(
    input_sha256: Mapping[str, str], options: Mapping[str, Any], modules: tuple[str, ...] = OF_RESULT
) -> str:
    """Hash everything a result depends on.

    Parameters
    ----------
    input_sha256 : mapping of str to str
        SHA-256 of every input file by its name. The names themselves do not count: a renamed file holds the
        same counts.
    options : mapping
        Everything chosen, resolved, fit for JSON.
    modules : tuple of str
        Modules whose text counts, with all that they import.
    """
    content = {
        "format": FORMAT,
        "version": __version__,
        "code": code_hash(modules),
        "input": list(input_sha256.values()),
        "options": options,
    }
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()
