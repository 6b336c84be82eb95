"""Read a pattern from a NeXus file: the definition NXmonopd, or any NXdata with a signal over one axis.

Looked for in this order: the group the ``default`` attributes lead to; every NXdata with a ``signal``
attribute; the older style in which the dataset itself carries ``signal=1`` and the axis ``axis=1`` or the
signal ``axes=...``; the two datasets NXmonopd requires (``data`` over ``polar_angle``). Every NXentry with
such a group is a range.

Units are taken from the file, so an axis in radians or in 1/angstrom is converted without being told.
Standard uncertainties are the dataset named by the ``uncertainties`` attribute, ``<signal>_errors`` or
``errors``.

A file may lead anywhere: to other files of the machine, round in circles. Links to other files are not followed, and
numbers that stand in other files are not read; each group is visited once, however many links lead to it.
`xrdorder.patterns.nexus_apart` reads in a process of its own, since damaged bytes can hang the library.
"""

from collections.abc import Iterator
from typing import Any

import h5py
import numpy as np

from xrdorder.exceptions import PatternError
from xrdorder.patterns import declared
from xrdorder.patterns.content import MOUNTS, Array, FileContent, ScanRange

# More points than any scan; a damaged header may claim 1e15 of them and must not be believed.
_MOST_POINTS = 10_000_000

COPY_AGAIN = "copy it again from where it was measured"
_NOT_OPEN = "not a file id"  # what the library says of a file that it could not open
# Soft links that lead to soft links; h5py stops at the same number.
_MOST_LINKS = 16
# Groups below an entry; a detector of many modules has some hundreds.
_MOST_GROUPS = 10_000
_DEPTH = 4

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


class _StoredElsewhereError(Exception):
    """The numbers of a dataset stand in another file."""


def read_nexus(data: bytes, name: str) -> FileContent:
    """Read the pattern of a NeXus file.

    Parameters
    ----------
    data : bytes
        Content of the file.
    name : str
        Its name, for messages.

    Returns
    -------
    FileContent
        One range for each entry that holds a pattern.

    Raises
    ------
    PatternError
        If the file is damaged, holds no pattern, or its numbers stand in another file.
    """
    try:
        with h5py.File(h5py.h5f.open_file_image(data)) as file:
            return _read(file, name)
    except PatternError:
        raise
    except _StoredElsewhereError as error:
        raise PatternError(
            f"{name}: {error}, which is not followed; export it whole, with all numbers in the file itself"
        ) from None
    except (OSError, RuntimeError, KeyError, ValueError, TypeError, OverflowError, MemoryError) as error:
        said = " ".join(str(error).split())[:120]
        reason = "it does not open: bytes are missing or wrong" if _NOT_OPEN in said.lower() else said
        raise PatternError(f"{name}: damaged or truncated HDF5 file ({reason}); {COPY_AGAIN}") from None


