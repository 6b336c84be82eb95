"""The registry of quantities: what each is called, in which unit, how it is brought to people, and where it stands.

Every table of names, units and words is a view of `QUANTITIES`: the columns of `results.csv`, headings of printed
tables, panels of figures, words of a comparison, what a laboratory may have measured. A quantity that is computed and
has an entry here stands everywhere its entry says. Names of quantities carry their unit; fractions are stored as
fractions and shown in per cent.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

from xrdorder.exceptions import UnknownNameError, ValidityError, did_you_mean
from xrdorder.quantities.formatting import concise, rounded, u_text, with_interval
from xrdorder.quantities.of_phase import UPPER_LIMIT, WEIGHT_FRACTION
from xrdorder.quantities.tables import Heading

Part = Literal["value", "total", "independent", "median", "low", "high"]
"""What a column shows: the value; its standard uncertainty in total, or what would be left of it if all other samples
were known; median and ends of the 68 % interval of an estimate."""

Place = Literal["study", "wide", "section", "trends", "differences", "budget", "compare", "relations"]
"""Where a quantity stands: the table of a study, and what is added to it where there is room; the section of a sample
on the page; panels of the figures of trends, of differences, of budgets, of single relations; comparisons that name no
quantity."""

UNTESTED = "no published data test an absolute Tc by X-rays below 17.6 K"
"""To be said beside every absolute Tc: published samples with measured lattice parameter and Tc all lie above."""

Condition = Literal["temperature_k", "field_t"]

ESTIMATE: tuple[Part, ...] = ("median", "low", "high")
WITH_U: tuple[Part, ...] = ("value", "total")
PLAIN: tuple[Part, ...] = ("value",)

UNIT_1 = "1"
"""How a plain number writes its unit where one has to stand."""

_UNITS_IN_NAMES = {
    "T_per_K": "T/K", "uohm_cm": "microohm cm", "at_percent": "at.%", "nm2": "nm²", "mm2": "mm²", "nm": "nm",
    "mm": "mm", "deg": "degree", "K": "K", "T": "T", "h": "h", "m": "m", "c": "°C",
}  # fmt: skip
_AT_END = re.compile(r"_(T_per_K|uohm_cm|at_percent|nm2|mm2|nm|mm|deg|K|T|h|m|c)$")
_WITHIN = re.compile(r"_(T_per_K|uohm_cm|at_percent|nm2|mm2|nm|mm|deg|K|T)(?:_|$)")


@dataclass(frozen=True)
class Scale:
    """How a stored number is shown: times a factor, in a unit."""

    factor: float
    unit: str


@dataclass(frozen=True)
class Limits:
    """What a laboratory may have measured of a quantity, in the unit of its column.

    Attributes
    ----------
    low, high : float
        Within which a value can be what it is called; they catch slips of unit, nothing else.
    meaning : str
    needs : tuple of str
        Conditions without which the number says nothing.
    criteria : bool
        Whether it is read off a transition, so that a criterion goes with it.
    """

    low: float
    high: float
    meaning: str
    needs: tuple[Condition, ...] = ()
    criteria: bool = False


@dataclass(frozen=True)
class Quantity:
    """A quantity of a sample.

    Attributes
    ----------
    name : str
        In sample files, uncertainty tables and code.
    symbol : str
        In formulas and narrow places.
    noun : str
        In sentences, tables and figures.
    long_name : str
        What it is, for whoever reads `results.nc`.
    unit : str
        As stored, as printed; left out: what the name says, empty for plain numbers and fractions.
    people : Scale
        How it is shown; left out: as stored.
    differences : Scale
        How differences and uncertainties are shown; left out: as it is itself.
    parts : tuple of str
        Columns of `results.csv`; none: it has no column.
    joint : bool
        It is estimated of all samples together, and its columns are taken from their joint draws.
    column : str
        Name of the column of its value where that is in the scale for people; left out: `name`, as stored.
    heading : str
        Above its column in printed tables; left out: `symbol`.
    stands_in : set of str
        Which tables and figures show it.
    by_logarithm : bool
        It grows by factors: wires scatter by shares of it, and growth is straight in its logarithm.
    relative : bool
        Differences that are told in words are given in per cent.
    words : tuple of str
        What a larger and a smaller one is called.
    sentence : str
        A difference in words; fields noun, first, second, amount, word.
    measured : Limits or None
        What a laboratory may have measured of it.
    """

    name: str
    symbol: str
    noun: str
    long_name: str
    unit: str = ""
    people: Scale = Scale(math.nan, "")
    differences: Scale = Scale(math.nan, "")
    parts: tuple[Part, ...] = ()
    joint: bool = False
    column: str = ""
    heading: str = ""
    stands_in: frozenset[Place] = frozenset()
    by_logarithm: bool = False
    relative: bool = False
    words: tuple[str, str] = ("higher", "lower")
    sentence: str = "{noun} of {first} is {amount} {word} than that of {second}"
    measured: Limits | None = None

    def __post_init__(self) -> None:
        match = _AT_END.search(self.name)
        unit = self.unit or (_UNITS_IN_NAMES[match[1]] if match else "")
        people = Scale(1.0, unit) if math.isnan(self.people.factor) else self.people
        differences = people if math.isnan(self.differences.factor) else self.differences
        own = {
            "unit": unit, "people": people, "differences": differences, "column": self.column or self.name,
            "heading": self.heading or self.symbol,
        }  # fmt: skip
        for key, value in own.items():
            object.__setattr__(self, key, value)

    @property
    def predicted(self) -> bool:
        """Whether published relations give it, as a median and an interval."""
        return "median" in self.parts

    @property
    def title(self) -> str:
        """Noun, and of an estimate that it is one."""
        return f"{self.noun}, estimated" if self.predicted else self.noun

    @property
    def label(self) -> str:
        """Text beside an axis."""
        return f"{self.title} ({self.people.unit})" if self.people.unit else self.title

    @property
    def limits(self) -> Limits:
        """What a laboratory may have measured of it.

        Raises
        ------
        ValidityError
            It is nothing that a laboratory measures by itself.
        """
        if self.measured is None:
            raise ValidityError(f"{self.noun} is nothing that a laboratory gives as measured")
        return self.measured

    @cached_property
    def of_column(self) -> Scale:
        """How the column of its value shows it."""
        return self.people if self.column != self.name else Scale(1.0, self.unit)

    def head(self) -> Heading:
        """Head of its column in a printed table."""
        end = ", 68 % interval" if self.predicted else ""
        return Heading(self.heading, self.people.unit, f"{self.long_name}{end}")

    def value_text(self, value: float, u: float) -> str:
        """Write a stored value with its stored standard uncertainty, in the scale for people, without the unit.

        >>> quantity("tin_fraction").value_text(0.2368, 0.0151)
        '23.7(1.5)'
        """
        return concise(self.people.factor * value, self.people.factor * u)

    def interval_text(self, value: float, low: float, high: float) -> str:
        """Write a stored value with a stored interval, in the scale for people, without the unit."""
        return with_interval(*(self.people.factor * x for x in (value, low, high)))

    def u_text(self, u: float) -> str:
        """Write a stored uncertainty alone, in the scale for people, without the unit."""
        return u_text(self.people.factor * u)

    def difference_text(self, value: float, u: float, *, signed: bool = False) -> str:
        """Write a difference of stored values with its standard uncertainty and the unit.

        >>> quantity("a_nm").difference_text(3.1e-5, 6.4e-6), quantity("tin_fraction").difference_text(0.0081, 0.0028)
        ('0.031 ± 0.006 pm', '0.81 ± 0.28 at.%')
        """
        factor, unit = self.differences.factor, self.differences.unit
        return rounded(factor * value, factor * u, unit, signed=signed)


@dataclass(frozen=True)
class Column:
    """One column of numbers of `results.csv`, and a variable over the dimension `sample` of `results.nc`.

    Attributes
    ----------
    name : str
    quantity : str
        Quantity it shows, as named in the uncertainty table or among the predictions.
    kind : str
        Which part of it.
    units, long_name : str
    scale : float
        Factor from the quantity to the column: 100 where a fraction is shown in per cent.
    """

    name: str
    quantity: str
    kind: Part
    units: str
    long_name: str
    scale: float = 1.0


AT_PERCENT = Scale(100.0, "at.%")
WT_PERCENT = Scale(100.0, "wt.%")
PICOMETRES = Scale(1e3, "pm")

_TIN, _OF_ALL = "tin content of the A15", "from lattice parameters and site orders of all samples"


def _places(*places: Place) -> frozenset[Place]:
    return frozenset(places)


# Limits of what was measured only catch slips, well beyond what is known: no Nb3Sn is superconducting above some
# 18.6 K, the highest extrapolated field read is 36 T (L. D. Cooley et al., Appl. Phys. Lett. 88 (2006) 142506),
# resistivity ratios end near 10 (J. Zhou et al., Appl. Phys. Lett. 99 (2011) 122507). The rest is own choice: nm for
# µm, at.% for fractions.
_ALL = (
    Quantity(
        "a_nm", "a", "lattice parameter", "lattice parameter of the A15 at 22.5 degrees Celsius",
        differences=PICOMETRES, parts=WITH_U, stands_in=_places("study", "section", "budget"),
        words=("larger", "smaller"),
    ),
    Quantity(
        "a_strain_free_nm", "a_0", "lattice parameter without strain",
        "lattice parameter of the A15 at 22.5 degrees Celsius, free of strain",
        differences=PICOMETRES, stands_in=_places("section"), words=("larger", "smaller"),
    ),
    Quantity(
        "order_contrast", "contrast", "order contrast",
        "contrast of the A15 sublattices, (f_2a - f_6c) / (f_Sn - f_Nb)", parts=WITH_U,
    ),
    Quantity(
        "site_order", "order", "site order",
        "site order of the A15, one less tin on niobium sites less niobium on tin sites",
        parts=WITH_U, stands_in=_places("study", "section", "trends", "differences", "budget", "compare"),
    ),
    Quantity(
        "S_a", "S_a", "order of the niobium sites", f"long-range order parameter of the niobium sites, {_OF_ALL}",
        parts=WITH_U, joint=True, stands_in=_places("section"),
    ),
    Quantity(
        "S_b", "S_b", "order of the tin sites", f"long-range order parameter of the tin sites, {_OF_ALL}",
        parts=WITH_U, joint=True,
    ),
    Quantity(
        "tin_fraction", "tin", "tin content", f"{_TIN}, {_OF_ALL}",
        people=AT_PERCENT, parts=(*WITH_U, "independent"), column="tin_at_percent", joint=True,
        stands_in=_places("study", "section", "trends", "differences", "compare"),
        words=("more", "less"), sentence="{first} has {amount} {word} tin than {second}",
        measured=Limits(15.0, 30.0, f"{_TIN} by electron probe"),
    ),
    Quantity(
        "tin_lower_bound", "least tin", "least tin content",
        "least tin content that the site order allows (S_a cannot exceed one); free of the a(tin) scale",
        people=AT_PERCENT, parts=PLAIN, column="tin_lower_bound_at_percent",
    ),
    Quantity(
        "tin_fraction_lattice", "tin by lattice", "tin content by lattice", f"{_TIN}, from its lattice parameter alone",
        people=AT_PERCENT, column="tin_lattice_at_percent", stands_in=_places("budget"), words=("more", "less"),
    ),
    Quantity(
        "tin_fraction_order", "tin by order", "tin content by order", f"{_TIN}, from site order alone",
        people=AT_PERCENT, column="tin_order_at_percent",
        words=("more", "less"),
    ),
    Quantity(
        "domain_size_nm", "domains", "domain size",
        "volume-weighted domain size of the A15 along the scattering vector",
        parts=WITH_U, stands_in=_places("wide", "section", "trends", "compare"), by_logarithm=True, relative=True,
        words=("larger", "smaller"), sentence="domains of {first} are {amount} {word} than those of {second}",
    ),
    Quantity(
        "microstrain", "microstrain", "microstrain", "root mean square microstrain of the A15",
        parts=WITH_U, stands_in=_places("section"), relative=True,
    ),
    Quantity(
        "tin_spread", "tin spread", "spread of the tin content",
        "spread of the tin content if it alone broadened the lines: an upper bound",
        people=AT_PERCENT, parts=PLAIN, column="tin_spread_at_percent",
    ),
    Quantity(
        "a15_fraction", "A15", "A15 fraction", "weight fraction of the A15 in the crystalline phases fitted",
        people=WT_PERCENT, parts=WITH_U, stands_in=_places("wide", "section", "trends", "compare"),
    ),
    Quantity(
        "Tc_K", "Tc", "Tc", "estimated critical temperature",
        parts=ESTIMATE, joint=True,
        stands_in=_places("study", "section", "trends", "differences", "compare", "relations"),
        measured=Limits(1.0, 25.0, "critical temperature", criteria=True),
    ),
    Quantity(
        "Bc2_0K_T", "Bc2(0 K)", "Bc2 at 0 K", "estimated upper critical field at 0 K",
        parts=ESTIMATE, joint=True, stands_in=_places("section"),
    ),
    Quantity(
        "Bc2_4K2_T", "Bc2(4.2 K)", "Bc2 at 4.2 K", "estimated upper critical field at 4.2 K",
        heading="Bc2 4.2 K", parts=ESTIMATE, joint=True,
        stands_in=_places("study", "section", "trends", "differences", "compare", "relations"),
    ),
    Quantity(
        "Bc2_slope_T_per_K", "|dBc2/dT|", "slope of Bc2 at Tc", "estimated slope of the upper critical field at Tc",
        parts=ESTIMATE, joint=True,
    ),
    Quantity(
        "resistivity_uohm_cm", "ρ", "resistivity just above Tc", "estimated resistivity just above Tc",
        parts=ESTIMATE, joint=True, measured=Limits(1.0, 400.0, "resistivity of the A15 just above Tc"),
    ),
    Quantity("r_wp", "R_wp", "weighted profile residual", "weighted profile residual of the fit", parts=PLAIN),
    Quantity("chi2_reduced", "χ²", "reduced chi square", "reduced chi square of the fit", parts=PLAIN),
    Quantity("Bc2_T", "Bc2", "Bc2", "upper critical field at a temperature",
             measured=Limits(0.1, 60.0, "upper critical field at a temperature", ("temperature_k",), criteria=True)),
    Quantity(
        "irreversibility_field_T", "B_irr", "irreversibility field", "field above which no current flows without loss",
        measured=Limits(0.1, 60.0, "field above which no current flows without loss", ("temperature_k",), True),
    ),
    Quantity(
        "rrr_copper", "RRR", "copper ratio", "resistivity of the copper at 295 K over that just above Tc",
        measured=Limits(1.0, 5000.0, "resistivity of the copper at 295 K over that just above Tc"),
    ),
    Quantity(
        "resistivity_ratio_a15", "A15 ratio", "A15 ratio", "resistivity of the A15 at 300 K over that just above Tc",
        measured=Limits(1.0, 30.0, "resistivity of the A15 at 300 K over that just above Tc"),
    ),
    Quantity(
        "grain_size_nm", "grains", "grain size", "grain size of the A15 seen in a microscope",
        by_logarithm=True, relative=True, words=("larger", "smaller"),
        sentence="grains of {first} are {amount} {word} than those of {second}",
        measured=Limits(5.0, 1e5, "grain size of the A15 seen in a microscope"),
    ),
    Quantity(
        "a15_area_fraction", "A15 area", "A15 area", "share of A15 in the section of the wire without its copper",
        measured=Limits(0.01, 1.0, "share of A15 in the section of the wire without its copper"),
    ),
    Quantity(
        "non_copper_area_mm2", "non-copper", "non-copper area", "section of the wire without its copper",
        measured=Limits(1e-4, 100.0, "section of the wire without its copper"),
    ),
    Quantity(
        "critical_current_a", "Ic", "critical current", "critical current of the wire", unit="A",
        measured=Limits(1e-3, 1e5, "critical current of the wire", ("temperature_k", "field_t")),
    ),
    Quantity("peak_c", "T", "reaction temperature", "highest hold temperature"),
    Quantity(
        "highest_c", "highest T", "highest temperature",
        "highest temperature there was, noise and swings of the furnace included",
    ),
    Quantity("hold_at_peak_h", "t", "hold time", "time held at the highest temperature"),
    Quantity("total_h", "length", "length of the treatment", "length of the treatment"),
    Quantity("dose_h", "dose", "thermal dose", "thermal dose"),
    Quantity("position", "position", "position", "place of the sample along the spool", unit="m"),
)  # fmt: skip

QUANTITIES: Mapping[str, Quantity] = {entry.name: entry for entry in _ALL}
"""All quantities that have a name of their own, in the order of tables."""

_COLUMNS = {entry.column: entry for entry in _ALL}
_BC2_AT = re.compile(r"Bc2_(\d+)K(\d*)_T")
_OF_A_POPULATION = {"lean": "of the A15 poorer in tin", "rich": "of the A15 richer in tin"}
_OF_A_PHASE = {
    WEIGHT_FRACTION: Quantity(
        "weight_fraction", "w", "weight fraction of {}",
        "weight fraction of the phase among the crystalline phases fitted", people=WT_PERCENT,
    ),
    UPPER_LIMIT: Quantity(
        "upper_limit", "limit", "upper limit of {}",
        "upper limit for a phase that was not found, of its weight fraction", people=WT_PERCENT,
    ),
}  # fmt: skip


def quantity(name: str) -> Quantity:
    """Look a quantity up.

    Parameters
    ----------
    name : str
        Its own, or that of its column of `results.csv`; Bc2 at any temperature (``Bc2_12K_T``), the amount of any phase
        (``weight_fraction_nb``).

    Raises
    ------
    UnknownNameError
        There is no such quantity; the message names the closest.

    Examples
    --------
    >>> quantity("tin_at_percent").name, quantity("Bc2_12K_T").noun, quantity("weight_fraction_cu").noun
    ('tin_fraction', 'Bc2 at 12 K', 'weight fraction of cu')
    """
    entry = QUANTITIES.get(name) or _COLUMNS.get(name) or _of_a_family(name)
    if entry is None:
        raise UnknownNameError(f"there is no quantity '{name}'; {did_you_mean(name, [*QUANTITIES, *_COLUMNS])}")
    return entry


def _of_a_family(name: str) -> Quantity | None:
    if field := _BC2_AT.fullmatch(name):
        kelvin = f"{field[1]}.{field[2]}" if field[2] else field[1]
        return replace(
            QUANTITIES["Bc2_4K2_T"], name=name, column=name, symbol=f"Bc2({kelvin} K)", heading=f"Bc2({kelvin} K)",
            noun=f"Bc2 at {kelvin} K", long_name=f"estimated upper critical field at {kelvin} K",
        )  # fmt: skip
    for kind, entry in _OF_A_PHASE.items():
        if phase := kind.phase(name):
            return replace(entry, name=name, column=name, noun=entry.noun.format(phase))
    stem, _, population = name.rpartition("_")
    if population in _OF_A_POPULATION and stem in QUANTITIES:
        entry = QUANTITIES[stem]
        noun = f"{entry.noun} {_OF_A_POPULATION[population]}"
        return replace(entry, name=name, column=name, noun=noun, parts=(), stands_in=frozenset())
    return None


def known(name: str) -> Quantity | None:
    """Look a quantity up that may be a plain parameter of the fit: None where it is."""
    return QUANTITIES.get(name) or _COLUMNS.get(name) or _of_a_family(name)


def rank(name: str) -> int:
    """Place of a quantity in lists of all; what has no entry stands last."""
    return list(QUANTITIES).index(name) if name in QUANTITIES else len(QUANTITIES)


def grows_by_factors(name: str) -> bool:
    """Whether numbers of this name are compared by their logarithm; of what has no entry they are not."""
    quantity = known(name)
    return quantity is not None and quantity.by_logarithm


def standing_in(place: Place) -> tuple[Quantity, ...]:
    """Quantities that stand in a table or figure, in order.

    >>> [one.symbol for one in standing_in("study")]
    ['a', 'order', 'tin', 'Tc', 'Bc2(4.2 K)']
    """
    return tuple(quantity for quantity in QUANTITIES.values() if place in quantity.stands_in)


def measurable() -> dict[str, Quantity]:
    """Quantities that a laboratory may have measured, by the names of their columns."""
    return {quantity.column: quantity for quantity in QUANTITIES.values() if quantity.measured is not None}


def shown(name: str, *, difference: bool = False) -> Scale:
    """How a number that stands under this name is brought to people: a column may be in their scale already.

    >>> shown("tin_fraction"), shown("tin_at_percent"), shown("a_nm", difference=True)
    (Scale(factor=100.0, unit='at.%'), Scale(factor=1.0, unit='at.%'), Scale(factor=1000.0, unit='pm'))
    """
    entry = quantity(name)
    to = entry.differences if difference else entry.people
    return Scale(to.factor / (entry.of_column.factor if name == entry.column else 1.0), to.unit)


_LONG = {
    "value": "{}",
    "total": "standard uncertainty (k = 1) of: {}",
    "independent": "standard uncertainty (k = 1) that would be left if all other samples were known, of: {}",
    "median": "{}, median",
    "low": "{}, lower end of the 68 % interval",
    "high": "{}, upper end of the 68 % interval",
}


def columns(quantities: Collection[Quantity] | None = None) -> Iterator[Column]:
    """Columns of numbers of `results.csv`, in order.

    >>> [one.name for one in columns([quantity("tin_fraction"), quantity("Tc_K")])]
    ['tin_at_percent', 'u_tin_at_percent', 'u_tin_independent_at_percent', 'Tc_K', 'Tc_low_K', 'Tc_high_K']
    """
    for entry in QUANTITIES.values() if quantities is None else quantities:
        unit = entry.of_column.unit or UNIT_1
        for part in entry.parts:
            name = column_name(entry, part)
            yield Column(name, entry.name, part, unit, _LONG[part].format(entry.long_name), entry.of_column.factor)


def column_name(quantity: Quantity, part: Part) -> str:
    """Name of the column of a part of a quantity.

    >>> column_name(quantity("Bc2_slope_T_per_K"), "low"), column_name(quantity("tin_fraction"), "independent")
    ('Bc2_slope_low_T_per_K', 'u_tin_independent_at_percent')
    """
    if part in ("value", "median"):
        return quantity.column
    if part == "total":
        return f"u_{quantity.column}"
    end = _AT_END.search(quantity.column)
    stem, unit = (quantity.column[: end.start()], end[0]) if end else (quantity.column, "")
    return f"{'u_' if part == 'independent' else ''}{stem}_{part}{unit}"


ESTIMATED: tuple[str, ...] = tuple(entry.name for entry in _ALL if entry.joint)
"""Quantities that are estimated of all samples together."""

PREDICTED: tuple[str, ...] = tuple(entry.name for entry in _ALL if entry.predicted)
"""Quantities that are predicted by published relations."""


def bc2_name(temperature_k: float) -> str:
    """Name Bc2 at a temperature.

    Raises
    ------
    ValidityError
        The temperature is negative or not finite.

    Examples
    --------
    >>> bc2_name(4.2), bc2_name(12.0)
    ('Bc2_4K2_T', 'Bc2_12K_T')
    """
    if not 0.0 <= temperature_k < math.inf:
        raise ValidityError(f"temperature for Bc2 is {temperature_k:g} K; give zero or more")
    whole, _, part = f"{temperature_k:.6f}".rstrip("0").partition(".")
    return f"Bc2_{whole}K{part}_T"


def unit_of(name: str) -> str:
    """Unit in which a number is stored, be it a quantity or a parameter of the fit; empty for plain numbers.

    >>> unit_of("domain_size_nm_lean"), unit_of("Bc2_12K_T"), unit_of("gauss_tan2"), unit_of("site_order")
    ('nm', 'T', 'degree²', '')
    >>> unit_of("resistivity_uohm_cm"), unit_of("nb3sn_b_iso_2a_nm2")
    ('microohm cm', 'nm²')
    """
    if (quantity := known(name)) is not None:
        return quantity.of_column.unit if name == quantity.column else quantity.unit
    if name.startswith("gauss_"):
        return "degree²"
    if name.startswith("lorentz_"):
        return "degree"
    match = _WITHIN.search(name)
    return _UNITS_IN_NAMES[match[1]] if match else ""
