"""When is a stored result still the answer? When input, options and version are those it was made from."""

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from xrdorder import __version__
from xrdorder.studies.store import FORMAT


def fingerprint(input_sha256: Mapping[str, str], options: Mapping[str, Any]) -> str:
    """Hash everything a result depends on.

    Parameters
    ----------
    input_sha256 : mapping of str to str
        SHA-256 of every input file by its name. The names themselves do not count: a renamed file holds the
        same counts.
    options : mapping
        Everything chosen, resolved, fit for JSON.
    """
    content = {
        "format": FORMAT,
        "version": __version__,
        "input": list(input_sha256.values()),
        "options": options,
    }
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()
