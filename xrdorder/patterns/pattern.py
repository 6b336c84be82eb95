"""Read what was measured: one file, or several of one specimen, as one `xarray.DataArray`.

The way of a file: its bytes are read once (and hashed), the format is recognised by content, a reader hands
over scans and what the file declares, every scan is checked and brought to 2θ, the options fill what the file
leaves open (where both speak and disagree, that is an error), and each scan is judged: counts or not.

Scans over the same angles are repeats and are summed, counts and times. Other scans are ranges; they are
joined and sorted by angle, so angles may stand twice where ranges overlap.
"""

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray as xr

from xrdorder.exceptions import PatternError, UnknownNameError
from xrdorder.files import shown
from xrdorder.patterns.checks import AXIS_UNITS, check_reach, check_scan, to_two_theta
from xrdorder.patterns.content import (
    AXES,
    GEOMETRIES,
    MOUNTS,
    SAME_TEMPERATURE,
    Array,
    FileContent,
    ScanRange,
)
from xrdorder.patterns.counts import judge
from xrdorder.patterns.files import read_content
from xrdorder.patterns.repeats import BEYOND_COUNTING, Repeat, same_angles, scans_that_differ
from xrdorder.quantities.formatting import with_sign
from xrdorder.xrays import radiation as named_radiation
from xrdorder.xrays import radiation_names

Attributes = dict[str, str | float]

# A wavelength of the file and one of the radiation asked for that differ by more are two radiations:
# published wavelength scales differ by 2e-5, neighbouring tubes by 8 %.
_SAME_WAVELENGTH = 1e-3
# From here on the difference is worth a word: 5e-6 of the lattice parameter of A15 is a fiftieth of an atomic
# per cent of tin. Beyond 2e-4 it is no question of the scale but a mean over the doublet.
_NOTICED_WAVELENGTH = (5e-6, 2e-4)

# Variances of a file that are off by more than this are no matter of rounding or of a neglected monitor.
_DOUBTFUL = 4.0


@dataclass
class _Scan:
    """One scan, ready to be joined with others."""

    name: str
    two_theta: Array
    values: Array
    variance: Array
    counting_time: Array
    time_known: bool
    kind: str
    flags: list[tuple[str, str]]


@dataclass
class _Options:
    """What the caller of `read_pattern` says."""

    radiation: str | None
    axis: str | None
    axis_unit: str | None
    geometry: str | None
    mount: str | None
    counting_time_s: float | Sequence[float] | None
    diffractogram: str | None


def read_pattern(
    path: str | Path,
    *,
    radiation: str | None = None,
    axis: str | None = None,
    axis_unit: str | None = None,
    geometry: str | None = None,
    mount: str | None = None,
    counting_time_s: float | Sequence[float] | None = None,
    diffractogram: str | None = None,
) -> xr.DataArray:
    """Read a powder pattern from text columns, a powder CIF or a NeXus file.

    Parameters
    ----------
    path : str or Path
        The file; its format is recognised by content.
    radiation : str, optional
        Name as in `xrdorder.xrays.radiation`; needed to convert d or q where the file names none.
    axis : {"two-theta", "d", "q"}, optional
        What the first column of a text file is; 2θ in degrees unless said otherwise.
    axis_unit : str, optional
        "nm" or "angstrom" for d, "1/nm" or "1/angstrom" for q; needed with text, where nothing else tells.
    geometry : {"reflection", "transmission", "capillary"}, optional
        Of files that do not say it. Left open where neither file nor option nor the mount "transmission" say it: the
        pattern is then taken to be measured as the instrument is.
    mount : str, optional
        "ground-powder", "whole-filaments", "polished-section", "wires-laid-flat" or "transmission".
    counting_time_s : float or sequence of float, optional
        Seconds a point; a sequence gives each range of the file its own.
    diffractogram : str, optional
        Which one to read of a powder CIF that names several: its id, or "all" where they are scans of one specimen.

    Returns
    -------
    xarray.DataArray
        Name "counts", dim ``two_theta`` (degree, ascending; an angle may stand twice where ranges overlap),
        with the coordinates ``counting_time`` (s; 1 with the attribute ``assumed = 1`` where nobody says) and
        ``variance``. Attributes: ``radiation`` (name or ""), ``wavelength_nm`` (absent when unknown),
        ``geometry``, ``mount``, ``source_file``, ``sha256``, ``intensity_kind`` ("counts" or "intensities"),
        ``flags`` (JSON list of [name, message]) and, where the file says it, ``temperature_c`` and ``start_time``
        (ISO 8601).

    Raises
    ------
    PatternError
        If the file cannot be read, is no pattern, or contradicts the options; one line with file, place and
        remedy.
    UnknownNameError
        If `radiation` is not known.

    Notes
    -----
    A third column of a text file is the standard uncertainty of the second, never a background or a calculated
    curve. The variance of counts is max(count, 1): a start, to be replaced by that of the fitted model.
    """
    return read_patterns(
        [path],
        radiation=radiation,
        axis=axis,
        axis_unit=axis_unit,
        geometry=geometry,
        mount=mount,
        counting_time_s=counting_time_s,
        diffractogram=diffractogram,
    )


