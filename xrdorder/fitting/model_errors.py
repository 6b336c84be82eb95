"""Errors of the model that no parameter describes; each is one source of uncertainty."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from xrdorder.exceptions import ValidityError
from xrdorder.fitting.derived import functions
from xrdorder.fitting.niobium_tantalum import NIOBIUM_TANTALUM
from xrdorder.fitting.procedure import Procedure
from xrdorder.forward_model.amounts import masses
from xrdorder.forward_model.microabsorption import weight_factors
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.least_squares.score_test import ScoreTest
from xrdorder.profiles import Instrument
from xrdorder.quantities.of_phase import WEIGHT_FRACTION
from xrdorder.xrays import U_CHARGE_TRANSFER, U_DISPERSION_DIFFERENCE, ScatteringTable
from xrdorder.xrays.scattering import MeasuredDispersion, second_table

Array = NDArray[np.float64]

_U_LENGTH_MM = 0.5  # a specimen in its holder is not cut better; judged, no source
_SIZE, _SIZES = "lorentz_sec", "size distribution"
# Of the mean domain size. Spheres and columns whose sizes are lognormal by 0.15 to 0.75, and two generations of them,
# come out between 9 % small and 3 % large from exact counts (tests/recovery/test_sizes.py). Grains that grow normally
# keep the form of their distribution (M. Hillert, Acta Metall. 13 (1965) 227, from memory), so most of it is common.
_U_SIZES_COMMON, _U_SIZES_OWN = 0.05, 0.03
# What an instrument broader than the lines of sizes does not show of them: it sees the slope of the Fourier
# coefficients at zero, so that a size comes out at twice the area-weighted length, R = 1 to 2 times the volume-weighted
# one (1 for a Lorentzian, 1.1 to 2 for lognormal spheres and columns; computed). Root mean square of R - 1, R even.
_MOST_HIDDEN = 0.58
# Of a Lorentz line, by the squared ratio of full widths: what a small Gaussian part adds to the integral breadth.
_BREADTH_BY_GAUSS = 0.5 / math.log(2.0)
_SCATTERING, _CHARGE = "scattering table", "charge transfer"
_SAME_LATTICE, _SAME_SCALE = 2e-4, 0.2  # relative
_USUAL_GRAIN_UM = 2.0  # filaments are some micrometres thick, and so is what grinding leaves; judged, no source


@dataclass(frozen=True)
class ModelError:
    """One standard uncertainty of something.

    Attributes
    ----------
    source, group
        What it is, and who shares it (`xrdorder.uncertainty`).
    change
        By how much it would change the calculated counts, shape (n,); None if it acts otherwise.
    direct
        How quantities change at once, whatever the counts.
    """

    source: str
    group: str
    change: Array | None = None
    direct: Mapping[str, float] = field(default_factory=dict)


class Changes:
    """Changes of the counts by other optics, kept from pattern to pattern of a series.

    A phase's change goes with its scale. It is evaluated anew once a lattice has moved by a tenth of the width of a
    line, or a scale by a fifth: no uncertainty of a simulated furnace run moved by more than 0.6 %.
    """

    def __init__(self) -> None:
        self._kept: dict[tuple[str, str], tuple[Array, Array]] = {}

    def by(self, job: Procedure, phases: list[PhaseLines], source: str, **optics: object) -> Array:
        """Change of the counts, shape (n,), when these phases are seen by other optics (fields of `Optics`)."""
        values = job.fit.values()
        total = np.zeros_like(job.two_theta)
        for lines in phases:
            lengths, scale = _lengths(lines, values), values[lines.scale_name]
            point, kept = np.array([scale, *lengths]), self._kept.get((source, lines.scale_name))
            far = point * np.array([_SAME_SCALE, *(_SAME_LATTICE,) * len(lengths)])
            if kept is None or np.any(np.abs(point - kept[0]) > far):
                other = lines.with_optics(lengths, **optics)
                kept = point, job.model.part(other, values) - job.model.part(lines, values)
                self._kept[source, lines.scale_name] = kept
            total += scale / kept[0][0] * kept[1] if scale else 0.0
        return total


def model_errors(
    job: Procedure, instrument: Instrument, a15: PhaseLines | None, changes: Changes | None = None
) -> list[ModelError]:
    """Model errors of a finished fit.

    Parameters
    ----------
    job
        At its minimum.
    instrument
        Names the radiation that samples share.
    a15
        Lines of the A15, None when there is none.
    changes
        Of the pattern before in a series.
    """
    changes = changes or Changes()
    errors = [_illuminated_length(job, changes)]
    measured = job.options.measured_dispersion
    if a15 is not None and a15.phase.order is not None and not set(a15.phase.order.elements) <= set(measured):
        tables = f"{_SCATTERING}/order"
        errors.append(_order_difference(job, changes, a15, tables, instrument.radiation, U_DISPERSION_DIFFERENCE))
    if a15 is not None and a15.phase.order is not None:
        errors.append(_order_difference(job, changes, a15, _CHARGE, _CHARGE, U_CHARGE_TRANSFER))
    errors.append(_other_table(job, changes, instrument))
    errors.append(_microabsorption(job))
    errors.append(_niobium_or_tantalum(job))
    errors.append(_transparency(job))
    errors.append(_smoothing(job))
    errors += _size_distribution(job) if a15 is not None else []
    if job.u_shape_nm:
        errors.append(ModelError("lattice distribution/form", "", None, {"a_nm": job.u_shape_nm}))
    return [error for error in errors if error is not None]


def contrast_by_second_table(job: Procedure, a15: PhaseLines, contrast: float) -> float | None:
    """Order contrast that the pattern would give with the second scattering table; None where there is no table.

    The order lines go with contrast squared times |f_Sn - f_Nb| squared; what the other lines do to the scale is left
    out, as all lines of a table follow its f0.
    """
    other = second_table(job.optics.radiation.energy_ev)
    if other is None or a15.phase.order is None:
        return None
    values = job.fit.values()
    here, _ = a15.intensities(values)
    there, _ = a15.with_optics(_lengths(a15, values), table=other).intensities(values)
    weakest = int(np.argmin(here * a15.multiplicity / a15.spacing_nm(values) ** -2))
    if not there[weakest] > 0.0:  # no contrast at all
        return None
    return contrast * float(np.sqrt(here[weakest] / there[weakest]))


def _lengths(lines: PhaseLines, values: Mapping[str, float]) -> tuple[float, ...]:
    return tuple(values[name] for name in lines.length_names)


def _illuminated_length(job: Procedure, changes: Changes) -> ModelError | None:
    """Half a millimetre of specimen, where the beam is longer than it."""
    geometry = job.optics.geometry
    length = geometry.specimen_length_mm
    if length is None or np.all(geometry.lit_fraction(np.radians(0.5 * job.two_theta)) >= 1.0):
        return None
    longer = replace(geometry, specimen_length_mm=length + _U_LENGTH_MM)
    return ModelError("illuminated length", "", changes.by(job, job.present(), "length", geometry=longer))


def _transparency(job: Procedure) -> ModelError | None:
    """Shift by rays that go deep, where it was held."""
    u = job.u_transparency_deg
    if not u:
        return None
    (slope,) = job.fit.derivatives(["transparency_deg"]).T
    return ModelError("specimen displacement/transparency", "", u * slope)


def _order_difference(
    job: Procedure, changes: Changes, a15: PhaseLines, source: str, group: str, electrons: float
) -> ModelError:
    """f(Sn) - f(Nb) larger by so many electrons: the spread of f' between published tables, or charge transfer."""
    assert a15.phase.order is not None
    tin, _ = a15.phase.order.elements
    table, energy = job.optics.table, job.optics.radiation.energy_ev
    first, second = table.anomalous(tin, energy)
    shifted = MeasuredDispersion(table, {tin: (first + electrons, second)})
    return ModelError(source, group, changes.by(job, [a15], source, table=shifted))


