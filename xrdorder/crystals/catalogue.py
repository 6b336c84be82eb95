"""Which phases are known, and how to describe another.

`phase` takes a name of the catalogue, or the path of a file: a CIF with a crystal structure, or a TOML like
those of the catalogue (folder ``phases`` beside this module). Such a TOML reads::

    title = "Halite, NaCl"
    space_group = "F m -3 m"              # of groups with two origins with ":1" or ":2" behind
    lengths_nm = { a = 0.5640 }           # a | a, c | a, b, c, as many as the crystal system leaves free
    source = "handbook, page, edition"    # optional, so are all entries below
    range_percent = 1.0                   # where it is looked for, 1 % by default; or
    range_nm = { a = [0.560, 0.568] }     # between these
    angles_deg = { beta = 98.84 }         # monoclinic, triclinic, rhombohedral (alpha) cells need them
    thermal_expansion_per_k = 40e-6       # linear, near room temperature

    [[sites]]                             # one for each site: symmetry makes the other atoms of the cell
    label = "4a"
    position = [0, 0, 0]                  # fractions of the cell; "1/3" is exact, 0.3333 is put right
    occupancy = { Na = 1.0 }              # several elements may share a site
    b_iso_nm2 = 0.015                     # B of exp(-B sin²θ/λ²); 0.01 nm² is 1 Å²
    b_iso_bounds_nm2 = [0.005, 0.03]      # between which it may be fitted

    [order]                               # only for an A15 of niobium and tin, with these labels and elements
    sites = ["2a", "6c"]
    elements = ["Sn", "Nb"]

All entries are checked when a file is loaded; a message names the file, the entry and the value.

A phase whose atoms are not known has, in place of [[sites]], two entries before any table::

    intensities = "free"                  # each line then has an intensity of its own: no density, no share of mass
    d_min_nm = 0.14                       # lines down to this spacing are used, 0.14 nm by default
"""

from functools import lru_cache
from importlib.resources import files
from pathlib import Path

from xrdorder.crystals.phase import Order, Phase, Site
from xrdorder.crystals.phase_files import phase_from_cif, phase_from_toml
from xrdorder.exceptions import PhaseError, UnknownNameError
from xrdorder.files import read_text, shown

__all__ = ["DEFAULT_PHASES", "Order", "Phase", "Site", "phase", "phase_names"]

DEFAULT_PHASES = ("nb3sn", "nb", "cu-sn")
"""What a reacted wire shows after the copper is etched away: A15, unreacted niobium, bronze."""


@lru_cache(maxsize=1)
def phase_names() -> tuple[str, ...]:
    """Return the names of the catalogue.

    >>> "nb3sn" in phase_names()
    True
    """
    folder = files("xrdorder.crystals") / "phases"
    return tuple(
        sorted(entry.name[: -len(".toml")] for entry in folder.iterdir() if entry.name.endswith(".toml"))
    )


@lru_cache(maxsize=64)
def _from_catalogue(name: str) -> Phase:
    entry = files("xrdorder.crystals") / "phases" / f"{name}.toml"
    return phase_from_toml(entry.read_text(encoding="utf-8"), f"{name}.toml")


def _from_file(path: Path) -> Phase:
    if path.is_dir():
        raise PhaseError(f"phase {path}: this is a folder; name a .toml or .cif file in it")
    if not path.exists():
        raise PhaseError(f"phase {path}: there is no such file")
    if path.suffix.lower() == ".cif":
        return phase_from_cif(path)
    try:
        text = read_text(path)
    except UnicodeDecodeError:
        raise PhaseError(f"{shown(path.name)}: cannot be read as UTF-8 text; save it as plain text") from None
    except OSError as error:
        raise PhaseError(f"{shown(path.name)}: cannot be read ({error.strerror}); check the file") from None
    return phase_from_toml(text, path.name)


def phase(name_or_path: str | Path) -> Phase:
    """Return a phase of the catalogue or of a file.

    Parameters
    ----------
    name_or_path : str or Path
        A name of `phase_names`, or the path of a .toml or .cif file.

    Returns
    -------
    Phase

    Raises
    ------
    UnknownNameError
        If it is neither a name of the catalogue nor the path of such a file.
    PhaseError
        If the file is missing, unreadable or describes no possible phase.

    Examples
    --------
    >>> print(f'{phase("nb3sn").density_g_cm3():.2f}')
    8.92
    """
    path = Path(name_or_path)
    if path.suffix.lower() in (".toml", ".cif"):
        return _from_file(path)
    name = str(name_or_path).strip().lower()
    if name in phase_names():
        return _from_catalogue(name)
    raise UnknownNameError(
        f"phase '{name_or_path}' is not known; known are {', '.join(phase_names())}, "
        "or give the path of a .toml or .cif file"
    )
