"""When is a stored result still the answer? When input, options and version are those it was made from."""

import hashlib
import json
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from xrdorder import __version__
from xrdorder.studies.store import FORMAT

OF_FIT = ("xrays", "crystals", "profiles", "patterns", "fitting", "uncertainty.py")
"""What the fit of a pattern is computed by."""

OF_RESULT = (*OF_FIT, "relations", "material", "superconductivity")
"""What a result is computed by."""


@lru_cache(maxsize=4)
def code_hash(parts: tuple[str, ...]) -> str:
    """SHA-256 of the program text and tables of some parts of the package: a version that was changed is another."""
    digest = hashlib.sha256()
    package = Path(__file__).parent.parent
    for part in parts:
        root = package / part
        for path in sorted(root.rglob("*")) if root.is_dir() else [root]:
            if path.suffix in (".py", ".toml", ".cif"):
                digest.update(path.relative_to(package).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def fingerprint(
    input_sha256: Mapping[str, str], options: Mapping[str, Any], parts: tuple[str, ...] = OF_RESULT
) -> str:
    """Hash everything a result depends on.

    Parameters
    ----------
    input_sha256 : mapping of str to str
        SHA-256 of every input file by its name. The names themselves do not count: a renamed file holds the
        same counts.
    options : mapping
        Everything chosen, resolved, fit for JSON.
    parts : tuple of str
        Parts of the package whose text counts.
    """
    content = {
        "format": FORMAT,
        "version": __version__,
        "code": code_hash(parts),
        "input": list(input_sha256.values()),
        "options": options,
    }
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()