def _read(file: h5py.File, name: str) -> FileContent:
    content = FileContent()
    axes = set()
    for entry in _entries(file):
        groups = _descend(entry)
        group = _data_group(entry, groups, name)
        if group is None:
            continue
        scan, axis, unit = _scan(group, groups, name)
        content.ranges.append(scan)
        axes.add((axis, unit))
        content.merge(_about(groups, group, name), name, entry.name)
    if not content.ranges:
        raise PatternError(
            f"{name}: no NXdata with a signal over one axis in the HDF5 file{_elsewhere(file)}; is it a powder pattern?"
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


def _member(group: h5py.Group, path: str, links: int = 0) -> Any:
    """Return what a path leads to within the file, None where it leads to nothing or out of it."""
    item: Any = group.file["/"] if path.startswith("/") else group
    for part in (part for part in path.split("/") if part not in ("", ".")):
        if not isinstance(item, h5py.Group):
            return None
        link = item.get(part, getlink=True) if part in item.keys() else None
        if isinstance(link, h5py.SoftLink):
            item = _member(item, link.path, links + 1) if links < _MOST_LINKS else None
        else:
            item = item[part] if isinstance(link, h5py.HardLink) else None
    return item


def _children(group: h5py.Group) -> Iterator[Any]:
    """Go through the members that can be reached; a damaged one is no member."""
    for key in group:
        try:
            item = _member(group, key)
        except (KeyError, OSError):
            continue
        if item is not None:
            yield item


def _once(items: Iterator[Any], visited: set[int]) -> Iterator[h5py.Group]:
    """Keep groups that were not visited."""
    for item in items:
        if isinstance(item, h5py.Group):
            place = h5py.h5o.get_info(item.id).addr
            if place not in visited:
                visited.add(place)
                yield item


def _entries(file: h5py.File) -> list[h5py.Group]:
    groups = _once(_children(file), set())
    return [item for item in groups if _nx_class(item) in ("NXentry", "NXsubentry")] or [file["/"]]


def _descend(entry: h5py.Group) -> list[h5py.Group]:
    """Return an entry and the groups below it, the nearest first."""
    visited: set[int] = set()
    level = list(_once(iter([entry]), visited))
    groups = list(level)
    for _ in range(_DEPTH):
        level = [item for group in level for item in _once(_children(group), visited)]
        groups += level
        if len(groups) > _MOST_GROUPS:
            break
    return groups


def _elsewhere(file: h5py.File) -> str:
    """Say of a file without a pattern that something in it is a link to another one."""
    for group in _descend(file["/"]):
        for key in group:
            if isinstance(link := group.get(key, getlink=True), h5py.ExternalLink):
                there = f"{declared.short(group.name)}/{declared.short(key)}"
                return f" ({there} is a link to another file, {declared.short(link.filename)}; those are not followed)"
    return ""


def _data_group(entry: h5py.Group, below: list[h5py.Group], name: str) -> h5py.Group | None:
    default = _text(entry.attrs.get("default", ""))
    group = _member(entry, default) if default else None
    if isinstance(group, h5py.Group) and _signal(group) is not None:
        return group
    groups = [group for group in below if _signal(group) is not None]
    classed = [group for group in groups if _nx_class(group) == "NXdata"] or groups
    if len(classed) > 1:
        names = ", ".join(group.name for group in classed[:4])
        raise PatternError(
            f"{name}: {entry.name} has several NXdata groups ({names}) and no 'default' attribute to say "
            "which is the pattern; add it or export one of them"
        )
    return classed[0] if classed else None


def _signal(group: h5py.Group) -> h5py.Dataset | None:
    """Return the dataset that is the signal of a group, None where there is none over one axis."""
    signal: Any = None
    if "signal" in group.attrs:
        signal = _member(group, _text(group.attrs["signal"]))
    elif any(key in group for key in ("data", "counts", "intensity")) or _nx_class(group) == "NXdata":
        old = [
            d
            for d in _children(group)
            if isinstance(d, h5py.Dataset) and _text(d.attrs.get("signal", "")) == "1"
        ]
        signal = old[0] if old else None
        if signal is None and "polar_angle" in group and _nx_class(group) == "NXdata":
            signal = _member(group, "data")
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
    candidates = [_member(group, key) for key in names if key and key != "."]
    candidates += [d for d in _children(group) if isinstance(d, h5py.Dataset) and "axis" in d.attrs]
    candidates += [_member(group, key) for key in _ANGLE_NAMES]
    for candidate in candidates:
        if (
            isinstance(candidate, h5py.Dataset)
            and candidate.size == signal.size
            and candidate.dtype.kind in "iuf"
        ):
            return candidate
    return None


def _values(dataset: h5py.Dataset) -> Any:
    """Read a dataset whose numbers stand in this file."""
    if dataset.size > _MOST_POINTS:
        raise ValueError(f"{dataset.name} claims {dataset.size} points")
    if dataset.is_virtual or dataset.external:
        raise _StoredElsewhereError(f"the numbers of {dataset.name} stand in another file")
    return dataset[()]


def _array(dataset: h5py.Dataset) -> Array:
    return np.asarray(_values(dataset), dtype=np.float64).ravel()


def _scan(group: h5py.Group, groups: list[h5py.Group], name: str) -> tuple[ScanRange, str, str]:
    signal = _signal(group)
    axis_dataset = None if signal is None else _axis_dataset(group, signal)
    if signal is None or axis_dataset is None:
        raise PatternError(f"{name}: {group.name} has no signal over one axis")
    values, axis = _array(signal), _array(axis_dataset)
    kind, unit, factor = _axis_kind(axis_dataset, name)
    key = signal.name.rpartition("/")[2]
    errors = _errors(group, signal, key)
    uncertainties = None if errors is None else _array(errors)
    scan = ScanRange(
        axis * factor,
        values,
        uncertainties,
        _counting_time(group, groups, len(values)),
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
        dataset = _member(group, candidate)
        if isinstance(dataset, h5py.Dataset) and dataset.size == signal.size:
            return dataset
    return None


def _of_class(groups: list[h5py.Group], nx_class: str) -> list[h5py.Group]:
    return [group for group in groups if _nx_class(group) == nx_class]


def _scalar(group: h5py.Group, *keys: str) -> tuple[str, str] | None:
    """Return value and unit, as text, of the first scalar dataset of those names."""
    for key in keys:
        dataset = _member(group, key)
        if isinstance(dataset, h5py.Dataset) and dataset.size == 1:
            return _text(_values(dataset)), _text(dataset.attrs.get("units", "")).strip().lower()
    return None


def _counting_time(group: h5py.Group, groups: list[h5py.Group], n: int) -> Array | None:
    for holder in (group, *_of_class(groups, "NXdetector")):
        for key in ("count_time", "counting_time"):
            dataset = _member(holder, key)
            if isinstance(dataset, h5py.Dataset) and dataset.size in (1, n) and dataset.dtype.kind in "iuf":
                factor = declared.seconds(f"1 {_text(dataset.attrs.get('units', 's'))}")
                return None if factor is None else np.full(n, 1.0) * _array(dataset) * factor
    for monitor in _of_class(groups, "NXmonitor"):
        mode, preset = _scalar(monitor, "mode"), _scalar(monitor, "preset")
        if mode and preset and mode[0] == "timer":
            time = declared.seconds(" ".join(preset))
            return None if time is None else np.full(n, time)
    return None


def _wavelengths(holder: h5py.Group) -> list[float]:
    """Return the wavelengths of a crystal, monochromator or beam, nm; the default unit is angstrom."""
    for key in ("wavelength", "incident_wavelength"):
        dataset = _member(holder, key)
        if isinstance(dataset, h5py.Dataset) and dataset.dtype.kind in "iuf" and 0 < dataset.size < 100:
            unit = _text(dataset.attrs.get("units", "")).strip().lower() or "angstrom"
            waves = [declared.wavelength_nm(repr(float(w)), unit) for w in _array(dataset)]
            return [w for w in waves if w is not None and w > 0.0]
    return []


def _particle(text: str) -> str:
    bare = text.strip().lower()
    return bare if bare in ("muon", "proton", "positron") else declared.particle_in_words(text)


def _about(groups: list[h5py.Group], group: h5py.Group, name: str) -> FileContent:
    """Collect what an entry says about the measurement."""
    about = FileContent()
    for holder in groups:
        if _nx_class(holder) not in _BEAM_CLASSES:
            continue
        words = [word[0] for key in ("probe", "type", "name") if (word := _scalar(holder, key))]
        particle = next((p for p in map(_particle, words) if p), "")
        if particle:
            raise PatternError(f"{name}: {holder.name}: measured with {particle}s; only X-ray patterns can be read")
        waves = _wavelengths(holder)
        if waves and about.wavelength_nm is None:
            about.wavelength_nm = waves[0]
            about.radiation = about.radiation or declared.radiation_of_wavelengths(waves)
        spoken = _scalar(holder, "radiation", "type", "name")
        if spoken and not about.radiation:
            about.radiation = declared.radiation_in_words(spoken[0])
    for sample in _of_class(groups, "NXsample"):
        temperature = _scalar(sample, "temperature")
        if temperature:
            about.temperature_c = declared.celsius(temperature[0], temperature[1] or "k")
    began = _scalar(groups[0], "start_time")
    about.start_time = began[0] if began else ""
    notes = group.attrs
    about.radiation = declared.radiation_in_words(_text(notes.get("radiation", ""))) or about.radiation
    about.geometry = declared.geometry_in_words(_text(notes.get("geometry", "")))
    mount = _text(notes.get("mount", ""))
    about.mount = mount if mount in MOUNTS else ""
    kind = _text(notes.get("intensity_kind", ""))
    about.intensity_kind = kind if kind in ("counts", "intensities") else ""
    about.flags = declared.flags(_text(notes.get("flags", "")))
    return about
