"""Which quantity of a result somebody means: by its own name, a column of `results.csv`, or a printed heading."""

from collections.abc import Sequence

from xrdorder.exceptions import UnknownNameError, did_you_mean
from xrdorder.results.columns import NUMBERS, QUALITY, TOLD

HEADINGS = {
    "a": "a_nm",
    "order": "site_order",
    "tin": "tin_fraction",
    "own": "tin_fraction",
    "Tc": "Tc_K",
    "Bc2": "Bc2_4K2_T",
    "Bc2 4.2 K": "Bc2_4K2_T",
    "domains": "domain_size_nm",
    "A15": "a15_fraction",
    "weight": "a15_fraction",
}
"""Headings of the printed table and the quantities below them."""

OF_THE_FIT = ("status", "flags", "quality", "trust", *(column.name for column in QUALITY))
"""Columns about the fit as a whole, which no step leads to."""


def quantity_asked(word: str, names: Sequence[str]) -> tuple[str, str]:
    """Find the quantity.

    Parameters
    ----------
    word : str
        What was asked for.
    names : sequence of str
        Quantities the sample has.

    Returns
    -------
    name, remark : str
        The quantity, and how what was asked for follows from it; empty where it is the quantity itself.

    Raises
    ------
    UnknownNameError
        There is none; the message says what to do.

    Examples
    --------
    >>> quantity_asked("tin_at_percent", ["a_nm", "tin_fraction"])
    ('tin_fraction', 'tin_at_percent is 100 times tin_fraction')
    >>> quantity_asked("u_a_nm", ["a_nm"])
    ('a_nm', 'u_a_nm is the standard uncertainty u of a_nm')
    """
    if word in names:
        return word, ""
    column = next((column for column in NUMBERS if column.name == word), None)
    name = column.quantity if column else HEADINGS.get(word, word.removeprefix("u_"))
    if name in names:
        times = f"{column.scale:g} times " if column and column.scale != 1.0 else ""
        kind = column.kind if column else "total" if word == f"u_{name}" else "value"
        what = {
            "total": "the standard uncertainty u of ",
            "deviation": "the standard uncertainty u of ",
            "left": "the standard uncertainty that would be left if all other samples were known of ",
            "low": "the lower end of the 68 % interval of ",
            "high": "the upper end of the 68 % interval of ",
        }.get(kind, "")
        return name, f"{word} is {times}{what}{name}"
    if word in OF_THE_FIT:
        raise UnknownNameError(f"'{word}' belongs to the fit as a whole; name no quantity, and the head says it")
    if column is not None:
        raise UnknownNameError(f"'{word}' shows the quantity '{name}', which this sample has not; see its flags")
    columns = [column.name for column in NUMBERS if column.quantity in names]
    hint = did_you_mean(word, [*names, *columns, *(head for head, of in HEADINGS.items() if of in names), *TOLD])
    hint = hint if hint.startswith("did you") else "name none, and all of them are listed"
    raise UnknownNameError(f"there is no quantity '{word}'; {hint}")
