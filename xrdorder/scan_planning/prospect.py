"""A specimen on an instrument, and how long the scan of it takes: all that plans start from."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from xrdorder.crystals import A15Composition
from xrdorder.exceptions import FitError, ValidityError
from xrdorder.fitting import DEFAULT_COMPOSITION, DEFAULT_PHASES, FitOptions, PatternFit
from xrdorder.fitting.effects import EFFECTS
from xrdorder.fitting.pattern_fit import assemble
from xrdorder.fitting.procedure import Procedure
from xrdorder.fitting.whole_pattern import prepare
from xrdorder.forward_model.parameter_map import set_values
from xrdorder.forward_model.roles import Kind, role_of
from xrdorder.material import Material, Specimen, characterise
from xrdorder.profiles import Instrument
from xrdorder.simulation import Described, expected_pattern, settled_on
from xrdorder.uncertainty import Array, Contributions

_COUNTED = (Kind.SCALE, Kind.AREA, Kind.BACKGROUND)
"""Parameters that grow with the counting time."""

_OPTIONS = FitOptions(cross_checks=False)


@dataclass(frozen=True)
class Prospect:
    """A specimen on an instrument.

    Attributes
    ----------
    job : Procedure
        A fit that rests on the expected counts of the scan.
    pattern : xarray.DataArray
        Expected counts.
    instrument : Instrument
    composition : A15Composition
        Held for the mean scattering.
    specimen : Specimen
        What the analysis is told of the wire.
    measured : xarray.DataArray or None
        The quick scan, where there was one.
    """

    job: Procedure
    pattern: xr.DataArray
    instrument: Instrument
    composition: A15Composition
    specimen: Specimen
    measured: xr.DataArray | None = None

    @classmethod
    def of_description(cls, described: Described, instrument: Instrument) -> Prospect:
        """Expect what the forward model makes of a description.

        Raises
        ------
        XrdorderError
            The description does not fit the instrument.
        """
        pattern, job = expected_pattern(described, instrument)
        return cls(job, pattern, instrument, described.composition, described.specimen())

    @classmethod
    def of_quick_scan(
        cls,
        pattern: xr.DataArray,
        instrument: Instrument,
        *,
        specimen: Specimen | None = None,
        phases: Sequence[str] = DEFAULT_PHASES,
        specimen_length_mm: float | None = None,
        divergence_deg: float | None = None,
    ) -> Prospect:
        """Fit a quick scan: it gives count rates, background and lines as they are.

        Raises
        ------
        FitError
            The A15 does not stand out in it: count longer.
        """
        if pattern.attrs.get("intensity_kind", "counts") != "counts":
            raise FitError("the quick scan holds no counts, so its noise says nothing; give counts as measured")
        specimen = specimen or Specimen(mount="ground-powder", lot="lot")
        composition = replace(DEFAULT_COMPOSITION, dopants=specimen.dopants,
                              on_tin_site=dict(specimen.on_tin_site or {}))  # fmt: skip
        job = prepare(
            pattern,
            instrument,
            phases=phases,
            composition=composition,
            specimen_length_mm=specimen_length_mm,
            divergence_deg=divergence_deg,
            options=_OPTIONS,
        )
        job.search()
        job.refine(EFFECTS)
        if job.main.phase.order is None or job.main not in job.present():
            raise FitError("the A15 does not stand out in the quick scan; count longer, or check radiation and phases")
        expected, rested = settled_on(job, pattern)
        return cls(rested, expected, instrument, composition, specimen, pattern)

    @property
    def seconds(self) -> float:
        """How long the scan takes: the counting times of its points together."""
        return float(np.sum(self.pattern["counting_time"].values))

    @property
    def two_theta(self) -> Array:
        """Measuring points, degrees."""
        return self.job.two_theta

    def counted(self, factor: float) -> Prospect:
        """Give the same scan counted `factor` times as long.

        Raises
        ------
        ValidityError
            The factor is not above zero.
        """
        if not 0.0 < factor < float("inf"):
            raise ValidityError(f"a scan cannot be counted {factor:g} times as long; give a number above zero")
        longer = copy.copy(self.job)
        longer.parameters = copy.deepcopy(self.job.parameters)
        grown = {
            name: factor * parameter.value
            for name, parameter in longer.parameters.items()
            if role_of(longer.parameters, name).kind in _COUNTED and not parameter.expr
        }
        set_values(longer.parameters, grown)
        time = self.pattern["counting_time"]
        pattern = self.pattern.assign_coords(counting_time=time.copy(data=factor * time.values))
        expected, rested = settled_on(longer, pattern)
        return replace(self, job=rested, pattern=expected)

    def fit(self) -> PatternFit:
        """What a fit of the expected counts hands on, without its noise."""
        return assemble(self.job, self.instrument, self.composition)

    def material(self, fit: PatternFit, contributions: Contributions | None = None) -> Material:
        """What is made of a fit; `contributions` in place of its own where they are given."""
        return characterise(
            fit.values,
            fit.contributions if contributions is None else contributions,
            self.specimen,
            radiation=self.job.optics.radiation,
            a15=fit.a15,
            tin_held=fit.tin_held,
            by_tin=fit.by_tin,
            two_theta_range=self.job.range,
        )


def within(pattern: xr.DataArray, from_deg: float, to_deg: float) -> xr.DataArray:
    """Cut a range out of a quick scan.

    Raises
    ------
    ValidityError
        The quick scan does not reach so far: nothing is known there.
    """
    two_theta = pattern["two_theta"].values
    first, last = float(two_theta[0]), float(two_theta[-1])
    if not (first - 1e-6 <= from_deg < to_deg - 10.0 and to_deg <= last + 1e-6):
        raise ValidityError(
            f"range {from_deg:g} to {to_deg:g} degrees: the quick scan covers {first:g} to {last:g}; choose 10 degrees "
            "or more within it, or measure a wider quick scan"
        )
    return pattern[(two_theta >= from_deg - 1e-9) & (two_theta <= to_deg + 1e-9)]
