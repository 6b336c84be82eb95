"""Read the pattern of a powder CIF (International Tables for Crystallography G, powder dictionary).

`xrdorder.files.cif` parses the file; this module knows which items mean what.

Which numbers are used: counts as counted before intensities, measured before processed ones. Measured angles, a loop
of the same length before a start and step, come before corrected ones: an instrument takes its offset off again.
Standard uncertainties stand in brackets behind a number, ``1132(34)``, in an item ending in ``_su``, or are implied by
``_pd_proc_ls_weight`` (one over the variance).

A file that holds fewer points than it says, or whose last number looks cut off, ended early; that is flagged.

Every block with a pattern is a range; what a block does not say about radiation it takes from the others. Blocks that
name different diffractograms (``_pd_diffractogram.id``) may be of different specimens: which are read is for the user
to say.
"""

import math
from collections.abc import Iterable

import numpy as np
from gemmi import cif

from xrdorder.exceptions import Flag, PatternError
from xrdorder.files.cif import number, read_document
from xrdorder.patterns import declared, ended
from xrdorder.patterns.content import COUNTS_IN_SPITE_OF_SU, MOUNTS, Array, FileContent, ScanRange

_COUNTS = "_pd_meas_counts_total"
# In the order of preference; the last two had something done to them.
_VALUES = (_COUNTS, "_pd_meas_intensity_total", "_pd_proc_intensity_total", "_pd_proc_intensity_net")
_CORRECTED = "_pd_proc_2theta_corrected"
# A name that ends in "range" stands for its _min, _max and _inc.
_AXES = (
    ("_pd_meas_2theta_scan", "two-theta", "degree"),
    ("_pd_meas_2theta_range", "two-theta", "degree"),
    (_CORRECTED, "two-theta", "degree"),
    ("_pd_proc_2theta_range", "two-theta", "degree"),
    ("_pd_proc_d_spacing", "d", "angstrom"),
    ("_pd_proc_recip_len_q", "q", "1/angstrom"),
)
_TEMPERATURES = ("_diffrn_ambient_temperature", "_diffrn_ambient_temp")
_SOURCES = (
    "_diffrn_radiation_probe", "_diffrn_radiation_type", "_diffrn_source", "_diffrn_source_source",
    "_diffrn_source_type", "_diffrn_source_details", "_diffrn_radiation_source",
)  # fmt: skip
# The core dictionary names emission lines by their levels.
_SYMBOLS = {"K-L~3~": "Kα1", "K-L~2,3~": "Kα"}
#: Choice of all diffractograms of a file, as ranges of one specimen.
EVERY_DIFFRACTOGRAM = "all"
_DIFFRACTOGRAMS = ("_pd_diffractogram_id", "_pd_data_diffractogram_id")


def read_cif(text: str, name: str, diffractogram: str | None = None) -> FileContent:
    """Read the pattern of a powder CIF.

    Parameters
    ----------
    text : str
        Content of the file, without byte-order mark.
    name : str
        Name of the file, for messages.
    diffractogram : str, optional
        Which one to read where blocks name several: an id, or "all" where they are ranges of one specimen.

    Returns
    -------
    FileContent
        One range for each block that holds a pattern.

    Raises
    ------
    PatternError
        If the CIF is damaged, has no measured pattern, contradicts itself, or holds several diffractograms of which
        none was chosen.
    """
    document = _parse(text, name)
    content = FileContent()
    blocks = [(block, values) for block in document if (values := _value_item(block)) is not None]
    if not blocks:
        raise PatternError(f"{name}: a CIF without a measured powder pattern ({_what_there_is(document)})")
    blocks = _chosen(blocks, name, diffractogram)
    axes = set()
    for block, item in blocks:
        scan, axis, unit, flags = _scan(block, item, name)
        content.ranges.append(scan)
        axes.add((axis, unit))
        about = _about(block)
        about.flags = [*about.flags, *flags]
        _require_xrays([block], name)
        content.merge(about, name, f"block data_{block.name}")
    if len(axes) > 1:
        raise PatternError(f"{name}: blocks with different horizontal axes; give each a file of its own")
    content.axis, content.axis_unit = axes.pop()
    processed = any(item != _COUNTS and not _counts_all_the_same(block) for block, item in blocks)
    if processed and any(r.uncertainties is not None for r in content.ranges):
        content.intensity_kind = "intensities"
    if not text.endswith(("\n", "\r")):
        _leave_out_cut_number(document[-1], content)
    _from_other_blocks(document, content, name)
    return content


