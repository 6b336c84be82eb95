"""Tc, resistivity, slope and Bc2 by every published relation that applies, each with its scatter, and by all together.

Monte Carlo over the draws of tin content and site order (equal for equal sources, so that predictions of
different samples may be compared draw by draw); how relations are asked and put together stands in
`xrdorder.superconductivity.asking`. Tc from tin and Tc from order describe one cause by two routes and stand side
by side in the mixture; they are never multiplied. From tin or order follow Tc and the resistivity, from tin, from Tc
and from the slope of Bc2 at Tc follows Bc2 at 0 K, and from that and Tc, Bc2 at any temperature: draw k of all these
belongs together. Relations that give Tc or Bc2(0) from a measured resistivity are not asked: here the resistivity
itself follows from tin or order.

All of it is for A15 free of strain. In a wire at 4.2 K the A15 is compressed by 0.2-0.4 % (A. Godeke et al.,
Supercond. Sci. Technol. 19 (2006) R100), which costs Bc2 a few per cent more (`xrdorder.superconductivity.strain`).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from xrdorder.exceptions import Flag, ValidityError
from xrdorder.material import A15_FIELD, Material
from xrdorder.quantities.registry import quantity, unit_of
from xrdorder.relations import LABELS, PUBLISHED, Library, Relation
from xrdorder.superconductivity.asking import (
    LEAST_SHARE,
    Asked,
    Asking,
    Combined,
    Input,
    Mixed,
    RelationResult,
    joined_codes,
)
from xrdorder.superconductivity.branches import Branches, compare_branches
from xrdorder.superconductivity.targets import HELIUM_K, targets_at
from xrdorder.uncertainty import DEFAULT_DRAWS, PRIVATE, Contributions, quantity_draws

if TYPE_CHECKING:
    import xarray as xr

__all__ = [
    "HELIUM_K", "LEAST_SHARE", "Combined", "Prediction", "RelationResult", "predict",
]  # fmt: skip

Array = NDArray[np.float64]

TIN = {"lattice": "tin_fraction", "order": "tin_fraction_order", "joint": "tin_fraction_joint"}
"""Quantities that may serve as tin content, by how they came about."""

ROUTES = ("tin", "order")
"""What Tc and resistivity may be asked with."""

ENOUGH_RELATIONS = 3

PAIR_DRAWS = 20_000
"""Draws of each single pair of relations for Bc2 at a temperature, of which there are dozens: ends of an interval to
1 % of its half. What all pairs say together is taken from all draws."""


@dataclass(frozen=True)
class Prediction:
    """Tc, resistivity, slope and Bc2 of a sample.

    Attributes
    ----------
    results : tuple of RelationResult
        Every relation asked, refused ones with their reason.
    combined : dict of str to Combined
        By target.
    flags : tuple of Flag
    draws : dict of str to array, (n,)
        Draws of the combined targets, empty arrays where none applies. Draw k of two samples made with one
        seed uses the same relation and the same values of shared sources where `codes` are equal.
    codes : dict of str to array, (n,)
        Which relations a draw came about by; negative where it lay outside a validity and was replaced.
    branches : Branches or None
        The two branches of Bc2 near stoichiometry; None where one of them does not apply.
    wire : str
        Dopant by which relations were chosen: "binary", "Ta", "Ti" or "any".
    tin : str
        Quantity that served as tin content; empty without any.
    """

    results: tuple[RelationResult, ...]
    combined: dict[str, Combined]
    flags: tuple[Flag, ...]
    draws: dict[str, Array] = field(repr=False)
    codes: dict[str, NDArray[np.int64]] = field(repr=False, default_factory=dict)
    branches: Branches | None = None
    wire: str = "any"
    tin: str = ""

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

        per_relation: dict[str, tuple[str, NDArray[np.generic], dict[str, str]]] = {}
        for name, said, text in (
            ("target", [r.target for r in results], "what is predicted"),
            ("unit", [unit_of(r.target) for r in results], "unit"),
            ("source", ["; ".join(dict.fromkeys(e.source for e in r.relations)) for r in results], "publications"),
            ("formula", ["; ".join(e.formula for e in r.relations) for r in results], "formulas"),
            ("known", [", ".join(dict.fromkeys(LABELS[e.known] for e in r.relations)) for r in results], "how known"),
            ("reason", [r.reason for r in results], "why the relation is refused; empty: it applies"),
            ("route", [r.route for r in results], "what the relation was asked with"),
        ):
            per_relation[f"relation_{name}"] = ("relation", texts(said), {"long_name": text})
        for name, text in (
            ("value", "at the central input"),
            ("median", "median of the draws inside the validity"),
            ("low", "lower end of the 68 % interval"),
            ("high", "upper end of the 68 % interval"),
            ("share_inside", "share of the draws inside the validity"),
        ):
            per_relation[f"relation_{name}"] = ("relation", numbers(name, results), {"long_name": text})
        per_target: dict[str, tuple[str, NDArray[np.generic], dict[str, str]]] = {
            "target_unit": ("target", texts([unit_of(c.target) for c in combined]), {"long_name": "unit"})
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
            attrs={
                "wire": self.wire,
                "tin": self.tin,
                "bc2_branches": self.branches.words if self.branches else "",
            },
        )


def predict(
    material: Material | tuple[Mapping[str, float], Contributions],
    *,
    seed: int = 0,
    n: int = DEFAULT_DRAWS,
    key: str = "",
    lot: str = "",
    library: Library = PUBLISHED,
    wire: str = "any",
    tin: str = "auto",
    routes: Collection[str] = ROUTES,
    temperatures_k: Sequence[float] = (HELIUM_K,),
    pairs: bool = True,
) -> Prediction:
    """Predict Tc, resistivity, slope of Bc2 at Tc, Bc2(0) and Bc2 at temperatures from tin content and site order.

    Parameters
    ----------
    material : Material, or (values, contributions)
        With a tin content, ``site_order``, or both.
    seed, n : int
        Seed and number of draws.
    key, lot : str
        Name of the sample, to which what it shares with nobody is tied, and of its wire lot; samples of a lot stray
        from a relation in part together.
    library : Library
        Relations to choose from.
    wire : str
        "binary", "doped", "Ta" or "Ti": relations found on such wire, or on any. "any": all of them
        (`xrdorder.superconductivity.targets.wire_of` says it by dopants).
    tin : str
        Which tin content: a key of `TIN`, or "auto" for the joint one where it is given and else that of the lattice.
    routes : collection of str
        "tin", "order" or both: what Tc and the resistivity are asked with.
    temperatures_k : sequence of float
        For Bc2, K; 4.2 K is always there.
    pairs : bool
        Say Bc2 at a temperature also by every pair of relations, Bc2(0) with a law of temperature. Where only draws are
        wanted they cost a fifth of the time for nothing; spread and count are then those of the laws.

    Returns
    -------
    Prediction
        With NaN and reasons where no relation applies.

    Raises
    ------
    ValidityError
        A temperature is negative, or there is no such kind of tin content or route.
    UnknownNameError
        There is no such sort of wire.
    """
    if tin not in ("auto", *TIN):
        raise ValidityError(f"no tin content '{tin}'; say one of auto, {', '.join(TIN)}")
    for route in routes:
        if route not in ROUTES:
            raise ValidityError(f"no route '{route}' to Tc; say one of {', '.join(ROUTES)}")
    temperatures = targets_at((HELIUM_K, *temperatures_k))
    values, table = (material.values, material.contributions) if isinstance(material, Material) else material
    tin_name = _tin_name(values, tin) if "tin" in routes else ""
    by_tin, by_order = _inputs(values, table, tin_name, "order" in routes, n, seed, key)
    asking = Asking(seed, n, key, lot)

    def relations(kind: str) -> tuple[Relation, ...]:
        return library.relations(kind, wire)

    def ask(target: str, kind: str, given: Input, route: str) -> list[Asked]:
        return [asking.ask(target, entry, given, route=route) for entry in relations(kind)]

    tc_asked = [*ask("Tc_K", "tc-from-tin", by_tin, "tin"), *ask("Tc_K", "tc-from-order", by_order, "order")]
    tc = asking.mix("Tc_K", tc_asked)
    rho_name, slope_name = "resistivity_uohm_cm", "Bc2_slope_T_per_K"
    rho_asked = ask(rho_name, "resistivity-from-tin", by_tin, "tin")
    rho_asked += ask(rho_name, "resistivity-from-order", by_order, "order")
    rho = asking.mix(rho_name, rho_asked)

    direct = ask(slope_name, "bc2-slope", rho.as_input("a resistivity"), "resistivity")
    zero_asked = ask("Bc2_0K_T", "bc2-0-from-tin", by_tin, "tin")
    slope_asked = direct + [
        _slope_by(asking, slope_name, one, law, tc)
        for one in zero_asked
        for law in relations("bc2-0-from-slope")
        if law.inverse is not None
    ]
    zero_asked += ask("Bc2_0K_T", "bc2-0-from-tc", tc.as_input("Tc"), "Tc")
    zero_asked += [
        _zero_by(asking, one, law, tc) for one in direct for law in relations("bc2-0-from-slope")
    ]
    slope, zero = asking.mix(slope_name, slope_asked), asking.mix("Bc2_0K_T", zero_asked)

    mixed = {"Tc_K": tc, rho_name: rho, slope_name: slope, "Bc2_0K_T": zero}
    asked = [*tc_asked, *rho_asked, *slope_asked, *zero_asked]
    laws, each = relations("bc2-temperature"), zero_asked if pairs else []
    for target, temperature in temperatures.items():
        mixed[target], single = _at_temperature(asking, target, temperature, laws, each, zero, tc)
        asked += single
    results = tuple(one.result for one in asked)
    combined = {target: one.combined for target, one in mixed.items()}
    return Prediction(
        results,
        combined,
        tuple(_remarks(combined, [one.result for one in tc_asked], wire)),
        {target: one.draws for target, one in mixed.items()},
        {target: one.codes for target, one in mixed.items()},
        compare_branches([one.result for one in zero_asked]),
        wire,
        tin_name,
    )


def _tin_name(values: Mapping[str, float], tin: str) -> str:
    """Name of the quantity that serves as tin content; empty where it is not known."""
    names = ("tin_fraction_joint", "tin_fraction") if tin == "auto" else (TIN[tin],)
    return next((name for name in names if math.isfinite(values.get(name, math.nan))), "")


def _inputs(
    values: Mapping[str, float],
    table: Contributions,
    tin_name: str,
    with_order: bool,
    n: int,
    seed: int,
    key: str,
) -> tuple[Input, Input]:
    """Draw tin content and site order together; what is not known, or not asked for, comes with the reason."""
    wanted = [tin_name] * bool(tin_name) + ["site_order"] * with_order
    known = {name: float(values[name]) for name in wanted if math.isfinite(values.get(name, math.nan))}
    with_table = [name for name in known if name in table.quantities]
    draws = quantity_draws(values, _own_joined(table, with_table), with_table, n=n, seed=seed, key=key)
    draws |= {name: np.full(n, value) for name, value in known.items() if name not in draws}
    nothing = "no site order is known" if with_order else "the route by order is not asked for"
    tin = known.get(tin_name, math.nan)
    return (
        Input(tin, draws.get(tin_name), _refuse_tin(tin)),
        Input(
            known.get("site_order", math.nan), draws.get("site_order"), "" if "site_order" in known else nothing
        ),
    )


def _own_joined(table: Contributions, names: Sequence[str]) -> Contributions:
    """Table with what the sample shares with nobody in as few columns as there are quantities: fewer random numbers."""
    picked = table.select(names)
    own = np.array([group == PRIVATE for group in picked.groups], dtype=bool)
    if np.sum(own) <= len(names):
        return picked
    private = picked.values[:, own]
    few = Contributions.from_covariance(names, private @ private.T, "own")
    shared = [source for source, mine in zip(picked.sources, own, strict=True) if not mine]
    groups = [group for group, mine in zip(picked.groups, own, strict=True) if not mine]
    return Contributions(
        tuple(names),
        (*few.sources, *shared),
        np.hstack([few.values, picked.values[:, ~own]]),
        (*few.groups, *groups),
    )


def _refuse_tin(tin: float) -> str:
    if math.isnan(tin):
        return "no tin content is known"
    low, high = A15_FIELD
    if low <= tin <= high:
        return ""
    return f"{100 * tin:.1f} at.% tin lies outside the A15 field ({100 * low:g} to {100 * high:g} at.%)"


def _slope_by(asking: Asking, target: str, zero: Asked, law: Relation, tc: Mixed) -> Asked:
    """Slope at Tc that belongs to Bc2(0) by one relation and to Tc, by a law between them turned round."""
    entries = (*zero.result.relations, law)
    if not zero.result.applies or not tc.combined.count or law.inverse is None:
        reason = zero.result.reason or "no relation gives Tc"
        return asking.refused(target, entries, reason, zero.result.share_inside, zero.result.route)
    exact = _inside(law, law.inverse(zero.draws, tc.draws))
    value = float(_inside(law, law.inverse(np.asarray(zero.result.value), np.asarray(tc.combined.median))))
    with np.errstate(divide="ignore", invalid="ignore"):
        # a law between field and slope that strays by so much in one strays as much in the other
        relative = law.scatter.at(exact, zero.draws) / zero.draws
    draws = asking.strayed_by(law, exact, relative * exact)
    codes = joined_codes(zero.codes, tc.codes)
    return asking.answer(target, entries, value, draws, zero.result.route, codes)


def _inside(entry: Relation, first: Array) -> Array:
    return np.where(entry.inside(first), first, np.nan)


def _zero_by(asking: Asking, slope: Asked, law: Relation, tc: Mixed) -> Asked:
    """Bc2(0) from a slope by one relation and from Tc."""
    entries = (*slope.result.relations, law)
    if not slope.result.applies:
        return asking.refused("Bc2_0K_T", entries, slope.result.reason, slope.result.share_inside, "slope")
    given = Input(slope.result.value, slope.draws, "", slope.codes)
    one = asking.ask("Bc2_0K_T", law, given, tc.as_input("Tc"), route="slope")
    return one._replace(result=replace(one.result, relations=entries))


def _at_temperature(
    asking: Asking,
    target: str,
    temperature: float,
    laws: Sequence[Relation],
    zero_asked: Sequence[Asked],
    zero: Mixed,
    tc: Mixed,
) -> tuple[Mixed, list[Asked]]:
    """Bc2 at a temperature: what all laws make of all Bc2(0), and what every law makes of each that is asked for."""
    given, few = np.full(asking.n, temperature), slice(0, min(PAIR_DRAWS, asking.n))
    pairs: list[Asked] = []
    whole: list[Asked] = []
    for law in laws:
        outside = f"T = {temperature:g} K lies outside the validity {law.validity}"
        refusal = "" if law.inside(temperature) else outside
        able = bool(tc.combined.count and zero.combined.count and not refusal)
        # Laws give a share of Bc2(0) that depends on T and Tc alone; those that do not are evaluated each time.
        share = law.evaluate(given, np.ones(asking.n), tc.draws) if able and _proportional(law) else None
        for one in zero_asked:
            entries = (*one.result.relations, law)
            if not (able and one.result.applies):
                reason = one.result.reason or refusal or "no relation gives Tc"
                pairs.append(asking.refused(target, entries, reason, one.result.share_inside, one.result.route))
                continue
            value = float(law.evaluate(temperature, one.result.value, tc.combined.median))
            at_zero = one.draws[few]
            exact = law.evaluate(given[few], at_zero, tc.draws[few]) if share is None else share[few] * at_zero
            draws = asking.strayed(law, np.asarray(temperature), exact)
            pairs.append(asking.answer(target, entries, value, draws, one.result.route, None))
        if able:
            exact = law.evaluate(given, zero.draws, tc.draws) if share is None else share * zero.draws
            draws = asking.strayed(law, np.asarray(temperature), exact)
            codes = joined_codes(zero.codes, tc.codes)
            whole.append(asking.answer(target, (law,), math.nan, draws, "", codes))
    mixed = asking.mix(target, whole, "bc2-temperature")
    medians = [pair.result.median for pair in pairs if pair.result.applies]
    if medians:
        combined = replace(mixed.combined, spread=max(medians) - min(medians), count=len(medians))
        mixed = mixed._replace(combined=combined)
    return mixed, pairs


def _proportional(law: Relation) -> bool:
    """Tell whether a law of temperature is proportional to Bc2(0), by trial."""
    temperature = np.linspace(*law.valid, 9)
    one, seven = (law.evaluate(temperature, np.full(9, field), np.full(9, 18.0)) for field in (1.0, 7.0))
    return bool(np.allclose(seven, 7.0 * one, rtol=1e-9, atol=1e-12, equal_nan=True))


def _remarks(combined: Mapping[str, Combined], tc: Sequence[RelationResult], wire: str) -> list[Flag]:
    flags = []
    reasons = dict.fromkeys(result.reason for result in tc if result.reason)
    fields = {name: item for name, item in combined.items() if unit_of(name) in ("K", "T")}
    if not combined["Tc_K"].count:
        flags.append(Flag("no-relation", f"Tc and Bc2 are not given: {'; '.join(reasons)}"))
    elif any(item.count < ENOUGH_RELATIONS for item in fields.values()):
        short = [item for item in fields.values() if item.count < ENOUGH_RELATIONS]
        few = [f"{item.count} for {quantity(item.target).noun}" for item in short]
        of = "" if wire == "any" else f" for {wire} wire" if wire != "binary" else " for binary wire"
        flags.append(
            Flag(
                "few-relations",
                f"only few relations apply{of} ({', '.join(few)}): the spread between them says little",
            )
        )
    lost = [r for r in tc if r.applies and r.share_inside < 0.68]
    if lost:
        flags.append(
            Flag(
                "partly-outside-validity",
                f"{100 - 100 * min(r.share_inside for r in lost):.0f} % of the possible values of an "
                f"input lie outside the validity of {', '.join(r.name for r in lost)}: its interval holds for the rest",
            )
        )
    return flags
