"""Groups of netCDF-4 files, written and read all in one opening.

xarray opens a file anew for each group and walks through all of it, which takes a second for the groups of one sample;
a report reads hundreds. What is kept here is plain, numbers and texts, nothing packed or masked, so that h5netcdf is
enough and xarray makes the same of the files.
"""

import io
from collections.abc import Collection, Mapping
from typing import Any

import h5netcdf
import h5py
import numpy as np
import xarray as xr
from h5py import h5d, h5o, h5s
from numpy.typing import NDArray

_LARGE = 50_000
"""Numbers in a variable from which it is compressed: joint draws of a study."""


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
    stream = io.BytesIO()
    with h5netcdf.File(stream, "w") as file:
        _write_group(file, root)
        for name, group in (groups or {}).items():
            _write_group(file.create_group(name), group)
    return stream.getvalue()


def _write_group(group: h5netcdf.Group, dataset: xr.Dataset) -> None:
    group.dimensions = {str(name): size for name, size in dataset.sizes.items()}
    beside = [str(name) for name in dataset.coords if name not in dataset.sizes]
    for name, variable in dataset.variables.items():
        values = variable.values
        if values.dtype.kind in "OU":
            item = group.create_variable(str(name), variable.dims, h5py.string_dtype(), values.astype(object))
        else:
            packed = {"compression": "gzip", "shuffle": True} if values.size >= _LARGE else {}
            item = group.create_variable(str(name), variable.dims, values.dtype, values, **packed)
        item.attrs.update(variable.attrs)
        named = [one for one in beside if one != name and set(dataset[one].dims) <= set(variable.dims)]
        if named and name not in dataset.coords:
            item.attrs["coordinates"] = " ".join(named)  # as the CF conventions have it
    group.attrs.update(dataset.attrs)


def read_root(content: bytes) -> xr.Dataset:
    """Read what is not in a group from the content of a file that is known to be whole (`xrdorder.files.sealed`)."""
    with h5netcdf.File(io.BytesIO(content), "r", decode_vlen_strings=True) as file:
        return _read_group(file)


def read_groups(content: bytes, names: Collection[str]) -> dict[str, xr.Dataset]:
    """Read groups, those of the names that are there; otherwise as `read_root`."""
    with h5netcdf.File(io.BytesIO(content), "r", decode_vlen_strings=True) as file:
        return {name: _read_group(file.groups[name]) for name in names if name in file.groups}


def _read_group(group: h5netcdf.Group) -> xr.Dataset:
    variables: dict[str, tuple[tuple[str, ...], NDArray[Any], dict[str, Any]]] = {}
    coordinates = set(group.dimensions)
    for name, item in group.variables.items():
        attrs = {key: plain(value) for key, value in item.attrs.items()}
        coordinates.update(str(attrs.pop("coordinates", "")).split())
        attrs.pop("_FillValue", None)
        variables[name] = item.dimensions, np.asarray(item[...]), attrs
    found = xr.Dataset(variables, attrs={key: plain(value) for key, value in group.attrs.items()})
    return found.set_coords([name for name in variables if name in coordinates])


def arrays(group: h5py.Group) -> dict[str, NDArray[Any]]:
    """Give what the variables of a group hold, and no more: a fraction of the time of reading it as netCDF."""
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
