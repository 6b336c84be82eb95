"""Where a number comes from: everything that stands behind one stored result, fit for a referee.

`explain` works on a stored sample alone, `explain_stored` finds it in a study folder. Nothing is fitted again and no
description needed: a file can be explained years later. Who shares a source is looked up in the collated results.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np

from xrdorder.display import Displayed
from xrdorder.exceptions import StudyError, UnknownNameError, did_you_mean
from xrdorder.explanation.correlations import Covariance, FittedParameter
from xrdorder.explanation.families import FAMILIES, KINDS, OWN_LINE
from xrdorder.material import PUBLISHED_SCALE
from xrdorder.material.formulas import recomputed
from xrdorder.material.lattice_strain import FREE
from xrdorder.quantities.formatting import MISSING
from xrdorder.quantities.records import Record, symbol_of
from xrdorder.quantities.registry import Quantity, known, rank, standing_in, unit_of
from xrdorder.quantities.tables import Heading, Table
from xrdorder.results.collated import (
    Sharing,
    ToldColumn,
    read_collated,
    sharers,
    statuses,
    told_columns,
    with_collated,
)
from xrdorder.results.columns import TOLD_COLUMNS, quantity_asked
from xrdorder.results.open_study import RESULTS, SAMPLES, sample_file
from xrdorder.results.parameters import StoredParameters
from xrdorder.results.sample_file import FAILED, StoredSample, read_sample
from xrdorder.running.instruments import calibration_words
from xrdorder.running.model_summary import model_words
from xrdorder.uncertainty import PRIVATE, Contributions

FITTED = "fitted to the pattern"


@dataclass(frozen=True)
class Step:
    """One step from the pattern to a quantity.

    Attributes
    ----------
    record : Record
        How the quantity was computed; without inputs for what was fitted.
    value : float
        As stored.
    recomputed : float
        The formula evaluated with the stored inputs; NaN where there is none.
    """

    record: Record
    value: float
    recomputed: float

    @property
    def quantity(self) -> str:
        """What the step gives."""
        return self.record.quantity

    @property
    def reproduced(self) -> bool | None:
        """Whether this version finds the stored value again; None where it cannot tell.

        Inputs are stored in full precision: only rounding of a few operations may remain.
        """
        if math.isnan(self.recomputed) or math.isnan(self.value):
            return None
        return math.isclose(self.recomputed, self.value, rel_tol=1e-9, abs_tol=1e-15)


class Chains:
    """The steps to all quantities of a sample; each step is worked out once."""

    def __init__(self, sample: StoredSample) -> None:
        self._sample, self._parameters = sample, StoredParameters.of(sample).values
        self._steps: dict[str, Step | None] = {}

    def to(self, quantity: str) -> tuple[Step, ...]:
        """All steps that lead to a quantity, what was fitted first, the quantity itself last."""
        done: dict[str, Step] = {}

        def go(name: str) -> None:
            step = self._step(name)
            if step is None or name in done:
                return
            for before in (*(given.quantity for given in step.record.inputs), *step.record.numbers):
                go(before)
            done[name] = step

        go(quantity)
        if quantity not in done:
            value = self._sample.values.get(quantity, math.nan)
            nothing = Record(quantity, symbol_of(quantity), value, remark="no record of it is stored")
            done[quantity] = Step(nothing, value, math.nan)
        return tuple(done.values())

    def _step(self, name: str) -> Step | None:
        if name not in self._steps:
            record = self._sample.records.get(name)
            if record is None and name in self._parameters:
                record = Record(name, name, self._parameters[name], remark=FITTED)
            known = self._sample.values
            step = Step(record, known.get(name, record.value), recomputed(record)) if record is not None else None
            self._steps[name] = step
        return self._steps[name]


@dataclass(frozen=True)
class SourceShare:
    """Part of an uncertainty that one family of sources makes, as far as one group shares it.

    Attributes
    ----------
    family : str
    title : str
        Name that differs from those of all other parts: the family, and what tells its parts apart.
    group : str
        Who shares it; empty: private to the sample.
    u : float
        Standard contribution, in the unit of the quantity.
    meaning : str
        The family in words; empty for one this version does not know.
    members : tuple of (name, u)
        Parts with names of their own (phases, elements), largest first.
    samples : tuple of str or None
        Other samples of the study that carry it; None where the collated results do not tell.
    """

    family: str
    title: str
    group: str
    u: float
    meaning: str
    members: tuple[tuple[str, float], ...]
    samples: tuple[str, ...] | None


@dataclass(frozen=True)
class RelationSaid:
    """What one published relation says of the sample; refused where `reason` is not empty."""

    name: str
    median: float
    low: float
    high: float
    formula: str
    source: str
    reason: str


@dataclass(frozen=True)
class QuantityExplained:
    """One quantity with everything behind it.

    Attributes
    ----------
    name, unit : str
    value : float
    remark : str
        How what was asked for follows from the quantity, where it was asked for by another name.
    u, private, common : float
        Total standard uncertainty, the sample's own part and the part others share; NaN without a table.
    low, high : float
        68 % interval of a prediction, NaN otherwise.
    steps : tuple of Step
        From the pattern to the quantity, the quantity last; empty for a prediction.
    budget : tuple of SourceShare
        Largest first.
    fitted : tuple of FittedParameter
        What the chain began with.
    relations : tuple of RelationSaid
        Of a prediction.
    asked : tuple of str
        With what the relations of a prediction were asked, in words.
    """

    name: str
    unit: str
    value: float
    u: float = math.nan
    private: float = math.nan
    common: float = math.nan
    low: float = math.nan
    high: float = math.nan
    steps: tuple[Step, ...] = ()
    budget: tuple[SourceShare, ...] = ()
    fitted: tuple[FittedParameter, ...] = ()
    relations: tuple[RelationSaid, ...] = ()
    asked: tuple[str, ...] = ()
    remark: str = ""

    @property
    def estimated(self) -> bool:
        """Whether it is a joint estimate of all samples of the study: an interval of draws, no sum of sources."""
        return math.isfinite(self.low)

    @cached_property
    def about(self) -> Quantity:
        """Its entry in the registry; what is a plain parameter of the fit has its name and unit only."""
        return known(self.name) or Quantity(self.name, self.name, self.name, "", unit=self.unit)


@dataclass(frozen=True)
class CrossCheck:
    """What another route says about the same counts.

    Attributes
    ----------
    quantity : str
        "a" (nm) or "order".
    route : str
    difference, u : float
        From the whole-pattern fit, and its standard uncertainty; NaN where the route has no answer.
    reason : str
        Why it has none.
    """

    quantity: str
    route: str
    difference: float
    u: float
    reason: str


@dataclass(frozen=True)
class Explanation(Displayed, view="explanation"):
    """A stored result, explained.

    Attributes
    ----------
    sample : StoredSample
        As it is stored, with the flags of the study.
    cross_checks : tuple of CrossCheck
        Lattice and order by other routes through the same counts.
    free_parameters : int
    model : tuple of str
        What stands in the model, in words.
    dopants : str
        What was said about them.
    quantities : tuple of QuantityExplained
        All of them, or the one asked for.
    order_correlations : tuple of (parameter, correlation)
        Of the order contrast with the displacement parameters of the A15, from the stored covariance.
    told : tuple of ToldColumn
        What the description told of the sample; empty where the collated results are gone.
    answer : ToldColumn or None
        The one that was asked for, in place of a quantity.
    calibration : str
        Which it was, and from what it was made; empty where no folder of results was at hand.
    """

    sample: StoredSample
    cross_checks: tuple[CrossCheck, ...]
    free_parameters: int
    model: tuple[str, ...]
    dopants: str
    quantities: tuple[QuantityExplained, ...]
    order_correlations: tuple[tuple[str, float], ...]
    told: tuple[ToldColumn, ...] = ()
    answer: ToldColumn | None = None
    calibration: str = ""


def explain_stored(folder: str | Path, name: str, quantity: str | None = None) -> Explanation:
    """Explain a result in a study folder.

    Parameters
    ----------
    folder : str or Path
        The study folder; its description is not needed.
    name : str
        The sample.
    quantity : str, optional
        One quantity with all its steps, by its name, that of a column of `results.csv` or a printed heading; all of
        them in short where left out.

    Raises
    ------
    StudyError
        There is no such study, no result of the sample, or its file is damaged; the message names the closest.
    UnknownNameError
        The sample has no such quantity.
    """
    folder = Path(folder)
    results = folder / RESULTS
    if not folder.is_dir():
        beside = [item.name for item in folder.parent.iterdir()] if folder.parent.is_dir() else []
        raise StudyError(f"{folder}: no such study folder; {_closest(folder.name, beside)}")
    collated = read_collated(results)
    by_name = statuses(collated)
    stored = [path.stem for path in (results / SAMPLES).glob("*.nc") if not path.name.startswith(".")]
    if not stored and not by_name:
        raise StudyError(f"{folder}: holds no results; run the study first")
    if name in stored:
        sample = read_sample(sample_file(results / SAMPLES, name))
    elif by_name.get(name, "").startswith(FAILED):
        sample = StoredSample(name=name, status=by_name[name])
    elif name in by_name:
        raise StudyError(f"{sample_file(results / SAMPLES, name)}: no such result; run the study first")
    else:
        raise StudyError(f"{folder}: has no result of sample '{name}'; {did_you_mean(name, [*stored, *by_name])}")
    sample = with_collated(sample, collated)
    told = tuple(told_columns(collated, name))
    answer = next((column for column in told if column.column == quantity), None)
    if quantity in TOLD_COLUMNS and answer is None:
        raise UnknownNameError(f"sample '{name}': nothing was told that '{quantity}' follows from")
    explanation = explain(sample, None if answer else quantity, sharers(collated, sample))
    calibration = calibration_words(results, sample.provenance.calibration)
    return replace(explanation, told=told, answer=answer, calibration=calibration)


def _closest(word: str, words: Sequence[str]) -> str:
    """Suggest a name where one is close; a whole directory is no suggestion."""
    hint = did_you_mean(word, words)
    return hint if hint.startswith("did you mean") else "check the path"


def explain(sample: StoredSample, quantity: str | None = None, sharing: Sharing | None = None) -> Explanation:
    """Explain a stored sample.

    Parameters
    ----------
    sample : StoredSample
        Read with its groups; without them there are no steps back to the fit.
    quantity : str, optional
    sharing : mapping of (family, group) to names of samples, optional

    Raises
    ------
    UnknownNameError
        The sample has no such quantity.
    """
    covariance = Covariance.of(sample)
    targets = [str(t) for t in sample.estimates["target"].values] if "target" in sample.estimates.coords else []
    names = sorted([*sample.values, *targets], key=rank)
    remark = ""
    if quantity is not None and not sample.failed:
        try:
            name, remark = quantity_asked(quantity, names)
        except UnknownNameError as error:
            raise UnknownNameError(f"sample '{sample.name}': {error}") from None
        names = [name]
    chains = Chains(sample)
    quantities = [
        _predicted(sample, chains, name)
        if name in targets
        else _quantity(sample, covariance, chains, name, sharing or {})
        for name in ([] if sample.failed else names)
    ]
    return Explanation(
        sample,
        _cross_checks(sample),
        len(covariance.names),
        sample.model or model_words(sample),
        _dopants(sample),
        tuple(replace(q, remark="; ".join(text for text in (remark, q.remark) if text)) for q in quantities),
        covariance.of_order_with_displacements(),
    )


def _dopants(sample: StoredSample) -> str:
    """What the description said about dopants, contents in at.%; empty where there is no description."""
    lot = sample.provenance.options.get("lot")
    if lot is None:
        return ""
    u = lot.get("u_dopant_at_percent", {})
    named = [
        f"{content:g}{f' ± {u[element]:g}' if element in u else ''} at.% {element}"
        for element, content in lot.get("dopant_at_percent", {}).items()
    ]
    if named:
        return ", ".join(named)
    return "said to hold none" if lot.get("undoped") else "nothing was said; taken as an undoped wire, and flagged"


def _cross_checks(sample: StoredSample) -> tuple[CrossCheck, ...]:
    """Other routes to lattice and order, those first that have an answer."""
    table = sample.cross_checks
    if table is None:
        return ()
    checks = []
    for quantity, value in (("a", "a_difference_nm"), ("order", "order_difference")):
        for k, route in enumerate(map(str, table["route"].values)):
            difference, u = (float(table[name].values[k]) for name in (value, f"u_{value}"))
            reason = str(table[f"{quantity}_reason"].values[k])
            if k and not reason.endswith("only"):
                checks.append(CrossCheck(quantity, route, difference, u, reason))
    return tuple(checks)


def _quantity(
    sample: StoredSample, covariance: Covariance, chains: Chains, name: str, sharing: Sharing
) -> QuantityExplained:
    chain, value = chains.to(name), sample.values[name]
    fitted = [
        FittedParameter(
            step.quantity, step.value, covariance.u(step.quantity), covariance.nuisances(step.quantity)
        )
        for step in chain
        if step.quantity in covariance.names
    ]
    remark = ""
    if name == "a_nm" and FREE in sample.values:
        remark = f"as measured; tin is read from {FREE}"
    if name == "tin_fraction_lattice":
        remark = "by the lattice parameter of this sample alone; tin_fraction is that of all samples together"
    plain = QuantityExplained(
        name, unit_of(name), value, steps=chain, fitted=tuple(fitted), remark=remark
    )
    table = sample.contributions
    if name not in table.quantities or math.isnan(plain.value):
        return plain
    return replace(
        plain,
        u=table.total(name),
        private=table.part(name, shared=False),
        common=table.part(name, shared=True),
        budget=tuple(_budget(table, name, sample.name, sharing)),
    )


def _budget(table: Contributions, quantity: str, sample: str, sharing: Sharing) -> list[SourceShare]:
    """Sources by family and group, in quadrature, largest first."""
    parts: dict[tuple[str, str], dict[str, float]] = {}
    for source, group, value in zip(table.sources, table.groups, table.row(quantity), strict=True):
        family, _, member = source.partition("/")
        if value != 0.0:
            parts.setdefault((family, group), {})[member] = abs(float(value))
    shares = []
    for (family, group), members in parts.items():
        named = {name: u for name, u in members.items() if name and not name.isdigit()}
        holders = () if group == PRIVATE else sharing.get((family, group))
        others = None if holders is None else tuple(name for name in holders if name != sample)
        shares.append(
            SourceShare(
                family,
                _title(family, group, [other for of, other in parts if of == family]),
                group,
                math.sqrt(sum(u * u for u in members.values())),
                _meaning(family, group),
                tuple(sorted(named.items(), key=lambda item: -item[1])),
                others,
            )
        )
    return sorted(shares, key=lambda share: (-share.u, share.family, share.group))


def _meaning(family: str, group: str) -> str:
    """A family in words; empty for one that this version does not know."""
    if family in OWN_LINE and group not in (PRIVATE, PUBLISHED_SCALE.name):
        return f"{OWN_LINE[family]} ('{group}')"
    return ": ".join(x for x in (FAMILIES.get(family, ""), KINDS.get((family, not group), ("", ""))[1]) if x)


def _title(family: str, group: str, groups: Sequence[str]) -> str:
    """Name a part so that no two are called alike.

    >>> _title("displacement parameters", "catalogue", ["catalogue"]), _title("strain state", "", ["", "A"])
    ('displacement parameters, held', 'strain state, own')
    >>> _title("strain state", "A", ["", "A"]), _title("texture", "", [""])
    ('strain state, shared', 'texture')
    """
    kind = KINDS.get((family, group == PRIVATE))
    if kind:
        return f"{family}, {kind[0]}"
    if len(groups) == 1:
        return family
    if group == PRIVATE:
        return f"{family}, own"
    return f"{family}, shared" if sum(other != PRIVATE for other in groups) == 1 else f"{family}, shared by {group}"


def _predicted(sample: StoredSample, chains: Chains, target: str) -> QuantityExplained:
    """Explain a prediction: what each relation says, and which do not apply."""
    tables = sample.estimates
    k = int(np.flatnonzero(tables["target"].values == target)[0])
    of = tables["relation_target"].values == target
    columns = ("median", "low", "high", "formula", "source", "known", "reason")
    names = tables["relation"].values[of]
    rows = zip(names, *(tables[f"relation_{column}"].values[of] for column in columns), strict=True)
    said = [
        RelationSaid(
            str(name).removeprefix(f"{target}: "), float(median), float(low), float(high), str(formula),
            f"{source} ({known})", str(reason),
        )
        for name, median, low, high, formula, source, known, reason in rows
    ]  # fmt: skip
    median, low, high = (float(tables[f"target_{end}"].values[k]) for end in ("median", "low", "high"))
    return QuantityExplained(
        target,
        unit_of(target),
        median,
        low=low,
        high=high,
        steps=_steps_to_inputs(sample, chains),
        relations=tuple(said),
        asked=_asked_with(sample, target),
    )


def _steps_to_inputs(sample: StoredSample, chains: Chains) -> tuple[Step, ...]:
    """How tin by the lattice and order came about, which the joint estimates are made from."""
    done: dict[str, Step] = {}
    for name in ("tin_fraction_lattice", "site_order"):
        if math.isfinite(sample.values.get(name, math.nan)):
            done |= {step.quantity: step for step in chains.to(name)}
    return tuple(done.values())


WIRES = {"any": "of any wire, as nothing was said about dopants", "binary": "found on undoped wire or on any"}
"""Which relations were asked, by the wire they were chosen for; a dopant otherwise."""


def _asked_with(sample: StoredSample, target: str) -> tuple[str, ...]:
    """Joint estimates, kind of wire and own relations that stand behind what relations say."""
    attrs = sample.estimates.attrs
    wire = str(attrs.get("wire", "any"))
    words = ["the joint estimates of this sample, which the lattice parameters and orders of all samples give"]
    words.append("relations " + WIRES.get(wire, f"found on wire with {wire.replace('doped', 'dopants')} or on any"))
    digest = (sample.provenance.options.get("own_files") or {}).get("relations")
    if digest:
        words.append(f"published relations and the laboratory's own, file with SHA-256 {digest}")
    branches = str(attrs.get("bc2_branches", ""))
    if branches and target.startswith("Bc2"):
        words.append(branches)
    return tuple(words)


_HEAD = (
    Heading("quantity", numeric=False),
    Heading("value", meaning="standard uncertainty (k = 1) of the last digits in brackets, or the 68 % interval"),
    Heading("unit", numeric=False),
    Heading("independent u", meaning="part of the uncertainty that no other sample shares", optional=1),
    Heading("largest source", meaning="with its share of the squared uncertainty", numeric=False),
    Heading("column", meaning="name in results.csv", numeric=False, optional=2),
)


def quantities_table(explained: Explanation, *, every: bool = False) -> Table:
    """Give a row for each quantity that people look at, or for `every` one.

    Examples
    --------
    >>> [one.words for one in _HEAD][:3]
    ['quantity', 'value', 'unit']
    """
    known = {quantity.name: quantity for quantity in explained.quantities}
    shown = [known[quantity.name] for quantity in standing_in("section") if quantity.name in known]
    if every:
        shown = list(explained.quantities)
    elif explained.sample.failed:
        shown = []
    return Table.of(_HEAD, [_row(entry) for entry in shown if every or math.isfinite(entry.value)])


def _row(explained: QuantityExplained) -> tuple[str, ...]:
    about, independent = explained.about, ""
    if math.isnan(explained.value):
        value, sources = MISSING, "cannot be given"
    elif explained.estimated:
        value, sources = about.interval_text(explained.value, explained.low, explained.high), "joint model"
    else:
        value = about.value_text(explained.value, explained.u)
        independent = about.u_text(explained.private) if explained.private > 0.0 else ""
        largest = explained.budget[0] if explained.budget else None
        sources = f"{largest.title} {100.0 * (largest.u / explained.u) ** 2:.0f} %" if largest else ""
    return about.noun, value, about.people.unit, independent, sources, about.column
