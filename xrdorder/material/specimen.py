"""What is mounted: dopants, mount, temperature, strain, and the wire lot it is from."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from xrdorder.crystals.a15 import dopant_site
from xrdorder.exceptions import ValidityError
from xrdorder.material.dopants import tantalum_share
from xrdorder.quantities.formatting import as_given, rounded

MOUNTS = ("ground-powder", "whole-filaments", "polished-section", "wires-laid-flat", "transmission")

FREE_MOUNTS = ("ground-powder", "whole-filaments")
"""Mounts in which the A15 is free of the strain that the rest of the wire puts on it."""

CORRECTIONS = ("temperature", "strain", "dopant-contrast", "dopant-lattice")
"""Corrections on the way from fitted lattice parameter and contrast to tin and order; each can be switched off."""

GAUGES = ("nb", "ta", "cu")
"""Phases whose strain-free lattice parameter is known well enough to tell the strain of the wire."""

U_DOPANT = 0.003
"""Standard uncertainty of a dopant content given without one: 0.3 at.%.

Microanalysis of tin is stated to 0.2-0.7 at.% (J. Zhou et al., Appl. Phys. Lett. 99 (2011) 122507, table
1); a dopant is measured no better.
"""

LEAST_AT_PERCENT = 0.1
"""Less of a dopant is what niobium brings along as an impurity; a fraction typed for at.% looks like it, too."""

U_DOPANT_LATTICE_NM = 0.005
"""Standard uncertainty of da/d(dopant atomic fraction), nm: 0.05 pm per at.% (from memory, by atomic radii). The effect
was measured by M. Suenaga et al., J. Appl. Phys. 59 (1986) 840, which could not be read."""

U_STRAIN = 0.0005
"""Standard uncertainty of a strain given without one (judged: a quarter of what free wires hold, 0.2 %)."""

LARGEST_STRAIN = 0.02
"""No A15 in a wire holds more: it cracks in tension well below (from memory), and compression stays below 0.5 %."""


@dataclass(frozen=True)
class Specimen:
    """What is mounted on the diffractometer.

    Attributes
    ----------
    dopants, u_dopants : mapping of str to float
        Dopant content of the A15 and its standard uncertainty, atomic fraction of all atoms (0.024, not 2.4).
        `U_DOPANT` where the uncertainty is left out.
    on_tin_site, u_on_tin_site : mapping of str to float, optional
        Share of each dopant on the tin site and its standard uncertainty; published ones where left out.
    undoped : bool
        The wire is known to hold no dopant. Without it, and without dopants, nothing is known: a flag says so.
    mount : str
        One of `MOUNTS`, empty when unknown.
    wire_axis_angle_deg : float, optional
        Angle between wire axis and scattering vector.
    temperature_c : float, optional
        Temperature of the specimen while it was measured, °C.
    u_temperature_k : float, optional
        Its standard uncertainty, K.
    lot : str
        Wire lot: samples of one lot share what is not known about dopant content and strain. Empty: shared
        with nobody.
    reaction_temperature_c : float, optional
        Temperature at which most of the A15 formed, °C. Says which share of tantalum is on the tin site, and how far
        the wire may have been strained in cooling.
    strain, u_strain : float, optional
        Strain of the A15 along the scattering vector (-0.001, not -0.1 %) and its standard uncertainty, `U_STRAIN`
        where that is left out.
    strain_gauge : str
        One of `GAUGES`: a phase in the pattern whose lattice parameter tells the strain. Empty: none.
    strain_bound : bool
        Take the thermal mismatch with copper, from `reaction_temperature_c` down, as the bound of the strain.
    lattice_by_dopant_nm, u_lattice_by_dopant_nm : mapping of str to float, optional
        Change of the lattice parameter by unit atomic fraction of a dopant, nm (0.005 is 0.05 pm per at.%), and its
        standard uncertainty; 0 ± 0.005 where left out, as measured values could not be read.
    off : frozenset of str
        Those of `CORRECTIONS` that are switched off; neither they nor their uncertainty then take part.

    Raises
    ------
    ValidityError
        A number is impossible, the mount unknown, or two statements contradict each other.
    """

    dopants: Mapping[str, float] = field(default_factory=dict)
    u_dopants: Mapping[str, float] = field(default_factory=dict)
    on_tin_site: Mapping[str, float] | None = None
    u_on_tin_site: Mapping[str, float] | None = None
    undoped: bool = False
    mount: str = ""
    wire_axis_angle_deg: float | None = None
    temperature_c: float | None = None
    u_temperature_k: float | None = None
    lot: str = ""
    reaction_temperature_c: float | None = None
    strain: float | None = None
    u_strain: float | None = None
    strain_gauge: str = ""
    strain_bound: bool = False
    lattice_by_dopant_nm: Mapping[str, float] | None = None
    u_lattice_by_dopant_nm: Mapping[str, float] | None = None
    off: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        object.__setattr__(self, "off", frozenset(self.off))
        if self.mount not in ("", *MOUNTS):
            raise ValidityError(
                f"mount '{self.mount}' is unknown; say one of {', '.join(MOUNTS)}, or nothing"
            )
        if self.undoped and self.dopants:
            raise ValidityError(f"dopant {next(iter(self.dopants))} is given for a wire that is said to be undoped")
        for what, table, high in (
            ("content of dopant", self.dopants, 0.2),
            ("uncertainty of dopant", self.u_dopants, 0.2),
            ("tin site share of dopant", self.on_tin_site or {}, 1.0),
            ("uncertainty of tin site share of dopant", self.u_on_tin_site or {}, 1.0),
        ):
            for element, value in table.items():
                if element not in self.dopants:
                    raise ValidityError(f"{what} {element} is given, but no content of {element}; give both")
                if not 0.0 <= value <= high:
                    raise ValidityError(
                        f"{what} {element} is {value}; give a fraction between 0 and {high:g}"
                    )
        self._check_lattice_by_dopant()
        self._check_strain()
        for name in sorted(self.off - set(CORRECTIONS)):
            raise ValidityError(f"correction '{name}' is unknown; those that can be off are {', '.join(CORRECTIONS)}")
        if self.temperature_c is not None and not -273.15 < self.temperature_c < 2000.0:
            raise ValidityError(f"specimen temperature is {self.temperature_c} °C; give degrees Celsius")
        if self.u_temperature_k is not None and not 0.0 <= self.u_temperature_k < math.inf:
            raise ValidityError(
                f"uncertainty of the temperature is {self.u_temperature_k} K; give zero or more"
            )
        if self.wire_axis_angle_deg is not None and not -360.0 <= self.wire_axis_angle_deg <= 360.0:
            raise ValidityError(f"angle to the wire axis is {self.wire_axis_angle_deg}; give degrees")

    def _check_lattice_by_dopant(self) -> None:
        for what, table, low in (
            ("change of the lattice parameter by", self.lattice_by_dopant_nm or {}, -0.1),
            ("uncertainty of the change of the lattice parameter by", self.u_lattice_by_dopant_nm or {}, 0.0),
        ):
            for element, value in table.items():
                if element not in self.dopants:
                    raise ValidityError(f"{what} {element} is given, but no content of {element}; give both")
                if not low <= value <= 0.1:
                    raise ValidityError(
                        f"{what} {element} is {value} nm; give nm per unit atomic fraction (0.005 is 0.05 pm per at.%)"
                    )

    def _check_strain(self) -> None:
        """Refuse strains that cannot be, and statements about strain that contradict each other."""
        reaction = self.reaction_temperature_c
        if reaction is not None and not 300.0 <= reaction <= 2200.0:
            raise ValidityError(f"reaction temperature is {reaction} °C; give degrees Celsius, 300 to 2200")
        if self.strain is not None and not abs(self.strain) <= LARGEST_STRAIN:
            raise ValidityError(
                f"strain is {self.strain}; give a fraction within ± {LARGEST_STRAIN:g} (-0.001 for -0.1 %)"
            )
        if self.u_strain is not None:
            if self.strain is None:
                raise ValidityError("an uncertainty of the strain is given, but no strain; give both")
            if not 0.0 <= self.u_strain <= LARGEST_STRAIN:
                raise ValidityError(
                    f"uncertainty of the strain is {self.u_strain}; give a fraction between 0 and {LARGEST_STRAIN:g}"
                )
        if self.strain_gauge not in ("", *GAUGES):
            raise ValidityError(f"strain gauge '{self.strain_gauge}' is unknown; say one of {', '.join(GAUGES)}")
        routes = [
            words
            for given, words in (
                (self.strain is not None, "a strain"),
                (self.strain_gauge != "", f"{self.strain_gauge} as strain gauge"),
                (self.strain_bound, "the thermal mismatch as bound"),
            )
            if given
        ]
        if len(routes) > 1:
            raise ValidityError(f"{' and '.join(routes)} are given: the strain comes from one; leave out the rest")
        if routes and self.mount in FREE_MOUNTS:
            raise ValidityError(
                f"{routes[0]} is given for the mount {self.mount}, which is free of strain from the wire; leave out one"
            )
        if routes and "strain" in self.off:
            raise ValidityError(f"{routes[0]} is given while the correction 'strain' is switched off; leave out one")
        if self.strain_bound and reaction is None:
            raise ValidityError("the thermal mismatch as bound of the strain needs the reaction temperature; give it")

    def lattice_effect(self, element: str) -> tuple[float, float]:
        """Change of the lattice parameter by unit atomic fraction of a dopant and its standard uncertainty, nm."""
        return (
            (self.lattice_by_dopant_nm or {}).get(element, 0.0),
            (self.u_lattice_by_dopant_nm or {}).get(element, U_DOPANT_LATTICE_NM),
        )

    def undeclared(self, correction: str = "") -> bool:
        """Whether nothing was said about dopants, and the correction for what they do is not switched off."""
        return not self.dopants and not self.undoped and correction not in self.off

    def content(self, element: str) -> tuple[float, float]:
        """Dopant content and its standard uncertainty, atomic fractions."""
        return self.dopants[element], self.u_dopants.get(element, U_DOPANT)

    def tin_site_share(self, element: str) -> tuple[float, float]:
        """Share of a dopant on the tin site and its standard uncertainty.

        A share given without uncertainty keeps that of the published shares: nothing says it is known better. For
        tantalum the published share follows the reaction temperature where that is given.

        Raises
        ------
        UnknownNameError
            Nothing is known about the sites of this dopant.
        """
        share, u_share = dopant_site(element).share, dopant_site(element).u_share
        if element == "Ta" and self.reaction_temperature_c is not None and "Ta" not in (self.on_tin_site or {}):
            share, u_share = tantalum_share(self.reaction_temperature_c)
        return (self.on_tin_site or {}).get(element, share), (self.u_on_tin_site or {}).get(element, u_share)

    def dopant_in_words(self, element: str) -> str:
        """What is taken for granted about a dopant: content and site, each with its uncertainty."""
        content, u_content = self.content(element)
        share, u_share = self.tin_site_share(element)
        return (
            f"{as_given(100 * content, 100 * u_content, 'at.%')} {element}, "
            f"{rounded(100 * share, 100 * u_share, '%')} of it on the tin site"
        )