def read_patterns(
    paths: str | Path | Iterable[str | Path],
    *,
    radiation: str | None = None,
    axis: str | None = None,
    axis_unit: str | None = None,
    geometry: str | None = None,
    mount: str | None = None,
    counting_time_s: float | Sequence[float] | None = None,
    diffractogram: str | None = None,
) -> xr.DataArray:
    """Read several files of one specimen as one pattern.

    Repeated scans (the same angles) are summed, counts and counting times; other ranges are joined and
    sorted.

    Parameters
    ----------
    paths : sequence of str or Path
        The files. What they say about radiation, geometry, mount and temperature must agree.
    radiation, axis, axis_unit, geometry, mount, counting_time_s, diffractogram
        As in `read_pattern`, for every file.

    Returns
    -------
    xarray.DataArray
        As from `read_pattern`; ``source_file`` lists the names, ``sha256`` is the hash of the joined hashes.

    Raises
    ------
    PatternError
        As `read_pattern`; also if files disagree or one is given twice.
    UnknownNameError
        If `radiation` is not known.
    """
    options = _Options(radiation, axis, axis_unit, geometry, mount, counting_time_s, diffractogram)
    _check_options(options)
    files = [Path(paths)] if isinstance(paths, str | Path) else [Path(path) for path in paths]
    if not files:
        raise PatternError("no pattern file is named; give at least one")
    attrs: Attributes = {}
    scans: list[_Scan] = []
    flags: list[tuple[str, str]] = []
    hashes: list[str] = []
    names = [shown(file.name) for file in files]
    for file, name in zip(files, names, strict=True):
        data, content = read_content(file, diffractogram=diffractogram)
        digest = hashlib.sha256(data).hexdigest()
        if digest in hashes:
            raise PatternError(f"{name}: the same content is given twice; name each repeated scan once")
        hashes.append(digest)
        declared, new_flags = _resolve(content, options, name)
        _agree(attrs, declared, name, names[0])
        scans.extend(_scans(content, options, name, declared.get("wavelength_nm")))
        _note(flags, *new_flags)
    attrs["source_file"] = ", ".join(names)
    attrs["sha256"] = hashes[0] if len(hashes) == 1 else hashlib.sha256("".join(hashes).encode()).hexdigest()
    return _assemble(scans, attrs, flags)


def _check_options(options: _Options) -> None:
    choices = (
        ("axis", options.axis, AXES),
        ("geometry", options.geometry, GEOMETRIES),
        ("mount", options.mount, MOUNTS),
    )
    for option, value, allowed in choices:
        if value and value not in allowed:
            raise PatternError(f"{option} '{value}' is not known; use one of {', '.join(allowed)}")
    if options.axis_unit is not None:
        units = AXIS_UNITS[options.axis or "two-theta"]
        if options.axis_unit not in units:
            raise PatternError(
                f"axis_unit '{options.axis_unit}' does not go with the axis {options.axis or 'two-theta'}; "
                f"use {' or '.join(units)}"
            )
    if options.radiation:
        named_radiation(options.radiation)
    times = np.atleast_1d(
        np.asarray(1.0 if options.counting_time_s is None else options.counting_time_s, dtype=np.float64)
    )
    if not (np.isfinite(times).all() and (times > 0.0).all()):
        raise PatternError(f"counting time {options.counting_time_s}: give seconds a point, above 0")


def _resolve(content: FileContent, options: _Options, name: str) -> tuple[Attributes, list[tuple[str, str]]]:
    """Put together what file and options say about the measurement."""
    attrs, flags = _radiation(content, options, name)
    for item in ("mount", "geometry"):
        in_file, in_options = getattr(content, item), getattr(options, item)
        if (in_file, in_options) == ("transmission", "capillary"):
            in_file = in_options  # formats whose word for a capillary is transmission
        if in_file and in_options and in_file != in_options:
            raise PatternError(
                f"{name}: the file says {item} {in_file}, the option {in_options}; leave the option out or correct "
                "the file"
            )
        attrs[item] = in_file or in_options or ""
    if not attrs["geometry"] and attrs["mount"] == "transmission":
        attrs["geometry"] = "transmission"
    if content.temperature_c is not None:
        attrs["temperature_c"] = content.temperature_c
    if content.start_time:
        attrs["start_time"] = content.start_time
    return attrs, [*content.flags, *flags]


