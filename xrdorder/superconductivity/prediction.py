"""Tc and Bc2 by every published relation that applies, each with its scatter, and by all of them together.

Monte Carlo over the draws of tin content and site order (equal for equal sources, so that predictions of
different samples may be compared draw by draw). A relation is asked only inside its validity: draws outside
are dropped, and a relation that loses most of them is refused with the reason. The relations that apply are
put together in equal parts; the spread between them is part of the interval. Tc from tin and Tc from order
describe one cause by two routes and stand side by side in that mixture; they are never multiplied.

All of it is for A15 free of strain. In a wire at 4.2 K the A15 is compressed by 0.2-0.4 % (A. Godeke et al.,
Supercond. Sci. Technol. 19 (2006) R100), which costs Bc2 a few per cent more.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from xrdorder.exceptions import Flag
from xrdorder.material import A15_FIELD, Material
from xrdorder.relations import Relation, relations
from xrdorder.uncertainty import (
    DEFAULT_DRAWS,
    DEFAULT_LEVEL,
    Contributions,
    interval,
    quantity_draws,
    standard_normal,
)

if TYPE_CHECKING:
    import xarray as xr

Array = NDArray[np.float64]

TARGETS = {"Tc_K": "K", "Bc2_0K_T": "T", "Bc2_4K2_T": "T"}
"""What is predicted, with units."""

HELIUM_K = 4.2

LEAST_SHARE = 0.16
"""A relation is asked if at least this share of the draws lies inside its validity: its range then reaches
into the central 68 % of the input."""

ENOUGH_RELATIONS = 3


@dataclass(frozen=True)
class RelationResult:
    """What one relation (or a pair of relations) says.

    Attributes
    ----------
    target : str
        A key of `TARGETS`.
    relations : tuple of Relation
        The relation; for Bc2 at a temperature the one for 0 K and the one for the temperature.
    value : float
        At the central input; NaN where that lies outside the validity.
    median, low, high : float
        Of the draws inside the validity, 68 %.
    share_inside : float
        Share of the draws inside the validity.
    reason : str
        Why it is refused; empty where it applies.
    """

    target: str
    relations: tuple[Relation, ...]
    value: float
    median: float
    low: float
    high: float
    share_inside: float
    reason: str

    @property
    def applies(self) -> bool:
        """Whether it takes part in the combination."""
        return not self.reason

    @property
    def name(self) -> str:
        """Names of the relations, joined."""
        return " + ".join(relation.name for relation in self.relations)


@dataclass(frozen=True)
class Combined:
    """What the applicable relations say together, in equal parts.

    Attributes
    ----------
    target : str
    median, low, high : float
        Median and 68 % interval; NaN where no relation applies.
    spread : float
        Largest minus smallest median of the relations.
    count : int
        How many relations apply.
    """

    target: str
    median: float
    low: float
    high: float
    spread: float
    count: int


@dataclass(frozen=True)
class Prediction:
    """Tc and Bc2 of a sample.

    Attributes
    ----------
    results : tuple of RelationResult
        Every relation asked, refused ones with their reason.
    combined : dict of str to Combined
        By target.
    flags : tuple of Flag
    draws : dict of str to array, (n,)
        Draws of the combined targets, empty arrays where none applies. Draw k of two samples made with one
        seed uses the same relation and the same values of shared sources.
    """

    results: tuple[RelationResult, ...]
    combined: dict[str, Combined]
    flags: tuple[Flag, ...]
    draws: dict[str, Array] = field(repr=False)

    def of(self, target: str) -> tuple[RelationResult, ...]:
        """Results of one target."""
        return tuple(result for result in self.results if result.target == target)

    def to_dataset(self) -> xr.Dataset:
        """Table for storage: per relation and target (dim ``relation``), and per target (dim ``target``)."""
        import xarray as xr

        results, combined = self.results, list(self.combined.values())

        def texts(items: Sequence[str]) -> NDArray[np.object_]:
            return np.array(items, dtype=object)

        def numbers(name: str, of: Sequence[object]) -> Array:
            return np.array([getattr(item, name) for item in of], dtype=np.float64)

        per_relation: dict[str, tuple[str, NDArray[np.generic], dict[str, str]]] = {
            "relation_target": (
                "relation",
                texts([r.target for r in results]),
                {"long_name": "what is predicted"},
            ),
            "relation_unit": ("relation", texts([TARGETS[r.target] for r in results]), {"long_name": "unit"}),
            "relation_source": (
                "relation",
                texts(["; ".join(entry.source for entry in r.relations) for r in results]),
                {"long_name": "publications"},
            ),
            "relation_reason": (
                "relation",
                texts([r.reason for r in results]),
                {"long_name": "why the relation is refused; empty: it applies"},
            ),
        }
        for name, text in (
            ("value", "at the central input"),
            ("median", "median of the draws inside the validity"),
            ("low", "lower end of the 68 % interval"),
            ("high", "upper end of the 68 % interval"),
            ("share_inside", "share of the draws inside the validity"),
        ):
            per_relation[f"relation_{name}"] = ("relation", numbers(name, results), {"long_name": text})
        per_target: dict[str, tuple[str, NDArray[np.generic], dict[str, str]]] = {
            "target_unit": ("target", texts([TARGETS[c.target] for c in combined]), {"long_name": "unit"})
        }
        for name, text in (
            ("median", "median over the applicable relations in equal parts"),
            ("low", "lower end of the 68 % interval"),
            ("high", "upper end of the 68 % interval"),
            ("spread", "largest minus smallest median of the relations"),
            ("count", "number of applicable relations"),
        ):
            per_target[f"target_{name}"] = ("target", numbers(name, combined), {"long_name": text})
        return xr.Dataset(
            {**per_relation, **per_target},
            coords={
                "relation": texts([f"{r.target}: {r.name}" for r in results]),
                "target": texts([c.target for c in combined]),
            },
        )


def predict(
    material: Material | tuple[Mapping[str, float], Contributions],
    *,
    seed: int = 0,
    n: int = DEFAULT_DRAWS,
    key: str = "",
) -> Prediction:
    """Predict Tc, Bc2(0) and Bc2(4.2 K) from tin content and site order.

    Parameters
    ----------
    material : Material, or (values, contributions)
        With ``tin_fraction``, ``site_order`` or both.
    seed, n : int
        Seed and number of draws.
    key : str
        Name of the sample, to which what it shares with nobody is tied.

    Returns
    -------
    Prediction
        With NaN and reasons where no relation applies; never an error.
    """
    values, table = (material.values, material.contributions) if isinstance(material, Material) else material
    known = {
        name: float(values[name])
        for name in ("tin_fraction", "site_order")
        if math.isfinite(values.get(name, math.nan))
    }
    with_table = [name for name in known if name in table.quantities]
    draws = quantity_draws(values, table, with_table, n=n, seed=seed, key=key)
    draws |= {name: np.full(n, value) for name, value in known.items() if name not in draws}
    asking = _Asking(seed, n, key)

    tin = _Input(known.get("tin_fraction", math.nan), draws.get("tin_fraction"), _refuse_tin(known))
    order = _Input(
        known.get("site_order", math.nan),
        draws.get("site_order"),
        "" if "site_order" in known else "no site order is known",
    )
    tc_asked = [asking.ask("Tc_K", entry, tin) for entry in relations("tc-from-tin")]
    tc_asked += [asking.ask("Tc_K", entry, order) for entry in relations("tc-from-order")]
    tc, tc_draws = asking.combine("Tc_K", tc_asked)

    tc_input = _Input(tc.median, tc_draws if tc.count else None, "" if tc.count else "no relation gives Tc")
    zero_asked = [asking.ask("Bc2_0K_T", entry, tin) for entry in relations("bc2-0-from-tin")]
    zero_asked += [asking.ask("Bc2_0K_T", entry, tc_input) for entry in relations("bc2-0-from-tc")]
    zero, zero_draws = asking.combine("Bc2_0K_T", zero_asked)

    helium_asked = [
        asking.ask_at_temperature("Bc2_4K2_T", first, law, tc_input)
        for first in zero_asked
        for law in relations("bc2-temperature")
    ]
    helium, helium_draws = asking.combine("Bc2_4K2_T", helium_asked)

    combined = {item.target: item for item in (tc, zero, helium)}
    return Prediction(
        tuple(result for result, _ in (*tc_asked, *zero_asked, *helium_asked)),
        combined,
        tuple(_remarks(combined, tc_asked)),
        {"Tc_K": tc_draws, "Bc2_0K_T": zero_draws, "Bc2_4K2_T": helium_draws},
    )


@dataclass(frozen=True)
class _Input:
    """Central value and draws of an input; `reason` says why there is none to use."""

    value: float
    draws: Array | None
    reason: str


_Asked = tuple[RelationResult, Array]


def _refuse_tin(known: Mapping[str, float]) -> str:
    if "tin_fraction" not in known:
        return "no tin content is known"
    low, high = A15_FIELD
    if low <= known["tin_fraction"] <= high:
        return ""
    return (
        f"{100 * known['tin_fraction']:.1f} at.% tin lies outside the A15 field "
        f"({100 * low:g} to {100 * high:g} at.%)"
    )


class _Asking:
    """Asks relations with one set of common draws."""

    def __init__(self, seed: int, n: int, key: str) -> None:
        self.seed, self.n, self.key = seed, n, key

    def ask(self, target: str, entry: Relation, given: _Input) -> _Asked:
        """Ask a relation of one input."""
        if given.reason or given.draws is None:
            return self._refused(target, (entry,), given.reason, 0.0)
        inside = entry.inside(given.draws)
        share = float(np.mean(inside))
        if share < LEAST_SHARE:
            symbol = entry.inputs[0]
            return self._refused(
                target,
                (entry,),
                f"{symbol.name} = {given.value:.4g} with its uncertainty lies outside the validity "
                f"{entry.validity}",
                share,
            )
        value = float(entry.evaluate(given.value))
        draws = entry.evaluate(given.draws)
        return self._result(target, (entry,), value, draws, entry.scatter.at(given.draws, draws))

    def ask_at_temperature(self, target: str, first: _Asked, law: Relation, tc: _Input) -> _Asked:
        """Ask a law of temperature with Bc2(0) by one relation and the combined Tc."""
        at_zero, zero_draws = first
        if at_zero.reason or tc.draws is None:
            return self._refused(
                target, (*at_zero.relations, law), at_zero.reason or tc.reason, at_zero.share_inside
            )
        value = float(law.evaluate(HELIUM_K, at_zero.value, tc.value))
        draws = law.evaluate(np.full(self.n, HELIUM_K), zero_draws, tc.draws)
        scatter = law.scatter.at(HELIUM_K, draws)
        return self._result(target, (*at_zero.relations, law), value, draws, scatter)

    def combine(self, target: str, asked: Sequence[_Asked]) -> tuple[Combined, Array]:
        """Put the applicable relations together in equal parts, draw by draw."""
        applicable = [(result, draws) for result, draws in asked if result.applies]
        if not applicable:
            return Combined(target, math.nan, math.nan, math.nan, math.nan, 0), np.empty(0)
        # The choice of the relation is everybody's: draw k of all samples takes the same one, where all
        # have it.
        rank = np.argsort(
            np.argsort(standard_normal(self.n, self.seed, f"choice of relation/{target}", "published"))
        )
        choice = rank * len(applicable) // self.n
        combined = np.empty(self.n)
        for index, (_, draws) in enumerate(applicable):
            slots = np.flatnonzero(choice == index)
            mine = draws[slots]
            missing = np.isnan(mine)
            # Draws outside the validity are replaced by others inside it, so that every relation keeps its
            # part.
            mine[missing] = np.resize(draws[~np.isnan(draws)], int(missing.sum()))
            combined[slots] = mine
        medians = [result.median for result, _ in applicable]
        low, high = interval(combined, DEFAULT_LEVEL)
        return (
            Combined(
                target, float(np.median(combined)), low, high, max(medians) - min(medians), len(applicable)
            ),
            combined,
        )

    def _result(
        self,
        target: str,
        entries: tuple[Relation, ...],
        value: float,
        exact: Array,
        scatter: Array,
    ) -> _Asked:
        # How single specimens stray is this sample's own.
        normal = standard_normal(self.n, self.seed, f"scatter/{target}/{entries[-1].name}", "", self.key)
        with np.errstate(invalid="ignore"):
            draws = np.maximum(exact + scatter * normal, 0.0)
        inside = draws[~np.isnan(draws)]
        low, high = interval(inside)
        return (
            RelationResult(
                target, entries, value, float(np.median(inside)), low, high, float(len(inside) / self.n), ""
            ),
            draws,
        )

    def _refused(self, target: str, entries: tuple[Relation, ...], reason: str, share: float) -> _Asked:
        nan = math.nan
        return RelationResult(target, entries, nan, nan, nan, nan, share, reason), np.full(self.n, nan)


def _remarks(combined: Mapping[str, Combined], tc_asked: Sequence[_Asked]) -> list[Flag]:
    flags = []
    reasons = dict.fromkeys(result.reason for result, _ in tc_asked if result.reason)
    if not combined["Tc_K"].count:
        flags.append(Flag("no-relation", f"Tc and Bc2 are not given: {'; '.join(reasons)}"))
    elif any(item.count < ENOUGH_RELATIONS for item in combined.values()):
        few = [
            f"{item.count} for {item.target}" for item in combined.values() if item.count < ENOUGH_RELATIONS
        ]
        flags.append(
            Flag(
                "few-relations",
                f"only few relations apply ({', '.join(few)}): the spread between them says little",
            )
        )
    lost = [r for r, _ in tc_asked if r.applies and r.share_inside < 0.68]
    if lost:
        flags.append(
            Flag(
                "partly-outside-validity",
                f"{100 - 100 * min(r.share_inside for r in lost):.0f} % of the possible values of an "
                f"input lie outside the "
                f"validity of {', '.join(r.name for r in lost)}: its interval holds for the rest",
            )
        )
    return flags
