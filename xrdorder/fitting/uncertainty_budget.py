"""From fit parameters to measured quantities, with every source of uncertainty that is known at this point.

Counting gives the covariance of the free parameters. It is split by what had to be found out beside: with the columns
of the weighted Jacobian in the order (all else, texture, displacement parameters, offset, place of the specimen) and
J = Q R, the covariance of quantities with gradient G is (G R^-1)(G R^-1)', and each column of G R^-1 is what not
knowing that parameter, too, adds; R^-1 is the upper triangular root of the covariance. What was held has errors as
well: the instrument (from its own calibration), the certificate of the standard, the wavelength, displacement
parameters of minor phases. An error d of a held parameter moves the free ones by -(J'WJ)^-1 J'W J_held d, so each
source becomes one signed column; what no parameter describes enters by how it would change the counts.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky

from xrdorder.fitting.derived import Function, functions
from xrdorder.fitting.model_errors import ModelError
from xrdorder.fitting.procedure import U_B_ISO_RELATIVE, Procedure
from xrdorder.fitting.result import Quantities
from xrdorder.forward_model.phase_lines import PhaseLines
from xrdorder.forward_model.roles import TEXTURE, Kind, role_of
from xrdorder.least_squares.refinement import Refinement, Solution
from xrdorder.profiles import INSTRUMENT_NAMES, Instrument
from xrdorder.uncertainty import Contributions

if TYPE_CHECKING:
    import lmfit

Array = NDArray[np.float64]
Column = tuple[str, str, Array]
"""Source, group, and its signed contribution to each quantity, shape (quantities,)."""

_WAVELENGTH = "wavelength_shift"
_COUNTING = "counting"
_OFFSET, _OFFSET_SOURCE = "two_theta_offset", "two-theta offset"
#: How far the zero of a goniometer may have moved since its calibration, degrees, as a standard uncertainty: judged by
#: the reproducibility that makers of laboratory goniometers usually state (some thousandths of a degree; common
#: practice, no source). An internal standard makes it irrelevant.
U_OFFSET_DEG = 0.002
_LATTICE_SHAPE = "lattice distribution"
# Families of nuisance parameters, in the order in which they are counted as unknown.
_FAMILIES: tuple[tuple[str, tuple[Kind, ...]], ...] = (
    ("texture", TEXTURE),
    ("displacement parameters", (Kind.B_ISO,)),
    (_LATTICE_SHAPE, (Kind.TAIL,)),
    (_OFFSET_SOURCE, (Kind.OFFSET,)),
    ("specimen displacement", (Kind.PLACE, Kind.TRANSPARENCY)),
)


def response(solution: Solution, by_held: Array) -> Array:
    """Shift of the free parameters when held ones are raised by one: -(J'WJ)^-1 J'W J_held, shape (free, held)."""
    return np.asarray(-solution.covariance @ (solution.weighted_jacobian.T @ by_held))


class _Held(NamedTuple):
    """Held parameters whose errors reach the quantities, by where the errors come from."""

    calibrated: tuple[str, ...]
    b_iso: tuple[str, ...]
    widths: tuple[str, ...]
    certified: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """All of them, in the order of the columns of derivatives."""
        return (*self.calibrated, _WAVELENGTH, *self.b_iso, *self.widths, *self.certified)


def primary_quantities(
    job: Procedure,
    instrument: Instrument,
    a15: PhaseLines | None,
    model_errors: Sequence[ModelError],
    more_tin: Array | None,
    enlargement: float,
) -> tuple[Quantities, Solution]:
    """Measured quantities of a pattern, what each source contributes to their uncertainty, and the minimum they are of.

    Parameters
    ----------
    job
        At its minimum.
    instrument
        Whose errors all samples share.
    a15
        Lines of the A15 phase, None when there is none.
    model_errors
        Errors of the model that no parameter describes.
    more_tin
        Change of the counts for each unit of tin fraction in the mean scattering, shape (n,).
    enlargement
        Factor on counting uncertainties.
    """
    fit, weighed = job.fit, job.weighed()
    reference = job.reference if job.reference in job.present() else None
    others = [lines for lines in job.present() if lines not in weighed and lines is not reference]
    held = _held_parameters(fit, [*weighed, *others], reference)
    solution, by_held = fit.solution(held.names)

    values = fit.values()
    of = functions(weighed, others, a15, job.second_population(), job.taken)
    gradient = _gradient(of, values, solution)
    on_quantities = gradient @ response(solution, by_held)

    columns = _counting(tuple(of), gradient * enlargement, solution, fit.parameters)
    by_name = dict(zip(held.names, on_quantities.T, strict=True))
    u_wavelength = job.optics.radiation.u_wavelength_relative
    columns += _instrument_columns(instrument, held.calibrated, on_quantities, by_name[_WAVELENGTH] * u_wavelength)
    for name in held.b_iso:
        u = U_B_ISO_RELATIVE * values[name]
        columns.append((f"displacement parameters/{name}", "catalogue", by_name[name] * u))
    for name in held.widths:  # of a weak phase: domains of half the usual size, or as large as can be
        columns.append((f"line width/{name}", "", by_name[name] * values[name]))
    if reference is not None and job.certificate is not None:
        u_certified = np.array(job.certificate.u_lengths_nm)
        column = on_quantities[:, len(held.names) - len(held.certified) :] @ u_certified
        columns.append(("internal standard", job.certificate.name, column))
    for error in model_errors:
        shift = np.array([error.direct.get(name, 0.0) for name in of])
        if error.change is not None:
            shift = shift + _by_change(error.change, fit, solution, gradient)
        columns.append((error.source, error.group, shift))
    by_tin: dict[str, float] = {}
    if more_tin is not None:
        by_tin = dict(zip(of, map(float, _by_change(more_tin, fit, solution, gradient)), strict=True))
    quantities = Quantities(
        {name: function(values) for name, function in of.items()},
        _as_contributions(tuple(of), columns),
        {name: function.record(name, values) for name, function in of.items()},
        by_tin,
        solution.free,
        solution.covariance * enlargement**2,
        enlargement,
    )
    return quantities, solution


def _held_parameters(fit: Refinement, phases: Sequence[PhaseLines], reference: PhaseLines | None) -> _Held:
    """Parameters of instrument, minor phases and internal standard that the fit has held."""

    def held(names: Iterable[str]) -> tuple[str, ...]:
        return tuple(name for name in names if not fit.parameters[name].vary)

    return _Held(
        tuple(name for name in INSTRUMENT_NAMES if not _is_fitted(fit, name)),
        held(name for lines in phases for name in lines.b_iso_names),
        held(lines.width_names[0] for lines in phases),
        reference.length_names if reference else (),
    )


def _instrument_columns(
    instrument: Instrument, calibrated: tuple[str, ...], on_quantities: Array, by_wavelength: Array
) -> list[Column]:
    """Errors that all samples on an instrument share, and the drift of its zero since the calibration.

    Parameters
    ----------
    instrument
        With the errors of its parameters.
    calibrated
        Its parameters that were held.
    on_quantities
        Change of the quantities for each of them, in the first columns; shape (quantities, held).
    by_wavelength
        Change of the quantities for one standard uncertainty of the wavelength, instrument apart.
    """
    calibration = Contributions.from_covariance(
        INSTRUMENT_NAMES, instrument.covariance, "calibration", instrument.id
    )
    by_instrument = np.zeros((len(on_quantities), len(INSTRUMENT_NAMES)))
    places = [INSTRUMENT_NAMES.index(name) for name in calibrated]
    by_instrument[:, places] = on_quantities[:, : len(calibrated)]
    columns: list[Column] = [
        *zip(calibration.sources, calibration.groups, (by_instrument @ calibration.values).T, strict=True),
        ("certificate", instrument.standard, by_instrument @ instrument.certificate_shift),
        ("domains of the standard", instrument.standard, by_instrument @ instrument.domains_shift),
        ("wavelength", instrument.radiation, by_wavelength + by_instrument @ instrument.wavelength_shift),
    ]
    if _OFFSET in calibrated:
        columns.append((_OFFSET_SOURCE, "", on_quantities[:, calibrated.index(_OFFSET)] * U_OFFSET_DEG))
    return columns


def _as_contributions(quantities: tuple[str, ...], columns: Sequence[Column]) -> Contributions:
    """Columns that move something, as one table."""
    columns = [column for column in columns if np.any(column[2])]
    return Contributions(
        quantities,
        tuple(source for source, _, _ in columns),
        np.stack([column for _, _, column in columns], axis=1) if columns else np.zeros((len(quantities), 0)),
        tuple(group for _, group, _ in columns),
    )


def _is_fitted(fit: Refinement, name: str) -> bool:
    """Tell whether a parameter is free or tied to a free one: then it is no instrument's to err about."""
    return bool(fit.parameters[name].vary or fit.parameters[name].expr)


def _by_change(change: Array, fit: Refinement, solution: Solution, gradient: Array) -> Array:
    """How the quantities move when the model's counts change by this much and the fit is run again."""
    weighted = (change / np.sqrt(fit.variance))[fit.used, None]
    return np.asarray((gradient @ response(solution, weighted))[:, 0])


def _family(kind: Kind) -> int:
    """Place of a kind of parameter in `_FAMILIES`, from 1; 0 for all else."""
    return next((k for k, (_, kinds) in enumerate(_FAMILIES, start=1) if kind in kinds), 0)


def _counting(
    names: tuple[str, ...], gradient: Array, solution: Solution, parameters: "lmfit.Parameters"
) -> list[Column]:
    """Split what counting contributes by what had to be found out beside; private columns, one family after another."""
    families = np.array([_family(role_of(parameters, name).kind) for name in solution.free])
    order = np.argsort(families, kind="stable")
    u, last_first = np.sqrt(np.diag(solution.covariance)), order[::-1]
    correlation = (solution.covariance / np.outer(u, u))[np.ix_(last_first, last_first)]
    by_step = (gradient * u)[:, order] @ cholesky(correlation, lower=True)[::-1, ::-1]
    columns: list[Column] = []
    for k in range(len(_FAMILIES) + 1):
        block = by_step[:, families[order] == k]
        if block.shape[1]:
            source = _FAMILIES[k - 1][0] if k else _COUNTING
            part = Contributions.from_covariance(names, block @ block.T, source)
            columns += zip(part.sources, part.groups, part.values.T, strict=True)
    return columns


def _gradient(
    of: Mapping[str, Function],
    values: Mapping[str, float],
    solution: Solution,
) -> Array:
    """Derivatives of the quantities by the free parameters (quantities, free), by central differences.

    The functions are smooth; a thousandth of a standard uncertainty is a small enough step. Each reads few parameters.
    """
    steps = 1e-3 * np.sqrt(np.diag(solution.covariance))
    result = np.zeros((len(of), len(solution.free)))
    for row, function in zip(result, of.values(), strict=True):
        read = _Read(values)
        function(read)
        for k in (k for k, name in enumerate(solution.free) if name in read.names):
            name, step = solution.free[k], float(steps[k])
            above, below = ({**values, name: values[name] + change} for change in (step, -step))
            row[k] = (function(above) - function(below)) / (2.0 * step)
    return result


class _Read(dict[str, float]):
    """Values that note which of them were asked for."""

    def __init__(self, values: Mapping[str, float]) -> None:
        super().__init__(values)
        self.names: set[str] = set()

    def __getitem__(self, name: str) -> float:
        self.names.add(name)
        return super().__getitem__(name)