def _chosen(
    blocks: list[tuple[cif.Block, str]], name: str, diffractogram: str | None
) -> list[tuple[cif.Block, str]]:
    """Keep the blocks of one diffractogram, or refuse to guess which."""
    ids = [_diffractogram(block, name) for block, _ in blocks]
    known = sorted(set(ids) - {""})
    listed = ", ".join(f"'{known_id}'" for known_id in known)
    if diffractogram is None:
        if len(known) > 1:
            raise PatternError(
                f"{name}: holds the diffractograms {listed}, which may be of different specimens; choose one with the "
                f"option diffractogram, or '{EVERY_DIFFRACTOGRAM}' where they are scans of one specimen"
            )
        return blocks
    if diffractogram == EVERY_DIFFRACTOGRAM:
        return blocks
    if diffractogram not in known:
        there = f"holds {listed}" if known else "names none"
        raise PatternError(
            f"{name}: there is no diffractogram '{diffractogram}', the file {there}; correct the option diffractogram "
            "or leave it out"
        )
    return [block for block, known_id in zip(blocks, ids, strict=True) if known_id == diffractogram]


def _diffractogram(block: cif.Block, name: str) -> str:
    """Id of the diffractogram that a block holds, empty where it names none."""
    values = [value for item in _DIFFRACTOGRAMS for value in _column(block, item) if not cif.is_null(value)]
    ids = sorted({cif.as_string(value).strip() for value in values})
    if len(ids) > 1:
        raise PatternError(
            f"{name}: block data_{block.name}: points of the diffractograms {', '.join(ids)} in one block; give each a "
            "block of its own"
        )
    return ids[0] if ids else ""


def _from_other_blocks(document: Iterable[cif.Block], content: FileContent, name: str) -> None:
    """Take the radiation where another block says it: a pattern and its radiation often stand in different ones."""
    if content.radiation or content.wavelength_nm:
        return
    others = [block for block in document if not _particle(block)]
    for about in map(_about, others):
        content.radiation = content.radiation or about.radiation
        content.wavelength_nm = content.wavelength_nm or about.wavelength_nm
    if not content.radiation and not content.wavelength_nm:
        _require_xrays(document, name)


def _require_xrays(blocks: Iterable[cif.Block], name: str) -> None:
    for block in blocks:
        if particle := _particle(block):
            raise PatternError(
                f"{name}: block data_{block.name}: measured with {particle}s; only X-ray patterns can be read"
            )


def _particle(block: cif.Block) -> str:
    """Say which particle a block was measured with, "" where it says X-rays or nothing."""
    words = [word for item in _SOURCES if (word := _word(block, item))]
    return next((particle for word in words if (particle := declared.particle_in_words(word))), "")


def _leave_out_cut_number(block: cif.Block, content: FileContent) -> None:
    """Leave out the last point of a file that ends in the middle of a number."""
    *_, last = block
    scan = content.ranges[-1]
    if last.loop is None or len(scan.values) < 2 or not scan.where.startswith(f"block data_{block.name},"):
        return
    width, values = last.loop.width(), last.loop.values
    if any(tag.lower().startswith("_pd_") for tag in last.loop.tags) and ended.cut_number(
        values[-1], values[-1 - width :: -width][::-1]
    ):
        content.ranges[-1] = scan.without_last()
        content.flags.append(ended.flag(f"its last number, {values[-1][:20]}, lacks digits; the point is left out"))


def _parse(text: str, name: str) -> cif.Document:
    try:
        return read_document(text)
    except ValueError as error:
        raise PatternError(f"{name}: {error}; the CIF is damaged or cut short, export it again") from None


def _column(block: cif.Block, item: str) -> list[str]:
    """Return the values of an item, empty when it is absent."""
    return list(block.find_values(item))


def _word(block: cif.Block, *items: str) -> str:
    """Return the first of the items that says something, without quotes."""
    for item in items:
        values = _column(block, item)
        if values and not cif.is_null(values[0]):
            return cif.as_string(values[0]).strip()
    return ""


def _counts_all_the_same(block: cif.Block) -> bool:
    return _word(block, "_pd_meas_special_details") == COUNTS_IN_SPITE_OF_SU


def _value_item(block: cif.Block) -> str | None:
    for item in _VALUES:
        values = _column(block, item)
        if len(values) > 1 and not all(cif.is_null(v) for v in values):
            return item
    return None


