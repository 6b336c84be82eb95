"""How long does the order take with another radiation, at equal counts?

Contrast alone does not say it: the same counts over the same spacings fall on other angles, with other polarisation and
overlap. The scan is carried over to the angles of the same spacings, the same number of points, and the whole
information worked out anew. Count rates of the strongest line and of the background, and the widths of the instrument
in degrees, are kept: what a tube gives, and what fluoresces, is another question.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from xrdorder.exceptions import XrdorderError
from xrdorder.profiles import Instrument
from xrdorder.scan_planning.forecast import forecast
from xrdorder.scan_planning.prospect import Prospect
from xrdorder.scan_planning.radiation_choice import Light
from xrdorder.simulation import Described
from xrdorder.simulation.specimen_file import HIGHEST_DEG
from xrdorder.xrays import radiation
from xrdorder.xrays.emission import HC_EV_NM


def time_for_order(described: Described, instrument: Instrument, lights: Sequence[Light]) -> list[float]:
    """Counting time for one uncertainty of the site order, over that with the radiation of the instrument.

    Parameters
    ----------
    described
    instrument
    lights
        Radiations.

    Returns
    -------
    list of float
        NaN where the order cannot be told with a radiation.

    Raises
    ------
    XrdorderError
        The description does not fit the instrument.
    """
    own = _counting(described, instrument)
    times = []
    for light in lights:
        name = light.name if light.name.endswith("-ka") else f"{HC_EV_NM / light.energy_ev:.6f} nm"
        try:
            times.append(_counting(carried_over(described, instrument.radiation, name),
                                   replace(instrument, radiation=name)) / own)  # fmt: skip
        except XrdorderError:
            times.append(math.nan)
    return times


def carried_over(described: Described, from_radiation: str, to_radiation: str) -> Described:
    """Give the same spacings with another radiation, as far as a goniometer reaches, in as many steps as long.

    >>> there = carried_over(Described(from_deg=20.0, to_deg=140.0), "cu-ka", "mo-ka")
    >>> round(there.from_deg, 2), round(there.to_deg, 2)
    (9.17, 51.27)
    """
    ratio = radiation(to_radiation).wavelength_nm / radiation(from_radiation).wavelength_nm
    most = math.sin(math.radians(HIGHEST_DEG / 2.0))
    low, high = (
        2.0 * math.degrees(math.asin(min(ratio * math.sin(math.radians(angle / 2.0)), most)))
        for angle in (described.from_deg, described.to_deg)
    )
    step = described.step_deg * (high - low) / (described.to_deg - described.from_deg)
    return replace(described, from_deg=low, to_deg=high, step_deg=step)


def _counting(described: Described, instrument: Instrument) -> float:
    expected = forecast(Prospect.of_description(described, instrument), estimates=False)
    return expected.wire["site_order"].counting if "site_order" in expected.wire else math.nan