def _other_table(job: Procedure, changes: Changes, instrument: Instrument) -> ModelError | None:
    """Another published table for the phases beside the A15, whose amounts hang on it."""
    other: ScatteringTable | None = second_table(job.optics.radiation.energy_ev)
    rest = [lines for lines in job.weighed() if lines.phase.order is None]
    if other is None or not rest:
        return None
    source = f"{_SCATTERING}/amounts"
    return ModelError(source, instrument.radiation, changes.by(job, rest, source, table=other))


def _shares(job: Procedure) -> dict[str, float]:
    """Weight fractions as the fit has them, by phase."""
    every = masses(job.weighed(), job.second_population(), job.fit.values())
    total = sum(every.values())
    return {name: mass / total for name, mass in every.items()}


def microabsorption_factors(job: Procedure, size_um: float) -> dict[str, float]:
    """Factors on the weight fractions for absorption within the grains, by phase.

    Raises
    ------
    ValidityError
        Grains too coarse for the theory.
    """
    weighed, values = job.weighed(), job.fit.values()
    return weight_factors(
        {x.phase.name: x.attenuation_per_nm for x in weighed},
        _shares(job),
        1e3 * size_um,
        {x.phase.name: x.phase.density_g_cm3(_lengths(x, values)) for x in weighed},
    )