def _radiation(content: FileContent, options: _Options, name: str) -> tuple[Attributes, list[tuple[str, str]]]:
    """Name and wavelength of the radiation, as far as file and options say them, with flags."""
    _check_radiation(content, options, name)
    radiation, wavelength = options.radiation or content.radiation, content.wavelength_nm
    flags: list[tuple[str, str]] = []
    if wavelength is not None and not 0.005 <= wavelength <= 1.0:
        raise PatternError(
            f"{name}: a wavelength of {wavelength:g} nm is outside 0.005-1 nm; correct it in the file"
        )
    if wavelength is not None and radiation:
        _check_wavelength(wavelength, radiation, bool(options.radiation), name)
        flags = _scale_flag(wavelength, radiation)
    if not radiation and wavelength is not None and not _near_a_tube(wavelength):
        # No tube has it, so it is a single line.
        radiation = named_radiation(f"{wavelength:.8g} nm").name
    if radiation:
        known = named_radiation(radiation)
        return {"radiation": known.name, "wavelength_nm": known.wavelength_nm}, flags
    return {"radiation": ""} | ({} if wavelength is None else {"wavelength_nm": wavelength}), flags


def _check_radiation(content: FileContent, options: _Options, name: str) -> None:
    """Refuse a file whose radiation is not known, or another than the options say."""
    try:
        declared = named_radiation(content.radiation).name if content.radiation else ""
    except UnknownNameError:
        raise PatternError(
            f"{name}: the file names the radiation '{content.radiation[:30]}', which is not known; correct "
            f"it to one of {', '.join(radiation_names())} or a wavelength with its unit"
        ) from None
    if declared and options.radiation and not _overlap(_reach(options.radiation), _reach(declared)):
        raise PatternError(
            f"{name}: measured with {declared} by its own account, but radiation '{options.radiation}' "
            "was asked for; leave the option out or correct the file"
        )


def _reach(name: str) -> tuple[float, float]:
    """Shortest and longest wavelength a name may stand for, nm: that of its lines, and any mean of them."""
    waves = [line.wavelength_nm for line in named_radiation(name).lines]
    return min(waves) * (1.0 - _SAME_WAVELENGTH), max(waves) * (1.0 + _SAME_WAVELENGTH)


def _overlap(a: tuple[float, float], b: tuple[float, float]) -> bool:
    return a[0] <= b[1] and b[0] <= a[1]


def _check_wavelength(wavelength: float, name: str, by_option: bool, file: str) -> None:
    low, high = _reach(name)
    if not low <= wavelength <= high:
        reference = named_radiation(name).wavelength_nm
        remedy = (
            "leave the option out or correct the file" if by_option else "the file contradicts itself, correct it"
        )
        raise PatternError(
            f"{file}: the file says a wavelength of {wavelength:.6g} nm, radiation '{name}' has "
            f"{reference:.6g} nm; {remedy}"
        )


def _scale_flag(wavelength: float, name: str) -> list[tuple[str, str]]:
    """Note that the file counts on another wavelength scale than the table, unless it only rounds."""
    reference = named_radiation(name).wavelength_nm
    decimals = len(f"{wavelength:.10g}".partition(".")[2])
    off = wavelength / reference - 1.0
    low, high = _NOTICED_WAVELENGTH
    if not low < abs(off) < high or abs(wavelength - reference) <= 0.5 * 10.0**-decimals:
        return []
    message = (
        f"the file says {wavelength:.8g} nm, the table {reference:.8g} nm ({with_sign(off * 1e6, '.0f')} ppm); lattice "
        "parameters follow the table"
    )
    return [("wavelength-scale", message)]


def _note(flags: list[tuple[str, str]], *new: tuple[str, str]) -> None:
    """Add flags whose name is not there yet."""
    for flag in new:
        if flag[0] not in {name for name, _ in flags}:
            flags.append(flag)


def _near_a_tube(wavelength: float) -> bool:
    return any(low <= wavelength <= high for low, high in map(_reach, radiation_names()))


