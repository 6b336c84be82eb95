"""Bc2 and currents on the terminal: who carries most, one table; the rest in detail."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from xrdorder.cli.console import Part
from xrdorder.exceptions import ValidityError
from xrdorder.quantities.formatting import concise, with_interval
from xrdorder.quantities.tables import Heading, Table
from xrdorder.superconductivity.currents import (
    SURE,
    Conditions,
    Conductor,
    LayerCurrent,
    RelativeCurrent,
    bc2_curve,
    crossing,
    layer_current,
    relative_current,
    tc_band,
)
from xrdorder.superconductivity.layers import UNIFORM
from xrdorder.superconductivity.mixture import Band
from xrdorder.superconductivity.pinning import MICROSCOPY

if TYPE_CHECKING:
    from xrdorder.estimates.anchored_currents import LotCurrents
    from xrdorder.superconductivity.layers import Layer

_MOST_TIMES = 100.0  # of the reference: beyond, that carries nothing one could compare with
_MOST_ROWS, _LEADERS = 30, 12


class _Carried(NamedTuple):
    """What a sample carries, by field, and over the reference; None where it cannot be told."""

    sample: Conductor
    own: LayerCurrent | None
    ratio: RelativeCurrent | None


def field_parts(
    sections: "Mapping[str, Layer]",
    samples: Sequence[Conductor],
    alike: Mapping[str, Conductor],
    conditions: Conditions,
    asked: Sequence[float],
    reference: Conductor,
    *,
    details: bool = False,
) -> list[Part]:
    """Everything that is said of samples at field, temperature and strain.

    Ratios and crossings are those of `alike`, the samples with sizes of one kind.
    """
    carried, crossings, refused = _carried(samples, alike, conditions, asked, reference)
    remarks: list[Part] = [*_sizes(samples, alike), *dict.fromkeys(refused), *_flags(samples, alike)]
    if details:
        parts = _critical_fields(sections, samples, conditions)
        for k, field in enumerate(asked):
            parts += [_densities_at(k, field, carried, conditions, reference), ""]
        return [*parts, *crossings, *[""] * bool(crossings), *_READING, *remarks]
    return [
        f"Samples {conditions.words(designs=[sample.design for sample in samples])}, compared with {reference.name}",
        *_leaders(carried, asked, reference),
        "",
        _table(carried, asked, conditions, reference),
        "",
        "J/Jref: current density of the layer over that of the reference, median. P: probability of carrying more. "
        "Cracks and broken filaments are not included.",
        *_normal_ones(samples, conditions),
        *remarks,
    ]


def _carried(
    samples: Sequence[Conductor],
    alike: Mapping[str, Conductor],
    conditions: Conditions,
    asked: Sequence[float],
    reference: Conductor,
) -> tuple[list[_Carried], list[str], list[str]]:
    """Currents of each sample, where curves cross that of the reference, and why some cannot be told."""

    def carries(sample: Conductor) -> bool:
        return float(bc2_curve(sample, conditions.temperature_k, conditions).high[0]) > 0.0

    found, crossings, refused = [], [], []
    alive = carries(reference)
    for sample in samples:
        own = ratio = None
        try:
            own = layer_current(sample, list(asked), conditions)
            if sample is not reference and sample.name in alike and reference.name in alike:
                pair = alike[sample.name], alike[reference.name]
                ratio = relative_current(*pair, list(asked), conditions)
                if alive and carries(sample):  # normal layers cross nothing
                    crossings.append(crossing(*pair, conditions).words)
        except ValidityError as error:
            refused.append(f"{sample.name}: {error}")
        found.append(_Carried(sample, own, ratio))
    return found, crossings, refused


def _leaders(carried: Sequence[_Carried], asked: Sequence[float], reference: Conductor) -> list[Part]:
    """For each field the sample with the largest current over the reference, and how surely it carries more."""
    parts: list[Part] = []
    for k, field in enumerate(asked):
        known = [one for one in carried if one.ratio is not None and np.isfinite(one.ratio.ratio.median[k])]
        if not known:
            continue
        best = max(known, key=lambda one: float(one.ratio.ratio.median[k]) if one.ratio else 0.0)
        text, probability = _over(best.own, best.ratio, k)
        if best.ratio is not None and float(best.ratio.ratio.median[k]) > 1.0:
            parts.append(
                f"At {field:g} T: highest {best.sample.name}, {text} times the reference (P higher {probability})"
            )
        else:
            parts.append(f"At {field:g} T: highest {reference.name}, the reference")
    return parts


def _table(
    carried: Sequence[_Carried], asked: Sequence[float], conditions: Conditions, reference: Conductor
) -> Table:
    """Bc2 of each sample, and its current over that of the reference at each field; of many samples the leaders."""
    shown = list(carried)
    if len(shown) > _MOST_ROWS:
        rank = {id(one): -float(one.ratio.ratio.median[-1]) if one.ratio else 0.0 for one in shown}
        leaders = sorted(shown, key=lambda one: rank[id(one)])[:_LEADERS]
        shown = [one for one in shown if one in leaders or one.sample is reference]
    head = [Heading("sample", numeric=False), Heading(f"Bc2 {conditions.temperature_k:g} K", "T")]
    head += [one for field in asked for one in (Heading(f"J/Jref {field:g} T"), Heading("P", "higher"))]
    lines = []
    for sample, own, ratio in shown:
        cells = [sample.name, _bc2(sample, conditions)]
        for k in range(len(asked)):
            text, probability = _own_share(own, k) if sample is reference else _over(own, ratio, k)
            cells += [text.split(" (")[0].split(",")[0], probability]
        lines.append(cells)
    return Table.of(head, lines)


def _bc2(sample: Conductor, conditions: Conditions) -> str:
    band = bc2_curve(sample, conditions.temperature_k, conditions)
    middle, low, high = (float(part[0]) for part in band)
    return concise(middle, 0.5 * (high - low)) if high > 0.0 else "normal"


def current_parts(found: "Sequence[LotCurrents]", temperature_k: float) -> list[Part]:
    """Critical currents in ampere of lots of which one was measured."""
    parts: list[Part] = []
    for one in found:
        whole = bool(one.non_copper)
        head: list[Heading | str] = ["sample"]
        for field in one.field_t:
            head += [Heading(f"Ic {field:g} T", "A (68 %)")]
            head += [Heading(f"Jc {field:g} T", "A/mm2 non-copper")] * whole
        rows = [
            (name, *(cell for k in range(len(one.field_t)) for cell in _ampere(one, name, k, whole)))
            for name in one.current
        ]
        title = f"{one.words}; here at {temperature_k:g} K"
        parts += [Table.of(head, rows, title=title), *(f"{text}." for text in one.remarks), ""]
    return parts


def _ampere(one: "LotCurrents", name: str, k: int, whole: bool) -> list[str]:
    bands = [one.current[name], *([one.non_copper[name]] if whole else [])]
    return [with_interval(*(float(part[k]) for part in band)) for band in bands]


def _normal_ones(samples: Sequence[Conductor], conditions: Conditions) -> list[Part]:
    """Samples above their Tc at the conditions."""
    normal = [
        f"{sample.name} (Tc {float(tc_band(sample, conditions).median):.1f} K)"
        for sample in samples
        if not float(bc2_curve(sample, conditions.temperature_k, conditions).high[0]) > 0.0
    ]
    return [f"Above Tc, carrying nothing at {conditions.temperature_k:g} K: {', '.join(normal)}"] if normal else []


def _flags(samples: Sequence[Conductor], alike: Mapping[str, Conductor]) -> list[str]:
    found = (
        f"{sample.name}: {flag.message}"
        for sample in (*samples, *alike.values())
        for flag in sample.flags
        if flag.name in ("layer-not-uniform", "grain-size-at-least")
    )
    return list(dict.fromkeys(found))


def _critical_fields(
    sections: "Mapping[str, Layer]", samples: Sequence[Conductor], conditions: Conditions
) -> list[Part]:
    """Bc2 of each layer at the conditions, and of its 10th and 90th percentile over the section."""
    designs = [sample.design for sample in samples]
    several = conditions.strain is None and not conditions.design and len(set(designs)) > 1
    rows = []
    for sample in samples:
        bc2 = bc2_curve(sample, conditions.temperature_k, conditions)
        here = float(bc2.high[0]) > 0.0
        section = sections.get(sample.name)
        rows.append(
            (
                sample.name,
                _band(bc2, 0) if here else "normal",
                _tenths(section, conditions) if here else "-",
                _band(Band.of(sample.bc2_0)),
                section.kind if section is not None else "-",
                f"{float(sample.grain.band.median):.0f} nm by {sample.grain.by}",
                *([sample.design or "not known"] if several else []),
            )
        )
    state = f"{conditions.temperature_k:g} K"
    head: list[Heading | tuple[str, str] | str] = ["sample", (f"Bc2, {state}", "T (68 %)")]
    head += [(f"10th, 90th percentile, {state}", "T of the section"), ("Bc2, 0 K, no strain", "T (68 %)")]
    title = f"Upper critical field {conditions.words(designs=designs)}"
    parts: list[Part] = [title]
    if conditions.strain is None and any((conditions.design, *designs)):
        parts.append("Pre-strains of designs are from memory, without a source; --strain gives another.")
    parts += ["", Table.of([*head, "layer", "grains", *["design"] * several], rows), ""]
    normal = _normal_ones(samples, conditions)
    return [*parts, *normal, *[""] * bool(normal)]


def _densities_at(
    k: int, field: float, carried: Sequence[_Carried], conditions: Conditions, reference: Conductor
) -> Table:
    rows = []
    for sample, own, ratio in carried:
        compared = _own_share(own, k) if sample is reference else _over(own, ratio, k)
        rows.append((sample.name, *_densities(own, k), *compared))
    head: list[tuple[str, str] | str] = ["sample", ("J layer", "A/mm2 (68 %)"), ("J non-copper", "A/mm2 (68 %)")]
    head += [(f"J layer over {reference.name}", "median (68 %)"), ("P", "higher")]
    return Table.of(head, rows, title=f"Current density at {field:g} T, {conditions.temperature_k:g} K")


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


def _sizes(samples: Sequence[Conductor], alike: Mapping[str, Conductor]) -> list[str]:
    """Say which kind of size ratios were taken with."""
    if len(samples) < 2:
        return []
    seen = [sample.name for sample in samples if sample.grain.by == MICROSCOPY]
    if len(seen) == len(samples):
        return ["Ratios take grain sizes by microscopy for all samples."]
    if not seen:
        return ["Ratios take domain sizes for all samples."]
    lost = [sample.name for sample in samples if sample.name not in alike]
    without = f"; no ratio with {', '.join(lost)}, whose pattern has no domain size" if lost else ""
    return [
        "Ratios take domain sizes for all samples, as not every one has a grain size by microscopy; densities take "
        f"that where it is given ({len(seen)} of {len(samples)}){without}."
    ]


def _densities(own: LayerCurrent | None, k: int) -> tuple[str, str]:
    """Current over the layer, and over the section without copper where the A15 area is known."""
    if own is None:
        return "-", "-"
    if _normal(own.carries[k]):
        return "0, normal", "-" if own.non_copper is None else "0, normal"
    most = "at most " if own.at_most else ""
    whole = "-" if own.non_copper is None else f"{most}{_density(own.non_copper, k)}"
    return f"{most}{_density(own.layer, k)}", whole


def _own_share(own: LayerCurrent | None, k: int) -> tuple[str, str]:
    """What stands in the place of a ratio in the row of the reference itself."""
    if own is None or _normal(own.carries[k]):
        return "-" if own is None else "-, normal", "-"
    return "1" if own.carries[k] >= SURE else f"1, normal in {_percent(1.0 - own.carries[k])} of the draws", "-"


def _over(own: LayerCurrent | None, ratio: RelativeCurrent | None, k: int) -> tuple[str, str]:
    """Ratio to the reference, or why there is none, and the probability of more."""
    if own is None or ratio is None:
        return "-", "-"
    text = _times(ratio.ratio, k)
    if text == "-":
        text = f"-, reference normal in {_percent(1.0 - ratio.reference_carries[k])} of the draws"
    both = _normal(own.carries[k]) and _normal(ratio.reference_carries[k])
    return text, "-" if both else f"{float(ratio.probability_larger[k]):.2f}"


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
    one, two, three = (f"{x:.2f}" if x < _MOST_TIMES else f"over {_MOST_TIMES:g}" for x in (middle, low, high))
    return f"{one} ({two} to {three})"


def _normal(carries: float) -> bool:
    """Whether a layer that carries anything in this share of the draws counts as normal: its 68 % interval is zero."""
    return carries <= 1.0 - SURE


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


_READING = (
    "J layer: over the A15 area. J non-copper: times the share of A15 in the section without copper, where study.toml "
    "gives it.",
    "The interval of J holds the uncertainty of Bc2, of the grain size and of the level of the pinning force, in which "
    "processes differ by a third. Cracks and broken filaments are in no interval.",
    "Between two samples most of it cancels: the ratio is the number to use. P: probability of carrying more than the "
    "reference. No ratio is given where the reference is normal in more than 16 % of the draws.",
)
