"""Read one group of a netCDF file out of HDF5, at once.

xarray opens a file for each group and walks through all of it, which takes a second for the groups of one sample; a
report reads hundreds. What is read here are files of `xrdorder.studies.store`: plain numbers and texts, nothing packed.
"""

from typing import Any

import h5py
import numpy as np
import xarray as xr
from numpy.typing import NDArray

_BARE = b"This is a netCDF dimension but not a netCDF variable"
"""How netCDF-4 names a dimension that has no coordinate."""
_OF_NETCDF = ("CLASS", "NAME", "DIMENSION_LIST", "REFERENCE_LIST", "_FillValue", "coordinates")


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
        scale = item.attrs.get("CLASS") == b"DIMENSION_SCALE"
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
