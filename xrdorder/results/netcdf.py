"""Groups of netCDF-4 files, written and read in one pass by the lower interface of h5py.

What is kept here is plain, numbers and texts, nothing packed or masked. xarray opens a file anew for each group and
walks through all of it, and libraries between it and HDF5 look every dimension up for every variable: together a second
for the groups of one sample, and a report reads hundreds. netCDF-4 itself asks for little beyond HDF5 (netCDF Users
Guide, "Interoperability with HDF5", https://docs.unidata.ucar.edu/nug, from memory): a dimension is a dimension scale
with a number, that of a dimension without coordinates has a telling name, and links keep the order they were made in.
"""

import io
from collections.abc import Collection, Mapping
from itertools import count
from typing import Any

import h5py
import numpy as np
import xarray as xr
from h5py import h5a, h5d, h5ds, h5o, h5p, h5s, h5t
from numpy.typing import NDArray

_LARGE = 50_000
"""Numbers in a variable from which it is compressed: joint draws of a study."""

_DEFLATE = 4  # beyond it time is spent for next to nothing (common practice, no source)
_NO_VARIABLE = "This is a netCDF dimension but not a netCDF variable."
_TEXT = h5py.string_dtype()
_NUMBER, _OVER = "_Netcdf4Dimid", "_Netcdf4Coordinates"  # of a dimension, and of the dimensions of a variable
_OF_NETCDF = ("CLASS", "NAME", "_FillValue", _NUMBER, _OVER)


def netcdf(root: xr.Dataset, groups: Mapping[str, xr.Dataset] | None = None) -> bytes:
    """Give the content of a netCDF-4 file.

    It is made in memory and not on the disk: where a disk gets full, HDF5 ends in errors that say little, of several
    kinds, and some of them only as the file is closed.

    Parameters
    ----------
    root : Dataset
        Numbers and texts.
    groups : mapping of str to Dataset, optional
        Groups below the root.
    """
    stream, number = io.BytesIO(), count()
    with h5py.File(stream, "w", track_order=True) as file:
        _write_group(file, root, number)
        for name, group in (groups or {}).items():
            _write_group(file.create_group(name, track_order=True), group, number)
    return stream.getvalue()


def _write_group(group: h5py.Group, dataset: xr.Dataset, count_of_file: "count[int]") -> None:
    """Write one group; its dimensions take the next numbers of the file."""
    items = {str(name): _create(group, str(name), variable.values) for name, variable in dataset.variables.items()}
    scales, numbers = {}, {}
    for name, size in dataset.sizes.items():
        scale = items.get(str(name)) or _create(group, str(name), np.zeros(size, ">f4"), empty=True)
        label = str(name) if name in items else f"{_NO_VARIABLE}{size:10d}"
        h5ds.set_scale(scale, label.encode())
        numbers[name] = next(count_of_file)
        _note(scale, _NUMBER, np.int32(numbers[name]))
        scales[name] = scale
    beside = [str(name) for name in dataset.coords if name not in dataset.sizes]
    for name, variable in dataset.variables.items():
        item, attributes = items[str(name)], dict(variable.attrs)
        for place, dimension in enumerate(variable.dims):
            if dimension != name:
                h5ds.attach_scale(item, scales[dimension], place)
        if variable.dims:
            _note(item, _OVER, np.array([numbers[dimension] for dimension in variable.dims], dtype=np.int32))
        named = [sibling for sibling in beside if sibling != name and set(dataset[sibling].dims) <= set(variable.dims)]
        if named and name not in dataset.coords:
            attributes["coordinates"] = " ".join(named)  # as the CF conventions have it
        for key, value in attributes.items():
            _note(item, key, value)
    for key, value in dataset.attrs.items():
        _note(group.id, str(key), value)


def _create(group: h5py.Group, name: str, values: NDArray[Any], *, empty: bool = False) -> h5d.DatasetID:
    """Write a variable without its attributes; empty where only its size says something."""
    values = values.astype(_TEXT) if values.dtype.kind in "OU" else np.asarray(values, order="C")
    how = h5p.create(h5p.DATASET_CREATE)
    how.set_attr_creation_order(h5p.CRT_ORDER_TRACKED | h5p.CRT_ORDER_INDEXED)
    how.set_obj_track_times(False)  # equal results are equal files
    if values.size >= _LARGE and values.dtype.kind != "O":
        how.set_chunk(values.shape)
        how.set_shuffle()
        how.set_deflate(_DEFLATE)
    space = h5s.create_simple(values.shape) if values.shape else h5s.create(h5s.SCALAR)
    item = h5d.create(group.id, name.encode(), h5t.py_create(values.dtype, logical=True), space, how)
    if values.size and not empty:
        item.write(h5s.ALL, h5s.ALL, values)
    return item


