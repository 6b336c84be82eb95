"""Groups of a netCDF-4 file, written to HDF5 and read out of it at once.

xarray opens a file for each group and walks through all of it, which takes a second for the groups of one sample; a
report reads hundreds, and a study writes as many. What is kept here is plain: numbers and texts, nothing packed. Every
group has dimensions of its own. Any reader of netCDF-4 opens the files; the layout is that of its conventions for HDF5
(NetCDF-4 file format specification, Unidata; from memory), and the tests read it with xarray.
"""

from collections.abc import Mapping
from typing import Any

import h5py
import numpy as np
import xarray as xr
from h5py import h5d, h5o, h5s
from numpy.typing import NDArray

_BARE = b"This is a netCDF dimension but not a netCDF variable."
"""How netCDF-4 names a dimension that has no coordinate."""
_SCALE = b"DIMENSION_SCALE"
_OF_NETCDF = ("CLASS", "NAME", "DIMENSION_LIST", "REFERENCE_LIST", "_FillValue", "coordinates")


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
    with h5py.File("memory", "w", driver="core", backing_store=False, track_order=True) as file:
        _write_group(file, root)
        for name, group in (groups or {}).items():
            _write_group(file.create_group(name, track_order=True), group)
        file.flush()
        return bytes(file.id.get_file_image())


def _write_group(group: h5py.Group, dataset: xr.Dataset) -> None:
    scales = {str(name): _scale(group, dataset, str(name)) for name in dataset.sizes}
    beside = [str(name) for name in dataset.coords if name not in dataset.sizes]
    for name, variable in dataset.variables.items():
        item = scales[str(name)] if name in scales else _variable(group, str(name), variable)
        item.attrs.update(variable.attrs)
        if name in scales:
            continue
        for axis, dim in enumerate(variable.dims):
            item.dims[axis].attach_scale(scales[str(dim)])
        named = [one for one in beside if one != name and set(dataset[one].dims) <= set(variable.dims)]
        if named and name not in dataset.coords:
            item.attrs["coordinates"] = " ".join(named)
    group.attrs.update(dataset.attrs)


def _scale(group: h5py.Group, dataset: xr.Dataset, dim: str) -> h5py.Dataset:
    """A dimension: its coordinate, or what netCDF puts in the place of one."""
    if dim in dataset.variables:
        item, name = _variable(group, dim, dataset.variables[dim]), dim.encode()
    else:
        item = group.create_dataset(dim, (dataset.sizes[dim],), ">f4")
        name = _BARE + b"%10d" % dataset.sizes[dim]
    item.make_scale(name)
    return item


def _variable(group: h5py.Group, name: str, variable: xr.Variable) -> h5py.Dataset:
    values = variable.values
    if values.dtype.kind in "OU":
        return group.create_dataset(name, data=values.astype(object), dtype=h5py.string_dtype())
    return group.create_dataset(name, data=values)


def read_group(group: h5py.Group) -> xr.Dataset:
    """Read a group as xarray would.

    Parameters
    ----------
    group : h5py.Group

    Raises
    ------
    KeyError, ValueError
        The group was not written as netCDF.
    """
    items = {name: item for name, item in group.items() if isinstance(item, h5py.Dataset)}
    attributes = {name: dict(item.attrs) for name, item in items.items()}
    scales = {items[name].id: name for name, attrs in attributes.items() if attrs.get("CLASS") == _SCALE}
    variables: dict[str, tuple[tuple[str, ...], NDArray[Any], dict[str, Any]]] = {}
    coordinates: set[str] = set(scales.values())
    for name, item in items.items():
        attrs = attributes[name]
        if item.id in scales and bytes(attrs["NAME"]).startswith(_BARE):
            continue
        # asked for its name, h5py would look through the whole file for it
        dims = (name,) if item.id in scales else tuple(scales[axis[0].id] for axis in item.dims)
        coordinates.update(str(plain(attrs.get("coordinates"))).split())
        variables[name] = dims, _array(item.id), _given(attrs)
    found = xr.Dataset(variables, attrs=_given(dict(group.attrs)))
    return found.set_coords([name for name in variables if name in coordinates])


def _given(attrs: Mapping[str, Any]) -> dict[str, Any]:
    """Attributes without those of the format."""
    return {k: plain(v) for k, v in attrs.items() if k not in _OF_NETCDF and not k.startswith("_Netcdf4")}


def arrays(group: h5py.Group) -> dict[str, NDArray[Any]]:
    """Give what the variables of a group hold, and no more: a fifth of the time of `read_group`."""
    items = {name: h5o.open(group.id, name.encode()) for name in group}
    return {name: _array(item) for name, item in items.items() if isinstance(item, h5d.DatasetID)}


def _array(item: h5d.DatasetID) -> NDArray[Any]:
    """Read a variable by the lower interface of h5py, which needs a third of the time; texts as objects."""
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
