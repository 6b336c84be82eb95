"""What a fit is worth, and what nobody told about the sample: two questions that are answered apart.

The grade speaks of the fit alone. A slit that was not told makes no fit worse; what hangs on it is named beside the
grade as missing information.
"""

from collections.abc import Iterable

CARE = "use with care"
UNFIT = "do not use"
"""Verdicts on a fit that begin with these words keep a sample out of comparisons."""

GRADES = {"A": "trustworthy", "B": CARE, "C": UNFIT}
"""Quality grades of a fit, and how the words that give the reasons begin."""

MISSING_INFORMATION = {
    "slit-not-given": "slit",
    "length-not-given": "specimen length",
    "mount-unknown": "mount",
    "dopants-not-declared": "dopants",
}
"""Flags of what the description leaves open, and what is missing."""


def grade(words: str) -> str:
    """Quality grade of a fit by its words.

    >>> grade("trustworthy"), grade("use with care: 2 unindexed reflections"), grade("do not use: no A15"), grade("")
    ('A', 'B', 'C', '-')
    """
    return next((mark for mark, start in GRADES.items() if words.startswith(start)), "-")


def graded(words: str) -> str:
    """Grade and its reasons.

    >>> graded("use with care: 2 unindexed lines; few grains reflect"), graded("trustworthy")
    ('B: 2 unindexed lines; few grains reflect', 'A')
    """
    _, _, reasons = words.partition(": ")
    return ": ".join(filter(None, (grade(words), reasons)))


def missing_information(flags: Iterable[str]) -> str:
    """What nobody told about a sample, by the names of its flags; empty where nothing is missing.

    >>> missing_information(["texture", "slit-not-given", "mount-unknown"])
    'slit, mount'
    """
    names = set(flags)
    return ", ".join(words for name, words in MISSING_INFORMATION.items() if name in names)
