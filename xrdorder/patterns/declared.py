"""Understand what a file says in words: radiation, wavelength, geometry, temperature, times.

The words come from comment lines of text files and from the free-text items of the powder CIF dictionary. A
phrase that is not understood gives nothing, never a guess: the caller's options then decide.
"""

import json
import re

from xrdorder.xrays import radiation

# Tubes the emission table knows; an unknown element in a comment is no radiation we could use anyway.
_LINE = re.compile(
    r"\b(Cu|Co|Mo|Cr|Fe|Ag)[\s\-_]*K[\s\-_]*(?:α|alpha|a)(?![a-z])\s*_?(1\b(?!\s*(?:[,+/&]|and)\s*(?:K|α|2)))?",
    re.IGNORECASE,
)
_NUMBER = r"[-+]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][-+]?\d+)?"
_QUANTITY = re.compile(
    rf"^\s*({_NUMBER})\s*(?:\(\d+\))?\s*[\[(]?((?:deg(?:rees?)?\s+)?[^\d\s,;()\[\]]+)?(?:$|[\s,;)\]])"
)

_LENGTH_NM = {"nm": 1.0, "a": 0.1, "å": 0.1, "angstrom": 0.1, "angstroms": 0.1, "ångström": 0.1, "pm": 1e-3}
_TIME_S = {"s": 1.0, "sec": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3, "min": 60.0, "minutes": 60.0}


def radiation_in_words(text: str) -> str:
    """Find the radiation a phrase speaks of.

    Parameters
    ----------
    text : str
        Free text; the CIF markup for α and for indices is understood.

    Returns
    -------
    str
        "cu-ka", "cu-ka1" and the like; "" where no radiation, or more than one, is spoken of.

    Examples
    --------
    >>> radiation_in_words("counts, Cu K-alpha 1+2 (Ni filter)"), radiation_in_words("Mo Kα1")
    ('cu-ka', 'mo-ka1')
    """
    if "k" not in text and "K" not in text:
        return ""
    plain = text.replace("\\a", "α").replace("\u03b1", "α").replace("₁", "1")
    plain = re.sub(r"~([^~]*)~", r"\1", plain)
    names = {f"{m[1].lower()}-ka{'1' if m[2] else ''}" for m in _LINE.finditer(plain)}
    return names.pop() if len(names) == 1 else ""


_PARTICLES = ("neutron", "electron", "spallation", "reactor", "flight")
_NEUTRONS = re.compile(
    r"\bspallation\b|\bnuclear reactor\b|\breactor neutron|\btime[\s-]of[\s-]flight\b|^\W*neutrons?\W*$"
    r"|\bneutron[\s-]+(?:powder|diffract\w*|scattering|source|beam|wavelength|pattern|data|counts)\b"
    r"|\b(?:radiation|probe|source)\b\W*neutrons?\b",
    re.IGNORECASE,
)
_ELECTRONS = re.compile(
    r"\belectron[\s-]+(?:diffract\w*|microscope)\b|^\W*electrons?\W*$|\b(?:radiation|probe)\b\W*electrons?\b",
    re.IGNORECASE,
)


def particle_in_words(text: str) -> str:
    """Say whether a phrase means that neutrons or electrons were used; a specimen may have been irradiated with them.

    >>> particle_in_words("spallation source"), particle_in_words("radiation: Neutron"), particle_in_words("electron")
    ('neutron', 'neutron', 'electron')
    >>> particle_in_words("wire, neutron irradiated"), particle_in_words("electron density")
    ('', '')
    """
    lower = text.lower()
    if not any(word in lower for word in _PARTICLES):
        return ""
    return "neutron" if _NEUTRONS.search(text) else "electron" if _ELECTRONS.search(text) else ""


def quantity(text: str) -> tuple[float, str] | None:
    """Split "1.5406 angstrom" or "22,5 °C, at the start" into number and unit (lower case, "" when missing)."""
    match = _QUANTITY.match(text)
    if match is None:
        return None
    return float(match[1].replace(",", ".")), (match[2] or "").lower()


