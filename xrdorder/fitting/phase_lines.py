"""The lines of one phase: where, how strong, how wide, and how all of that follows the parameters.

What depends on angle only weakly (Lorentz-polarisation, illumination, widths, scattering factors) is frozen at the
lattice that `PhaseLines.freeze` was given; the fit freezes anew between its rounds, so that nothing is lost and the
Jacobian stays exact for the model it belongs to.
"""

import copy
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xrdorder.crystals.harmonics import TEXTURE_ORDERS, cubic_harmonic
from xrdorder.crystals.lattice import free_lengths, inverse_d_squared
from xrdorder.crystals.phase import Phase
from xrdorder.crystals.reflections import reflections
from xrdorder.crystals.structure import structure_factor_squared, structure_factor_squared_derivatives
from xrdorder.fitting.geometry import Geometry
from xrdorder.profiles.summation import LineDerivatives, Lines
from xrdorder.profiles.widths import GAUSS_TERMS, LORENTZ_TERMS, gauss_basis, lorentz_basis
from xrdorder.xrays import GEMMI_TABLE, Radiation, ScatteringTable, lorentz_polarisation

Array = NDArray[np.float64]

_BEYOND_RANGE_DEG = 4.0  # lines this far outside the pattern still send a tail into it
_LARGEST_SINE = 0.998  # 2 theta of 172.8 degrees: no goniometer goes beyond, and tan theta stays finite
_SPECIMEN_GAUSS = "gauss_tan2"


@dataclass(frozen=True)
class Optics:
    """What all phases of a pattern share: radiation, distances, polarisation and scattering-factor table."""

    radiation: Radiation
    geometry: Geometry
    monochromator_two_theta_deg: float | None = None
    table: ScatteringTable = GEMMI_TABLE


