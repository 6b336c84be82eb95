"""Words on a page: their letters, how wide they are, and how much of a name has room."""

from __future__ import annotations

import re
import warnings
from functools import lru_cache

from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

FAMILY = "DejaVu Sans"
"""Comes with matplotlib, so that a figure looks the same everywhere."""
SMALL, NORMAL, LARGE = 6.8, 8.0, 11.0
"""Sizes of letters in points."""

POINTS_PER_IN = 72.0


def plain(text: str) -> str:
    r"""Give text of somebody else as text to draw: matplotlib would take what stands between two $ for mathematics.

    >>> plain("2 $ and 3 $")
    '2 \\$ and 3 \\$'
    """
    printable = "".join(letter if letter.isprintable() or letter == "\n" else " " for letter in text)
    return printable.replace("$", r"\$")


_SYMBOLS = re.compile(r"(?<![\w$\\])(dBc2/dT|Tc|Bc2|Birr|Jc|Ic|S_a|S_b|R_wp|cos²θ/sinθ|sinθ|cosθ)(?![\w$])")
_SET = {
    "Tc": r"$T_\mathrm{c}$", "Bc2": r"$B_\mathrm{c2}$", "Birr": r"$B_\mathrm{irr}$", "Jc": r"$J_\mathrm{c}$",
    "Ic": r"$I_\mathrm{c}$", "S_a": r"$S_\mathrm{a}$", "S_b": r"$S_\mathrm{b}$", "R_wp": r"$R_\mathrm{wp}$",
    "dBc2/dT": r"$\mathrm{d}B_\mathrm{c2}/\mathrm{d}T$", "sinθ": r"sin$\,\theta$", "cosθ": r"cos$\,\theta$",
    "cos²θ/sinθ": r"cos²$\theta\,/\,$sin$\,\theta$",
}  # fmt: skip


def typeset(text: str) -> str:
    r"""Set the symbols of quantities in a text to draw as printers do: letters in italics, their indices upright.

    >>> typeset("Tc, estimated (K)"), typeset("Bc2 at 4.2 K less that of Tcl")
    ('$T_\\mathrm{c}$, estimated (K)', '$B_\\mathrm{c2}$ at 4.2 K less that of Tcl')
    """
    return _SYMBOLS.sub(lambda match: _SET[match[0]], text)


@lru_cache(maxsize=4096)
def width_in(text: str, size: float = NORMAL, *, bold: bool = False) -> float:
    """Width of a line of text in inches."""
    look = FontProperties(family=FAMILY, size=size, weight="bold" if bold else "normal")
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph .* missing from font", UserWarning)  # drawn as boxes
        width, _, _ = text_to_path.get_text_width_height_descent(text, look, ismath=False)
    return float(width) / POINTS_PER_IN


def fitted(text: str, most_in: float, size: float = NORMAL, *, bold: bool = False, whole_end: bool = True) -> str:
    """Give a name as one line of text to draw, its middle left out where it has no room, or else its end.

    Names that differ only in the middle may come out alike; beginning and end are what people vary.

    >>> fitted("heron-650c-100h", 2.0), fitted("heron-650c-100h", 0.6), fitted("Heron at 650", 0.6, whole_end=False)
    ('heron-650c-100h', 'hero…00h', 'Heron at…')
    """
    line = " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())
    short, keep = line, len(line)
    while keep > 1 and width_in(short, size, bold=bold) > most_in:
        keep = min(keep - 1, max(1, int(keep * most_in / width_in(short, size, bold=bold))))
        end = keep // 2 if whole_end else 0
        short = f"{line[: keep - end].rstrip()}…{line[len(line) - end :]}"
    return plain(short)


def wrapped_in(text: str, most_in: float, size: float = NORMAL) -> list[str]:
    """Break a text at its spaces into lines that have room; a word without room has a line of its own.

    >>> wrapped_in("205/60 + 385/36 + 650/150 h", 1.2)
    ['205/60 + 385/36 +', '650/150 h']
    """
    lines: list[str] = []
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_in(longer, size) > most_in:
            lines.append(word)
        else:
            lines[-1:] = [longer]
    return lines