def wavelength_nm(text: str, unit: str = "") -> float | None:
    """Read a wavelength; `unit` stands in where the text has none.

    Without any unit a number between 0.25 and 2.5 can only be angstrom and one between 0.02 and 0.2 only nm,
    if it is a wavelength for powder diffraction at all (5 to 60 keV); anything else is not understood.

    >>> wavelength_nm("1.5406"), wavelength_nm("0.07093 nm"), wavelength_nm("about 2")
    (0.15406, 0.07093, None)
    """
    number = quantity(text)
    if number is None:
        return None
    value, given = number
    given = given or unit
    if given:
        return value * _LENGTH_NM[given] if given in _LENGTH_NM else None
    if 0.25 < value <= 2.5:
        return value / 10.0
    return value if 0.02 <= value < 0.2 else None


def seconds(text: str) -> float | None:
    """Read a time; a number without unit is in seconds."""
    number = quantity(text)
    if number is None:
        return None
    return number[0] * _TIME_S[number[1] or "s"] if (number[1] or "s") in _TIME_S else None


def celsius(text: str, unit: str = "") -> float | None:
    """Read a temperature in °C or K; without a unit it is not understood.

    >>> celsius("295.65 K"), celsius("22.5 °C"), celsius("300")
    (22.5, 22.5, None)
    """
    number = quantity(text)
    if number is None:
        return None
    given = (number[1] or unit).replace("°", "").replace("deg", "").strip(" _.")
    if given in ("c", "celsius"):
        return number[0]
    return round(number[0] - 273.15, 6) if given in ("k", "kelvin") else None


def geometry_in_words(text: str) -> str:
    """Say whether a phrase means reflection, transmission or a capillary, "" where it is none of them or both.

    >>> geometry_in_words("Debye-Scherrer"), geometry_in_words("transmission, capillary")
    ('capillary', 'capillary')
    """
    lower = text.lower()
    reflection = any(word in lower for word in ("reflection", "bragg-brentano", "parafocusing"))
    capillary = any(word in lower for word in ("debye-scherrer", "capillary"))
    transmission = capillary or any(word in lower for word in ("transmission", "guinier"))
    if reflection == transmission:
        return ""
    return "reflection" if reflection else "capillary" if capillary else "transmission"


def radiation_of_wavelengths(wavelengths: list[float]) -> str:
    """Name the tube whose Kα1 and Kα2 a list of wavelengths (nm) gives, "" where they are no doublet.

    >>> radiation_of_wavelengths([0.154056, 0.154439])
    'cu-ka'
    """
    if len(wavelengths) < 2:
        return ""
    for element in ("cu", "co", "mo", "cr", "fe", "ag"):
        tube = radiation(f"{element}-ka")
        first = tube.wavelength_nm
        second = [line.wavelength_nm for line in tube.lines if line.group == "Ka2"]
        # 2e-4 is wider than any difference between published wavelength scales (2e-5) and narrower than the
        # distance of Kα1 and Kα2 (2e-3).
        near_first = any(abs(w / first - 1.0) < 2e-4 for w in wavelengths)
        near_second = any(abs(w / s - 1.0) < 2e-4 for w in wavelengths for s in second)
        if near_first and near_second:
            return f"{element}-ka"
    return ""


def flags(text: str) -> list[tuple[str, str]]:
    """Read back the flags a written file carries; anything else under that name is somebody else's remark."""
    try:
        return [(str(name), str(message)) for name, message in json.loads(text)]
    except (ValueError, TypeError, RecursionError):
        return []


def short(text: str) -> str:
    """Shorten what is quoted from a file, and keep it on one line."""
    text = "".join(c if c.isprintable() else "?" for c in text[:40])
    return text if len(text) <= 30 else text[:27] + "..."
