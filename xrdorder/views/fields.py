"""Bc2 and currents of samples: who carries most, one table; the rest in detail."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING

from xrdorder.estimates.field_comparison import Carried, FieldComparison
from xrdorder.quantities.formatting import MISSING, concise, with_interval
from xrdorder.quantities.tables import Column, Heading, Part, Table
from xrdorder.superconductivity.currents import SURE, bc2_curve
from xrdorder.superconductivity.layers import UNIFORM
from xrdorder.superconductivity.mixture import Band
from xrdorder.views.showing import parts, table, title

if TYPE_CHECKING:
    from xrdorder.estimates.anchored_currents import LotCurrents

_MOST_TIMES = 100.0  # of the reference: beyond, that carries nothing one could compare with
_MOST_ROWS, _LEADERS = 30, 12
_BRIEFLY = (
    "Bc2 is that under the strain above; xrdorder run gives it free of strain. J/Jref: current density of the layer "
    "over that of the reference, median; P: probability of being higher. Cracks and broken filaments are not included."
)
_READING = (
    "J layer: over the A15 area. J non-copper: times the share of A15 in the section without copper, where study.toml "
    "gives it.",
    "The interval of J holds the uncertainty of Bc2, of the grain size and of the level of the pinning force, in which "
    "processes differ by a third. Cracks and broken filaments are in no interval.",
    "Between two samples most of it cancels: the ratio is the number to use. P: probability of carrying more than the "
    "reference. No ratio is given where the reference is normal in more than 16 % of the draws.",
)


@title.register(FieldComparison)
def _(comparison: FieldComparison) -> str:
    designs = [sample.design for sample in comparison.samples]
    against = f"Current density J of the layer against {comparison.reference.name}"
    return f"{against} {comparison.conditions.words(designs=designs)}"


@table.register(FieldComparison)
def _(comparison: FieldComparison) -> Table:
    """Give Bc2 of each sample, and its current over that of the reference by field; of many samples the leaders."""
    carried, at = comparison.carried, f"{comparison.conditions.temperature_k:g} K"
    shown = carried if len(carried) <= _MOST_ROWS else comparison.chosen(_LEADERS)
    columns: list[Column[Carried]] = [("sample", _name), (Heading(f"Bc2 {at}", "T"), partial(_bc2, comparison))]
    for k, field in enumerate(comparison.fields_t):
        columns.append((Heading(f"J/Jref {field:g} T"), partial(_ratio, comparison, k=k, brief=True)))
        columns.append((Heading("P", "higher"), partial(_chance, comparison, k=k)))
    few = f"{len(shown)} of {len(carried)} samples: the reference, the leaders, --sample NAME."
    return Table.by(shown, columns, [few] if len(shown) < len(carried) else [])


@parts.register(FieldComparison)
def _(comparison: FieldComparison, details: bool = False, caveats: Sequence[Part] = ()) -> list[Part]:
    """Everything that is said of samples at field, temperature and strain; `caveats` follow the answer."""
    normal = comparison.normal()
    above = f"Above Tc, carrying nothing at {comparison.conditions.temperature_k:g} K: {', '.join(normal)}"
    remarks: list[Part] = [*([above] if normal else []), *comparison.remarks()]
    answer: list[Part] = [title(comparison), *_answer(comparison), *caveats, ""]
    currents = [part for current in comparison.currents for part in _amperes(comparison, current)]
    if not details:
        return [*answer, table(comparison), "", *currents, _BRIEFLY, *remarks]
    densities = [part for k in range(len(comparison.fields_t)) for part in (_densities(comparison, k), "")]
    crossings = [*comparison.crossings, ""] if comparison.crossings else []
    return [*answer, *_critical_fields(comparison), *densities, *currents, *crossings, *_READING, *remarks]


def without_current(comparison: FieldComparison, names: Iterable[str]) -> Iterator[str]:
    """Say which samples have no current, and why."""
    carry = {sample.name for sample in comparison.samples}
    for name in names if not comparison.named else ():
        if name not in carry:
            lacks = "grain size, so no current" if name in comparison.sections else "tin content, so no Tc and no Bc2"
            yield f"Left out: {name} (no {lacks})"


def _answer(comparison: FieldComparison) -> Iterator[str]:
    """For each field the sample with the largest current over the reference, and how surely it carries more."""
    reference = comparison.reference.name
    for k, field in enumerate(comparison.fields_t):
        best = next(iter(comparison.leaders(k)), None)
        if best is None:
            continue
        text = _ratio(comparison, best, k)
        if best.over(k) > 1.0:
            yield f"At {field:g} T: highest {best.sample.name}, {text}, P higher {_chance(comparison, best, k)}"
        else:
            yield f"At {field:g} T: highest {reference}; next {best.sample.name}, {text}"


def _amperes(comparison: FieldComparison, current: LotCurrents) -> Iterator[Part]:
    """Critical currents in ampere of a lot of which one was measured."""
    def band(bands: Mapping[str, Band], k: int) -> Callable[[str], str]:
        return lambda name: _band(bands[name], k)

    columns: list[Column[str]] = [("sample", str)]
    for k, field in enumerate(current.field_t):
        columns.append((Heading(f"Ic {field:g} T", "A (68 %)"), band(current.current, k)))
        if current.non_copper:
            columns.append((Heading(f"Jc {field:g} T", "A/mm2 non-copper"), band(current.non_copper, k)))
    at = f"here at {comparison.conditions.temperature_k:g} K"
    yield Table.by(current.current, columns, title=f"{current.words}; {at}")
    yield from (f"{text}." for text in current.remarks)
    yield ""


def _critical_fields(comparison: FieldComparison) -> list[Part]:
    """Bc2 of each layer at the conditions, and of its 10th and 90th percentile over the section."""
    conditions, designs = comparison.conditions, [sample.design for sample in comparison.samples]
    several = conditions.strain is None and not conditions.design and len(set(designs)) > 1
    state = f"{conditions.temperature_k:g} K"
    columns: list[Column[Carried] | None] = [
        ("sample", _name),
        ((f"Bc2, {state}", "T (68 %)"),
         lambda of: _band(_curve(comparison, of), 0) if _here(comparison, of) else "normal"),
        ((f"10th, 90th percentile, {state}", "T of the section"), partial(_tenths, comparison)),
        (("Bc2, 0 K, no strain", "T (68 %)"), lambda of: _band(Band.of(of.sample.bc2_0))),
        ("layer", lambda of: getattr(comparison.sections.get(of.sample.name), "kind", MISSING)),
        ("grains", lambda of: f"{float(of.sample.grain.band.median):.0f} nm by {of.sample.grain.by}"),
        ("design", lambda of: of.sample.design or "not known") if several else None,
    ]  # fmt: skip
    said: list[Part] = [f"Upper critical field {conditions.words(designs=designs)}"]
    if conditions.strain is None and any((conditions.design, *designs)):
        said.append("Pre-strains of designs are from memory, without a source; --strain gives another.")
    return [*said, "", Table.by(comparison.carried, columns), ""]


def _densities(comparison: FieldComparison, k: int) -> Table:
    columns: tuple[Column[Carried], ...] = (
        ("sample", _name),
        (("J layer", "A/mm2 (68 %)"), partial(_density_of, k=k)),
        (("J non-copper", "A/mm2 (68 %)"), partial(_density_of, k=k, non_copper=True)),
        ((f"J layer over {comparison.reference.name}", "median (68 %)"), partial(_ratio, comparison, k=k)),
        (("P", "higher"), partial(_chance, comparison, k=k)),
    )
    title = f"Current density at {comparison.fields_t[k]:g} T, {comparison.conditions.temperature_k:g} K"
    return Table.by(comparison.carried, columns, title=title)


def _name(of: Carried) -> str:
    return of.sample.name


def _curve(comparison: FieldComparison, of: Carried) -> Band:
    return bc2_curve(of.sample, comparison.conditions.temperature_k, comparison.conditions)


def _here(comparison: FieldComparison, of: Carried) -> bool:
    """Whether a layer is superconducting at the conditions."""
    return float(_curve(comparison, of).high[0]) > 0.0


def _bc2(comparison: FieldComparison, of: Carried) -> str:
    middle, low, high = (float(part[0]) for part in _curve(comparison, of))
    return concise(middle, 0.5 * (high - low)) if high > 0.0 else "normal"


def _density(band: Band, k: int) -> str:
    """Median and 68 % interval of a current density, to three digits.

    >>> from xrdorder.superconductivity.mixture import Band
    >>> import numpy as np
    >>> _density(Band(np.array([10549.0]), np.array([938.4]), np.array([13280.0])), 0)
    '10500 (938 to 13300)'
    """
    middle, low, high = (f"{float(f'{float(x[k]):.3g}'):.0f}" for x in band)
    return f"{middle} ({low} to {high})"


def _band(band: Band, k: int | None = None) -> str:
    """Median and 68 % interval.

    >>> import numpy as np
    >>> _band(Band(np.array(25.04), np.array(23.1), np.array(26.6)))
    '25.0 (23.1 to 26.6)'
    """
    return with_interval(*(float(x if k is None else x[k]) for x in band))


def _tenths(comparison: FieldComparison, of: Carried) -> str:
    """Bc2 at the conditions that a tenth of the section does not reach, and that a tenth exceeds."""
    if not _here(comparison, of):
        return MISSING
    section, conditions = comparison.sections.get(of.sample.name), comparison.conditions
    if section is None:
        return "-"
    if section.kind == UNIFORM:
        return "the same"
    spread = section.over_section(section.bc2(conditions.temperature_k, section.under(conditions)))
    return f"{float(spread.worst_decile.median):.1f} to {float(spread.best_decile.median):.1f}"


def _density_of(of: Carried, k: int, *, non_copper: bool = False) -> str:
    """Current over the layer, or over the section without copper where the A15 area is known."""
    band = None if of.own is None else of.own.non_copper if non_copper else of.own.layer
    if of.own is None or band is None:
        return MISSING
    most = "at most " if of.own.at_most else ""
    return "0, normal" if _normal(of.own.carries[k]) else f"{most}{_density(band, k)}"


def _ratio(comparison: FieldComparison, of: Carried, k: int, *, brief: bool = False) -> str:
    """Current over that of the reference, or why there is none; of the reference itself, one."""
    own, ratio = of.own, of.ratio
    if own is not None and of.sample is comparison.reference:
        surely = own.carries[k] >= SURE
        text = "1" if surely else f"1, normal in {100.0 * (1.0 - own.carries[k]):.0f} % of the draws"
        text = "-, normal" if _normal(own.carries[k]) else text
    elif own is None or ratio is None:
        text = MISSING
    elif (text := _times(ratio.ratio, k)) == MISSING:
        text = f"-, reference normal in {100.0 * (1.0 - ratio.reference_carries[k]):.0f} % of the draws"
    return text.split(" (")[0].split(",")[0] if brief else text


def _chance(comparison: FieldComparison, of: Carried, k: int) -> str:
    """Probability of carrying more than the reference."""
    if of.own is None or of.ratio is None or of.sample is comparison.reference:
        return MISSING
    both = _normal(of.own.carries[k]) and _normal(of.ratio.reference_carries[k])
    return MISSING if both else f"{float(of.ratio.probability_larger[k]):.2f}"


def _times(band: Band, k: int) -> str:
    """Median and 68 % interval of a current over that of the reference, which near the Bc2 of that has no bounds.

    >>> from xrdorder.superconductivity.mixture import Band
    >>> import numpy as np
    >>> _times(Band(np.array([1.414]), np.array([0.311]), np.array([23000.0])), 0)
    '1.41 (0.31 to over 100)'
    """
    middle, low, high = (float(x[k]) for x in band)
    if middle != middle:
        return "-"
    middle_times, two, three = (f"{x:.2f}" if x < _MOST_TIMES else f"over {_MOST_TIMES:g}" for x in (middle, low, high))
    return f"{middle_times} ({two} to {three})"


def _normal(carries: float) -> bool:
    """Whether a layer that carries anything in this share of the draws counts as normal: its 68 % interval is zero."""
    return carries <= 1.0 - SURE
