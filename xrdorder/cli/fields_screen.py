"""Bc2 and currents on the terminal: who carries most, one table; the rest in detail."""

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from xrdorder.cli.console import Part
from xrdorder.quantities.formatting import MISSING, concise, with_interval
from xrdorder.quantities.tables import Heading, Table
from xrdorder.superconductivity.currents import SURE, Conditions, Conductor, bc2_curve
from xrdorder.superconductivity.layers import UNIFORM
from xrdorder.superconductivity.mixture import Band

if TYPE_CHECKING:
    from xrdorder.estimates.field_comparison import Carried, FieldComparison
    from xrdorder.superconductivity.layers import Layer

_MOST_TIMES = 100.0  # of the reference: beyond, that carries nothing one could compare with
_MOST_ROWS, _LEADERS = 30, 12


def field_parts(comparison: "FieldComparison", caveats: Sequence[Part], *, details: bool = False) -> list[Part]:
    """Everything that is said of samples at field, temperature and strain."""
    normal = comparison.normal()
    above = f"Above Tc, carrying nothing at {comparison.conditions.temperature_k:g} K: {', '.join(normal)}"
    remarks: list[Part] = [*([above] if normal else []), *comparison.remarks()]
    answer: list[Part] = [*_answer(comparison), *caveats, ""]
    if not details:
        return [*answer, _table(comparison), "", *_currents(comparison), _BRIEFLY, *remarks]
    parts = [*answer, *_critical_fields(comparison)]
    for k, field in enumerate(comparison.fields_t):
        rows = [
            (conductor.sample.name, *_densities(conductor, k), *_compared(comparison, conductor, k))
            for conductor in comparison.carried
        ]
        head: list[tuple[str, str] | str] = ["sample", ("J layer", "A/mm2 (68 %)"), ("J non-copper", "A/mm2 (68 %)")]
        head += [(f"J layer over {comparison.reference.name}", "median (68 %)"), ("P", "higher")]
        title = f"Current density at {field:g} T, {comparison.conditions.temperature_k:g} K"
        parts += [Table.of(head, rows, title=title), ""]
    return [
        *parts,
        *_currents(comparison),
        *comparison.crossings,
        *[""] * bool(comparison.crossings),
        *_READING,
        *remarks,
    ]


def left_out(comparison: "FieldComparison", names: Iterable[str]) -> Iterator[str]:
    """Samples without a current, and why."""
    carry = {sample.name for sample in comparison.samples}
    for name in names if not comparison.named else ():
        if name not in carry:
            lacks = (
                "no grain size, so no current"
                if name in comparison.sections
                else "no tin content, so no Tc and no Bc2"
            )
            yield f"Left out: {name} ({lacks})"


def _answer(comparison: "FieldComparison") -> Iterator[Part]:
    """For each field the sample with the largest current over the reference, and how surely it carries more."""
    reference = comparison.reference.name
    designs = [sample.design for sample in comparison.samples]
    yield f"Current density J of the layer against {reference} {comparison.conditions.words(designs=designs)}"
    for k, field in enumerate(comparison.fields_t):
        best = next(iter(comparison.leaders(k)), None)
        if best is None:
            continue
        text, probability = _compared(comparison, best, k)
        if best.over(k) > 1.0:
            yield f"At {field:g} T: highest {best.sample.name}, {text}, P higher {probability}"
        else:
            yield f"At {field:g} T: highest {reference}; next {best.sample.name}, {text}"


def _table(comparison: "FieldComparison") -> Table:
    """Bc2 of each sample, and its current over that of the reference at each field; of many samples the leaders."""
    shown = comparison.carried if len(comparison.carried) <= _MOST_ROWS else comparison.chosen(_LEADERS)
    head = [Heading("sample", numeric=False), Heading(f"Bc2 {comparison.conditions.temperature_k:g} K", "T")]
    head += [
        heading
        for field in comparison.fields_t
        for heading in (Heading(f"J/Jref {field:g} T"), Heading("P", "higher"))
    ]
    lines = []
    for entry in shown:
        cells = [entry.sample.name, _bc2(entry.sample, comparison.conditions)]
        for k in range(len(comparison.fields_t)):
            text, probability = _compared(comparison, entry, k)
            cells += [text.split(" (")[0].split(",")[0], probability]
        lines.append(cells)
    few = len(shown) < len(comparison.carried)
    notes = (
        [f"{len(shown)} of {len(comparison.carried)} samples: the reference, the leaders, --sample NAME."]
        if few
        else []
    )
    return Table.of(head, lines, notes)


