"""Read TOML that anybody may have written."""

import re
import tomllib
from typing import Any

#: Tables within tables; no file of this package needs more than six.
DEEPEST = 40

# The library needs seconds for thousands of dotted keys in a row (the square of their number).
_KEY = r"""(?:[\w-]+|"[^"\n]*"|'[^'\n]*')"""
_CHAIN = re.compile(rf"(?:^|[\[{{,])[ \t]*(?:{_KEY}[ \t]*\.[ \t]*){{{DEEPEST}}}", re.MULTILINE)


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
    _check(table)
    return table


def _too_deep() -> tomllib.TOMLDecodeError:
    return tomllib.TOMLDecodeError(f"nested more than {DEEPEST} deep")


def _check(table: dict[str, Any]) -> None:
    """Refuse what is nested too deep, and whole numbers beyond 64 bits, as TOML 1.0 has it; without recursion."""
    level: list[Any] = [table]
    for _ in range(DEEPEST):
        inner = [item for outer in level for item in (outer.values() if isinstance(outer, dict) else outer)]
        if any(isinstance(item, int) and not -(2**63) <= item < 2**63 for item in inner):
            raise tomllib.TOMLDecodeError("a whole number of more than 64 bits")
        level = [item for item in inner if isinstance(item, dict | list)]
    if level:
        raise _too_deep()