class PhaseLines:
    """Lines of one phase in one pattern.

    Parameters
    ----------
    phase
        Crystal structure.
    optics
        Radiation and geometry.
    two_theta_range
        First and last angle of the pattern, degrees.

    Attributes
    ----------
    prefix
        Beginning of the phase's parameter names: its name with underscores for hyphens.
    names
        All its parameter names, scale first.
    """

    def __init__(self, phase: Phase, optics: Optics, two_theta_range: tuple[float, float]) -> None:
        self.phase, self.optics = phase, optics
        self.prefix = phase.name.replace("-", "_").replace(".", "_")
        self._low, self._high = two_theta_range
        self.length_names = tuple(f"{self.prefix}_{axis}_nm" for axis in free_lengths(phase.system))
        self.scale_name = f"{self.prefix}_scale"
        self.width_names = tuple(f"{self.prefix}_{term}" for term in (*LORENTZ_TERMS, _SPECIMEN_GAUSS))
        self.contrast_name = f"{self.prefix}_order_contrast" if phase.order else None
        self.b_iso_names = tuple(f"{self.prefix}_b_iso_{site.label}_nm2" for site in phase.sites)
        orders = TEXTURE_ORDERS if phase.system == "cubic" else ()
        self.texture_names = tuple(f"{self.prefix}_texture_{order}" for order in orders)
        self.names = (
            self.scale_name,
            *self.length_names,
            *self.width_names,
            *self.b_iso_names,
            *self.texture_names,
        )
        if self.contrast_name:
            self.names += (self.contrast_name,)
        self._wavelengths = np.array([line.wavelength_nm for line in optics.radiation.lines])
        self._natural = np.array([line.width_relative for line in optics.radiation.lines])
        largest = np.sin(np.radians(min(0.5 * (self._high + _BEYOND_RANGE_DEG), 89.0)))
        d_min = self._wavelengths.min() / (2.0 * min(largest, _LARGEST_SINE))
        found = reflections(phase.space_group, phase.system, phase.lengths_nm, phase.angles_deg, d_min * 0.98)
        self._all_hkl, self._all_multiplicity = found.hkl, found.multiplicity
        self._norm: float | None = None
        self.freeze(phase.lengths_nm)

    def freeze(self, lengths_nm: tuple[float, ...]) -> None:
        """Evaluate at this lattice what hardly changes with it: which lines there are, polarisation, illumination."""
        q_all, _ = inverse_d_squared(self.phase.system, self._all_hkl, lengths_nm, self.phase.angles_deg)
        sine = 0.5 * np.sqrt(q_all) * self._wavelengths[:, None].max()
        lowest = 2.0 * np.degrees(np.arcsin(np.clip(sine, 0.0, 1.0)))
        kept = (sine < _LARGEST_SINE) & (lowest > self._low - _BEYOND_RANGE_DEG)
        kept &= lowest < self._high + _BEYOND_RANGE_DEG
        self.hkl, self.multiplicity = self._all_hkl[kept], self._all_multiplicity[kept]
        n, lines = len(self.hkl), len(self._wavelengths)
        self._reflection = np.repeat(np.arange(n), lines)
        self._emission = np.tile(np.arange(lines), n)
        s = 0.5 * np.sqrt(q_all[kept])
        self._s = s
        self._harmonics = {
            name: cubic_harmonic(order, self.hkl)
            for name, order in zip(self.texture_names, TEXTURE_ORDERS, strict=False)
        }
        theta = np.arcsin(self._wavelengths[self._emission] * s[self._reflection])
        self._theta = theta
        self._gauss = gauss_basis(theta)
        self._lorentz = lorentz_basis(theta)
        self._natural_width = np.degrees(2.0 * self._natural[self._emission]) * np.tan(theta)
        geometry = self.optics.geometry
        two_theta = np.degrees(2.0 * theta)
        self._flat_shift = geometry.flat_specimen_shift(theta)
        self._strength = (
            lorentz_polarisation(two_theta, self.optics.monochromator_two_theta_deg)
            * geometry.lit_fraction(theta)
            * self.multiplicity[self._reflection]
        )
        if self._norm is None:
            # the scale is about the area of the strongest line of the catalogue structure, in counts times degree
            values = {
                name: site.b_iso_nm2 for name, site in zip(self.b_iso_names, self.phase.sites, strict=True)
            }
            if self.contrast_name:
                values[self.contrast_name] = 1.0
            squared, _ = self.structure_factor_squared(values)
            strengths = self._strength * squared[self._reflection]
            self._norm = float(strengths.max()) if n else 1.0

    @property
    def norm(self) -> float:
        """Multiplicity times squared structure factor times Lorentz-polarisation for a scale of one."""
        assert self._norm is not None
        return self._norm

    def structure_factor_squared(self, values: Mapping[str, float]) -> tuple[Array, dict[str, Array]]:
        """|F|^2 in electrons squared at each reflection, and derivatives by contrast and displacement parameters."""
        optics = self.optics
        arguments = (
            self.phase,
            self.hkl,
            self._s,
            optics.radiation.energy_ev,
            optics.table,
            values[self.contrast_name] if self.contrast_name else None,
            [values[name] for name in self.b_iso_names],
        )
        by_contrast, by_b_iso = structure_factor_squared_derivatives(*arguments)
        slopes = dict(zip(self.b_iso_names, by_b_iso, strict=True))
        if self.contrast_name:
            slopes[self.contrast_name] = by_contrast
        return structure_factor_squared(*arguments), slopes

    def _pole_density(self, values: Mapping[str, float]) -> tuple[Array, dict[str, Array]]:
        """Texture factor of each reflection, 1 + sum of coefficient times cubic harmonic, and its derivatives.

        A density cannot be negative; where the short series would be, it rests at a small positive value.
        """
        density = 1.0 + sum(
            (values[name] * harmonic for name, harmonic in self._harmonics.items()), np.zeros(len(self.hkl))
        )
        positive = density > _LEAST_DENSITY
        slopes = {name: np.where(positive, harmonic, 0.0) for name, harmonic in self._harmonics.items()}
        return np.maximum(density, _LEAST_DENSITY), slopes

    def lines(self, values: Mapping[str, float], columns: Mapping[str, int]) -> tuple[Lines, LineDerivatives]:
        """All lines at these parameter values, and derivatives by the parameters named in `columns`.

        Parameters
        ----------
        values
            Every parameter of the phase and of the instrument.
        columns
            Wanted derivatives: parameter name to column.
        """
        phase, n = self.phase, len(self._reflection)
        shape = (n, len(columns))
        position_by, area_by = np.zeros(shape), np.zeros(shape)
        gauss_by, lorentz_by = np.zeros(shape), np.zeros(shape)
        radiation_weight, weight_by_ratio = self._weights(values["alpha2_ratio"])

        lengths = [values[name] for name in self.length_names]
        q, q_by = inverse_d_squared(phase.system, self.hkl, lengths, phase.angles_deg)
        root = np.sqrt(q)[self._reflection]
        wavelength = self._wavelengths[self._emission] * (1.0 + values["wavelength_shift"])
        theta = np.arcsin(np.minimum(0.5 * wavelength * root, 0.99999))
        slope = self.optics.geometry.displacement_slope(theta)
        displacement, transparency = values["specimen_displacement_mm"], values["transparency_deg"]
        position = (
            np.degrees(2.0 * theta) + values["two_theta_offset"] + displacement * slope
            - transparency * np.sin(2.0 * theta) + self._flat_shift
        )  # fmt: skip
        # how the position follows the Bragg angle: the shifts themselves move a little with it
        distance = self.optics.geometry.detector_distance_mm
        by_bragg = (
            1.0 + displacement / distance * np.sin(theta) - np.radians(transparency) * np.cos(2.0 * theta)
        )
        bragg_by_q = np.degrees(0.5 * wavelength / (root * np.cos(theta)))
        for k, name in enumerate(self.length_names):
            if name in columns:
                position_by[:, columns[name]] = by_bragg * bragg_by_q * q_by[self._reflection, k]
        shifts = {
            "two_theta_offset": np.ones(n),
            "specimen_displacement_mm": slope,
            "transparency_deg": -np.sin(2.0 * theta),
            "wavelength_shift": by_bragg
            * np.degrees(2.0 * np.tan(theta))
            / (1.0 + values["wavelength_shift"]),
        }
        for name, shift in shifts.items():
            if name in columns:
                position_by[:, columns[name]] = shift

        squared, squared_by = self.structure_factor_squared(values)
        density, density_by = self._pole_density(values)
        scale = values[self.scale_name]
        squared_by = {name: change * density for name, change in squared_by.items()}
        squared_by |= {name: squared * change for name, change in density_by.items()}
        unit = self._strength * radiation_weight / self.norm
        intensity = (squared * density)[self._reflection]
        if self.scale_name in columns:
            area_by[:, columns[self.scale_name]] = unit * intensity
        for name, change in squared_by.items():
            if name in columns:
                area_by[:, columns[name]] = scale * unit * change[self._reflection]
        if "alpha2_ratio" in columns:
            area_by[:, columns["alpha2_ratio"]] = (
                scale * self._strength / self.norm * intensity * weight_by_ratio
            )

        gauss = sum(values[name] * self._gauss[name] for name in GAUSS_TERMS)
        lorentz = self._natural_width + sum(values[name] * self._lorentz[name] for name in LORENTZ_TERMS)
        own = {f"{self.prefix}_{_SPECIMEN_GAUSS}": self._gauss[_SPECIMEN_GAUSS]}
        for name, basis in own.items():
            gauss = gauss + values[name] * basis
        own_lorentz = {f"{self.prefix}_{name}": self._lorentz[name] for name in LORENTZ_TERMS}
        for name, basis in own_lorentz.items():
            lorentz = lorentz + values[name] * basis
        too_narrow, negative = gauss < _LEAST_GAUSS, lorentz < _LEAST_LORENTZ
        for name, basis in (self._gauss | own).items():
            if name in columns:
                gauss_by[:, columns[name]] = np.where(too_narrow, 0.0, basis)
        for name, basis in (self._lorentz | own_lorentz).items():
            if name in columns:
                lorentz_by[:, columns[name]] = np.where(negative, 0.0, basis)
        lines = Lines(
            position,
            scale * unit * intensity,
            np.maximum(gauss, _LEAST_GAUSS),
            np.maximum(lorentz, _LEAST_LORENTZ),
        )
        axial = None
        if "axial_source_ratio" in columns:
            axial = columns["axial_source_ratio"], columns["axial_detector_ratio"]
        return lines, LineDerivatives(position_by, area_by, gauss_by, lorentz_by, axial)

    def _weights(self, alpha2_ratio: float) -> tuple[Array, Array]:
        """Weight of each line's emission component at this K-alpha2 to K-alpha1 ratio, and its derivative."""
        radiation = self.optics.radiation
        groups = np.array([line.group for line in radiation.lines])
        weights = np.array([line.weight for line in radiation.lines])
        first, second = groups == "Ka1", groups == "Ka2"
        slope = np.zeros_like(weights)
        if second.any():
            within = weights.copy()
            within[first] /= weights[first].sum()
            within[second] /= weights[second].sum()
            share = 1.0 / (1.0 + alpha2_ratio)
            weights = np.where(second, within * alpha2_ratio * share, within * share)
            slope = np.where(second, within * share**2, -within * share**2)
        return weights[self._emission], slope[self._emission]

    def spacing_nm(self, values: Mapping[str, float]) -> Array:
        """Spacing of the planes of each reflection, nm."""
        lengths = [values[name] for name in self.length_names]
        q, _ = inverse_d_squared(self.phase.system, self.hkl, lengths, self.phase.angles_deg)
        return np.asarray(1.0 / np.sqrt(q))

    def with_phase(self, phase: Phase) -> "PhaseLines":
        """Return the same lines with the atoms of another composition, for asking what the composition does."""
        other = copy.copy(self)
        other.phase = phase
        return other

    def first_lines(self) -> NDArray[np.bool_]:
        """Tell which of the lines belong to the reference emission line: one of each reflection."""
        reference = int(np.argmin(np.abs(self._wavelengths - self.optics.radiation.wavelength_nm)))
        return np.asarray(self._emission == reference)


_LEAST_GAUSS = (
    0.005**2
)  # degrees squared; no laboratory line is narrower, and the Voigt function needs some Gaussian
_LEAST_LORENTZ = 1e-5  # degrees
_LEAST_DENSITY = 0.01  # of the random distribution
