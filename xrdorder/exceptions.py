"""What can go wrong, said to a person.

What does not stop the work but must be known to the reader of a result is a `Flag`.

Every error the package raises on purpose is an `XrdorderError` and also the builtin that fits, so that
``except ValueError`` keeps working. A message is one line: what, where, and what to do about it.
"""


from typing import NamedTuple


class Flag(NamedTuple):
    """Something the reader of a result must know: a short name and one sentence."""

    name: str
    message: str


class XrdorderError(Exception):
    """Base of all errors raised on purpose; the command line prints its text as one line."""


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
