"""HDF5 files that are whole, and make no sense: groups, links, types and attributes at random."""

import io

import h5py
import numpy as np

_CLASSES = [
    "NXentry", "NXdata", "NXinstrument", "NXdetector", "NXsample", "NXmonitor", "NXsource", "NXcrystal", "", "NXroot",
]  # fmt: skip
_NAMES = [
    "entry", "data", "counts", "two_theta", "polar_angle", "count_time", "wavelength", "temperature", "probe", "mode",
    "preset", "errors", "counts_errors", "name", "start_time", "é", "a b", ".", "default",
]  # fmt: skip
_WORDS = [
    "counts", "two_theta", "data", "degree", "rad", "1/nm", "nm", "s", "timer", "neutron", "", "/entry/data", "..", "[",
    "1", "x" * 3000,
]  # fmt: skip
_TYPES = [
    "f8", "f4", "f2", "i1", "u8", ">i4", "?", "c16", "S3", h5py.string_dtype(), np.dtype([("a", "f8")]),
    h5py.vlen_dtype("f4"),
]  # fmt: skip
_VALUES = [
    1, 1.5, np.nan, np.bytes_(b"\xff\xfe"), np.zeros((2, 2)), h5py.Empty("f"), b"counts", np.array([], "f8"),
]  # fmt: skip


def tree(rng: np.random.Generator) -> bytes:
    """Make one."""
    stream = io.BytesIO()
    with h5py.File(stream, "w") as file:
        groups = [file["/"]]
        for _ in range(int(rng.integers(1, 25))):
            where = groups[rng.integers(len(groups))]
            name = _pick(rng, _NAMES)
            try:
                _grow(rng, where, name, groups)
            except (ValueError, OSError, TypeError, RuntimeError, KeyError):
                continue  # taken, or no type for such numbers
    return stream.getvalue()


def _pick(rng, choices):
    return choices[rng.integers(len(choices))]


def _grow(rng, where, name, groups):
    kind = rng.integers(8)
    if kind < 3:
        group = where.create_group(name)
        group.attrs["NX_class"] = _attribute(rng) if rng.random() < 0.1 else _pick(rng, _CLASSES)
        _attributes(rng, group, ["signal", "axes", "default", "flags", "mount", "geometry"])
        groups.append(group)
    elif kind < 6:
        shape = _pick(rng, [(), (0,), (1,), (40,), (40,), (40,), (1, 40), (4, 40), None])
        item = where.create_dataset(name, shape, _pick(rng, _TYPES[:4] * 3 + _TYPES), fillvalue=None)
        if item.size and item.shape and item.dtype.kind in "fiu" and rng.random() < 0.9:
            values = 20.0 + np.arange(item.size) if rng.random() < 0.5 else rng.poisson(50.0, item.size)
            item[...] = np.reshape(np.clip(values, 0, 100), item.shape)
            if rng.random() < 0.1 and item.dtype.kind == "f":
                item[(0,) * item.ndim] = _pick(rng, [np.nan, np.inf, -1.0, 6e4])
        _attributes(rng, item, ["signal", "axis", "axes", "units", "uncertainties"])
    elif kind == 6:
        where[name] = h5py.SoftLink(_pick(rng, _WORDS + _NAMES)) if rng.random() < 0.7 else h5py.ExternalLink("x", "/")
    else:
        where[name] = _pick(rng, groups)


def _attributes(rng, item, names):
    for name in names:
        if rng.random() < 0.35:
            item.attrs[name] = _attribute(rng)


def _attribute(rng):
    kind = rng.integers(6)
    if kind < 3:
        return _pick(rng, _WORDS)
    if kind == 3:
        return [_pick(rng, _WORDS) for _ in range(rng.integers(1, 4))]
    return _pick(rng, _VALUES)
