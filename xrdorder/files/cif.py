"""Read CIF of any age with gemmi, and values of it with their standard uncertainties.

gemmi reads most of CIF 2.0, but neither triple-quoted strings nor lists and tables; nothing that is needed here stands
in those, so they are blanked first. Items of CIF 1.1 (``_pd_meas_counts_total``) and the dotted ones of newer
dictionaries (``_pd_meas.counts_total``) become the same, the former.
"""

import re

from gemmi import cif

_TOKEN = re.compile(
    r"(?P<text>^;.*?^;)|(?P<triple>'''.*?'''|\"\"\".*?\"\"\")|(?P<quoted>'[^'\n]*'|\"[^\"\n]*\")|(?P<comment>\#[^\n]*)"
    r"|(?P<open>[\[{])|(?P<close>[\]}])|(?P<name>_\S+)|(?P<word>[^\s\[\]{}'\"]+)|(?P<other>\s+|.)",
    re.MULTILINE | re.DOTALL,
)
_NAME = re.compile(r"(?<!\S)_\S+")
_DOTTED = re.compile(r"(?<!\S)_[^\s.]+\.")
_WITH_SU = re.compile(r"([-+]?(?:\d+\.?\d*|\.\d+))(?:[eE]([-+]?\d{1,6}))?\((\d{1,400})\)")


def read_document(text: str) -> cif.Document:
    """Read a CIF; names of items are those of CIF 1.1.

    Raises
    ------
    ValueError
        It is damaged; one line, with the number of the line where that is known.
    """
    modern = re.match(r"\s*#\\#CIF_2", text) and re.search(r"'''|\"\"\"|[\[{]", text)
    if modern or _DOTTED.search(text):
        text = _plain(text, bool(modern))
    try:
        return cif.read_string(text)
    except (ValueError, RuntimeError) as error:
        place = re.match(r"string:(\d+)(?::\S+)?\s*(.*)", " ".join(str(error).split()))
        raise ValueError(f"line {place[1]}: {place[2]}" if place else " ".join(str(error).split())) from None


def _plain(text: str, modern: bool) -> str:
    """Put underscores for the dots of names and, in CIF 2.0, ``?`` for what gemmi cannot read.

    Lines keep their numbers. Where both spellings of a name stand in a file, the dotted one is left alone.
    """
    taken = {name.lower() for name in _NAME.findall(text) if "." not in name}
    pieces: list[str] = []
    depth = 0
    for match in _TOKEN.finditer(text):
        token, kind = match[0], match.lastgroup
        blank = "\n" * token.count("\n")
        if modern and kind == "open":
            pieces.append("" if depth else " ? ")
            depth += 1
        elif modern and kind == "close":
            depth = max(depth - 1, 0)
        elif depth:
            pieces.append(blank)
        elif kind == "name" and "." in token:
            plain = token.replace(".", "_", 1)
            pieces.append(token if plain.lower() in taken else plain)
        else:
            pieces.append(" ?" + blank if modern and kind == "triple" else token)
    return "".join(pieces)


def number(value: str) -> tuple[float, float | None]:
    """Read a number of a CIF, and its standard uncertainty from brackets where they are.

    Returns
    -------
    value, uncertainty
        May be infinite, as in ``1e999(3)``.

    Raises
    ------
    ValueError
        It is no number.

    Examples
    --------
    >>> number("1132(34)"), number("0.1540593(2)"), number("12")
    ((1132.0, 34.0), (0.1540593, 2e-07), (12.0, None))
    """
    try:
        if "_" in value:  # Python would take 1_000 for a number
            raise ValueError
        return float(value), None
    except ValueError:
        match = _WITH_SU.fullmatch(value)
        if match is None:
            raise
    exponent = int(match[2] or 0)
    decimals = len(match[1].partition(".")[2])
    return float(f"{match[1]}e{exponent}"), float(f"{match[3]}e{exponent - decimals}")
