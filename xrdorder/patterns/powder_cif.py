"""Read the pattern of a powder CIF (International Tables for Crystallography G, powder dictionary).

gemmi parses the file; this module knows which items mean what. Items of CIF 1.1 (``_pd_meas_counts_total``)
and the dotted ones of newer dictionaries (``_pd_meas.counts_total``) are the same here. gemmi reads most of
CIF 2.0, but neither triple-quoted strings nor lists and tables; none of those can hold a pattern, so they are
blanked first.

Which numbers are used: counts as counted before intensities, measured before processed ones, and angles from
a loop of the same length before a start and step. Standard uncertainties stand in brackets behind a number,
``1132(34)`` (which gemmi drops when it converts a number, hence the parser here), in an item ending in
``_su``, or are implied by ``_pd_proc_ls_weight`` (one over the variance).

Every block with a pattern is a range; what a block does not say about radiation it takes from the others. Blocks that
name different diffractograms (``_pd_diffractogram.id``) may be of different specimens: which are read is for the user
to say.
"""

import math
import re

import numpy as np
from gemmi import cif

from xrdorder.exceptions import PatternError
from xrdorder.patterns import declared
from xrdorder.patterns.content import MOUNTS, Array, FileContent, ScanRange

_COUNTS = "_pd_meas_counts_total"
# In the order of preference; the last two had something done to them.
_VALUES = (_COUNTS, "_pd_meas_intensity_total", "_pd_proc_intensity_total", "_pd_proc_intensity_net")
_AXES = (
    ("_pd_meas_2theta_scan", "two-theta", "degree"),
    ("_pd_proc_2theta_corrected", "two-theta", "degree"),
    ("_pd_proc_d_spacing", "d", "angstrom"),
    ("_pd_proc_recip_len_q", "q", "1/angstrom"),
)
_PARTICLES = ("neutron", "electron")
_TEMPERATURES = ("_diffrn_ambient_temperature", "_diffrn.ambient_temperature", "_diffrn_ambient_temp")
# The core dictionary names emission lines by their levels.
_SYMBOLS = {"K-L~3~": "Kα1", "K-L~2,3~": "Kα"}
_RANGES = ("_pd_meas_2theta_range", "_pd_proc_2theta_range")
_WITH_SU = re.compile(r"^([-+]?)(\d*)(?:\.(\d*))?(?:[eE]([-+]?\d+))?\((\d+)\)$")
#: Choice of all diffractograms of a file, as ranges of one specimen.
EVERY_DIFFRACTOGRAM = "all"
_DIFFRACTOGRAMS = ("_pd_diffractogram_id", "_pd_data_diffractogram_id")
_TOKEN = re.compile(
    r"(?P<text>^;.*?^;)|(?P<triple>'''.*?'''|\"\"\".*?\"\"\")|(?P<quoted>'[^'\n]*'|\"[^\"\n]*\")|(?P<comment>\#[^\n]*)"
    r"|(?P<open>[\[{])|(?P<close>[\]}])|(?P<name>_\S+)|(?P<word>[^\s\[\]{}'\"]+)|(?P<other>\s+|.)",
    re.MULTILINE | re.DOTALL,
)


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
        scan, axis, unit = _scan(block, item, name)
        content.ranges.append(scan)
        axes.add((axis, unit))
        about = _about(block)
        if about.radiation in _PARTICLES:
            raise PatternError(
                f"{name}: block data_{block.name}: measured with {about.radiation}s; only X-ray patterns can "
                "be read"
            )
        content.merge(about, name, f"block data_{block.name}")
        if item == _VALUES[-1]:
            content.flags.append(
                (
                    "background-removed",
                    f"{item}: a background was subtracted before; give the scan as measured",
                )
            )
    if len(axes) > 1:
        raise PatternError(f"{name}: blocks with different horizontal axes; give each a file of its own")
    content.axis, content.axis_unit = axes.pop()
    if {item for _, item in blocks} - {_COUNTS} and any(r.uncertainties is not None for r in content.ranges):
        content.intensity_kind = "intensities"
    # A pattern and its radiation often stand in different blocks.
    for block in document:
        about = _about(block)
        if about.radiation not in _PARTICLES:
            content.radiation = content.radiation or about.radiation
            content.wavelength_nm = content.wavelength_nm or about.wavelength_nm
    return content


def _chosen(
    blocks: list[tuple[cif.Block, str]], name: str, diffractogram: str | None
) -> list[tuple[cif.Block, str]]:
    """Keep the blocks of one diffractogram, or refuse to guess which."""
    ids = [_diffractogram(block, name) for block, _ in blocks]
    known = sorted(set(ids) - {""})
    listed = ", ".join(f"'{one}'" for one in known)
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
    return [block for block, one in zip(blocks, ids, strict=True) if one == diffractogram]


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


