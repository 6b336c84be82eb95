"""Write a pattern so that `read_pattern` gives it back.

The suffix decides: ``.xy``, ``.txt``, ``.dat`` text columns separated by blanks, ``.csv`` by commas, ``.cif``
a powder CIF (1.1), ``.nxs`` NeXus. Numbers are written with as many digits as it takes to read the same
number back. A third column (an item of standard uncertainties) is written only where the variance is not
simply that of counts.

What comes back differs in this only: ``source_file`` and ``sha256`` are those of the new file, and a CIF
carries no flags (they are found anew). Angles that stand twice are written as ranges that are joined again on
reading.
"""

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import xarray as xr
from gemmi import cif
from numpy.typing import NDArray

from xrdorder.exceptions import PatternError
from xrdorder.patterns.content import Array
from xrdorder.xrays import radiation

_NOTES = ("radiation", "geometry", "mount", "temperature_c", "intensity_kind", "flags")


def write_pattern(pattern: xr.DataArray, path: str | Path) -> None:
    """Write a pattern as text columns, powder CIF or NeXus.

    Parameters
    ----------
    pattern : xarray.DataArray
        As `read_pattern` returns it.
    path : str or Path
        File to write; its suffix decides about the format. An existing file is replaced when all is written.

    Raises
    ------
    PatternError
        If the suffix is not known or the file cannot be written.
    """
    target = Path(path)
    writers: dict[str, Callable[[xr.DataArray, Path], None]] = {
        ".xy": _write_text,
        ".txt": _write_text,
        ".dat": _write_text,
        ".csv": _write_text,
        ".cif": _write_cif,
        ".nxs": _write_nexus,
    }
    writer = writers.get(target.suffix.lower())
    if writer is None:
        raise PatternError(
            f"{target}: no format for the suffix '{target.suffix}'; use one of {', '.join(writers)}"
        )
    try:
        handle, name = tempfile.mkstemp(suffix=target.suffix, prefix=".", dir=target.parent)
        os.close(handle)
        try:
            writer(pattern, Path(name))
            os.chmod(name, 0o666 & ~_umask())
            os.replace(name, target)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise PatternError(
            f"{target}: cannot be written ({error.strerror or error}); choose another place"
        ) from None


