"""Read TOML that anybody may have written."""

import re
import tomllib
from typing import Any

#: Tables within tables; no file of this package needs more than six.
DEEPEST = 40

# The library needs seconds for thousands of dotted keys in a row (the square of their number).
_KEY = r"""(?:[\w-]+|"[^"\n]*"|'[^'\n]*')"""
_CHAIN = re.compile(rf"(?<![\w\-\"'])(?:{_KEY}[ \t]*\.[ \t]*){{{DEEPEST}}}")


def toml_table(text: str) -> dict[str, Any]:
    """Read TOML.

    Raises
    ------
    tomllib.TOMLDecodeError
        It is none, or nested deeper than `DEEPEST`, or holds a number that no computer can.
    """
    if _CHAIN.search(text):
        raise _too_deep()
    try:
        table = tomllib.loads(text)
    except RecursionError:
        raise _too_deep() from None
    except tomllib.TOMLDecodeError:
        raise
    except ValueError as error:  # whole numbers of thousands of digits, days that no calendar has
        raise tomllib.TOMLDecodeError(f"a value that cannot be ({str(error).partition(';')[0]})") from None
    if _depth(table) > DEEPEST:
        raise _too_deep()
    return table


def _too_deep() -> tomllib.TOMLDecodeError:
    return tomllib.TOMLDecodeError(f"nested more than {DEEPEST} deep")


def _depth(table: dict[str, Any]) -> int:
    """Count tables and lists within each other, without recursion."""
    depth = 0
    level: list[dict[str, Any] | list[Any]] = [table]
    while level and depth <= DEEPEST:
        depth += 1
        inner = (item for outer in level for item in (outer.values() if isinstance(outer, dict) else outer))
        level = [item for item in inner if isinstance(item, dict | list)]
    return depth
