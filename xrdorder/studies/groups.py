"""Groups of a netCDF-4 file, written to HDF5 and read out of it at once.

xarray opens a file for each group and walks through all of it, which takes a second for the groups of one sample; a
report reads hundreds, and a study writes as many. What is kept here is plain: numbers and texts, nothing packed. Every
group has dimensions of its own. Any reader of netCDF-4 opens the files; the layout is that of its conventions for HDF5
(NetCDF-4 file format specification, Unidata; from memory), and the tests read it with xarray.
"""

from typing import Any

import h5py
import numpy as np
import xarray as xr
from numpy.typing import NDArray

_BARE = b"This is a netCDF dimension but not a netCDF variable."
"""How netCDF-4 names a dimension that has no coordinate."""
_SCALE = b"DIMENSION_SCALE"
_OF_NETCDF = ("CLASS", "NAME", "DIMENSION_LIST", "REFERENCE_LIST", "_FillValue", "coordinates")


def write_group(group: h5py.Group, dataset: xr.Dataset) -> None:
    """Write a dataset of numbers and texts so that netCDF finds it.

    Parameters
    ----------
    group : h5py.Group
        Empty, and made with ``track_order=True``.
    dataset : Dataset

    Raises
    ------
    OSError
        The disk refuses.
    """
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
    variables: dict[str, tuple[tuple[str, ...], NDArray[Any], dict[str, Any]]] = {}
    coordinates: set[str] = set()
    for name, item in group.items():
        scale = item.attrs.get("CLASS") == _SCALE
        if scale and bytes(item.attrs["NAME"]).startswith(_BARE):
            continue
        dims = (name,) if scale else tuple(axis[0].name.rsplit("/", 1)[-1] for axis in item.dims)
        coordinates.update([name] if scale else str(plain(item.attrs.get("coordinates"))).split())
        variables[name] = dims, array(item), _attributes(item)
    found = xr.Dataset(variables, attrs=_attributes(group))
    return found.set_coords([name for name in variables if name in coordinates])


def _attributes(item: h5py.HLObject) -> dict[str, Any]:
    """Those that were given, without those of the format."""
    given = (key for key in item.attrs if key not in _OF_NETCDF and not key.startswith("_Netcdf4"))
    return {key: plain(item.attrs[key]) for key in given}


def array(dataset: h5py.Dataset) -> NDArray[Any]:
    """Give what a variable holds; texts as objects."""
    if h5py.check_string_dtype(dataset.dtype) is not None:
        return np.asarray(dataset.asstr()[()], dtype=object)
    return np.asarray(dataset[()])


def plain(value: Any) -> Any:
    """Turn an HDF5 attribute into a plain text or number; an empty text is stored as 'no value'."""
    if value is None or isinstance(value, h5py.Empty):
        return ""
    if isinstance(value, bytes):
        return value.decode()
    if isinstance(value, np.ndarray):
        return value.item() if value.size == 1 else value.tolist()
    return value.item() if isinstance(value, np.generic) else value
