"""Field, temperature and strain: what the samples of a study would carry, and where they change places."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from xrdorder.cli.cautions import ESTIMATES
from xrdorder.cli.options import POSITIVE, figures_saved, strain_options
from xrdorder.cli.program import complain
from xrdorder.cli.progress import Progress
from xrdorder.exceptions import XrdorderError
from xrdorder.quantities.formatting import with_interval

if TYPE_CHECKING:
    from xrdorder.superconductivity.currents import Conditions, Conductor, LayerCurrent, RelativeCurrent
    from xrdorder.superconductivity.layers import Layer
    from xrdorder.superconductivity.mixture import Band

_MOST_TIMES = 100.0  # of the reference: beyond, that carries nothing one could compare with
_MOST_DRAWN = 6  # curves that a figure can keep apart
FIELDS_T = (8.0, 12.0, 16.0)


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--field", "fields_t", type=POSITIVE, multiple=True, help="In T; may be repeated. Left out: 8, 12, 16.")
@click.option("--temperature", "temperature_k", type=POSITIVE, default=4.2, show_default=True, help="In K.")
@strain_options
@click.option("--sample", "names", multiple=True, help="Sample to look at; may be repeated. Left out: all.")
@click.option("--reference", default="", help="Sample to compare currents with; left out: the first.")
@figures_saved("Bc2, currents and superconducting section of up to six samples as figures in results/figures")
def fields(
    study: Path,
    fields_t: tuple[float, ...],
    temperature_k: float,
    strain: float | None,
    design: str,
    names: tuple[str, ...],
    reference: str,
    figures: bool,
) -> None:
    """Estimate Bc2 and current at field, temperature and strain for the samples of a fitted STUDY.

    Bc2 of the layer and how it spreads over it, current density against a reference sample (what both share cancels),
    and the field at which two samples change places. Grain sizes by microscopy and A15 areas given in study.toml go
    before what the pattern tells. Nothing is fitted again.
    """
    from xrdorder.cli.tables import own_line
    from xrdorder.comparison.study import fit_to_compare
    from xrdorder.estimates.conductors import conductors, layers, with_like_sizes
    from xrdorder.results.open_study import open_study
    from xrdorder.superconductivity.currents import Conditions

    held = open_study(study)
    if words := held.difference:
        complain(f"remark: {words}")
    library = held.library()
    conditions = Conditions(temperature_k, strain=strain, design=design)
    designs = {sample.name: sample.lot.design for sample in held.study.samples}
    asked = tuple(sorted(set(fields_t or FIELDS_T)))
    chosen = tuple(dict.fromkeys((reference, *names))) if names and reference else names
    # a sample asked for by name is shown whatever its fit is worth, and its verdict with it
    fit, unfit = fit_to_compare(held.results)
    results = held.results if chosen or reference in unfit else fit
    with Progress("estimating") as progress:
        progress(0, 3, "layers")
        sections = layers(results, chosen, library=library, designs=designs)
        progress(1, 3, "currents")
        samples = conductors(results, chosen, library=library, designs=designs)
        against = _first(samples, reference)
        alike = {sample.name: sample for sample in with_like_sizes(samples, results)}
        lines = [
            *_critical_fields(sections, samples, conditions),
            *_currents(samples, alike, conditions, asked, against),
        ]
        progress(3, 3, "currents")
    click.echo("\n".join([*lines, *own_line(held.results)]))
    for name, reason in unfit.items():
        if not chosen or name in chosen:
            click.echo(f"{'Left out' if results is fit else 'In doubt'}: {name} ({reason})")
    carry = {sample.name for sample in samples}
    for name in map(str, results["sample"].values) if not chosen else ():
        if name not in carry:
            lacks = "no grain size, so no current" if name in sections else "no tin content, so no Tc and no Bc2"
            click.echo(f"Left out: {name} ({lacks})")
    if figures:
        folder = study / "results" / "figures"
        shown = [against, *(sample for sample in samples if sample is not against)]
        click.echo("")
        for line in _draw(folder, shown[:_MOST_DRAWN], alike, sections, conditions):
            click.echo(line)
        if len(samples) > _MOST_DRAWN:
            click.echo(f"             of the first {_MOST_DRAWN} samples; --sample chooses others")
    click.echo(f"\n{ESTIMATES}")


def _first(samples: "Sequence[Conductor]", reference: str) -> "Conductor":
    if not reference:
        return samples[0]
    for sample in samples:
        if sample.name == reference:
            return sample
    known = ", ".join(sample.name for sample in samples)
    raise XrdorderError(f"no sample '{reference}' to compare with; those with tin and grain size are: {known}")


def _density(band: "Band", k: int) -> str:
    """Median and 68 % interval of a current density, to three digits.

    >>> from xrdorder.superconductivity.mixture import Band
    >>> import numpy as np
    >>> _density(Band(np.array([10549.0]), np.array([938.4]), np.array([13280.0])), 0)
    '10500 (938 to 13300)'
    """
    middle, low, high = (f"{float(f'{float(x[k]):.3g}'):.0f}" for x in band)
    return f"{middle} ({low} to {high})"


def _band(band: "Band", k: int | None = None) -> str:
    """Median and 68 % interval.

    >>> from xrdorder.superconductivity.mixture import Band
    >>> import numpy as np
    >>> _band(Band(np.array(25.04), np.array(23.1), np.array(26.6)))
    '25.0 (23.1 to 26.6)'
    """
    middle, low, high = (float(x if k is None else x[k]) for x in band)
    return with_interval(middle, low, high)


def _critical_fields(
    sections: "dict[str, Layer]", samples: "Sequence[Conductor]", conditions: "Conditions"
) -> list[str]:
    """Bc2 of each layer at the conditions, and of its worst and best tenth."""
    from xrdorder.cli.tables import table, wrapped
    from xrdorder.superconductivity.currents import bc2_curve, tc_band
    from xrdorder.superconductivity.mixture import Band

    designs = [sample.design for sample in samples]
    told = conditions.strain is None and not conditions.design and len(set(designs)) > 1
    rows, normal = [], []
    for sample in samples:
        bc2 = bc2_curve(sample, conditions.temperature_k, conditions)
        here = float(bc2.high[0]) > 0.0
        if not here:
            normal.append(f"{sample.name} (Tc {float(tc_band(sample, conditions).median):.1f} K)")
        section = sections.get(sample.name)
        rows.append(
            (
                sample.name,
                _band(bc2, 0) if here else "normal",
                _tenths(section, conditions) if here else "-",
                _band(Band.of(sample.bc2_0)),
                section.kind if section is not None else "-",
                f"{float(sample.grain.band.median):.0f} nm by {sample.grain.by}",
                *([sample.design or "not known"] if told else []),
            )
        )
    state = f"{conditions.temperature_k:g} K"
    head: tuple[str, ...] = ("sample", f"Bc2, {state}", f"worst, best tenth, {state}", "Bc2, 0 K, no strain", "layer")
    units: tuple[str, ...] = ("", "T (68 %)", "T of the section", "T (68 %)", "")
    more = ("grains", *(["design"] if told else []))
    lines = [wrapped(f"Upper critical field {conditions.words(designs=designs)}"), ""]
    if conditions.strain is None and any((conditions.design, *designs)):
        lines.insert(1, wrapped("Pre-strains of designs are from memory, without a source; --strain gives another."))
    lines += [table(((*head, *more), (*units, *("" for _ in more))), rows), ""]
    if normal:
        lines += [wrapped(f"Above Tc, carrying nothing at {state}: {', '.join(normal)}"), ""]
    return lines


def _tenths(section: "Layer | None", conditions: "Conditions") -> str:
    """Bc2 at the conditions that a tenth of the section does not reach, and that a tenth exceeds."""
    from xrdorder.superconductivity.layers import UNIFORM

    if section is None:
        return "-"
    if section.kind == UNIFORM:
        return "the same"
    spread = section.over_section(section.bc2(conditions.temperature_k, section.under(conditions)))
    return f"{float(spread.worst_decile.median):.1f} to {float(spread.best_decile.median):.1f}"


def _currents(
    samples: "Sequence[Conductor]",
    alike: "Mapping[str, Conductor]",
    conditions: "Conditions",
    asked: Sequence[float],
    reference: "Conductor",
) -> list[str]:
    """A table of currents for each field, where curves cross, and how to read it.

    Ratios and crossings are those of `alike`, the samples with sizes of one kind.
    """
    from xrdorder.cli.tables import table, wrapped
    from xrdorder.exceptions import ValidityError
    from xrdorder.superconductivity.currents import bc2_curve, crossing, layer_current, relative_current

    def carries(sample: "Conductor") -> bool:
        return float(bc2_curve(sample, conditions.temperature_k, conditions).high[0]) > 0.0

    rows: list[list[tuple[str, ...]]] = [[] for _ in asked]
    crossings, refused = [], []
    alive = carries(reference)
    for sample in samples:
        own = ratio = None
        try:
            own = layer_current(sample, list(asked), conditions)
            if sample is not reference and sample.name in alike and reference.name in alike:
                pair = alike[sample.name], alike[reference.name]
                ratio = relative_current(*pair, list(asked), conditions)
                if alive and carries(sample):  # normal layers change no places
                    crossings.append(crossing(*pair, conditions).words)
        except ValidityError as error:
            refused.append(f"{sample.name}: {error}")
        for k, place in enumerate(rows):
            compared = _own_share(own, k) if sample is reference else _over(own, ratio, k)
            place.append((sample.name, *_densities(own, k), *compared))
    lines = []
    for b, place in zip(asked, rows, strict=True):
        head = ("sample", "J layer", "J non-copper", f"J layer over {reference.name}", "P")
        units = ("", "A/mm2 (68 %)", "A/mm2 (68 %)", "median (68 %)", "")
        lines += [f"Current density at {b:g} T, {conditions.temperature_k:g} K", "", table((head, units), place), ""]
    lines += [*crossings, ""] if crossings else []
    lines += [wrapped(remark) for remark in (*_READING, *_sizes(samples, alike), *dict.fromkeys(refused))]
    told = dict.fromkeys(
        f"{sample.name}: {flag.message}"
        for sample in (*samples, *alike.values())
        for flag in sample.flags
        if flag.name in ("layer-not-uniform", "grain-size-at-least")
    )
    return [*lines, *(wrapped(remark) for remark in told)]


def _sizes(samples: "Sequence[Conductor]", alike: "Mapping[str, Conductor]") -> list[str]:
    """Say which kind of size ratios were taken with."""
    from xrdorder.superconductivity.pinning import MICROSCOPY

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


def _densities(own: "LayerCurrent | None", k: int) -> tuple[str, str]:
    """Current over the layer, and over the section without copper where the A15 area is known."""
    if own is None:
        return "-", "-"
    if _normal(own.carries[k]):
        return "0, normal", "-" if own.non_copper is None else "0, normal"
    most = "at most " if own.at_most else ""
    whole = "-" if own.non_copper is None else f"{most}{_density(own.non_copper, k)}"
    return f"{most}{_density(own.layer, k)}", whole


def _own_share(own: "LayerCurrent | None", k: int) -> tuple[str, str]:
    """What stands in the place of a ratio in the row of the reference itself."""
    from xrdorder.superconductivity.currents import SURE

    if own is None or _normal(own.carries[k]):
        return "-" if own is None else "-, normal", "-"
    return "1" if own.carries[k] >= SURE else f"1, normal in {_percent(1.0 - own.carries[k])} of the draws", "-"


def _over(own: "LayerCurrent | None", ratio: "RelativeCurrent | None", k: int) -> tuple[str, str]:
    """Ratio to the reference, or why there is none, and the probability of more."""
    if own is None or ratio is None:
        return "-", "-"
    text = _times(ratio.ratio, k)
    if text == "-":
        text = f"-, reference normal in {_percent(1.0 - ratio.reference_carries[k])} of the draws"
    both = _normal(own.carries[k]) and _normal(ratio.reference_carries[k])
    return text, "-" if both else f"{float(ratio.probability_larger[k]):.2f}"


def _times(band: "Band", k: int) -> str:
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
    from xrdorder.superconductivity.currents import SURE

    return carries <= 1.0 - SURE


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


_READING = (
    "J layer: over the A15 area. J non-copper: times the share of A15 in the section without copper, where study.toml "
    "gives it.",
    "The interval of J holds the doubt about Bc2, about the grain size and about the level of the pinning force, in "
    "which processes differ by a third. Cracks and broken filaments are in no interval.",
    "Between two samples most of it cancels: the ratio is the number to use. P: probability of carrying more than the "
    "reference. No ratio is given where the reference is normal in more than 16 % of the draws.",
)


def _draw(
    folder: Path,
    samples: "Sequence[Conductor]",
    alike: "Mapping[str, Conductor]",
    sections: "dict[str, Layer]",
    conditions: "Conditions",
) -> list[str]:
    """Save the figures, the first sample as the reference, and say which."""
    from xrdorder.cli.drawing import save
    from xrdorder.figures import bc2_figure, current_figure, section_figure

    drawn, without = ["bc2"], ""
    save(bc2_figure(samples, conditions), folder / "bc2.png")
    if len(samples) > 1:
        compared = [alike[sample.name] for sample in samples if sample.name in alike]
        try:
            save(current_figure(compared, conditions, reference=samples[0].name), folder / "currents.png")
            drawn.append("currents")
        except XrdorderError as error:
            without = f"; no currents: {error}"
    layers = {sample.name: sections[sample.name] for sample in samples if sample.name in sections}
    if layers:
        save(section_figure(layers, conditions), folder / "section.png")
        drawn.append("section")
    return [f"Figures      {folder} ({', '.join(drawn)}){without}"]
