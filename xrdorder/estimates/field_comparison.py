"""What the samples of a study carry at field, temperature and strain, against one of them as the reference."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import xarray as xr

from xrdorder.display import Displayed
from xrdorder.estimates.anchored_currents import LotCurrents, anchored_currents
from xrdorder.estimates.conductors import conductors, layers, with_like_sizes
from xrdorder.exceptions import ValidityError, XrdorderError
from xrdorder.relations import PUBLISHED, Library
from xrdorder.results.study_table import by_temperature
from xrdorder.superconductivity.currents import (
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
from xrdorder.superconductivity.layers import Layer
from xrdorder.superconductivity.pinning import MICROSCOPY


class Carried(NamedTuple):
    """What a sample carries, by field, and over the reference; None where it cannot be told."""

    sample: Conductor
    own: LayerCurrent | None
    ratio: RelativeCurrent | None

    def over(self, k: int) -> float:
        """Median ratio to the reference at the k-th field; NaN where there is none."""
        return float(self.ratio.ratio.median[k]) if self.ratio is not None else float("nan")


@dataclass(frozen=True)
class FieldComparison(Displayed, view="fields"):
    """Samples of a study at field, temperature and strain.

    Attributes
    ----------
    conditions : Conditions
    fields_t : tuple of float
        Ascending.
    reference : Conductor
    named : tuple of str
        Samples that were asked for.
    carried : tuple of Carried
        By lot and reaction temperature.
    alike : dict of str to Conductor
        Those whose sizes are of one kind, which ratios and crossings are taken of.
    sections : dict of str to Layer
        How Tc and Bc2 spread over the layer of each sample.
    currents : tuple of LotCurrents
        In ampere, of lots of which one was measured.
    crossings : tuple of str
        In words, where curves cross that of the reference.
    refused : tuple of str
        Why some currents cannot be told.
    """

    conditions: Conditions
    fields_t: tuple[float, ...]
    reference: Conductor
    named: tuple[str, ...]
    carried: tuple[Carried, ...]
    alike: Mapping[str, Conductor]
    sections: Mapping[str, Layer]
    currents: tuple[LotCurrents, ...]
    crossings: tuple[str, ...]
    refused: tuple[str, ...]

    @property
    def samples(self) -> tuple[Conductor, ...]:
        """All samples."""
        return tuple(conductor.sample for conductor in self.carried)

    def leaders(self, k: int) -> list[Carried]:
        """Samples by their current over that of the reference at the k-th field, the largest first."""
        known = [conductor for conductor in self.carried if np.isfinite(conductor.over(k))]
        return sorted(known, key=lambda conductor: -conductor.over(k))

    def chosen(self, most: int) -> list[Carried]:
        """The reference, what was asked for, and the leaders at every field, no more than so many; by their order."""
        by_name = {conductor.sample.name: conductor for conductor in self.carried}
        wanted = [self.reference.name, *(name for name in self.named if name in by_name)]
        leaders = [self.leaders(k) for k in range(len(self.fields_t))]
        for rank in range(len(self.carried)):
            wanted += [of[rank].sample.name for of in leaders if rank < len(of)]
        kept = set(list(dict.fromkeys([*wanted, *by_name]))[:most])
        return [conductor for name, conductor in by_name.items() if name in kept]

    def normal(self) -> list[str]:
        """Samples above their Tc at the conditions, with it."""
        return [
            f"{sample.name} (Tc {float(tc_band(sample, self.conditions).median):.1f} K)"
            for sample in self.samples
            if not _superconducting(sample, self.conditions)
        ]

    def remarks(self) -> Iterator[str]:
        """Which sizes ratios were taken with, what cannot be told, flags of layers and sizes."""
        if sizes := _sizes(self.samples, self.alike):
            yield sizes
        yield from dict.fromkeys(self.refused)
        flags = (
            f"{sample.name}: {flag.message}"
            for sample in (*self.samples, *self.alike.values())
            for flag in sample.flags
            if flag.name in ("layer-not-uniform", "grain-size-at-least")
        )
        yield from dict.fromkeys(flags)


def compare_in_field(
    results: xr.Dataset,
    fields_t: Sequence[float],
    conditions: Conditions | None = None,
    *,
    names: Sequence[str] = (),
    reference: str = "",
    library: Library = PUBLISHED,
    designs: Mapping[str, str] | None = None,
) -> FieldComparison:
    """Compare the samples of a study at field, temperature and strain.

    Parameters
    ----------
    results : Dataset
        Collated results.
    fields_t : sequence of float
        In T, above zero.
    conditions : Conditions, optional
        4.2 K and the pre-strain of the wires unless given.
    names : sequence of str
        Samples; all unless given.
    reference : str
        Sample that currents are compared with; the first that has one unless given.
    library : Library
    designs : mapping of str to str, optional
        Design of the wire of each sample.

    Raises
    ------
    UnknownNameError, ValidityError
        There is no such sample, or none has what currents need.
    XrdorderError
        The reference has no tin or no grain size.
    """
    conditions, asked = conditions or Conditions(), tuple(sorted(set(fields_t)))
    chosen = tuple(dict.fromkeys((reference, *names))) if names and reference else tuple(names)
    sections = layers(results, chosen, library=library, designs=designs)
    samples = conductors(results, chosen, library=library, designs=designs)
    against = _named(samples, reference)
    alike = {sample.name: sample for sample in with_like_sizes(samples, results)}
    carried, crossings, refused = [], [], []
    for sample in samples:
        own = ratio = None
        try:
            own = layer_current(sample, list(asked), conditions)
            if sample is not against and {sample.name, against.name} <= alike.keys():
                pair = alike[sample.name], alike[against.name]
                ratio = relative_current(*pair, list(asked), conditions)
                if all(
                    _superconducting(conductor, conditions) for conductor in (against, sample)
                ):  # normal layers cross nothing
                    crossings.append(crossing(*pair, conditions).words)
        except ValidityError as error:
            refused.append(f"{sample.name}: {error}")
        carried.append(Carried(sample, own, ratio))
    place = {str(results["sample"].values[k]): rank for rank, k in enumerate(by_temperature(results))}
    carried.sort(key=lambda conductor: place[conductor.sample.name])
    return FieldComparison(
        conditions, asked, against, chosen, tuple(carried), alike, sections,
        anchored_currents(list(alike.values()), results, asked, conditions), tuple(crossings), tuple(refused),
    )  # fmt: skip


def _superconducting(sample: Conductor, conditions: Conditions) -> bool:
    return float(bc2_curve(sample, conditions.temperature_k, conditions).high[0]) > 0.0


def _named(samples: Sequence[Conductor], name: str) -> Conductor:
    match = next((sample for sample in samples if name in ("", sample.name)), None)
    if match is None:
        known = ", ".join(sample.name for sample in samples)
        raise XrdorderError(f"no sample '{name}' to compare with; those with tin and grain size are: {known}")
    return match


def _sizes(samples: Sequence[Conductor], alike: Mapping[str, Conductor]) -> str:
    """Say which kind of size ratios were taken with."""
    if len(samples) < 2:
        return ""
    seen = [sample.name for sample in samples if sample.grain.by == MICROSCOPY]
    if len(seen) == len(samples):
        return "Ratios take grain sizes by microscopy for all samples."
    if not seen:
        return "Ratios take domain sizes for all samples."
    lost = [sample.name for sample in samples if sample.name not in alike]
    without = f"; no ratio with {', '.join(lost)}, whose pattern has no domain size" if lost else ""
    return (
        "Ratios take domain sizes for all samples, as not every one has a grain size by microscopy; densities take "
        f"that where it is given ({len(seen)} of {len(samples)}){without}."
    )