def _what_there_is(document: cif.Document) -> str:
    for block in document:
        if len(_column(block, "_pd_calc_intensity_total")) > 1:
            return "only a calculated one"
        if _column(block, "_atom_site_label") or _column(block, "_atom_site_fract_x"):
            return "a crystal structure; it may serve as a phase"
    return "no _pd_meas_counts_total or _pd_meas_intensity_total"


def _numbers(values: list[str], item: str, name: str, where: str) -> tuple[Array, Array | None]:
    """Turn CIF values into numbers and standard uncertainties from brackets.

    Nulls become NaN; a number without brackets beside others with them has the uncertainty 0, not known.
    """
    numbers = np.empty(len(values))
    uncertainties: Array | None = None
    for index, value in enumerate(values):
        if cif.is_null(value):
            numbers[index] = np.nan
            continue
        try:
            numbers[index], uncertainty = number(value)
        except ValueError:
            raise PatternError(
                f"{name}: {where}{item}, value {index + 1}: '{declared.short(value)}' is not a number; correct it in "
                "the file"
            ) from None
        if not math.isfinite(numbers[index]) or not math.isfinite(uncertainty or 0.0):
            raise PatternError(
                f"{name}: {where}{item}, value {index + 1}: '{declared.short(value)}' is not a finite number; put ? "
                "for a point that was not measured"
            )
        if uncertainty is not None:
            uncertainties = np.zeros(len(values)) if uncertainties is None else uncertainties
            uncertainties[index] = uncertainty
    return numbers, uncertainties


def _scan(block: cif.Block, item: str, name: str) -> tuple[ScanRange, str, str, list[Flag]]:
    where = f"block data_{block.name}, "
    values, uncertainties = _numbers(_column(block, item), item, name, where)
    n = len(values)
    axis_item, axis, kind, unit = _axis(block, n, name, where)
    keep = ~np.isnan(values)  # a null where an intensity should be is a masked point
    su = _column(block, item + "_su")
    weights = _column(block, "_pd_proc_ls_weight")
    if len(su) == n:
        uncertainties = np.nan_to_num(_numbers(su, item + "_su", name, where)[0])
    elif uncertainties is None and len(weights) == n and item != _COUNTS:
        weight = np.nan_to_num(_numbers(weights, "_pd_proc_ls_weight", name, where)[0])
        keep &= weight > 0.0  # a weight of zero excludes the point
        uncertainties = 1.0 / np.sqrt(np.where(keep, weight, 1.0))
    times = _counting_times(block, n, name, where)
    scan = ScanRange(
        axis[keep],
        values[keep],
        None if uncertainties is None else uncertainties[keep],
        None if times is None else times[keep],
        f"{where}point",
        np.flatnonzero(keep) + 1,
    )
    return scan, kind, unit, [*_done_before(item, axis_item), *_ended_early(block, item, axis_item, axis)]


def _done_before(item: str, axis_item: str) -> list[Flag]:
    """Flag what was done to values or angles before."""
    flags = []
    if item == _VALUES[-1]:
        told = f"{item}: a background was subtracted before; give the scan as measured"
        flags.append(Flag("background-removed", told))
    if axis_item == _CORRECTED:
        told = (
            f"{axis_item}: the angles were corrected before, and an instrument takes its offset off once more; give "
            "the angles as measured, or an instrument calibrated with angles corrected in the same way"
        )
        flags.append(Flag("angles-corrected", told))
    return flags


def _ended_early(block: cif.Block, item: str, axis_item: str, axis: Array) -> list[Flag]:
    prefix = "_pd_meas" if item.startswith("_pd_meas") else "_pd_proc"
    points = cif.as_number(_word(block, f"{prefix}_number_of_points") or "?")
    flags = ended.points(int(points), len(axis)) if math.isfinite(points) else []
    end = cif.as_number(_word(block, f"{axis_item.removesuffix('_scan')}_range_max") or "?")
    if not flags and axis_item.endswith("_scan") and math.isfinite(end) and np.isfinite(axis).all() and len(axis) > 1:
        flags = ended.end(end, float(axis.max()), float(np.ptp(axis)) / (len(axis) - 1))
    return flags


