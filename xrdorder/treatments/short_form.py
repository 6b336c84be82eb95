"""Schedules in one line, as they are named: holds as °C over hours, one after the other."""

import re

from xrdorder.exceptions import StudyError
from xrdorder.treatments.schedule import Repeat, Schedule, Step

_LOOKS = re.compile(r"^[\s\d.,+/°Ch×x*()±-]+$")
_NUMBER = r"(\d+(?:\.\d+)?)"
_HOLD = re.compile(rf"^{_NUMBER}\s*(?:°?\s*C)?\s*/\s*{_NUMBER}\s*h?$")
_BLOCK = re.compile(r"^(\d+)\s*[×x*]\s*\((.*)\)\s*h?$")


def looks_like_holds(text: str) -> bool:
    """Tell whether a text is meant as holds in one line: nothing but numbers and their signs, with a slash.

    >>> looks_like_holds("210/48 + 650 °C/100 h"), looks_like_holds("logs/furnace.csv"), looks_like_holds("A")
    (True, False, False)
    """
    return "/" in text and any(c.isdigit() for c in text) and bool(_LOOKS.match(text))


def schedule_of_holds(text: str, start_c: float = 25.0) -> Schedule:
    """Read a schedule from the holds in one line, as `Schedule.short_name` writes them.

    Ramps are not in it, so they take no time; a hold that swings has a period that is not in it either.

    Parameters
    ----------
    text : str
        Holds as °C over hours, joined by ``+``; a block as ``3×(650/10 + 600/5)``. The units may be left out.
    start_c : float
        Temperature before the first hold.

    Raises
    ------
    StudyError
        The text is no such line, or a hold is one no furnace can follow.

    Examples
    --------
    >>> schedule_of_holds("210/48 + 650 °C/100 h").short_name
    '210/48 + 650/100 h'
    >>> schedule_of_holds("2x(650/10 + 600/5) h").total_h
    30.0
    """
    if "±" in text:
        raise StudyError(f"'{text}' does not tell the period of the swing; give steps with amplitude_k and period_h")
    return Schedule(_steps(text, text), start_c)


def _steps(part: str, whole: str) -> tuple[Step | Repeat, ...]:
    made: list[Step | Repeat] = []
    for piece in _pieces(part):
        if block := _BLOCK.match(piece):
            made.append(Repeat(int(block[1]), _steps(block[2], whole)))
        elif hold := _HOLD.match(piece):
            if float(hold[2]) == 0.0:
                raise StudyError(f"'{piece}' is a hold of no hours, and no ramp leads there; give hours above zero")
            made.append(Step(float(hold[1]), float(hold[2])))
        else:
            raise StudyError(
                f"'{piece or whole}' is no hold; give °C over hours joined by +, as 210/48 + 650/100, or steps"
            )
    return tuple(made)


def _pieces(text: str) -> list[str]:
    """Split at every + that stands outside of brackets."""
    pieces, depth = [""], 0
    for sign in text:
        depth += (sign == "(") - (sign == ")")
        if sign == "+" and depth == 0:
            pieces.append("")
        else:
            pieces[-1] += sign
    return [piece.strip() for piece in pieces]