def _microabsorption(job: Procedure) -> ModelError | None:
    """Grains of unknown size; half of the correction where their size was given."""
    given = job.options.particle_size_um
    if len(job.weighed()) < 2 or job.optics.geometry.kind != "reflection":
        return None
    try:
        factors = microabsorption_factors(job, given or _USUAL_GRAIN_UM)
    except ValidityError:
        return None
    relative = 0.5 if given else 1.0
    shares = _shares(job)
    direct = {WEIGHT_FRACTION.of(n): relative * (f - 1.0) * shares[n] for n, f in factors.items()}
    return ModelError("microabsorption", "", None, direct)


def _size_distribution(job: Procedure) -> list[ModelError]:
    """What a Voigt line makes of sizes that are distributed otherwise, and how far samples differ in that."""
    values, main = job.fit.values(), job.main
    of = {name: f for name, f in functions([], [], main, job.second_population(), job.taken).items() if _SIZE in name}
    widths = {name: max(f(values), 0.0) for name, f in of.items()}
    errors = [
        ModelError(f"{_SIZES}/{who}", group, None, {name: share * width for name, width in widths.items()})
        for who, group, share in (("all", _SIZES, _U_SIZES_COMMON), ("sample", "", _U_SIZES_OWN))
    ]
    gauss = main.size_gauss_name
    if gauss and gauss not in job.taken and main in job.present():
        errors.append(_rounder_lines(job, gauss, widths))
    return errors


def _rounder_lines(job: Procedure, gauss: str, widths: Mapping[str, float]) -> ModelError:
    """What a narrow distribution of sizes does that the pattern was too poor, or the instrument too broad, to show.

    It falls as counting does, and is a numbered private source as the parts of counting are.
    """
    score_test = ScoreTest(job.fit, job.enlargement())
    column, name = score_test.derivatives([gauss]), job.main.width_names[0]
    (u,), (_, (step,)) = score_test.uncertainty(column), score_test.drop(column)
    width = max(job.fit.values()[name], 1e-9)
    hidden = min(math.hypot(u, max(step, 0.0)), _MOST_HIDDEN / _BREADTH_BY_GAUSS * width**2)
    imitated = dict(zip(score_test.free, score_test.imitated(column)[:, 0], strict=True)).get(name, 0.0)
    share = hidden * (_BREADTH_BY_GAUSS / width**2 - imitated / width)  # what is in it, less what was taken for it
    return ModelError(f"{_SIZES}/0", "", None, {quantity: share * own for quantity, own in widths.items()})


def _smoothing(job: Procedure) -> ModelError | None:
    """Lines as much wider as a plain average makes them; a polynomial leaves them as they were, and who knows."""
    over = job.smoothed_over()
    if over <= 1.0:
        return None
    counts = job.fit.counts()
    wider = gaussian_filter1d(counts, np.sqrt((over**2 - 1.0) / 12.0), mode="nearest")
    return ModelError("smoothing", "", wider - counts)


def _niobium_or_tantalum(job: Procedure) -> ModelError | None:
    """All niobium or all tantalum, where a pattern cannot tell them apart; evenly likely between."""
    mixture = next((lines for lines in job.weighed() if lines.phase.name == NIOBIUM_TANTALUM), None)
    if mixture is None:
        return None
    values, shares = job.fit.values(), _shares(job)
    rest = 1.0 - shares[NIOBIUM_TANTALUM]
    ends = []
    for element in ("Nb", "Ta"):
        pure = mixture.with_phase(mixture.phase.with_occupancies({mixture.phase.sites[0].label: {element: 1.0}}))
        seen = pure.intensities(values)[0].sum() / mixture.intensities(values)[0].sum()
        mass = shares[NIOBIUM_TANTALUM] * pure.phase.density_g_cm3() / mixture.phase.density_g_cm3() / seen
        ends.append(mass / (mass + rest))
    u = abs(ends[1] - ends[0]) / np.sqrt(12.0)
    direct = {WEIGHT_FRACTION.of(n): u if n == NIOBIUM_TANTALUM else -u * share / rest for n, share in shares.items()}
    return ModelError("niobium or tantalum", "", None, direct)
