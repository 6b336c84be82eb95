"""When is a stored result still the answer? When input, options and program are those it was made from."""

import hashlib
import json
import re
from collections.abc import Callable, Iterator, Mapping
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from xrdorder import __version__
from xrdorder.results.sample_file import FORMAT

OF_FIT = ("xrdorder.patterns", "xrdorder.fitting")
"""Modules that read and fit a pattern; with all that they import they are what a fit is computed by."""

OF_RESULT = (*OF_FIT, "xrdorder.running.interpretation")
"""What a result is computed by."""

_IMPORT = re.compile(r"^[ \t]*(?:from[ ]+([\w.]+)[ ]+import[ ]+(\([^)]*\)|.+)|import[ ]+([\w., ]+))", re.MULTILINE)
"""A statement that imports, as it is written here: it begins a line, and ends there or with a bracket."""

_TABLES = (".toml", ".cif", ".csv")
"""Endings of files whose numbers a module of the same package may read."""


@lru_cache(maxsize=8)
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

    @cache
    def file_of(module: str) -> Path | None:
        place = package.parent.joinpath(*module.split("."))
        candidates = (place / "__init__.py", place.with_suffix(".py"))
        return next((path for path in candidates if path.is_file()), None)

    files: set[Path] = set()
    waiting = [*modules]
    while waiting:
        name = waiting.pop()
        path = file_of(name)
        if path is None:
            raise ModuleNotFoundError(f"there is no module {name}")
        if path not in files:
            files.add(path)
            waiting += _imports(path, package.name, file_of)
    # the entrance of the package itself hands names on lazily and computes nothing
    files.discard(package / "__init__.py")
    folders = {path.parent for path in files} - {package}
    tables = {table for folder in folders for table in folder.rglob("*") if table.suffix in _TABLES}
    return sorted(files | tables)


def _imports(path: Path, package: str, file_of: Callable[[str], Path | None]) -> Iterator[str]:
    """Modules of the package that a file imports, wherever the statement stands."""
    for module, names in imported(path.read_text(encoding="utf-8")):
        if module.split(".")[0] == package:
            yield module
            yield from (name for name in (f"{module}.{name}" for name in names) if file_of(name) is not None)


@cache
def imported(text: str) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Modules that a program imports, each with the names that it takes from it.

    Read by the form of the statements: to parse the whole package takes two seconds, which every run would wait for.
    """
    found: list[tuple[str, tuple[str, ...]]] = []
    for module, names, plain in _IMPORT.findall(text):
        found += [(module, tuple(re.findall(r"\w+", names)))] if module else []
        found += [(name.split()[0], ()) for name in plain.split(",") if name.strip()]
    return tuple(found)


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