def _note(owner: Any, name: str, value: Any) -> None:
    """Write an attribute; an empty text has no place in netCDF and is stored as 'no value'."""
    if isinstance(value, str) and not value:
        h5a.create(owner, name.encode(), h5t.py_create(np.dtype("S1")), h5s.create(h5s.NULL))
        return
    data = np.array(value, dtype=_TEXT) if isinstance(value, str) else np.asarray(value)
    space = h5s.create_simple(data.shape) if data.shape else h5s.create(h5s.SCALAR)
    h5a.create(owner, name.encode(), h5t.py_create(data.dtype, logical=True), space).write(data)


def read_root(content: bytes) -> xr.Dataset:
    """Read what is not in a group from the content of a file that is known to be whole (`xrdorder.files.sealed`)."""
    with h5py.File(io.BytesIO(content), "r") as file:
        return _read_group(file)


def read_groups(content: bytes, names: Collection[str]) -> dict[str, xr.Dataset]:
    """Read groups, those of the names that are there; otherwise as `read_root`."""
    with h5py.File(io.BytesIO(content), "r") as file:
        return {name: _read_group(file[name]) for name in names if name in file}


def _read_group(group: h5py.Group) -> xr.Dataset:
    items = _items(group)
    notes = {name: _notes(item) for name, item in items.items()}
    dimensions = {note[_NUMBER]: name for name, note in notes.items() if note.get("CLASS") == "DIMENSION_SCALE"}
    scales = set(dimensions.values())
    coordinates = set(scales)
    variables: dict[str, tuple[tuple[str, ...], NDArray[Any], dict[str, Any]]] = {}
    for name, item in items.items():
        note = notes[name]
        if str(note.get("NAME", "")).startswith(_NO_VARIABLE):
            continue
        over = (name,) if name in scales else tuple(dimensions[k] for k in np.atleast_1d(note.get(_OVER, [])))
        attributes = {key: value for key, value in note.items() if key not in _OF_NETCDF}
        coordinates.update(str(attributes.pop("coordinates", "")).split())
        variables[name] = over, _array(item), attributes
    dataset = xr.Dataset(variables, attrs=_notes(group.id))
    return dataset.set_coords([name for name in variables if name in coordinates])


def _notes(owner: Any) -> dict[str, Any]:
    """Attributes as plain texts and numbers, without references."""
    notes: dict[str, Any] = {}
    for k in range(h5a.get_num_attrs(owner)):
        item = h5a.open(owner, index=k)
        if item.get_space().get_simple_extent_type() == h5s.NULL:
            notes[item.name.decode()] = ""
        elif not item.name.endswith(b"_LIST"):
            value = np.empty(item.shape, item.dtype)
            item.read(value)
            notes[item.name.decode()] = plain(value[()])
    return notes


def _items(group: h5py.Group) -> dict[str, h5d.DatasetID]:
    """Variables of a group, by name."""
    items = {name: h5o.open(group.id, name.encode()) for name in group}
    return {name: item for name, item in items.items() if isinstance(item, h5d.DatasetID)}


def arrays(group: h5py.Group) -> dict[str, NDArray[Any]]:
    """Give what the variables of a group hold, and no more."""
    return {name: _array(item) for name, item in _items(group).items()}


def _array(item: h5d.DatasetID) -> NDArray[Any]:
    """What a variable holds; texts as objects."""
    values = np.empty(item.shape, item.dtype)
    if values.size:
        item.read(h5s.ALL, h5s.ALL, values)
    if values.dtype == object:
        values = np.array([text.decode() for text in values.flat], dtype=object).reshape(values.shape)
    return values


def plain(value: Any) -> Any:
    """Turn an HDF5 attribute into a plain text or number; an empty text is stored as 'no value'."""
    if value is None or isinstance(value, h5py.Empty):
        return ""
    if isinstance(value, bytes):
        return value.decode()
    if isinstance(value, np.ndarray):
        return value.item() if value.size == 1 else value.tolist()
    return value.item() if isinstance(value, np.generic) else value