def _axis(block: cif.Block, n: int, name: str, where: str) -> tuple[str, Array, str, str]:
    """Return the item that gives the axis, its values, what it is and its unit."""
    contradiction: PatternError | None = None
    for item, kind, unit in _AXES:
        if item.endswith("_range"):
            if _word(block, f"{item}_min") and (_word(block, f"{item}_inc") or _word(block, f"{item}_max")):
                try:
                    return item, _regular(block, item, n, name, where), kind, unit
                except PatternError as error:  # a range of the scan beside processed points of another number
                    contradiction = contradiction or error
        elif len(column := _column(block, item)) == n:
            return item, _numbers(column, item, name, where)[0], kind, unit
    if contradiction is not None:
        raise contradiction
    if _column(block, "_pd_meas_time_of_flight"):
        raise PatternError(
            f"{name}: {where}a time-of-flight (neutron) pattern; only X-ray patterns can be read"
        )
    raise PatternError(
        f"{name}: {where}{n} intensities but no angles to them; add _pd_meas_2theta_scan to the loop, or "
        "_pd_meas_2theta_range_min and _inc"
    )


def _regular(block: cif.Block, prefix: str, n: int, name: str, where: str) -> Array:
    """Angles from start, step and end; the end decides the step where the step is rounded."""
    words = [_word(block, f"{prefix}_{item}") for item in ("min", "max", "inc")]
    start, end, step = (
        float(_numbers([word or "?"], f"{prefix}_{item}", name, where)[0][0])
        for word, item in zip(words, ("min", "max", "inc"), strict=True)
    )
    by_step = start + step * np.arange(n, dtype=np.float64)
    if math.isnan(end):
        return by_step
    by_ends: Array = np.linspace(start, end, n, dtype=np.float64)
    if math.isnan(step):
        return by_ends
    # The end names the last point, or the one beyond it. Some programs round the step (0.0131303 to 0.013);
    # then the ends are right. A step whose last digit is coarse, such as 0.02, is not rounded but meant.
    off = abs(by_step[-1] - end)
    if off <= 0.02 * abs(step):
        return by_ends
    if abs(off - abs(step)) <= 0.02 * abs(step):
        return by_step
    rounding = 0.5 * 10.0 ** -len(words[2].partition("(")[0].partition(".")[2])
    if rounding < 0.04 * abs(step) and off <= rounding * (n - 1):
        return by_ends
    raise PatternError(
        f"{name}: {where}{n} intensities from {start:g} by {step:g} do not end at {end:g}; correct "
        f"{prefix}_min, _max or _inc, or complete the loop"
    )


def _counting_times(block: cif.Block, n: int, name: str, where: str) -> Array | None:
    item = "_pd_meas_step_count_time"
    column = _column(block, item)
    if not column or any(cif.is_null(value) for value in column):
        return None
    times = _numbers(column, item, name, where)[0]
    if len(times) == 1:
        return np.full(n, times[0])
    if len(times) != n:
        raise PatternError(
            f"{name}: {where}{len(times)} counting times to {n} intensities; give one, or one each"
        )
    return times


def _about(block: cif.Block) -> FileContent:
    """Collect what a block says about the measurement."""
    about = FileContent()
    kind = _word(block, "_diffrn_radiation_type")
    symbol = _SYMBOLS.get(_word(block, "_diffrn_radiation_xray_symbol"), "")
    target = _word(block, "_diffrn_source_target")
    about.radiation = declared.radiation_in_words(kind) or declared.radiation_in_words(target + symbol)
    values = _column(block, "_diffrn_radiation_wavelength") or _column(block, "_diffrn_radiation_wavelength_value")
    wavelengths = [w / 10.0 for w in map(cif.as_number, values) if not math.isnan(w)]
    if wavelengths:
        about.wavelength_nm = wavelengths[0]
        about.radiation = about.radiation or declared.radiation_of_wavelengths(wavelengths)
    # the dictionary knows a capillary as a cylinder in transmission
    cylinder = "capillary" if _word(block, "_pd_spec_shape") == "cylinder" else ""
    about.geometry = declared.geometry_in_words(
        f"{_word(block, '_pd_spec_mount_mode') or _word(block, '_pd_instr_geometry')} {cylinder}"
    )
    mount = _word(block, "_pd_spec_mounting", "_pd_spec_mount")
    about.mount = mount if mount in MOUNTS else ""
    kelvin = cif.as_number(_word(block, *_TEMPERATURES) or "?")
    if math.isfinite(kelvin):
        about.temperature_c = round(kelvin - 273.15, 6)
    about.start_time = _word(block, "_pd_meas_datetime_initiated")
    return about