def _agree(attrs: Attributes, declared: Attributes, name: str, first: str) -> None:
    """Take over what a further file says; files of one specimen must say the same."""
    for key, new in declared.items():
        old = attrs.get(key, "")
        if old == "" or new == "":
            attrs[key] = old if new == "" else new
        elif key == "start_time":
            attrs[key] = min(str(old), str(new))
        elif old != new and not (key == "temperature_c" and abs(float(old) - float(new)) <= SAME_TEMPERATURE):
            raise PatternError(
                f"{name}: {key} is {new}, in {first} it is {old}; only scans of one specimen measured alike "
                "make one pattern"
            )


def _scans(content: FileContent, options: _Options, name: str, wavelength: str | float | None) -> list[_Scan]:
    axis = content.axis or options.axis or "two-theta"
    if options.axis and content.axis and options.axis != content.axis:
        raise PatternError(f"{name}: the axis of the file is {content.axis}, the option says {options.axis}")
    unit = content.axis_unit or options.axis_unit or ("degree" if axis == "two-theta" else "")
    if unit not in AXIS_UNITS[axis]:
        raise PatternError(f"{name}: the axis is {axis}; give axis_unit, {' or '.join(AXIS_UNITS[axis])}")
    # d and q of a file were calculated with the wavelength the file names, whatever the table says today.
    used = content.wavelength_nm or (float(wavelength) if wavelength is not None else None)
    checked = [check_scan(scan, name, axis) for scan in content.ranges]
    angles = [to_two_theta(scan, name, axis, unit, used) for scan in checked]
    check_reach(angles, [scan.values for scan in checked], name)
    if sum(len(a) for a in angles) < 3:
        raise PatternError(f"{name}: only {sum(len(a) for a in angles)} point(s); a pattern needs at least 3")
    if not any(scan.values.any() for scan in checked):
        raise PatternError(f"{name}: all counts are zero; was the shutter open?")
    times = _option_times(options, len(checked), name)
    titles = [name] if len(checked) == 1 else [f"{name}, scan {k + 1}" for k in range(len(checked))]
    return [
        _scan(scan, two_theta, content, time, name, title)
        for scan, two_theta, time, title in zip(checked, angles, times, titles, strict=True)
    ]


def _option_times(options: _Options, n: int, name: str) -> list[float | None]:
    given = options.counting_time_s
    if given is None:
        return [None] * n
    times = [float(t) for t in np.atleast_1d(np.asarray(given, dtype=np.float64))]
    if len(times) == 1:
        return [times[0]] * n
    if len(times) != n:
        raise PatternError(
            f"{name}: {len(times)} counting times to {n} range(s); give one, or one for each range"
        )
    return [*times]


def _scan(
    scan: ScanRange, two_theta: Array, content: FileContent, time: float | None, name: str, title: str
) -> _Scan:
    in_file = scan.counting_time_s
    if in_file is not None and time is not None and np.any(np.abs(in_file / time - 1.0) > 1e-3):
        raise PatternError(
            f"{name}: {scan.place(0)}: counting time {in_file[0]:g} s in the file, {time:g} s in the option; "
            "leave the option out or correct the file"
        )
    seconds = in_file if in_file is not None else np.full(len(two_theta), 1.0 if time is None else time)
    kind, variance, flags = _uncertainty(scan, content, name)
    known = in_file is not None or time is not None
    return _Scan(title, two_theta, scan.values, variance, seconds, known, kind, flags)


def _uncertainty(
    scan: ScanRange, content: FileContent, name: str
) -> tuple[str, Array, list[tuple[str, str]]]:
    """Kind and variance of a scan, from the file where it gives them."""
    judgement = judge(scan.values)
    kind = content.intensity_kind if content.intensity_kind == "intensities" else judgement.kind
    # A file that says so itself and brings its own flags was judged before it was written.
    judged = kind == "intensities" and content.intensity_kind == kind and content.flags
    flags = [judgement.flag] if judgement.flag and not judged else []
    if scan.uncertainties is None:
        return kind, judgement.variance, flags
    # sqrt(0) of an empty channel: it is as uncertain as the channel with the fewest counts.
    squares = scan.uncertainties**2
    positive = squares[squares > 0.0]
    if len(positive) == 0:
        raise PatternError(
            f"{name}: {scan.place(0)}: all standard uncertainties are zero; leave the column out"
        )
    variance = np.where(squares > 0.0, squares, positive.min())
    flags = [
        (flag, f"{message.partition(';')[0]}; the standard uncertainties of the file are used")
        for flag, message in flags
    ]
    off = float(np.median(variance / judgement.variance))
    if not 1.0 / _DOUBTFUL < off < _DOUBTFUL:
        message = (
            f"the standard uncertainties of the file are {off**0.5:.2g} times what the scatter of the points "
            "tells; is the column (the third of a text file) something else?"
        )
        flags.append(("doubtful-uncertainties", message))
    return kind, variance, flags


