"""Refuse what cannot be a powder pattern, naming the place in the file and what to do about it.

The checks run on one scan at a time: first on the axis as the file gives it, then, after `to_two_theta`, on
the angles. The order matters for the message: a NaN makes every comparison false, so it is looked for first.
"""

import numpy as np

from xrdorder.exceptions import PatternError
from xrdorder.patterns.content import Array, ScanRange

#: Lengths of the axis "d" and their factors to nm; of the axis "q" to 1/nm.
AXIS_UNITS = {
    "two-theta": {"degree": 1.0},
    "d": {"nm": 1.0, "angstrom": 0.1},
    "q": {"1/nm": 1.0, "1/angstrom": 10.0},
}

# A pattern in radians ends below pi; one in degrees that ends below 3.2 holds no line of any phase for
# wavelengths above 0.02 nm (2 theta = 3.2 degrees is then d = 0.36 nm), and steps of 0.02 degrees and less
# are 0.00035 rad.
_RADIAN_END = 3.2
_RADIAN_STEP = 0.02
# Behind the critical angle the reflected beam falls with the fourth power of the angle, by thousands within a degree or
# two; the background of a powder pattern falls by tens from 10 to 100 degrees.
_REFLECTIVITY_FALL = 500.0

# A year of the fastest detectors (1e8 counts a second) is 3e15; above 9e15 a float no longer holds every
# whole number.
_MOST_COUNTS = 1e15


def check_scan(scan: ScanRange, name: str, axis: str) -> ScanRange:
    """Check one scan as the file gives it.

    Parameters
    ----------
    scan : ScanRange
        The scan.
    name : str
        File name, for messages.
    axis : str
        "two-theta", "d" or "q".

    Returns
    -------
    ScanRange
        The scan in the order of rising 2θ; a scan that ran the other way is turned round.

    Raises
    ------
    PatternError
        For a value that is not finite, a negative intensity, a standard uncertainty or counting time that
        cannot be, or an axis that neither rises nor falls all along.
    """
    columns: list[tuple[str, Array | None]] = [
        ("angle" if axis == "two-theta" else axis, scan.axis),
        ("intensity", scan.values),
        ("standard uncertainty", scan.uncertainties),
        ("counting time", scan.counting_time_s),
    ]
    for what, column in columns:
        if column is not None:
            _first(
                ~np.isfinite(column),
                scan,
                name,
                f"the {what} is not a finite number; delete or correct the point",
            )
    _first(
        scan.values < 0.0,
        scan,
        name,
        "negative counts; give the scan as measured, without background subtraction",
    )
    _first(scan.values > _MOST_COUNTS, scan, name, "intensity above 1e15; is the column something else?")
    if scan.uncertainties is not None:
        _first(
            scan.uncertainties < 0.0,
            scan,
            name,
            "negative standard uncertainty; is the column something else?",
        )
        _first(
            scan.uncertainties > _MOST_COUNTS,
            scan,
            name,
            "standard uncertainty above 1e15; is the column something else?",
        )
    if scan.counting_time_s is not None:
        _first(
            scan.counting_time_s <= 0.0,
            scan,
            name,
            "counting time that is not positive; give seconds a point",
        )
    return _check_axis(scan, name, axis)


def _check_axis(scan: ScanRange, name: str, axis: str) -> ScanRange:
    what = "angle" if axis == "two-theta" else axis
    way = -1.0 if axis == "d" else 1.0  # of the axis where 2 theta rises
    steps = np.diff(scan.axis) * way
    if np.count_nonzero(steps < 0.0) > np.count_nonzero(steps > 0.0):
        scan = scan.reversed()
    # Of two points in the wrong order the second is named.
    step = np.diff(scan.axis, prepend=-way * np.inf) * way
    _first(
        step == 0.0,
        scan,
        name,
        f"{what} {{axis:.8g}} twice in one range; delete one, or {scan.remedy}",
    )
    _first(
        step < 0.0,
        scan,
        name,
        f"{what} {{axis:.8g}} runs backwards in a range; sort the points, or {scan.remedy}",
    )
    return scan


