"""Names of the columns of `results.csv`, and which quantity of a result somebody means.

The same columns stand, as variables over the dimension `sample`, in `results.nc`. Every number in them is a view of the
tables beside them in `results.nc`: a value is ``value`` of its quantity, a standard uncertainty the root of the summed
squares of ``contribution``, and what is estimated of all samples together (tin, Tc, Bc2, slope, resistivity) is taken
from ``estimate_draws``, each times the scale of its column (`xrdorder.quantities.registry.columns`).
"""

from collections.abc import Sequence

from xrdorder.exceptions import UnknownNameError, did_you_mean
from xrdorder.quantities.registry import QUANTITIES, Quantity, columns, standing_in

TOLD_COLUMNS: dict[str, str] = {
    "lot": "lot",
    "treatment": "treatment",
    "peak_c": "peak_c",
    "hold_at_peak_h": "hold_at_peak_h",
    "dose_h": "dose_h",
    "dose_low_h": "dose_low_h",
    "dose_high_h": "dose_high_h",
    "hours_above": "hours_above",
    "position_m": "position",
    "date": "date",
    "own": "own",
}
"""Columns that repeat what the description tells, and their variables in `results.nc`."""

OF_THE_FIT = ("quality", "information_missing")
"""Grade of the fit in words, and what nobody told: the last columns."""


def column_names(phases: Sequence[str]) -> list[str]:
    """Names of all columns of `results.csv` for a study of these phases, in order.

    >>> column_names(["nb3sn"])[:4], column_names(["nb3sn"])[-3:]
    (['sample', 'status', 'a_nm', 'u_a_nm'], ['weight_fraction_limit_nb3sn', 'quality', 'information_missing'])
    """
    names = ["sample", "status", *(column.name for column in columns()), "flags"]
    for phase in phases:
        names += [f"weight_fraction_{phase}", f"u_weight_fraction_{phase}"]
    return [*names, *TOLD_COLUMNS, *(f"weight_fraction_limit_{phase}" for phase in phases), *OF_THE_FIT]


_WHOLE_FIT = ("status", "flags", "quality", "information_missing", "grade", "r_wp", "chi2_reduced")
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
    if word in _WHOLE_FIT:
        raise UnknownNameError(f"'{word}' belongs to the fit as a whole; name no quantity, and the head says it")
    if column is not None:
        raise UnknownNameError(f"'{word}' shows the quantity '{name}', which this sample has not; see its flags")
    others = [column.name for column in columns() if column.quantity in names]
    headings = [quantity.heading for quantity in QUANTITIES.values() if quantity.name in names]
    hint = did_you_mean(word, [*names, *others, *headings, *TOLD_COLUMNS])
    hint = hint if hint.startswith("did you") else "name none, and all of them are listed"
    raise UnknownNameError(f"there is no quantity '{word}'; {hint}")
