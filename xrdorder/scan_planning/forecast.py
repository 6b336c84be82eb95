"""What will a scan of some length tell, and what will none of it tell?

Fisher's information of Poisson counts grows with the counting time. So the variance of everything that the counts
decide, with all nuisance parameters beside it, falls as one over the time; the contributions of what is not decided
by the counts of the specimen (calibration, certificate, scattering tables, the line a(tin), the zero of the goniometer)
stay as they are. A standard uncertainty follows

    u(t)² = counting / t + floor.

Of the difference of two equal wires of one lot on one instrument, what they share drops out of the floor.

For a, order and domain size both parts are read from the contributions that a fit of the expected counts hands on. Tin,
Tc and Bc2 come from the joint model of a study (`xrdorder.estimates`), asked with two such wires: its variances at the
time of the scan and at a time without end give the same two numbers.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from xrdorder.estimates import joint_draws
from xrdorder.estimates.from_material import wire_of_material
from xrdorder.estimates.wires import Measured, Wire
from xrdorder.material import Material
from xrdorder.scan_planning.prospect import Prospect
from xrdorder.uncertainty import PRIVATE, Array, Contributions

MEASURED = ("a_nm", "site_order", "domain_size_nm")
ESTIMATED = ("tin_fraction", "Tc_K", "Bc2_0K_T")
DRAWS = 2000
"""Of the joint model: a standard deviation of as many is known to 1.6 %."""

_ENDLESS = 1e6
_HARDLY = 1e-3  # part of a variance below which draws do not tell counting from nothing


@dataclass(frozen=True)
class Course:
    """Standard uncertainty against counting time.

    Attributes
    ----------
    counting : float
        Variance times seconds.
    floor : float
        Variance that no counting takes away.

    Examples
    --------
    >>> course = Course(counting=400.0, floor=9.0)
    >>> course.u(25.0), course.limit, course.seconds_for(5.0)
    (5.0, 3.0, 25.0)
    >>> course.seconds_for(2.0)
    inf
    """

    counting: float
    floor: float

    def u(self, seconds: float) -> float:
        """Standard uncertainty after so many seconds."""
        return math.sqrt(self.counting / seconds + self.floor)

    @property
    def limit(self) -> float:
        """What counting without end would leave."""
        return math.sqrt(self.floor)

    def seconds_for(self, u: float) -> float:
        """Seconds until the standard uncertainty is `u`; infinite where it never is."""
        left = u**2 - self.floor
        return self.counting / left if left > 0.0 else math.inf


@dataclass(frozen=True)
class Forecast:
    """What a scan will tell.

    Attributes
    ----------
    seconds : float
        Length of the scan it was worked out for.
    values : mapping of str to float
        Expected values, in the unit of the quantity.
    wire, difference : mapping of str to Course
        Of one wire, and of the difference of two equal wires of a lot.
    sources : mapping of str to tuple of (family, standard uncertainty)
        What the floor of one wire is made of, largest first; of `MEASURED` and of ``tin_fraction`` by the lattice.
    own_sources : mapping of str to tuple of (family, standard uncertainty)
        Those of it that another wire does not share.
    """

    seconds: float
    values: Mapping[str, float]
    wire: Mapping[str, Course]
    difference: Mapping[str, Course]
    sources: Mapping[str, tuple[tuple[str, float], ...]] = field(default_factory=dict)
    own_sources: Mapping[str, tuple[tuple[str, float], ...]] = field(default_factory=dict)


def is_counting(source: str, group: str) -> bool:
    """Tell whether a column of contributions comes from the counts of the specimen.

    The budget of a fit numbers them, as parts of one covariance: ``counting/3``, ``texture/0``.

    >>> is_counting("counting/3", ""), is_counting("calibration/0", "3fa"), is_counting("a(tin) scatter", "")
    (True, False, False)
    """
    return group == PRIVATE and source.rpartition("/")[2].isdigit()


def without_counting(table: Contributions, factor: float = 0.0) -> Contributions:
    """Table of the same sources with those of counting times a factor."""
    counting = np.array([is_counting(*pair) for pair in zip(table.sources, table.groups, strict=True)], dtype=bool)
    return replace(table, values=np.where(counting, factor, 1.0) * table.values)


def forecast(
    prospect: Prospect, *, estimates: bool = True, anchor_tc_k: float | None = None, seed: int = 0
) -> Forecast:
    """Work out what a scan will tell.

    Parameters
    ----------
    prospect
    estimates
        Tin, Tc and Bc2 by the joint model, too; it takes some seconds.
    anchor_tc_k
        Standard uncertainty (K) of a Tc that will be measured on both wires, too.
    seed
        Of the draws.
    """
    fit = prospect.fit()
    seconds = prospect.seconds
    now = prospect.material(fit)
    endless = prospect.material(fit, without_counting(fit.contributions))
    values: dict[str, float] = {}
    wire: dict[str, Course] = {}
    difference: dict[str, Course] = {}
    for name in MEASURED:
        if not math.isfinite(now.values.get(name, math.nan)) or name not in endless.contributions.quantities:
            continue
        values[name] = now.values[name]
        floor, own = endless.u(name) ** 2, endless.contributions.part(name, shared=False) ** 2
        counting = max(now.u(name) ** 2 - floor, 0.0) * seconds
        wire[name], difference[name] = Course(counting, floor), Course(2.0 * counting, 2.0 * own)
    if estimates:
        both = [_drawn(prospect, variances, anchor_tc_k, seed) for variances in (now, endless)]
        for name in ESTIMATED:
            values[name] = float(np.mean(both[0][name][0]))
            variances, another = ([np.var(drawn[name][0]), np.var(drawn[name][0] - drawn[name][1])] for drawn in both)
            wire[name] = _course(float(variances[0]), float(another[0]), seconds)
            difference[name] = _course(float(variances[1]), float(another[1]), seconds)
    sources, own_sources = _sources(endless.contributions), _sources(_private(endless.contributions))
    return Forecast(seconds, values, wire, difference, sources, own_sources)


def _course(now: float, endless: float, seconds: float) -> Course:
    """Course through the variance now and the one without end; draws do not make it rise."""
    counting = now - endless
    return Course(max(counting, _HARDLY * now) * seconds, min(endless, now))


def _drawn(
    prospect: Prospect, material: Material, anchor_tc_k: float | None, seed: int
) -> dict[str, tuple[Array, Array]]:
    """Draws of two equal wires of one lot, reacted differently."""
    anchors = {}
    if anchor_tc_k is not None:
        plain = joint_draws([_wire("first", prospect, material)], n=DRAWS // 4, seed=seed)
        anchors["tc_k"] = Measured(float(np.median(plain.of("first", "Tc_K"))), anchor_tc_k, "50 %")
    pair = [_wire(name, prospect, material, **anchors) for name in ("first", "second")]
    drawn = joint_draws(pair, n=DRAWS, seed=seed)
    return {name: (drawn.of("first", name), drawn.of("second", name)) for name in ESTIMATED}


def _wire(name: str, prospect: Prospect, material: Material, **anchors: Measured) -> Wire:
    return wire_of_material(name, material, prospect.specimen, treatment=name, **anchors)


def _private(table: Contributions) -> Contributions:
    own = np.array([group == PRIVATE for group in table.groups], dtype=bool)
    return replace(table, values=np.where(own, 1.0, 0.0) * table.values)


def _sources(table: Contributions) -> dict[str, tuple[tuple[str, float], ...]]:
    """Families of sources by quantity; of tin those by the lattice parameter, which it shares most with."""
    rows = {name: name for name in MEASURED} | {"tin_fraction": "tin_fraction_lattice"}
    return {name: tuple(table.budget(row)) if row in table.quantities else () for name, row in rows.items()}


HELP: Sequence[tuple[str, str]] = (
    ("a(tin)", "a tin scale of your own samples (xrdorder tin-scale), or a measured Tc as anchor"),
    ("certificate", "a standard certified more closely"),
    ("calibration", "a longer scan of the standard"),
    ("domains of the standard", "a standard of known, large domains"),
    ("two-theta offset", "an internal standard mixed into the specimen"),
    ("specimen displacement", "an internal standard mixed into the specimen"),
    ("temperature", "a thermometer at the specimen"),
    ("strain", "grinding the wire to powder, or a strain gauge phase in the pattern"),
    ("scattering table", "another tube, or measured f' and f''"),
    ("charge transfer", "differences between wires, which share it"),
    ("illuminated length", "a narrower slit or a longer specimen"),
    ("size distribution", "grain sizes by microscopy"),
    ("disorder in the lattice", "a measured Tc as anchor, or a tin scale of your own samples"),
    ("usual order", "longer counting on the order lines"),
    ("dopant", "microanalysis of the dopant in the A15"),
    ("displacement parameters", "a range to higher angles, or the molybdenum tube"),
    ("lattice distribution", "a specimen with less of a tin gradient, or a range to higher angles"),
    ("wavelength", "a tube in place of a beam of which the wavelength is only rounded"),
    ("microabsorption", "grinding finer"),
    ("line width", "longer counting, for the lines of the minor phase"),
)
"""What would lower a contribution that counting does not, by how its family begins."""


def remedy(family: str) -> str:
    """Say what would lower the contribution of a family; empty where nothing is known.

    >>> remedy("two-theta offset")
    'an internal standard mixed into the specimen'
    """
    return next((words for start, words in HELP if family.startswith(start)), "")
