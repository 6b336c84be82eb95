"""Write a pattern so that `read_pattern` gives it back.

The suffix decides: ``.xy``, ``.txt``, ``.dat`` text columns separated by blanks, ``.csv`` by commas, ``.cif``
a powder CIF (1.1), ``.nxs`` NeXus (by the definition NXmonopd where the pattern is of whole counts and knows its begin,
wavelength and one counting time; otherwise entries that claim none). Numbers are written with as many digits as it
takes to read the same number back. Standard uncertainties, a third column, brackets in a CIF, are written only where
the variance is not simply that of counts. A CIF holds items of the core and the powder dictionary and no others.

What comes back differs in this only: ``source_file`` and ``sha256`` are those of the new file, and a CIF
carries no flags (they are found anew). Angles that stand twice are written as ranges that are joined again on
reading.
"""

import os
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import h5py
import numpy as np
import xarray as xr
from gemmi import cif
from numpy.typing import NDArray

from xrdorder.exceptions import PatternError
from xrdorder.patterns.content import COUNTS_IN_SPITE_OF_SU, Array
from xrdorder.xrays import radiation

_NOTES = ("radiation", "geometry", "mount", "temperature_c", "intensity_kind", "start_time", "flags")
_NEXUS_NOTES = ("radiation", "geometry", "mount", "intensity_kind", "flags")


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


def _with_su(value: float, u: float) -> str:
    """Write a number with its standard uncertainty in brackets, in units of its last digit; none of either is lost.

    >>> _with_su(1132.5, 34.25), _with_su(2e-05, 0.001)
    ('1132.50(3425)', '0.00002(100)')
    """
    both = [Decimal(repr(float(x))) for x in (value, u)]
    decimals = max(0, *(-int(x.as_tuple().exponent) for x in both))
    return f"{both[0]:.{decimals}f}({int(both[1].scaleb(decimals))})"


def _write_text(pattern: xr.DataArray, path: Path) -> None:
    separator = "," if path.suffix.lower() == ".csv" else " "
    uncertainties = _uncertainties(pattern)
    lines = [f"# {key}: {pattern.attrs[key]}" for key in _NOTES if str(pattern.attrs.get(key, ""))]
    if "wavelength_nm" in pattern.attrs:
        lines.append(f"# wavelength_nm: {pattern.attrs['wavelength_nm']!r}")
    lines.append(f"# number_of_points: {pattern.size}")
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
    # "Standard uncertainties should not be quoted for these values", the dictionary says of counts.
    item = "_pd_meas_intensity_total" if uncertainties is not None else "_pd_meas_counts_total"
    document = cif.Document()
    for number, part in enumerate(_ranges(pattern), 1):
        block = document.add_new_block(f"range_{number}")
        _describe(block, pattern)
        tags = ["_pd_meas_2theta_scan", item]
        columns = [
            [repr(float(v)) for v in pattern["two_theta"].values[part]],
            [_number(v) for v in pattern.values[part]]
            if uncertainties is None
            else [_with_su(v, u) for v, u in zip(pattern.values[part], uncertainties[part], strict=True)],
        ]
        if counts and uncertainties is not None:
            block.set_pair("_pd_meas_special_details", cif.quote(COUNTS_IN_SPITE_OF_SU))
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
    block.set_pair("_diffrn_radiation_probe", "x-ray")
    name = str(pattern.attrs.get("radiation", ""))
    lines = _lines(pattern)
    if len(lines) > 1 or name.endswith("1"):
        element, _, shell = name.partition("-")
        kind = f"{element.capitalize()} K\\a" + ("~1~" if shell.endswith("1") else "")
        block.set_pair("_diffrn_radiation_type", cif.quote(kind))
    if len(lines) == 1:
        block.set_pair("_diffrn_radiation_wavelength", _angstrom(lines[0][0]))
    elif lines:
        loop = block.init_loop("_diffrn_radiation_wavelength", ["_id", "", "_wt"])
        for number, (wavelength, weight) in enumerate(lines, 1):
            loop.add_row([str(number), _angstrom(wavelength), f"{weight:.4f}"])
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
        block.set_pair("_pd_spec_mounting", cif.quote(str(pattern.attrs["mount"])))
    if pattern.attrs.get("start_time"):
        block.set_pair("_pd_meas_datetime_initiated", cif.quote(str(pattern.attrs["start_time"])))


def _lines(pattern: xr.DataArray) -> list[tuple[float, float]]:
    """Wavelengths (nm) of the radiation and their weights: Kα1, and Kα2 where there is one."""
    if "wavelength_nm" not in pattern.attrs:
        return []
    first = [(float(pattern.attrs["wavelength_nm"]), 1.0)]
    name = str(pattern.attrs.get("radiation", ""))
    tube = radiation(name) if name else None
    return [*first, (tube.peak_nm("Ka2"), tube.alpha2_ratio)] if tube and tube.alpha2_ratio > 0.0 else first


