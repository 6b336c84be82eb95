"""Samples that others measured: the table behind the sizes of the model and the grey points behind a user's own.

The values live in ``published_samples.toml`` beside this module, each with source, criterion and how it is known. The
file is checked when it is loaded: a key nobody knows, a value no A15 can have, an uncertainty without a value are
errors.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, fields
from difflib import get_close_matches
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.relations.entry import LABELS

KNOWN = tuple(label for label in LABELS if label not in ("derived", "own"))
FORMS = ("bulk", "wire", "film", "crystal")
JUDGES = ("lattice", "tin", "field")

_NAN = math.nan
_ROOM_C = 22.5
_RANGES: Mapping[str, tuple[float, float]] = {
    "tin_at_percent": (0.0, 30.0),
    "a_nm": (0.52, 0.54),
    "site_order": (0.0, 1.0),
    "S_a": (0.0, 1.0),
    "Tc_K": (4.0, 18.6),
    "Bc2_T": (5.0, 40.0),
    "slope_T_per_K": (1.0, 4.0),
    "resistivity_uohm_cm": (1.0, 400.0),
    "resistivity_ratio": (1.0, 30.0),
    "grain_size_nm": (10.0, 1e5),
    "treatment_c": (200.0, 2000.0),
    "treatment_h": (0.0, 2000.0),
}
"""What a published value may be; a film of next to no tin and irradiated wire included."""


@dataclass(frozen=True)
class PublishedSample:
    """One sample. Numbers are NaN, texts empty where nothing was published.

    Attributes
    ----------
    name : str
        By route and dopant.
    source, known, laboratory : str
        Publication, one of `KNOWN`, and the town where it was measured.
    form : str
        One of `FORMS`.
    irradiated : bool
    dopants : tuple of str
    alloy : str
        Niobium alloy it was made from.
    lot : str
        Wire, alloy or powder mix that samples of this source share, treated differently; "": its own.
    dopant_at_percent : mapping of str to float
    tin_at_percent, u_tin_at_percent, tin_by
        Tin content and how it was found; "nominal" where it is what was weighed.
    a_nm, u_a_nm, a_at_c
        Lattice parameter, nm, and its temperature, °C.
    site_order, u_site_order, S_a, u_S_a, order_by
        Order, and how it was found.
    Tc_K, u_Tc_K, Tc_criterion, Tc_by
    Bc2_T, Bc2_at_k, Bc2_criterion, Bc2_by
        Upper critical field and its temperature, K.
    slope_T_per_K, resistivity_uohm_cm, resistivity_ratio, grain_size_nm, treatment_c, treatment_h
    judges : tuple of str
        What it is fit to test, of `JUDGES`.
    remark : str
    """

    name: str
    source: str
    known: str
    laboratory: str
    form: str
    irradiated: bool = False
    dopants: tuple[str, ...] = ()
    alloy: str = ""
    lot: str = ""
    dopant_at_percent: Mapping[str, float] = field(default_factory=dict)
    tin_at_percent: float = _NAN
    u_tin_at_percent: float = _NAN
    tin_by: str = ""
    a_nm: float = _NAN
    u_a_nm: float = _NAN
    a_at_c: float = _ROOM_C
    site_order: float = _NAN
    u_site_order: float = _NAN
    S_a: float = _NAN
    u_S_a: float = _NAN
    order_by: str = ""
    Tc_K: float = _NAN
    u_Tc_K: float = _NAN
    Tc_criterion: str = ""
    Tc_by: str = ""
    Bc2_T: float = _NAN
    Bc2_at_k: float = _NAN
    Bc2_criterion: str = ""
    Bc2_by: str = ""
    slope_T_per_K: float = _NAN
    resistivity_uohm_cm: float = _NAN
    resistivity_ratio: float = _NAN
    grain_size_nm: float = _NAN
    treatment_c: float = _NAN
    treatment_h: float = _NAN
    judges: tuple[str, ...] = ()
    remark: str = ""

    def __post_init__(self) -> None:
        for complaint in _complaints(self):
            raise ValidityError(f"published sample '{self.name}': {complaint}")

    def given(self, *quantities: str) -> bool:
        """Whether all of these were published."""
        return all(math.isfinite(getattr(self, quantity)) for quantity in quantities)

    @property
    def undoped(self) -> bool:
        """Whether it holds no dopant."""
        return not self.dopants


def _complaints(sample: PublishedSample) -> Iterator[str]:
    for name, allowed in (("known", KNOWN), ("form", FORMS)):
        if getattr(sample, name) not in allowed:
            yield f"{name} is '{getattr(sample, name)}'; say one of {', '.join(allowed)}"
    for what in sample.judges:
        if what not in JUDGES:
            yield f"judges '{what}'; say some of {', '.join(JUDGES)}"
    if not (sample.source and sample.laboratory):
        yield "no source or no laboratory"
    yield from _impossible_numbers(sample)
    if math.isfinite(sample.Bc2_T) and not math.isfinite(sample.Bc2_at_k):
        yield "Bc2 without its temperature"
    if math.isfinite(sample.tin_at_percent) and not sample.tin_by and sample.tin_at_percent:
        yield "tin without how it was found"
    for element in sample.dopant_at_percent:
        if element not in sample.dopants:
            yield f"content of {element}, which is none of its dopants"


def _impossible_numbers(sample: PublishedSample) -> Iterator[str]:
    for name, (low, high) in _RANGES.items():
        value, u = getattr(sample, name), getattr(sample, f"u_{name}", _NAN)
        if math.isfinite(value) and not low <= value <= high:
            yield f"{name} is {value:g}; between {low:g} and {high:g}"
        if math.isfinite(u) and not (math.isfinite(value) and u > 0.0):
            yield f"u_{name} is {u:g} without a value, or not above zero"


_FIELDS = {field.name for field in fields(PublishedSample)}
_OF_SERIES = _FIELDS - {"name"}


def parse(table: Mapping[str, Any]) -> tuple[PublishedSample, ...]:
    """Samples of a file as it is read.

    Raises
    ------
    ValidityError
        Something is missing, unknown or impossible, or a name occurs twice.
    """
    samples: dict[str, PublishedSample] = {}
    for series in table["series"]:
        common = {key: value for key, value in series.items() if key != "samples"}
        for own in series["samples"]:
            values = {**common, **own}
            name = values.get("name", "without a name")
            unknown = sorted((set(common) - _OF_SERIES) | (set(own) - _FIELDS))
            if unknown:
                raise ValidityError(f"published sample '{name}': unknown {', '.join(unknown)}")
            if name in samples:
                raise ValidityError(f"published sample '{name}': occurs twice; give each its own name")
            samples[name] = _sample(values)
    return tuple(samples.values())


def _sample(values: Mapping[str, Any]) -> PublishedSample:
    plain: dict[str, Any] = {key: tuple(value) if isinstance(value, list) else value for key, value in values.items()}
    plain = {key: float(value) if isinstance(value, int) and not isinstance(value, bool) else value
             for key, value in plain.items()}  # fmt: skip
    try:
        return PublishedSample(**plain)
    except TypeError as error:
        raise ValidityError(f"published sample '{values.get('name', 'without a name')}': {error}") from None


@lru_cache(maxsize=1)
def published_samples() -> tuple[PublishedSample, ...]:
    """All published samples, in the order of the file.

    Examples
    --------
    >>> sample = published_samples()[0]
    >>> sample.laboratory, sample.a_nm, sample.Tc_K
    ('Tallahassee', 0.52882, 18.05)
    """
    text = (files("xrdorder.relations") / "published_samples.toml").read_text(encoding="utf-8")
    return parse(tomllib.loads(text))


def published_sample(name: str) -> PublishedSample:
    """Give the published sample of this name.

    Raises
    ------
    UnknownNameError
        There is none; the message names those that are spelt alike.

    Examples
    --------
    >>> published_sample("hot-pressed polycrystal").Tc_K
    17.8
    """
    by_name = {sample.name: sample for sample in published_samples()}
    if name not in by_name:
        close = [f"'{close}'" for close in get_close_matches(name, by_name, 2, 0.5)]
        remedy = f"did you mean {' or '.join(close)}?" if close else "xrdorder evidence lists them"
        raise UnknownNameError(f"no published sample '{name}'; {remedy}")
    return by_name[name]


def select(
    *quantities: str,
    form: str | tuple[str, ...] = (),
    doped: bool | None = None,
    judges: str = "",
    laboratory: str = "",
    without: str = "",
    where: Callable[[PublishedSample], bool] = lambda _: True,
) -> tuple[PublishedSample, ...]:
    """Published samples that have all of these quantities, and are of this kind.

    Parameters
    ----------
    *quantities : str
        Numbers that must be given ("a_nm", "Tc_K").
    form : str or tuple of str, optional
        One or several of `FORMS`.
    doped : bool, optional
    judges : str, optional
        What they must be fit to test.
    laboratory, without : str, optional
        Of this laboratory only; of all but this one.
    where : callable, optional
        Any other condition.

    Raises
    ------
    UnknownNameError
        There is no such quantity, form or test.

    Examples
    --------
    >>> len(select("a_nm", "Tc_K", judges="lattice"))
    10
    """
    forms = ((form,) if form else ()) if isinstance(form, str) else form
    tests = (judges,) if judges else ()
    criteria = {"quantity": (quantities, _RANGES), "form": (forms, FORMS), "test": (tests, JUDGES)}
    for what, (given, allowed) in criteria.items():
        for name in given:
            if name not in allowed:
                known = ", ".join(sorted(allowed))
                raise UnknownNameError(f"no {what} '{name}' of published samples; there are {known}")
    return tuple(
        sample
        for sample in published_samples()
        if sample.given(*quantities)
        and (not forms or sample.form in forms)
        and (doped is None or sample.undoped != doped)
        and (not judges or judges in sample.judges)
        and (not laboratory or sample.laboratory == laboratory)
        and sample.laboratory != without
        and where(sample)
    )


PAIRS = (("a_nm", "Tc_K"), ("tin_at_percent", "Tc_K"), ("Tc_K", "Bc2_T"), ("tin_at_percent", "Bc2_T"))
"""Quantities whose published pairs stand behind a user's own points in figures: (x, y)."""

