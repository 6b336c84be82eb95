"""Numbers as they are printed, on a terminal as on a page."""

import math

MISSING = "-"

DOSE_DIGITS = 3
"""Digits of a thermal dose: its activation energy tells it no better."""


def concise(value: float, u: float) -> str:
    """Write a value with its standard uncertainty in brackets, in units of the last digits (GUM 7.2.2).

    >>> concise(0.52882076, 5.9e-6), concise(23.68, 1.51), concise(65.8, 12.0), concise(0.9, 0.0)
    ('0.5288208(59)', '23.7(1.5)', '66(12)', '0.9')
    """
    if not math.isfinite(value):
        return MISSING
    if not (math.isfinite(u) and u > 0.0):
        return f"{value:.6g}"
    decimals = 1 - math.floor(math.log10(u))
    if round(u * 10.0**decimals) >= 100:  # 0.0996 rounds to 0.10
        decimals -= 1
    decimals = max(decimals, 0)
    shown = f"{u:.{decimals}f}"
    if float(shown) < 1.0:  # as rounded: 0.997 is written 1.0
        shown = shown.replace(".", "").lstrip("0")
    return f"{value:.{decimals}f}({shown})"


def digits(value: float, n: int) -> str:
    """Write a number to so many digits, large ones without an exponent.

    >>> digits(281.59, 3), digits(12345.6, 3), digits(0.25, 3)
    ('282', '12300', '0.25')
    """
    return f"{float(f'{value:.{n}g}'):.10g}"


def interval(low: float, high: float, decimals: int = 1) -> str:
    """Write an interval.

    >>> interval(15.76, 26.1)
    '15.8 to 26.1'
    """
    if not (math.isfinite(low) and math.isfinite(high)):
        return MISSING
    return f"{low:.{decimals}f} to {high:.{decimals}f}"