def _currents(comparison: "FieldComparison") -> Iterator[Part]:
    """Critical currents in ampere of lots of which one was measured."""
    for current in comparison.currents:
        whole = bool(current.non_copper)
        head: list[Heading | str] = ["sample"]
        for field in current.field_t:
            head += [Heading(f"Ic {field:g} T", "A (68 %)")]
            head += [Heading(f"Jc {field:g} T", "A/mm2 non-copper")] * whole
        tables = [current.current, *([current.non_copper] if whole else [])]
        rows = [
            (name, *(_band(table[name], k) for k in range(len(current.field_t)) for table in tables))
            for name in current.current
        ]
        yield Table.of(head, rows, title=f"{current.words}; here at {comparison.conditions.temperature_k:g} K")
        yield from (f"{text}." for text in current.remarks)
        yield ""


def _bc2(sample: Conductor, conditions: Conditions) -> str:
    middle, low, high = (float(part[0]) for part in bc2_curve(sample, conditions.temperature_k, conditions))
    return concise(middle, 0.5 * (high - low)) if high > 0.0 else "normal"


def _critical_fields(comparison: "FieldComparison") -> list[Part]:
    """Bc2 of each layer at the conditions, and of its 10th and 90th percentile over the section."""
    conditions, designs = comparison.conditions, [sample.design for sample in comparison.samples]
    several = conditions.strain is None and not conditions.design and len(set(designs)) > 1
    rows = []
    for sample in comparison.samples:
        bc2 = bc2_curve(sample, conditions.temperature_k, conditions)
        here = float(bc2.high[0]) > 0.0
        section = comparison.sections.get(sample.name)
        rows.append(
            (
                sample.name,
                _band(bc2, 0) if here else "normal",
                _tenths(section, conditions) if here else MISSING,
                _band(Band.of(sample.bc2_0)),
                section.kind if section is not None else MISSING,
                f"{float(sample.grain.band.median):.0f} nm by {sample.grain.by}",
                *([sample.design or "not known"] if several else []),
            )
        )
    state = f"{conditions.temperature_k:g} K"
    head: list[Heading | tuple[str, str] | str] = ["sample", (f"Bc2, {state}", "T (68 %)")]
    head += [(f"10th, 90th percentile, {state}", "T of the section"), ("Bc2, 0 K, no strain", "T (68 %)")]
    parts: list[Part] = [f"Upper critical field {conditions.words(designs=designs)}"]
    if conditions.strain is None and any((conditions.design, *designs)):
        parts.append("Pre-strains of designs are from memory, without a source; --strain gives another.")
    return [*parts, "", Table.of([*head, "layer", "grains", *["design"] * several], rows), ""]


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


def _tenths(section: "Layer | None", conditions: Conditions) -> str:
    """Bc2 at the conditions that a tenth of the section does not reach, and that a tenth exceeds."""
    if section is None:
        return "-"
    if section.kind == UNIFORM:
        return "the same"
    spread = section.over_section(section.bc2(conditions.temperature_k, section.under(conditions)))
    return f"{float(spread.worst_decile.median):.1f} to {float(spread.best_decile.median):.1f}"


def _densities(conductor: "Carried", k: int) -> tuple[str, str]:
    """Current over the layer, and over the section without copper where the A15 area is known."""
    own = conductor.own
    if own is None:
        return MISSING, MISSING
    if _normal(own.carries[k]):
        return "0, normal", MISSING if own.non_copper is None else "0, normal"
    most = "at most " if own.at_most else ""
    whole = MISSING if own.non_copper is None else f"{most}{_density(own.non_copper, k)}"
    return f"{most}{_density(own.layer, k)}", whole


def _compared(comparison: "FieldComparison", conductor: "Carried", k: int) -> tuple[str, str]:
    """Ratio to the reference, or why there is none, and the probability of more; of the reference itself, one."""
    own, ratio = conductor.own, conductor.ratio
    if own is None:
        return MISSING, MISSING
    if conductor.sample is comparison.reference:
        if _normal(own.carries[k]):
            return "-, normal", MISSING
        surely = own.carries[k] >= SURE
        return "1" if surely else f"1, normal in {100.0 * (1.0 - own.carries[k]):.0f} % of the draws", MISSING
    if ratio is None:
        return MISSING, MISSING
    text = _times(ratio.ratio, k)
    if text == MISSING:
        text = f"-, reference normal in {100.0 * (1.0 - ratio.reference_carries[k]):.0f} % of the draws"
    both = _normal(own.carries[k]) and _normal(ratio.reference_carries[k])
    return text, MISSING if both else f"{float(ratio.probability_larger[k]):.2f}"


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