COLD_K = 0.5
"""Up to here a field counts as one at 0 K: at 0.3 K it is 0.2 % lower (1 - (T / Tc)^1.52)."""

_JUDGED_BY = {"a_nm": "lattice", "tin_at_percent": "tin", "Bc2_T": "field"}
"""What a sample must be fit to test for its value to be shown without a warning."""


@dataclass(frozen=True)
class PublishedPoints:
    """Pairs of values of published samples, to draw.

    Attributes
    ----------
    samples : tuple of PublishedSample
        Whose they are, in the same order: form, dopants, laboratory and criterion stand there.
    x, u_x, y, u_y : ndarray, shape (n,)
        In the units their names end in (nm, at.%, K, T). An uncertainty (k = 1) is NaN where none was published.
    """

    samples: tuple[PublishedSample, ...]
    x: NDArray[np.float64]
    u_x: NDArray[np.float64]
    y: NDArray[np.float64]
    u_y: NDArray[np.float64]


def points(
    x: str, y: str, *, form: str | tuple[str, ...] = (), doped: bool | None = None
) -> PublishedPoints:
    """Published samples that have both quantities, as points of a figure.

    Left out are samples against whose value something speaks (a film strained by its substrate, a crystal on no a(tin)
    line, tin as weighed that no A15 holds), irradiated ones, lattice parameters far from room temperature, and fields
    measured above `COLD_K`: a field here is one at 0 K.

    Parameters
    ----------
    x, y : str
        Names of numbers of `PublishedSample`, such as one of `PAIRS`.
    form : str or tuple of str, optional
        One or several of `FORMS`.
    doped : bool, optional

    Raises
    ------
    UnknownNameError
        There is no such quantity or form.

    Examples
    --------
    >>> shown = points("tin_at_percent", "Tc_K", form="wire")
    >>> len(shown.samples), shown.samples[0].name, float(shown.x[0]), float(shown.y[0])
    (8, 'bronze wire, undoped', 25.0, 18.0)
    """
    tests = {_JUDGED_BY[name] for name in (x, y) if name in _JUDGED_BY}

    def fit_to_show(sample: PublishedSample) -> bool:
        room = "a_nm" not in (x, y) or abs(sample.a_at_c - _ROOM_C) < 10.0
        cold = "Bc2_T" not in (x, y) or sample.Bc2_at_k <= COLD_K
        return tests <= set(sample.judges) and not sample.irradiated and room and cold

    samples = select(x, y, form=form, doped=doped, where=fit_to_show)

    def column(name: str) -> NDArray[np.float64]:
        return np.array([getattr(sample, name, _NAN) for sample in samples], dtype=np.float64)

    return PublishedPoints(samples, column(x), column(f"u_{x}"), column(y), column(f"u_{y}"))
