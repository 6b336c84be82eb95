"""Read a pattern from a NeXus file: the definition NXmonopd, or any NXdata with a signal over one axis.

Looked for in this order: the group the ``default`` attributes lead to; every NXdata with a ``signal``
attribute; the older style in which the dataset itself carries ``signal=1`` and the axis ``axis=1`` or the
signal ``axes=...``; the two datasets NXmonopd requires (``data`` over ``polar_angle``). Every NXentry with
such a group is a range.

Units are taken from the file, so an axis in radians or in 1/angstrom is converted without being told.
Standard uncertainties are the dataset named by the ``uncertainties`` attribute, ``<signal>_errors`` or
``errors``.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from xrdorder.exceptions import PatternError
from xrdorder.patterns import declared
from xrdorder.patterns.content import MOUNTS, Array, FileContent, ScanRange

# More points than any scan; a damaged header may claim 1e15 of them and must not be believed.
_MOST_POINTS = 10_000_000

_BEAM_CLASSES = ("NXcrystal", "NXmonochromator", "NXbeam", "NXsource", "NXinstrument")
_ANGLE_NAMES = ("polar_angle", "two_theta", "twotheta", "2theta", "tth", "ttheta", "angle")
_DEGREE = ("deg", "degree", "degrees", "°", "")
_RADIAN = ("rad", "radian", "radians")
_INVERSE = {
    "1/nm": "1/nm", "nm^-1": "1/nm", "nm-1": "1/nm", "1/angstrom": "1/angstrom", "angstrom^-1": "1/angstrom",
    "1/a": "1/angstrom", "a^-1": "1/angstrom", "å^-1": "1/angstrom", "1/å": "1/angstrom",
}  # fmt: skip
_LENGTH = {
    "nm": "nm",
    "nanometer": "nm",
    "angstrom": "angstrom",
    "angstroms": "angstrom",
    "a": "angstrom",
    "å": "angstrom",
}


def read_nexus(path: Path, name: str) -> FileContent:
    """Read the pattern of a NeXus file.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        Its name, for messages.

    Returns
    -------
    FileContent
        One range for each entry that holds a pattern.

    Raises
    ------
    PatternError
        If the file is damaged or holds no pattern.
    """
    try:
        with h5py.File(path, "r") as file:
            return _read(file, name)
    except PatternError:
        raise
    except (OSError, RuntimeError, KeyError, ValueError, TypeError, OverflowError, MemoryError) as error:
        reason = " ".join(str(error).split())[:120]
        raise PatternError(
            f"{name}: damaged or truncated HDF5 file ({reason}); copy it again from where it was measured"
        ) from None


def _read(file: h5py.File, name: str) -> FileContent:
    content = FileContent()
    axes = set()
    for entry in _entries(file):
        group = _data_group(entry, name)
        if group is None:
            continue
        scan, axis, unit = _scan(group, entry, name)
        content.ranges.append(scan)
        axes.add((axis, unit))
        content.merge(_about(entry, group, name), name, entry.name)
    if not content.ranges:
        raise PatternError(
            f"{name}: no NXdata with a signal over one axis in the HDF5 file; is it a powder pattern?"
        )
    if len(axes) > 1:
        raise PatternError(f"{name}: entries with different horizontal axes; give each a file of its own")
    content.axis, content.axis_unit = axes.pop()
    return content


def _text(value: Any) -> str:
    """Turn an attribute or scalar dataset of any string type into text."""
    if isinstance(value, np.ndarray):
        value = value.ravel()[0] if value.size else ""
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)


def _texts(value: Any) -> list[str]:
    if isinstance(value, np.ndarray):
        return [_text(v) for v in value.ravel()]
    return [part.strip() for part in _text(value).strip("[] ").replace(",", ":").split(":")]


def _nx_class(item: Any) -> str:
    return _text(item.attrs.get("NX_class", "")) if isinstance(item, h5py.Group) else ""


def _children(group: h5py.Group) -> Iterator[Any]:
    """Go through the members that can be reached; a link to a file that is not there is no member."""
    for key in group:
        try:
            yield group[key]
        except (KeyError, OSError):
            continue


def _entries(file: h5py.File) -> list[h5py.Group]:
    entries = [item for item in _children(file) if _nx_class(item) in ("NXentry", "NXsubentry")]
    return entries or [file]


def _descend(group: h5py.Group, depth: int = 4) -> Iterator[h5py.Group]:
    yield group
    if depth:
        for item in _children(group):
            if isinstance(item, h5py.Group):
                yield from _descend(item, depth - 1)


def _data_group(entry: h5py.Group, name: str) -> h5py.Group | None:
    default = _text(entry.attrs.get("default", ""))
    if default and isinstance(entry.get(default), h5py.Group):
        group = entry[default]
        if _signal(group) is not None:
            return group
    groups = [group for group in _descend(entry) if _signal(group) is not None]
    classed = [group for group in groups if _nx_class(group) == "NXdata"] or groups
    if len(classed) > 1:
        found = ", ".join(group.name for group in classed[:4])
        raise PatternError(
            f"{name}: {entry.name} has several NXdata groups ({found}) and no 'default' attribute to say "
            "which is the pattern; add it or export one of them"
        )
    return classed[0] if classed else None


def _signal(group: h5py.Group) -> h5py.Dataset | None:
    """Return the dataset that is the signal of a group, None where there is none over one axis."""
    signal: Any = None
    if "signal" in group.attrs:
        signal = group.get(_text(group.attrs["signal"]))
    elif any(key in group for key in ("data", "counts", "intensity")) or _nx_class(group) == "NXdata":
        old = [
            d
            for d in _children(group)
            if isinstance(d, h5py.Dataset) and _text(d.attrs.get("signal", "")) == "1"
        ]
        signal = old[0] if old else None
        if signal is None and "polar_angle" in group and _nx_class(group) == "NXdata":
            signal = group.get("data")
    if not isinstance(signal, h5py.Dataset) or signal.dtype.kind not in "iuf":
        return None
    return (
        signal if sum(n > 1 for n in signal.shape) == 1 and _axis_dataset(group, signal) is not None else None
    )


def _axis_dataset(group: h5py.Group, signal: h5py.Dataset) -> h5py.Dataset | None:
    """Return the dataset along the one long dimension of the signal."""
    names = _texts(group.attrs["axes"]) if "axes" in group.attrs else []
    if not names and "axes" in signal.attrs:
        names = _texts(signal.attrs["axes"])
    candidates = [group.get(key) for key in names if key and key != "."]
    candidates += [d for d in _children(group) if isinstance(d, h5py.Dataset) and "axis" in d.attrs]
    candidates += [group.get(key) for key in _ANGLE_NAMES]
    for candidate in candidates:
        if (
            isinstance(candidate, h5py.Dataset)
            and candidate.size == signal.size
            and candidate.dtype.kind in "iuf"
        ):
            return candidate
    return None


def _array(dataset: h5py.Dataset, name: str) -> Array:
    if dataset.size > _MOST_POINTS:
        raise PatternError(f"{name}: {dataset.name} claims {dataset.size} points; the file is damaged")
    return np.asarray(dataset[()], dtype=np.float64).ravel()


def _scan(group: h5py.Group, entry: h5py.Group, name: str) -> tuple[ScanRange, str, str]:
    signal = _signal(group)
    axis_dataset = None if signal is None else _axis_dataset(group, signal)
    if signal is None or axis_dataset is None:
        raise PatternError(f"{name}: {group.name} has no signal over one axis")
    values, axis = _array(signal, name), _array(axis_dataset, name)
    kind, unit, factor = _axis_kind(axis_dataset, name)
    key = signal.name.rpartition("/")[2]
    errors = _errors(group, signal, key)
    uncertainties = None if errors is None else _array(errors, name)
    scan = ScanRange(
        axis * factor,
        values,
        uncertainties,
        _counting_time(group, entry, len(values), name),
        f"{group.name}, point",
        np.arange(1, len(values) + 1),
    )
    return scan, kind, unit


def _axis_kind(axis: h5py.Dataset, name: str) -> tuple[str, str, float]:
    """Say what the axis is: kind, unit, and the factor to that unit."""
    unit = _text(axis.attrs.get("units", "")).strip().lower()
    if unit in _RADIAN:
        return "two-theta", "degree", 180.0 / np.pi
    if unit in _INVERSE:
        return "q", _INVERSE[unit], 1.0
    if unit in _LENGTH:
        return "d", _LENGTH[unit], 1.0
    if unit not in _DEGREE:
        raise PatternError(
            f"{name}: {axis.name} has the unit '{unit[:20]}'; degree, rad, nm, angstrom, 1/nm or 1/angstrom "
            "are read"
        )
    key = axis.name.rpartition("/")[2].lower()
    return ("two-theta" if unit or key in _ANGLE_NAMES else ""), "", 1.0


def _errors(group: h5py.Group, signal: h5py.Dataset, key: str) -> h5py.Dataset | None:
    names = [
        _text(holder.attrs["uncertainties"]) for holder in (signal, group) if "uncertainties" in holder.attrs
    ]
    for candidate in (*names, f"{key}_errors", "errors"):
        dataset = group.get(candidate)
        if isinstance(dataset, h5py.Dataset) and dataset.size == signal.size:
            return dataset
    return None


def _of_class(entry: h5py.Group, nx_class: str) -> list[h5py.Group]:
    return [group for group in _descend(entry) if _nx_class(group) == nx_class]


def _scalar(group: h5py.Group, *keys: str) -> tuple[str, str] | None:
    """Return value and unit, as text, of the first scalar dataset of those names."""
    for key in keys:
        dataset = group.get(key)
        if isinstance(dataset, h5py.Dataset) and dataset.size == 1:
            return _text(dataset[()]), _text(dataset.attrs.get("units", "")).strip().lower()
    return None


def _counting_time(group: h5py.Group, entry: h5py.Group, n: int, name: str) -> Array | None:
    for holder in (group, *_of_class(entry, "NXdetector")):
        for key in ("count_time", "counting_time"):
            dataset = holder.get(key)
            if isinstance(dataset, h5py.Dataset) and dataset.size in (1, n) and dataset.dtype.kind in "iuf":
                factor = declared.seconds(f"1 {_text(dataset.attrs.get('units', 's'))}")
                return None if factor is None else np.full(n, 1.0) * _array(dataset, name) * factor
    for monitor in _of_class(entry, "NXmonitor"):
        mode, preset = _scalar(monitor, "mode"), _scalar(monitor, "preset")
        if mode and preset and mode[0] == "timer":
            time = declared.seconds(" ".join(preset))
            return None if time is None else np.full(n, time)
    return None


def _wavelengths(holder: h5py.Group, name: str) -> list[float]:
    """Return the wavelengths of a crystal, monochromator or beam, nm; the default unit is angstrom."""
    for key in ("wavelength", "incident_wavelength"):
        dataset = holder.get(key)
        if isinstance(dataset, h5py.Dataset) and dataset.dtype.kind in "iuf" and 0 < dataset.size < 100:
            unit = _text(dataset.attrs.get("units", "")).strip().lower() or "angstrom"
            waves = [declared.wavelength_nm(repr(float(w)), unit) for w in _array(dataset, name)]
            return [w for w in waves if w is not None and w > 0.0]
    return []


def _about(entry: h5py.Group, group: h5py.Group, name: str) -> FileContent:
    """Collect what an entry says about the measurement."""
    about = FileContent()
    for holder in _descend(entry):
        if _nx_class(holder) not in _BEAM_CLASSES:
            continue
        probe = _scalar(holder, "probe")
        if probe and probe[0].lower() in ("neutron", "electron", "muon", "proton", "positron"):
            raise PatternError(
                f"{name}: {holder.name}: measured with {probe[0]}s; only X-ray patterns can be read"
            )
        waves = _wavelengths(holder, name)
        if waves and about.wavelength_nm is None:
            about.wavelength_nm = waves[0]
            about.radiation = about.radiation or declared.radiation_of_wavelengths(waves)
        spoken = _scalar(holder, "radiation", "type", "name")
        if spoken and not about.radiation:
            about.radiation = declared.radiation_in_words(spoken[0])
    for sample in _of_class(entry, "NXsample"):
        temperature = _scalar(sample, "temperature")
        if temperature:
            about.temperature_c = declared.celsius(temperature[0], temperature[1] or "k")
    notes = group.attrs
    about.geometry = declared.geometry_in_words(_text(notes.get("geometry", "")))
    mount = _text(notes.get("mount", ""))
    about.mount = mount if mount in MOUNTS else ""
    kind = _text(notes.get("intensity_kind", ""))
    about.intensity_kind = kind if kind in ("counts", "intensities") else ""
    about.flags = declared.flags(_text(notes.get("flags", "")))
    return about
