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
