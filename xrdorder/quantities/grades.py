"""Is a fit to be used? The grades in words, and in short."""

CARE = "use with care"
UNFIT = "do not use"
"""Verdicts on a fit that begin with these words keep a sample out of comparisons."""

_TRUST = {"trustworthy": "yes", CARE: "care", UNFIT: "no"}


def trust(words: str) -> str:
    """Shorten a verdict.

    >>> trust("trustworthy"), trust("use with care: few grains"), trust("do not use: chi squared is 40"), trust("")
    ('yes', 'care', 'no', '-')
    """
    return next((mark for start, mark in _TRUST.items() if words.startswith(start)), "-")


GRADES = {"A": "trustworthy", "B": CARE, "C": UNFIT}
"""Quality grades of a fit, and how the words that give the reasons begin."""


def grade(words: str) -> str:
    """Quality grade of a fit by its words.

    >>> grade("trustworthy"), grade("use with care: 2 unindexed reflections"), grade("do not use: no A15"), grade("")
    ('A', 'B', 'C', '-')
    """
    return next((mark for mark, start in GRADES.items() if words.startswith(start)), "-")
