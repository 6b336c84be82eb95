"""What is mounted: dopants, mount, temperature, and the wire lot it is from."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from xrdorder.crystals.a15 import dopant_site
from xrdorder.exceptions import ValidityError

MOUNTS = ("ground-powder", "whole-filaments", "polished-section", "wires-laid-flat", "transmission")

U_DOPANT = 0.003
"""Standard uncertainty of a dopant content given without one: 0.3 at.%.

Microanalysis of tin is stated to 0.2-0.7 at.% (J. Zhou et al., Appl. Phys. Lett. 99 (2011) 122507, table
1); a dopant is measured no better.
"""


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

    Raises
    ------
    ValidityError
        A number is impossible or the mount unknown.
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

    def __post_init__(self) -> None:
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
        if self.temperature_c is not None and not -273.15 < self.temperature_c < 2000.0:
            raise ValidityError(f"specimen temperature is {self.temperature_c} °C; give degrees Celsius")
        if self.u_temperature_k is not None and not 0.0 <= self.u_temperature_k < math.inf:
            raise ValidityError(
                f"uncertainty of the temperature is {self.u_temperature_k} K; give zero or more"
            )
        if self.wire_axis_angle_deg is not None and not -360.0 <= self.wire_axis_angle_deg <= 360.0:
            raise ValidityError(f"angle to the wire axis is {self.wire_axis_angle_deg}; give degrees")

    def content(self, element: str) -> tuple[float, float]:
        """Dopant content and its standard uncertainty, atomic fractions."""
        return self.dopants[element], self.u_dopants.get(element, U_DOPANT)

    def tin_site_share(self, element: str) -> tuple[float, float]:
        """Share of a dopant on the tin site and its standard uncertainty.

        A share given without uncertainty keeps that of the published shares: nothing says it is known better.

        Raises
        ------
        UnknownNameError
            Nothing is known about the sites of this dopant.
        """
        published = dopant_site(element)
        return (
            (self.on_tin_site or {}).get(element, published.share),
            (self.u_on_tin_site or {}).get(element, published.u_share),
        )

    def dopant_in_words(self, element: str) -> str:
        """What is taken for granted about a dopant: content and site, each with its uncertainty."""
        content, u_content = self.content(element)
        share, u_share = self.tin_site_share(element)
        return (
            f"{100 * content:g} ± {100 * u_content:g} at.% {element}, {100 * share:g} ± {100 * u_share:g} % "
            "of it on the tin site"
        )