def _umask() -> int:
    """Return the mask for new files, which a temporary file does not follow."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _ranges(pattern: xr.DataArray) -> list[NDArray[np.int64]]:
    """Cut a pattern with angles that stand twice into strictly rising ranges.

    Each point goes to the first range it can continue, so points of one angle keep their order when the
    ranges are joined.
    """
    two_theta = pattern["two_theta"].values
    if np.all(np.diff(two_theta) > 0.0):
        return [np.arange(len(two_theta))]
    ranges: list[list[int]] = []
    for index, angle in enumerate(two_theta):
        fitting = next((r for r in ranges if two_theta[r[-1]] < angle), None)
        if fitting is None:
            ranges.append([index])
        else:
            fitting.append(index)
    return [np.array(r) for r in ranges]


def _uncertainties(pattern: xr.DataArray) -> Array | None:
    """Return standard uncertainties, None where they are those of counts."""
    variance = np.asarray(pattern["variance"].values, dtype=np.float64)
    if pattern.attrs.get("intensity_kind", "counts") == "counts" and np.array_equal(
        variance, np.maximum(pattern.values, 1.0)
    ):
        return None
    return np.sqrt(variance)


def _time_known(pattern: xr.DataArray) -> bool:
    return not pattern["counting_time"].attrs.get("assumed", 0)


def _number(value: float) -> str:
    """Shortest text that reads back as the same number; whole numbers without a point."""
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(float(value))


def _write_text(pattern: xr.DataArray, path: Path) -> None:
    separator = "," if path.suffix.lower() == ".csv" else " "
    uncertainties = _uncertainties(pattern)
    lines = [f"# {key}: {pattern.attrs[key]}" for key in _NOTES if str(pattern.attrs.get(key, ""))]
    if "wavelength_nm" in pattern.attrs:
        lines.append(f"# wavelength_nm: {pattern.attrs['wavelength_nm']!r}")
    columns = ["two_theta_deg", "counts", *([] if uncertainties is None else ["standard_uncertainty"])]
    lines.append("# " + separator.join(columns))
    times = pattern["counting_time"].values if _time_known(pattern) else None
    angles = pattern["two_theta"].values
    for part in _ranges(pattern):
        # A change of counting time begins a new stretch.
        cuts = [] if times is None else list(np.flatnonzero(np.diff(times[part])) + 1)
        for piece in np.split(part, cuts):
            lines.append(f"# counting_time_s: {'unknown' if times is None else _number(times[piece[0]])}")
            for i in piece:
                row = [repr(float(angles[i])), _number(pattern.values[i])]
                if uncertainties is not None:
                    row.append(repr(float(uncertainties[i])))
                lines.append(separator.join(row))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _write_cif(pattern: xr.DataArray, path: Path) -> None:
    uncertainties = _uncertainties(pattern)
    counts = pattern.attrs.get("intensity_kind", "counts") == "counts"
    item = "_pd_meas_counts_total" if counts else "_pd_meas_intensity_total"
    document = cif.Document()
    for number, part in enumerate(_ranges(pattern), 1):
        block = document.add_new_block(f"range_{number}")
        _describe(block, pattern)
        tags = ["_pd_meas_2theta_scan", item]
        columns = [
            [repr(float(v)) for v in pattern["two_theta"].values[part]],
            [_number(v) for v in pattern.values[part]],
        ]
        if uncertainties is not None:
            tags.append(f"{item}_su")
            columns.append([repr(float(v)) for v in uncertainties[part]])
        if _time_known(pattern):
            times = [_number(v) for v in pattern["counting_time"].values[part]]
            if len(set(times)) == 1:
                block.set_pair("_pd_meas_step_count_time", times[0])
            else:
                tags.append("_pd_meas_step_count_time")
                columns.append(times)
        block.set_pair("_pd_meas_number_of_points", str(len(part)))
        block.init_loop("", tags).set_all_values(columns)
    path.write_text("#\\#CIF_1.1\n" + document.as_string(), encoding="ascii", errors="replace")


def _describe(block: cif.Block, pattern: xr.DataArray) -> None:
    name = str(pattern.attrs.get("radiation", ""))
    lines = radiation(name).lines if name else ()
    if len(lines) > 1 or name.endswith("1"):
        element, _, shell = name.partition("-")
        kind = f"{element.capitalize()} K\\a" + ("~1~" if shell.endswith("1") else "")
        block.set_pair("_diffrn_radiation_type", cif.quote(kind))
    if "wavelength_nm" in pattern.attrs:
        block.set_pair("_diffrn_radiation_wavelength", _angstrom(float(pattern.attrs["wavelength_nm"])))
    if "temperature_c" in pattern.attrs:
        block.set_pair(
            "_diffrn_ambient_temperature", repr(round(float(pattern.attrs["temperature_c"]) + 273.15, 6))
        )
    geometry = str(pattern.attrs.get("geometry", ""))
    if geometry:
        block.set_pair("_pd_spec_mount_mode", "reflection" if geometry == "reflection" else "transmission")
    if geometry == "capillary":
        block.set_pair("_pd_spec_shape", "cylinder")
    if pattern.attrs.get("mount"):
        block.set_pair("_pd_spec_mount", cif.quote(str(pattern.attrs["mount"])))


def _angstrom(wavelength_nm: float) -> str:
    """Ten times the number, without the digits that only binary arithmetic adds."""
    return f"{wavelength_nm * 10.0:.12g}"


def _write_nexus(pattern: xr.DataArray, path: Path) -> None:
    uncertainties = _uncertainties(pattern)
    with h5py.File(path, "w") as file:
        file.attrs.update({"NX_class": "NXroot", "default": "entry1"})
        for number, part in enumerate(_ranges(pattern), 1):
            entry = _group(file, f"entry{number}", "NXentry")
            entry.attrs["default"] = "data"
            data = _group(entry, "data", "NXdata")
            data.attrs.update({"signal": "counts", "axes": ["two_theta"], "two_theta_indices": [0]})
            data.attrs.update(
                {
                    k: str(pattern.attrs[k])
                    for k in ("geometry", "mount", "intensity_kind", "flags")
                    if k in pattern.attrs
                }
            )
            data.create_dataset("counts", data=pattern.values[part])
            data.create_dataset("two_theta", data=pattern["two_theta"].values[part]).attrs["units"] = "degree"
            if uncertainties is not None:
                data.create_dataset("counts_errors", data=uncertainties[part])
            instrument = _group(entry, "instrument", "NXinstrument")
            if _time_known(pattern):
                detector = _group(instrument, "detector", "NXdetector")
                times = detector.create_dataset("count_time", data=pattern["counting_time"].values[part])
                times.attrs["units"] = "s"
            _describe_nexus(entry, instrument, pattern)


def _group(parent: h5py.Group, name: str, nx_class: str) -> h5py.Group:
    group = parent.create_group(name)
    group.attrs["NX_class"] = nx_class
    return group


def _describe_nexus(entry: h5py.Group, instrument: h5py.Group, pattern: xr.DataArray) -> None:
    name = str(pattern.attrs.get("radiation", ""))
    source = _group(instrument, "source", "NXsource")
    source["probe"] = "x-ray"
    if name:
        source["radiation"] = name
    if "wavelength_nm" in pattern.attrs:
        beam = _group(instrument, "beam", "NXbeam")
        wavelength = beam.create_dataset("incident_wavelength", data=float(pattern.attrs["wavelength_nm"]))
        wavelength.attrs["units"] = "nm"
    sample = _group(entry, "sample", "NXsample")
    if "temperature_c" in pattern.attrs:
        temperature = sample.create_dataset("temperature", data=float(pattern.attrs["temperature_c"]))
        temperature.attrs["units"] = "degC"