def _first(
    bad: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], scan: ScanRange, name: str, message: str
) -> None:
    """Raise for the first point where `bad` is true."""
    if bad.any():
        index = int(np.flatnonzero(bad)[0])
        raise PatternError(f"{name}: {scan.place(index)}: {message.format(axis=scan.axis[index])}")


def to_two_theta(scan: ScanRange, name: str, axis: str, unit: str, wavelength_nm: float | None) -> Array:
    """Convert the axis of a checked scan to 2θ in degrees, by Bragg's law.

    Parameters
    ----------
    scan : ScanRange
        A scan that passed `check_scan`.
    name : str
        File name, for messages.
    axis, unit : str
        A key of `AXIS_UNITS` and one of its units.
    wavelength_nm : float or None
        Wavelength d or q were calculated with, nm; not needed for 2θ.

    Returns
    -------
    (n,) array
        2θ in degrees, rising.

    Raises
    ------
    PatternError
        If the wavelength is missing, a point is out of its reach, or an angle cannot be one.
    """
    if axis == "two-theta":
        two_theta = scan.axis
    else:
        if wavelength_nm is None:
            raise PatternError(
                f"{name}: the axis is {axis}; give the radiation, 2 theta follows only from a wavelength"
            )
        _first(scan.axis <= 0.0, scan, name, f"{axis} = {{axis:.8g}} is not positive; delete the point")
        size = scan.axis * AXIS_UNITS[axis][unit]
        sine = wavelength_nm / (2.0 * size) if axis == "d" else size * wavelength_nm / (4.0 * np.pi)
        _first(
            sine >= 1.0,
            scan,
            name,
            f"{axis} = {{axis:.8g}} {unit} is out of reach of {wavelength_nm:.6g} nm; check the unit and the "
            "radiation",
        )
        two_theta = np.degrees(2.0 * np.arcsin(sine))
    _first(
        two_theta <= 0.0,
        scan,
        name,
        "2 theta = {axis:.8g} is not above 0; delete the points up to the direct beam",
    )
    _first(
        two_theta >= 180.0,
        scan,
        name,
        "2 theta = {axis:.8g} is not below 180; is the axis something else (d, q)?",
    )
    return two_theta


def check_reach(angles: list[Array], values: list[Array], name: str) -> None:
    """Refuse angles too small for lines of a powder: a reflectivity scan, or radians by mistake.

    Parameters
    ----------
    angles, values : list of (n,) arrays
        The angles of all ranges of a file, taken for degrees, and the counts.
    name : str
        File name, for the message.

    Raises
    ------
    PatternError
        If all of them end below 3.2 and the steps are those of a scan in radians.
    """
    end = max(float(angle[-1]) for angle in angles)
    steps = np.concatenate([np.diff(angle) for angle in angles])
    if end >= _RADIAN_END or not len(steps) or float(np.median(steps)) >= _RADIAN_STEP:
        return
    first = min(range(len(angles)), key=lambda k: float(angles[k][0]))
    last = max(range(len(angles)), key=lambda k: float(angles[k][-1]))
    tenth = (max(len(values[k]) // 10, 1) for k in (first, last))
    begins, ends = float(values[first][: next(tenth)].max()), float(np.median(values[last][-next(tenth) :]))
    what = f"{name}: angles from {angles[first][0]:g} to {end:g}"
    if begins > _REFLECTIVITY_FALL * max(ends, 1.0):
        raise PatternError(
            f"{what} and counts that fall from {begins:.3g} to {ends:.3g} look like a reflectivity scan, which holds "
            "no lines of a phase; name a powder pattern"
        )
    raise PatternError(f"{what} look like radians; multiply them by 57.29578 to have degrees")