def _angstrom(wavelength_nm: float) -> str:
    """Ten times the number, without the digits that only binary arithmetic adds."""
    return f"{wavelength_nm * 10.0:.12g}"


def _write_nexus(pattern: xr.DataArray, path: Path) -> None:
    uncertainties = _uncertainties(pattern)
    with h5py.File(path, "w") as file:
        file.attrs.update({"NX_class": "NXroot", "default": "entry1", "creator": "xrdorder"})
        file.attrs["file_time"] = datetime.now(UTC).isoformat(timespec="seconds")
        for number, part in enumerate(_ranges(pattern), 1):
            entry = _group(file, f"entry{number}", "NXentry")
            entry.attrs["default"] = "data"
            entry["title"] = str(pattern.attrs.get("source_file", "")) or "powder pattern"
            if pattern.attrs.get("start_time"):
                entry["start_time"] = str(pattern.attrs["start_time"])
            instrument = _group(entry, "instrument", "NXinstrument")
            detector = _group(instrument, "detector", "NXdetector")
            counts, angles = pattern.values[part], pattern["two_theta"].values[part]
            detector["data"] = counts.astype(np.int64) if np.array_equal(counts, np.round(counts)) else counts
            detector["polar_angle"] = angles
            detector["polar_angle"].attrs["units"] = "degree"
            kind = pattern.attrs.get("intensity_kind", "counts")
            detector["data"].attrs["units"] = kind if kind == "counts" else "arbitrary"
            if _time_known(pattern):
                _nexus_times(entry, detector, pattern["counting_time"].values[part])
            data = _group(entry, "data", "NXdata")
            data.attrs.update({"signal": "data", "axes": ["polar_angle"], "polar_angle_indices": [0]})
            data.attrs.update({k: str(pattern.attrs[k]) for k in _NEXUS_NOTES if k in pattern.attrs})
            for name in ("data", "polar_angle"):
                data[name] = detector[name]
                detector[name].attrs["target"] = detector[name].name  # so that a link is known from its target
            if uncertainties is not None:
                data["data_errors"] = uncertainties[part]
            _describe_nexus(entry, instrument, pattern)
            # theta of the specimen where it turns with half the speed of the detector
            turned = angles / 2.0 if pattern.attrs.get("geometry") == "reflection" else np.array([np.nan])
            entry["sample"].create_dataset("rotation_angle", data=turned).attrs["units"] = "degree"
            asked = ("start_time", "monitor", "instrument/crystal")
            if all(name in entry for name in asked) and detector["data"].dtype.kind == "i":
                entry["definition"] = "NXmonopd"
                # which kind of tube or ring, no pattern tells
                instrument["source"]["type"] = instrument["source"]["name"] = "unknown"


def _nexus_times(entry: h5py.Group, detector: h5py.Group, seconds: Array) -> None:
    """Write the time of each point and, where it is one, what the scan was set to."""
    detector.create_dataset("count_time", data=seconds).attrs["units"] = "s"
    if len(set(seconds)) == 1:
        monitor = _group(entry, "monitor", "NXmonitor")
        monitor["mode"] = "timer"
        monitor.create_dataset("preset", data=float(seconds[0])).attrs["units"] = "s"
        # the definition asks what a monitor counted; nobody knows
        monitor.create_dataset("integral", data=np.nan).attrs["units"] = "counts"


def _group(parent: h5py.Group, name: str, nx_class: str) -> h5py.Group:
    group = parent.create_group(name)
    group.attrs["NX_class"] = nx_class
    return group


def _describe_nexus(entry: h5py.Group, instrument: h5py.Group, pattern: xr.DataArray) -> None:
    _group(instrument, "source", "NXsource")["probe"] = "x-ray"
    if lines := _lines(pattern):
        wavelengths, weights = map(np.array, zip(*lines, strict=True))
        crystal = _group(instrument, "crystal", "NXcrystal")
        beam = _group(instrument, "beam", "NXbeam")
        for group, key in ((crystal, "wavelength"), (beam, "incident_wavelength")):
            group.create_dataset(key, data=wavelengths).attrs["units"] = "nm"
        beam["incident_wavelength_weights"] = weights
    sample = _group(entry, "sample", "NXsample")
    sample["name"] = entry["title"][()]
    if "temperature_c" in pattern.attrs:
        temperature = sample.create_dataset("temperature", data=float(pattern.attrs["temperature_c"]))
        temperature.attrs["units"] = "degC"
