"""Numbers as they are printed: one rule says how many digits, on a terminal as on a page and in figures.

An uncertainty has two digits where its first three are 100 to 354, else one (950 and more become 1000): the rule of the
Particle Data Group (Review of Particle Physics, introduction, section 5.3). Its value ends at the same place, and so do
the ends of an interval, of which half the width stands for the uncertainty.
"""

import math
from collections.abc import Sequence

MISSING = "-"

_MINUS = "−"

DOSE_DIGITS = 3
"""Digits of a thermal dose: its activation energy tells it no better."""

_TWO_BELOW = 355.0


def places_of(u: float) -> int:
    """Places after the point to which an uncertainty is given; below zero for tens and hundreds.

    Raises
    ------
    ValueError
        It is not above zero and finite.

    >>> places_of(0.0354), places_of(0.0355), places_of(0.0996), places_of(21.0), places_of(350.0)
    (3, 2, 2, 0, -1)
    """
    if not 0.0 < u < math.inf:
        raise ValueError(f"an uncertainty of {u} has no digits; give one above zero")
    power = math.floor(math.log10(u))
    first = u / 10.0 ** (power - 2) + 1e-6  # 0.355 is a little less in binary
    return int(first < _TWO_BELOW) - power  # from 950 one digit less, and one more for the 1000 it is rounded to


def rounded(value: float, u: float, unit: str = "", *, signed: bool = False) -> str:
    """Write value ± standard uncertainty, then the unit; `signed` gives a value above zero its sign, too.

    >>> rounded(0.8123, 0.31), rounded(59.7, 21.0), rounded(0.8, 0.14), rounded(1.0, 0.0)
    ('0.81 ± 0.31', '60 ± 21', '0.80 ± 0.14', '1 ± 0')
    >>> rounded(24.6, 0.41, "at.%"), rounded(352.0, 66.0), rounded(0.5, 0.097)
    ('24.6 ± 0.4 at.%', '350 ± 70', '0.50 ± 0.10')
    >>> rounded(0.1, 1.8, signed=True)
    '+0.1 ± 1.8'
    """
    after = f" {unit}" if unit else ""
    sign = "+" if signed and value > 0.0 else ""
    if not (math.isfinite(u) and u > 0.0):
        return f"{sign}{_plain(value)} ± {u:.6g}{after}"
    places = places_of(u)
    return f"{sign}{_to(value, places)} ± {_to_above(u, places)}{after}"


def with_sign(value: float, form: str) -> str:
    """Write a number with its sign, in the form of a format specification ("g", ".2f"); zero has a plus.

    >>> with_sign(0.5, ".1f"), with_sign(-12.3456, ".3g"), with_sign(-0.001, ".1f")
    ('+0.5', '−12.3', '+0.0')
    """
    return _with_minus(f"{value:+z{form}}")


def as_given(value: float, u: float, unit: str = "") -> str:
    """Write what somebody told, in the digits in which it was told; value and uncertainty end at the same place.

    >>> as_given(2.4, 0.2, "at.%"), as_given(100.0 * 0.023, 100.0 * 0.003), as_given(24.0, 0.25), as_given(75, 10)
    ('2.4 ± 0.2 at.%', '2.3 ± 0.3', '24.00 ± 0.25', '75 ± 10')
    """
    places = max(len(f"{x:.6g}".partition(".")[2]) for x in (value, u))
    return f"{_to(value, places)} ± {u:.{places}f}{f' {unit}' if unit else ''}"


def concise(value: float, u: float) -> str:
    """Write a value with its standard uncertainty in brackets, in units of the last digits (GUM 7.2.2).

    >>> concise(0.52882076, 5.9e-6), concise(23.68, 1.51), concise(65.8, 12.0), concise(0.9, 0.0)
    ('0.528821(6)', '23.7(1.5)', '66(12)', '0.9')
    """
    if not math.isfinite(value):
        return MISSING
    if not (math.isfinite(u) and u > 0.0):
        return _plain(value)
    places = places_of(u)
    shown = _to_above(u, places)
    if float(shown) < 1.0:  # as rounded: 0.997 is written 1.0
        shown = shown.replace(".", "").lstrip("0")
    return f"{_to(value, places)}({shown})"


def interval(low: float, high: float) -> str:
    """Write an interval.

    >>> interval(15.76, 26.1), interval(14.77, 17.4), interval(-0.2, 0.1)
    ('16 to 26', '14.8 to 17.4', '−0.20 to 0.10')
    """
    if not (math.isfinite(low) and math.isfinite(high)):
        return MISSING
    if not high > low:
        return f"{_plain(low)} to {_plain(high)}"
    places = places_of(0.5 * (high - low))
    return f"{_to(low, places)} to {_to(high, places)}"


def with_interval(value: float, low: float, high: float) -> str:
    """Write a value, to the place of its interval, and the interval.

    >>> with_interval(16.31, 14.77, 17.4)
    '16.3 (14.8 to 17.4)'
    """
    if not math.isfinite(value):
        return MISSING
    if not high > low:
        return _plain(value)
    return f"{_to(value, places_of(0.5 * (high - low)))} ({interval(low, high)})"


def u_text(u: float) -> str:
    """Write an uncertainty alone.

    >>> u_text(0.1523), u_text(0.0443), u_text(float("nan"))
    ('0.15', '0.04', '-')
    """
    if not math.isfinite(u):
        return MISSING
    return _to_above(u, places_of(u)) if u > 0.0 else "0"


def digits(value: float, n: int) -> str:
    """Write a number to so many digits, large ones without an exponent.

    >>> digits(281.59, 3), digits(12345.6, 3), digits(0.25, 3)
    ('282', '12300', '0.25')
    """
    return _with_minus(f"{float(f'{value:.{n}g}'):.10g}")


def listed(words: Sequence[str]) -> str:
    """Join words as a sentence does.

    >>> listed(["a"]), listed(["a", "b", "c"])
    ('a', 'a, b and c')
    """
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def counted(names: Sequence[str], noun: str = "sample") -> str:
    """Name one, count several.

    >>> counted(["one"]), counted(["one", "two"])
    ('one', '2 samples')
    """
    return names[0] if len(names) == 1 else f"{len(names)} {noun}s"


def _to(value: float, places: int) -> str:
    """Write a number to a place after the point, or before it; zero has no sign."""
    if places >= 0:
        return _with_minus(f"{value:z.{places}f}")
    return _with_minus(f"{round(value / 10.0**-places) * 10.0**-places:z.0f}")


def _plain(value: float) -> str:
    """Write a number without an uncertainty to go by."""
    return _with_minus(f"{value:.6g}")


def _with_minus(text: str) -> str:
    """Put the minus sign in the place of hyphens."""
    return text.replace("-", _MINUS)


def _to_above(u: float, places: int) -> str:
    """Write an uncertainty; a half is rounded up: nobody is to be surer than was told."""
    step = 10.0**-places
    return f"{math.floor(u / step + 0.5 + 1e-9) * step:.{max(places, 0)}f}"