def _parse(text: str, name: str) -> cif.Document:
    if re.match(r"\s*#\\#CIF_2", text) and re.search(r"'''|\"\"\"|[\[{]", text):
        text = _without_cif2_values(text)
    try:
        return cif.read_string(text)
    except (ValueError, RuntimeError) as error:
        place = re.match(r"string:(\d+)(?::\S+)?\s*(.*)", str(error).replace("\n", " "))
        message = f"line {place[1]}: {place[2]}" if place else str(error).replace("\n", " ")
        raise PatternError(f"{name}: {message}; the CIF is damaged or cut short, export it again") from None


def _without_cif2_values(text: str) -> str:
    """Put ``?`` for triple-quoted strings, lists and tables, keeping the line numbers."""
    pieces: list[str] = []
    depth = 0
    for match in _TOKEN.finditer(text):
        token, kind = match[0], match.lastgroup
        blank = "\n" * token.count("\n")
        if kind == "open":
            pieces.append("" if depth else " ? ")
            depth += 1
        elif kind == "close":
            depth = max(depth - 1, 0)
        elif depth:
            pieces.append(blank)
        else:
            pieces.append(" ?" + blank if kind == "triple" else token)
    return "".join(pieces)


def _column(block: cif.Block, item: str) -> list[str]:
    """Return the values of an item in either spelling, empty when it is absent."""
    values = block.find_values(item)
    if len(values) == 0:
        category = re.sub(r"^(_pd_[a-z]+|_diffrn_[a-z]+)_", r"\1.", item)
        values = block.find_values(category)
    return list(values)


def _word(block: cif.Block, *items: str) -> str:
    """Return the first of the items that says something, without quotes."""
    for item in items:
        values = _column(block, item)
        if values and not cif.is_null(values[0]):
            return cif.as_string(values[0]).strip()
    return ""


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
            number = float(value)
        except ValueError:
            number = None
        if number is not None and not math.isfinite(number):
            raise PatternError(
                f"{name}: {where}{item}, value {index + 1}: '{value}' is not a finite number; put ? for a "
                "point that was not measured"
            )
        if number is not None:
            numbers[index] = number
            continue
        match = _WITH_SU.match(value)
        if match is None or not (match[2] or match[3]):
            raise PatternError(
                f"{name}: {where}{item}, value {index + 1}: '{value[:30]}' is not a number; correct it in "
                "the file"
            )
        scale = 10.0 ** (int(match[4] or 0) - len(match[3] or ""))
        numbers[index] = float(value[: value.index("(")])
        if uncertainties is None:
            uncertainties = np.zeros(len(values))
        uncertainties[index] = int(match[5]) * scale
    return numbers, uncertainties


def _scan(block: cif.Block, item: str, name: str) -> tuple[ScanRange, str, str]:
    where = f"block data_{block.name}, "
    values, uncertainties = _numbers(_column(block, item), item, name, where)
    axis, kind, unit = _axis(block, len(values), name, where)
    n = len(values)
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
    return scan, kind, unit


def _axis(block: cif.Block, n: int, name: str, where: str) -> tuple[Array, str, str]:
    for item, kind, unit in _AXES[:2]:
        column = _column(block, item)
        if len(column) == n:
            return _numbers(column, item, name, where)[0], kind, unit
    for prefix in _RANGES:
        if _word(block, f"{prefix}_min") and (_word(block, f"{prefix}_inc") or _word(block, f"{prefix}_max")):
            return _regular(block, prefix, n, name, where), "two-theta", "degree"
    for item, kind, unit in _AXES[2:]:
        column = _column(block, item)
        if len(column) == n:
            return _numbers(column, item, name, where)[0], kind, unit
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
    probe = (_word(block, "_diffrn_radiation_probe") + kind).lower()
    particle = next((p for p in _PARTICLES if p in probe), "")
    symbol = _SYMBOLS.get(_word(block, "_diffrn_radiation_xray_symbol"), "")
    target = _word(block, "_diffrn_source_target", "_diffrn_source.target")
    about.radiation = (
        particle or declared.radiation_in_words(kind) or declared.radiation_in_words(target + symbol)
    )
    values = _column(block, "_diffrn_radiation_wavelength") or list(
        block.find_values("_diffrn_radiation_wavelength.value")
    )
    wavelengths = [w / 10.0 for w in map(cif.as_number, values) if not math.isnan(w)]
    if wavelengths:
        about.wavelength_nm = wavelengths[0]
        about.radiation = about.radiation or declared.radiation_of_wavelengths(wavelengths)
    # the dictionary knows a capillary as a cylinder in transmission
    cylinder = "capillary" if _word(block, "_pd_spec_shape") == "cylinder" else ""
    about.geometry = declared.geometry_in_words(
        f"{_word(block, '_pd_spec_mount_mode') or _word(block, '_pd_instr_geometry')} {cylinder}"
    )
    mount = _word(block, "_pd_spec_mount")
    about.mount = mount if mount in MOUNTS else ""
    kelvin = cif.as_number(_word(block, *_TEMPERATURES) or "?")
    if not math.isnan(kelvin):
        about.temperature_c = round(kelvin - 273.15, 6)
    return about
