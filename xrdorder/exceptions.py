"""What can go wrong, said to a person.

What does not stop the work but must be known to the reader of a result is a `Flag`.

Every error the package raises on purpose is an `XrdorderError` and also the builtin that fits, so that
``except ValueError`` keeps working. A message is one line: what, where, and what to do about it.
"""

import difflib
from collections.abc import Iterable
from typing import NamedTuple


class Flag(NamedTuple):
    """Something the reader of a result must know: a short name and one sentence."""

    name: str
    message: str


LONGEST_WORD, LONGEST_LINE = 400, 1200
"""Characters of a message that are of use to a reader; what is beyond was quoted from a file that nobody meant."""


class XrdorderError(Exception):
    """Base of all errors raised on purpose; the command line prints its text as one line.

    What a message quotes may come from any file: signs that cannot be printed, some of which would command a terminal,
    become question marks, and what is too long is cut.
    """

    def __init__(self, message: str = "") -> None:
        super().__init__("\n".join(_readable(line) for line in message.split("\n")))


def _readable(line: str) -> str:
    line = "".join(c if c.isprintable() else "?" for c in line)
    if len(line) > LONGEST_WORD:
        line = " ".join(_cut(word, LONGEST_WORD) for word in line.split(" "))
    return _cut(line, LONGEST_LINE)


def _cut(text: str, most: int) -> str:
    """Leave out the middle: a message ends in what to do."""
    return text if len(text) <= most else f"{text[: most // 2]}...{text[-most // 2 + 3 :]}"


class PatternError(XrdorderError, ValueError):
    """A pattern cannot be read, or what it holds cannot be a powder pattern."""


class UnknownNameError(XrdorderError, LookupError):
    """A radiation, standard, phase or relation of that name does not exist; the message lists those that do."""


class PhaseError(XrdorderError, ValueError):
    """A phase description is incomplete or contradicts itself."""


class InstrumentError(XrdorderError, ValueError):
    """An instrument description is unreadable, or does not belong to the pattern."""


class FitError(XrdorderError, RuntimeError):
    """A fit could not be set up or did not end in a usable minimum."""


class StudyError(XrdorderError, ValueError):
    """A study folder or its description is wrong or unusable."""


class ValidityError(XrdorderError, ValueError):
    """A value lies where a formula or a published relation says nothing."""


_MOST_LISTED = 24
"""Known words in a message: what a screen has room for."""


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Suggest the closest known word, or list those there are.

    >>> did_you_mean("hold", ["hold_c", "hours"])
    "did you mean 'hold_c'?"
    >>> did_you_mean("w17_a", ["W17_B", "W17-A"])
    "did you mean 'W17-A'?"
    >>> did_you_mean("x", ["hold_c", "hours"])
    'known: hold_c, hours'
    >>> did_you_mean("x", (f"wire-{k}" for k in range(10, 99)))[-37:]
    'wire-31, wire-32, wire-33 and 65 more'
    """
    words, letters = sorted(set(known)), _letters(word)
    close = [item for item in words if letters and _letters(item) == letters][:1]
    close = close or difflib.get_close_matches(word, words, n=1, cutoff=0.6)
    if not close:  # letters apart, a difference of case or a forgotten half is the common slip
        close = [item for item in words if word and item.casefold().startswith(word.casefold())][:1]
    if close:
        return f"did you mean '{close[0]}'?"
    if not words:
        return "there are none"
    more = f" and {len(words) - _MOST_LISTED} more" if len(words) > _MOST_LISTED else ""
    return f"known: {', '.join(words[:_MOST_LISTED])}{more}"


def _letters(word: str) -> str:
    """Letters and digits of a word, without case: what two spellings of one name have in common."""
    return "".join(letter for letter in word.casefold() if letter.isalnum())


def no_such_lot(lot: str, known: Iterable[str]) -> str:
    """Say that no sample is of a wire lot.

    >>> no_such_lot("Heron", ["heron", "heron", "curlew"])
    "no sample is of lot 'Heron'; did you mean 'heron'?"
    """
    return f"no sample is of lot '{lot}'; {did_you_mean(lot, known)}"
