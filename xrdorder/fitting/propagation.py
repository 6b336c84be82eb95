"""From fit parameters to measured quantities, with every source of doubt that is known at this point.

Counting gives the covariance of the free parameters. What was held has errors too: the instrument (from its own
calibration), the certificate of the standard, the wavelength, displacement parameters of minor phases. An error d of
a held parameter moves the free ones by -(J'WJ)^-1 J'W J_held d, so each source becomes one signed column.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xrdorder.crystals import Phase, free_lengths
from xrdorder.crystals.standards import Standard
from xrdorder.fitting.phase_lines import PhaseLines
from xrdorder.fitting.refinement import Refinement, Solution
from xrdorder.profiles import INSTRUMENT_NAMES, Instrument
from xrdorder.uncertainty import Contributions
from xrdorder.xrays import U_DISPERSION_DIFFERENCE, scattering_factor

Array = NDArray[np.float64]

_U_B_ISO_RELATIVE = (
    0.3  # of those taken from the catalogue; judged: Debye temperatures in use make 25 % for Nb3Sn
)


@dataclass(frozen=True)
class Quantities:
    """Measured values, their contributions, and the enlarged covariance of the free parameters.

    `by_tin` says how much each value would move if the tin fraction that sets the mean scattering were higher by one.
    """

    values: dict[str, float]
    contributions: Contributions
    solution: Solution
    covariance: Array
    enlargement: float
    by_tin: dict[str, float]

    @property
    def u_free(self) -> Array:
        """Standard uncertainties of the free parameters from counting."""
        return np.sqrt(np.diag(self.covariance))


def response(solution: Solution, by_held: Array) -> Array:
    """Shift of the free parameters when held ones are raised by one: -(J'WJ)^-1 J'W J_held, shape (free, held)."""
    return np.asarray(-solution.covariance @ (solution.weighted_jacobian.T @ by_held))


def primary_quantities(
    fit: Refinement,
    present: Sequence[PhaseLines],
    instrument: Instrument,
    a15: PhaseLines | None,
    more_tin: tuple[Phase, float] | None,
    mixed_in: tuple[PhaseLines, Standard] | None,
    enlargement: float,
) -> Quantities:
    """Measured quantities of a pattern and what each source contributes to their uncertainty.

    Parameters
    ----------
    fit
        At its minimum.
    present
        Phases of the wire that were found.
    instrument
        Whose errors all samples share.
    a15
        Lines of the A15 phase, None when there is none.
    more_tin
        The A15 phase with more tin in its mean scattering, and by which fraction more.
    mixed_in
        Lines of an internal standard and its certificate, None when there is none.
    enlargement
        Factor on counting uncertainties.
    """
    minor = [name for lines in present for name in lines.b_iso_names if not fit.parameters[name].vary]
    calibrated = tuple(name for name in INSTRUMENT_NAMES if not _is_fitted(fit, name))
    certified = mixed_in[0].length_names if mixed_in else ()
    held = (*calibrated, "wavelength_shift", *minor, *certified)
    solution, by_held = fit.solution(held)
    covariance = solution.covariance * enlargement**2

    values = fit.values()
    functions = _functions(present, a15)
    quantities = {name: function(values) for name, function in functions.items()}
    gradient = _gradient(functions, values, solution)
    on_quantities = gradient @ response(solution, by_held)

    counting = Contributions.from_covariance(tuple(functions), gradient @ covariance @ gradient.T, "counting")
    calibration = Contributions.from_covariance(
        INSTRUMENT_NAMES, instrument.covariance, "calibration", instrument.id
    )
    n = len(calibrated)
    by_instrument = np.zeros((len(functions), len(INSTRUMENT_NAMES)))
    by_instrument[:, [INSTRUMENT_NAMES.index(name) for name in calibrated]] = on_quantities[:, :n]
    by_wavelength = on_quantities[:, n]
    light = present[0].optics.radiation if present else None
    u_wavelength = light.u_wavelength_relative if light else 0.0
    columns: list[tuple[str, str, Array]] = [
        *zip(counting.sources, counting.groups, counting.values.T, strict=True),
        *zip(calibration.sources, calibration.groups, (by_instrument @ calibration.values).T, strict=True),
        ("certificate", instrument.standard, by_instrument @ instrument.certificate_shift),
        (
            "wavelength",
            instrument.radiation,
            by_wavelength * u_wavelength + by_instrument @ instrument.wavelength_shift,
        ),
    ]
    for k, name in enumerate(minor):
        u = _U_B_ISO_RELATIVE * values[name]
        columns.append((f"displacement parameters/{name}", "catalogue", on_quantities[:, n + 1 + k] * u))
    if mixed_in is not None:
        u_certified = np.array(mixed_in[1].u_lengths_nm)
        column = on_quantities[:, n + 1 + len(minor) :] @ u_certified
        columns.append(("internal standard", mixed_in[1].name, column))
    if a15 is not None:
        columns.append(("scattering table", instrument.radiation, _scattering_table(quantities, a15)))
    columns = [column for column in columns if np.any(column[2])]
    table = Contributions(
        tuple(functions),
        tuple(source for source, _, _ in columns),
        np.stack([column for _, _, column in columns], axis=1) if columns else np.zeros((len(functions), 0)),
        tuple(group for _, group, _ in columns),
    )
    by_tin: dict[str, float] = {}
    if a15 is not None and more_tin is not None:
        phase, step = more_tin
        change = fit.model.part(a15.with_phase(phase), values) - fit.model.part(a15, values)
        by_one = (change / step / np.sqrt(fit.variance))[fit.used, None]
        slopes = (gradient @ response(solution, by_one))[:, 0]
        by_tin = dict(zip(functions, map(float, slopes), strict=True))
    return Quantities(quantities, table, solution, covariance, enlargement, by_tin)


def _is_fitted(fit: Refinement, name: str) -> bool:
    """Tell whether a parameter is free or tied to a free one: then it is no instrument's to err about."""
    return bool(fit.parameters[name].vary or fit.parameters[name].expr)


def _functions(
    present: Sequence[PhaseLines], a15: PhaseLines | None
) -> dict[str, Callable[[Mapping[str, float]], float]]:
    """Measured quantities as functions of the parameters."""
    functions: dict[str, Callable[[Mapping[str, float]], float]] = {}
    if a15 is not None and a15.contrast_name is not None:
        names = {
            "a_nm": a15.length_names[0],
            "order_contrast": a15.contrast_name,
            **dict(zip(("lorentz_sec", "lorentz_tan", "gauss_tan2"), a15.width_names, strict=True)),
        }
        functions.update({quantity: _parameter(name) for quantity, name in names.items()})
    for lines in present:
        if lines is not a15:
            axes = free_lengths(lines.phase.system)
            for axis, name in zip(axes, lines.length_names, strict=True):
                functions[lattice_quantity(lines.phase.name, axis)] = _parameter(name)
        functions[f"weight_fraction_{lines.phase.name}"] = _weight_fraction(lines, present)
    return functions


def lattice_quantity(phase_name: str, axis: str) -> str:
    """Name of a lattice parameter of a phase other than the A15 among the measured quantities."""
    return f"lattice_{axis}_nm_{phase_name}"


def _parameter(name: str) -> Callable[[Mapping[str, float]], float]:
    return lambda values: values[name]


def mass_per_scale(lines: PhaseLines, values: Mapping[str, float]) -> float:
    """Mass that a scale of one stands for, in common units: cell mass times cell volume over the norm.

    Line intensities go with the volume of the phase over the square of the cell volume, so its mass goes with
    scale times cell mass times cell volume: R. J. Hill, C. J. Howard, J. Appl. Cryst. 20 (1987) 467 (from memory).
    """
    lengths = tuple(values[name] for name in lines.length_names)
    volume = lines.phase.cell_volume_nm3(lengths)
    return lines.phase.density_g_cm3(lengths) * volume**2 / lines.norm


def _weight_fraction(
    lines: PhaseLines, present: Sequence[PhaseLines]
) -> Callable[[Mapping[str, float]], float]:
    def fraction(values: Mapping[str, float]) -> float:
        masses = {
            other.scale_name: values[other.scale_name] * mass_per_scale(other, values) for other in present
        }
        total = sum(masses.values())
        return masses[lines.scale_name] / total if total > 0.0 else float("nan")

    return fraction


def _gradient(
    functions: Mapping[str, Callable[[Mapping[str, float]], float]],
    values: Mapping[str, float],
    solution: Solution,
) -> Array:
    """Derivatives of the quantities by the free parameters (quantities, free), by central differences.

    The functions are smooth and cheap; a thousandth of a standard uncertainty is a small enough step.
    """
    u = np.sqrt(np.diag(solution.covariance))
    result = np.zeros((len(functions), len(solution.free)))
    for k, name in enumerate(solution.free):
        step = 1e-3 * u[k]
        above, below = dict(values), dict(values)
        above[name] += step
        below[name] -= step
        result[:, k] = [(f(above) - f(below)) / (2.0 * step) for f in functions.values()]
    return result


def _scattering_table(quantities: Mapping[str, float], a15: PhaseLines) -> Array:
    """What the spread between tables of f' does to the contrast, shape (quantities,).

    The order lines measure contrast times |f_Sn - f_Nb|; an error e of f'(Sn) - f'(Nb) changes that modulus by
    e Re(f_Sn - f_Nb) / |f_Sn - f_Nb|. Evaluated at (110), which decides.
    """
    assert a15.phase.order is not None
    tin, niobium = a15.phase.order.elements
    s = np.array([1.0 / (np.sqrt(2.0) * a15.phase.lengths_nm[0])])  # (110): 1/(2d), d = a / sqrt 2
    energy, table = a15.optics.radiation.energy_ev, a15.optics.table
    difference = scattering_factor(tin, s, energy, table) - scattering_factor(niobium, s, energy, table)
    relative = U_DISPERSION_DIFFERENCE * float(difference.real[0] / np.abs(difference[0]) ** 2)
    return np.array([-relative * v if name == "order_contrast" else 0.0 for name, v in quantities.items()])
