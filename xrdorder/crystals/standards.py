"""Which powders have a certified lattice parameter.

The values live in ``standards.toml`` beside this module, each with its source and with how it is known. A
value that was not read on a certificate says so when chosen (`Standard.advice`).
"""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files

from xrdorder.crystals.catalogue import phase
from xrdorder.crystals.unit_cell import free_lengths
from xrdorder.exceptions import PhaseError, UnknownNameError, ValidityError

_FARTHEST = 0.005  # relative; lots of one substance differ by parts in a hundred thousand
_KNOWN = ("certificate read", "secondary", "from memory")


@dataclass(frozen=True)
class Standard:
    """A certified reference powder.

    Attributes
    ----------
    name : str
        "srm-660c".
    phase : str
        Name of its phase in the catalogue.
    lengths_nm, u_lengths_nm : tuple of float
        Free lengths at `temperature_c` and their standard uncertainty (k = 1), nm.
    temperature_c : float
        Temperature of the certified value, °C.
    thermal_expansion_per_k : float
        Linear expansion coefficient near that temperature, 1/K.
    domain_size_nm, domain_size_factor : float
        Volume-weighted size of its domains as far as is known of its kind, and the factor by which it may be larger or
        smaller (k = 1).
    known : str
        "certificate read", "secondary" or "from memory".
    source, remark : str
        Where the value comes from, and what else to know.
    """

    name: str
    phase: str
    lengths_nm: tuple[float, ...]
    u_lengths_nm: tuple[float, ...]
    temperature_c: float
    thermal_expansion_per_k: float
    domain_size_nm: float
    domain_size_factor: float
    known: str
    source: str
    remark: str

    def lengths_at(self, temperature_c: float) -> tuple[float, ...]:
        """Return the free lengths at another temperature, nm.

        >>> print(f'{standard("srm-660c").lengths_at(32.5)[0]:.7f}')
        0.4157092
        """
        factor = 1.0 + self.thermal_expansion_per_k * (temperature_c - self.temperature_c)
        return tuple(length * factor for length in self.lengths_nm)

    def with_value(
        self, lengths_nm: Sequence[float] | None = None, u_lengths_nm: Sequence[float] | None = None
    ) -> "Standard":
        """Return the powder with the laboratory's own value, as from the certificate in its drawer.

        Parameters
        ----------
        lengths_nm : sequence of float, optional
            Free lengths at `temperature_c`, nm; those of the table where none are given.
        u_lengths_nm : sequence of float, optional
            Their standard uncertainties (k = 1), nm; likewise.

        Raises
        ------
        ValidityError
            The number of values does not go with the powder, or a value is far from the table.
        """
        if lengths_nm is None and u_lengths_nm is None:
            return self
        for what, given in (("lattice parameter", lengths_nm), ("its uncertainty", u_lengths_nm)):
            if given is not None and len(given) != len(self.lengths_nm):
                raise ValidityError(
                    f"{self.name}: {len(self.lengths_nm)} free lengths, but {len(given)} values given for "
                    f"the {what}; give one for each of {', '.join(free_lengths(phase(self.phase).system))}"
                )
        lengths = self.lengths_nm if lengths_nm is None else tuple(map(float, lengths_nm))
        uncertainties = self.u_lengths_nm if u_lengths_nm is None else tuple(map(float, u_lengths_nm))
        for own, u, there in zip(lengths, uncertainties, self.lengths_nm, strict=True):
            if abs(own / there - 1.0) > _FARTHEST:
                raise ValidityError(
                    f"{self.name}: a lattice parameter of {own:g} nm is far from {there:g} nm; give nm, and "
                    "check the standard"
                )
            if not 0.0 <= u <= _FARTHEST * there:
                raise ValidityError(f"{self.name}: an uncertainty of {u:g} nm is no certificate's; give nm (k = 1)")
        return replace(
            self,
            name=f"{self.name}, own value",
            lengths_nm=lengths,
            u_lengths_nm=uncertainties,
            known="certificate read",
            source="given by the laboratory",
            remark="",
        )

    @property
    def advice(self) -> str:
        """What to tell the person who chooses it; empty when the certificate was read."""
        if self.known == "certificate read":
            return ""
        how = {"secondary": "read in a secondary text", "from memory": "given from memory"}[self.known]
        values = " and ".join(f"{length:.9g}" for length in self.lengths_nm)
        remark = f" ({self.remark})" if self.remark else ""
        return f"{self.name}: {values} nm is {how}, not read on a certificate; compare it with yours{remark}"


@lru_cache(maxsize=1)
def _table() -> dict[str, Standard]:
    text = (files("xrdorder.crystals") / "standards.toml").read_text(encoding="utf-8")
    table = {}
    for name, entry in tomllib.loads(text).items():
        if entry["known"] not in _KNOWN:
            raise PhaseError(
                f"standards.toml: {name}: known = '{entry['known']}' is not one of {', '.join(_KNOWN)}"
            )
        names = free_lengths(phase(entry["phase"]).system)
        lengths, quoted = tuple(entry["lengths_nm"]), tuple(entry["quoted_nm"])
        if not len(lengths) == len(quoted) == len(names):
            raise PhaseError(f"standards.toml: {name}: lengths_nm and quoted_nm must give {', '.join(names)}")
        table[name] = Standard(
            name=name,
            phase=entry["phase"],
            lengths_nm=lengths,
            u_lengths_nm=tuple(float(value / entry["coverage"]) for value in quoted),
            temperature_c=float(entry["temperature_c"]),
            thermal_expansion_per_k=float(entry["thermal_expansion_per_k"]),
            domain_size_nm=float(entry["domain_size_nm"]),
            domain_size_factor=float(entry["domain_size_factor"]),
            known=entry["known"],
            source=entry["source"],
            remark=entry["remark"],
        )
    return table


def standard_names() -> tuple[str, ...]:
    """Return the names `standard` knows."""
    return tuple(sorted(_table()))


def standard(name: str) -> Standard:
    """Return a certified powder by name, "srm-660c".

    Raises
    ------
    UnknownNameError
        If there is no such powder; the message lists those there are.
    """
    key = name.strip().lower().replace(" ", "-")
    if key in _table():
        return _table()[key]
    raise UnknownNameError(f"standard '{name}' is not known; known are {', '.join(standard_names())}")