def _assemble(
    scans: list[_Scan], attrs: Attributes, flags: list[tuple[str, str]]
) -> xr.DataArray:
    differing = _differing(scans)
    merged = _sum_repeats(scans, flags, str(attrs["source_file"]))
    _note(flags, *differing)
    known = [scan.time_known for scan in merged]
    if any(known) and not all(known):
        raise PatternError(
            f"{attrs['source_file']}: the counting time is known for some ranges only; give counting_time_s "
            "for all"
        )
    if len(merged) > 1 and not known[0]:
        message = f"{len(merged)} ranges without counting times were taken as equally long counted"
        _note(flags, ("counting-time-unknown", message))
    for scan in merged:
        _note(flags, *scan.flags)
    two_theta = np.concatenate([scan.two_theta for scan in merged])
    order = np.argsort(two_theta, kind="stable")
    kind = "intensities" if any(scan.kind == "intensities" for scan in merged) else "counts"
    attrs |= {"intensity_kind": kind, "flags": json.dumps([list(flag) for flag in flags], ensure_ascii=False)}

    def column(part: str) -> Array:
        return np.ascontiguousarray(
            np.concatenate([getattr(scan, part) for scan in merged])[order], dtype=np.float64
        )

    return xr.DataArray(
        column("values"),
        dims="two_theta",
        name="counts",
        coords={
            "two_theta": (
                "two_theta",
                two_theta[order],
                {"units": "degree", "long_name": "scattering angle"},
            ),
            "counting_time": (
                "two_theta",
                column("counting_time"),
                {"units": "s", "long_name": "counting time of a point", "assumed": int(not known[0])},
            ),
            "variance": ("two_theta", column("variance"), {"long_name": "variance of the counts"}),
        },
        attrs=attrs,
    )


def _sum_repeats(scans: list[_Scan], flags: list[tuple[str, str]], names: str) -> list[_Scan]:
    """Add up scans over the same angles."""
    merged: dict[bytes, _Scan] = {}
    repeats = 0
    for scan, angles in zip(scans, same_angles([scan.two_theta for scan in scans]), strict=True):
        same = merged.setdefault(angles.tobytes(), scan)
        if same is scan:
            continue
        if same.kind != scan.kind:
            raise PatternError(
                f"{names}: repeated scans cannot be summed: one holds counts, another does not "
                f"({(same.flags + scan.flags)[0][1]}); give all of them as counts"
            )
        if same.time_known != scan.time_known:
            raise PatternError(
                f"{names}: repeated scans cannot be summed: the counting time of one is known, of another "
                "not; give counting_time_s"
            )
        repeats += 1
        poisson = _poisson(same) and _poisson(scan)
        same.values = same.values + scan.values
        same.counting_time = same.counting_time + scan.counting_time
        same.variance = np.maximum(same.values, 1.0) if poisson else same.variance + scan.variance
        _note(same.flags, *scan.flags)
    if repeats:
        _note(flags, ("summed-scans", f"{repeats} scan(s) repeated angles of another and were added to it"))
    return list(merged.values())


def _poisson(scan: _Scan) -> bool:
    return np.array_equal(scan.variance, np.maximum(scan.values, 1.0))


def _differing(scans: list[_Scan]) -> list[tuple[str, str]]:
    """Flag scans that differ from others on their common angles; they may be of another specimen."""
    repeats = [
        Repeat(scan.name, scan.two_theta, scan.values, scan.variance, scan.counting_time, _poisson(scan))
        for scan in scans
    ]
    differing = scans_that_differ(repeats)
    if not differing:
        return []
    differences = [
        f"{' and '.join(names)} {'differ' if len(names) > 1 else 'differs from the other scans'} by a reduced chi "
        f"square of {by.chi2_reduced:.3g} on {by.angles} common angles, where counting gives 1 ± {by.spread:.2g}"
        for names, by in differing
    ]
    message = (
        f"{'; '.join(differences)} (one factor of scale taken out; told beyond {BEYOND_COUNTING:g} standard "
        "deviations): another specimen, or one that moved or was mounted anew. They were taken as one pattern all the "
        "same; where they are not, give each a sample of its own"
    )
    return [("scans-differ", message)]

