"""Was a furnace temperature meant in kelvin? What is only sensible so is told, never refused."""

from xrdorder.treatments.history import ZERO_CELSIUS_K

HOTTEST_USUAL_C = 850.0
"""Reactions of Nb3Sn wire are run between about 600 and 800 °C (common practice, no source). Hotter ones are tried on
bulk samples, so they are allowed; but a temperature up to this one, told in kelvin, lies between 850 and 1123."""


def kelvin_words(temperature_c: float) -> str:
    """Say what a furnace temperature would be if it was given in kelvin; empty where it is usual as it is.

    >>> kelvin_words(923.0)
    '923 °C would be 650 °C if it was given in kelvin'
    >>> kelvin_words(700.0), kelvin_words(1400.0)
    ('', '')
    """
    if not HOTTEST_USUAL_C < temperature_c <= HOTTEST_USUAL_C + ZERO_CELSIUS_K:
        return ""
    return f"{temperature_c:g} °C would be {temperature_c - ZERO_CELSIUS_K:.0f} °C if it was given in kelvin"
