"""Which quantity of a result somebody means: by its own name, a column of `results.csv`, or a printed heading."""

from collections.abc import Sequence

from xrdorder.exceptions import UnknownNameError, did_you_mean
from xrdorder.quantities.registry import QUANTITIES, Quantity, columns, standing_in
from xrdorder.results.columns import TOLD

OF_THE_FIT = ("status", "flags", "quality", "information_missing", "grade", "r_wp", "chi2_reduced")
"""Columns about the fit as a whole, which no step leads to."""


def headed(word: str) -> Quantity | None:
    """Quantity below a heading of a printed table, or with this symbol or noun; None where there is none.

    >>> headed("A15").name, headed("Bc2").name, headed("tin content").name
    ('a15_fraction', 'Bc2_4K2_T', 'tin_fraction')
    """
    every = [*standing_in("study"), *standing_in("wide"), *QUANTITIES.values()]
    return next(
        (
            entry
            for entry in every
            if word in (entry.heading, entry.symbol, entry.symbol.split("(")[0], entry.noun)
        ),
        None,
    )


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
    column = next((column for column in columns() if column.name == word), None)
    below = headed(word)
    name = column.quantity if column else below.name if below else word.removeprefix("u_")
    if name in names:
        times = f"{column.scale:g} times " if column and column.scale != 1.0 else ""
        kind = column.kind if column else "total" if word == f"u_{name}" else "value"
        what = {
            "total": "the standard uncertainty u of ",
            "independent": "the standard uncertainty that would be left if all other samples were known, of ",
            "low": "the lower end of the 68 % interval of ",
            "high": "the upper end of the 68 % interval of ",
        }.get(kind, "")
        return name, f"{word} is {times}{what}{name}" if times or what else ""
    if word in OF_THE_FIT:
        raise UnknownNameError(f"'{word}' belongs to the fit as a whole; name no quantity, and the head says it")
    if column is not None:
        raise UnknownNameError(f"'{word}' shows the quantity '{name}', which this sample has not; see its flags")
    others = [column.name for column in columns() if column.quantity in names]
    headings = [quantity.heading for quantity in QUANTITIES.values() if quantity.name in names]
    hint = did_you_mean(word, [*names, *others, *headings, *TOLD])
    hint = hint if hint.startswith("did you") else "name none, and all of them are listed"
    raise UnknownNameError(f"there is no quantity '{word}'; {hint}")
