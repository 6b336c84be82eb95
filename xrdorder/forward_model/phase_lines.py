"""The lines of one phase: where, how strong, how wide, and how all of that follows the parameters.

What depends on angle only weakly (Lorentz-polarisation, illumination, widths, scattering factors) is frozen at the
lattice that `PhaseLines.freeze` was given; the fit freezes anew between its rounds, so that nothing is lost and the
Jacobian stays exact for the model it belongs to.

A line belongs to a reflection, to an emission line and, where the lattice parameter is spread out lopsidedly, to a node
of its distribution (`xrdorder.forward_model.spacings`).
"""

import copy
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from xrdorder.crystals.harmonics import TEXTURE_ORDERS, cubic_harmonic, fourth_order_sum
from xrdorder.crystals.march import axis_cosines_squared, march_density
from xrdorder.crystals.phase import Phase
from xrdorder.crystals.reflections import reflections
from xrdorder.crystals.structure import StructureFactors
from xrdorder.crystals.unit_cell import free_lengths, inverse_d_squared
from xrdorder.forward_model.geometry import Geometry
from xrdorder.forward_model.roles import Kind, Role, distinct, parameter_name
from xrdorder.forward_model.spacings import Spacings
from xrdorder.profiles.summation import LineDerivatives, Lines, axial_counts
from xrdorder.profiles.width_terms import GAUSS_TERMS, LORENTZ_TERMS, gauss_basis, lorentz_basis
from xrdorder.xrays import (
    GEMMI_TABLE,
    Radiation,
    ScatteringTable,
    linear_attenuation_per_nm,
    lorentz_polarisation,
)

Array = NDArray[np.float64]

_BEYOND_RANGE_DEG = 4.0  # lines this far outside the pattern still send a tail into it
_LARGEST_SINE = 0.998  # 2 theta of 172.8 degrees: no goniometer goes beyond, and tan theta stays finite
_SPECIMEN_GAUSS = "gauss_tan2"
_SIZE_GAUSS = "gauss_sec2"
_LEAST_GAUSS = 0.005**2  # degrees squared; no laboratory line is narrower, and a Voigt line needs some Gaussian
_LEAST_LORENTZ = 1e-5  # degrees
# Shares of what instrument and emission line make of a width that a specimen may seem to take off it. The two parts of
# the Lorentzian width together may take all.
_LORENTZ_TAKEN, _GAUSS_TAKEN = 0.5, 0.9
_SAME_LATTICE = 1e-7  # relative: what is frozen then changes by less than a thousandth of a standard uncertainty
_LEAST_DENSITY = 0.01  # of the random distribution
_LEAST_ANISOTROPY = 0.01


@dataclass(frozen=True)
class Optics:
    """What all phases of a pattern share: radiation, distances, polarisation and scattering-factor table."""

    radiation: Radiation
    geometry: Geometry
    monochromator_two_theta_deg: float | None = None
    table: ScatteringTable = GEMMI_TABLE
    polarisation_ratio: float | None = None


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
    march_axis
        Plane whose normal the grains prefer, for texture by March's function; None without.
    twin
        Lines of the first population of the same phase. Atoms, texture and strain are common to both; amount,
        lattice and domain size are the second population's own.

    Attributes
    ----------
    roles
        All its parameters by name, scale first, and what each is.
    frozen_at, freezes
        Lattice at which `freeze` last evaluated, and how often it has: lines at the same parameters may differ between.
    """

    def __init__(
        self,
        phase: Phase,
        optics: Optics,
        two_theta_range: tuple[float, float],
        *,
        march_axis: tuple[int, int, int] | None = None,
        twin: "PhaseLines | None" = None,
    ) -> None:
        self.phase, self.optics, self.twin = phase, optics, twin
        self._low, self._high = two_theta_range
        self.march_axis = march_axis
        self.share_name: str | None = None
        self.roles: dict[str, Role] = {}
        self._name_parameters()
        self._norm: float | None = None
        self.frozen_at: tuple[float, ...] = ()
        self.freezes = 0
        self._set_radiation()
        self.freeze(phase.lengths_nm)

    def _name_parameters(self) -> None:
        """Name all parameters, scale first, and say what each is."""
        phase, own = self.phase, "_second_" if self.twin else ""
        cubic = phase.system == "cubic"
        # what tin, and the composite around it, do to the lattice of a phase whose order is asked for
        layer = cubic and phase.order is not None
        self.scale_name = self._named(Kind.SCALE, f"{own}scale")
        self.length_names = tuple(self._named(Kind.LENGTH, f"{own}{axis}_nm") for axis in free_lengths(phase.system))
        sec, *tan = (*LORENTZ_TERMS, _SPECIMEN_GAUSS)
        self.width_names = tuple(self._named(Kind.WIDTH, term) for term in (f"{own}{sec}", *tan))
        labels = distinct(site.label for site in phase.sites)
        self.b_iso_names = tuple(self._named(Kind.B_ISO, f"b_iso_{label}_nm2") for label in labels)
        orders = TEXTURE_ORDERS if cubic else ()
        self.texture_names = tuple(self._named(Kind.HARMONIC, f"texture_{order}") for order in orders)
        self.contrast_name = self._named(Kind.CONTRAST, "order_contrast") if phase.order else None
        self.march_name = self._named(Kind.MARCH, "march_r") if self.march_axis else None
        optional = (name for name in (self.contrast_name, self.march_name) if name)
        self._intensity_names = (*self.b_iso_names, *self.texture_names, *optional)
        self.anisotropy_name = self._named(Kind.ANISOTROPY, "strain_anisotropy") if cubic else None
        self.tail_name = self._named(Kind.TAIL, "lattice_tail_nm") if layer and not self.twin else None
        self.elastic_name = self._named(Kind.ELASTIC, "elastic_shift") if layer else None
        self.depth_name = self._named(Kind.DEPTH, "depth_slope") if layer else None
        # domains of much the same size make lines rounder than Lorentzian ones
        self.size_gauss_name = self._named(Kind.WIDTH, _SIZE_GAUSS) if layer and not self.twin else None

    def _named(self, kind: Kind, term: str) -> str:
        """Note a parameter of this phase; return its name."""
        name = parameter_name(self.phase.name, term)
        self.roles[name] = Role(self.phase.name, kind)
        return name

    @property
    def names(self) -> tuple[str, ...]:
        """All its parameter names, scale first."""
        return tuple(self.roles)

    def _set_radiation(self) -> None:
        """Note the emission lines, and which reflections can be in the range."""
        light, phase = self.optics.radiation, self.phase
        self._wavelengths = np.array([line.wavelength_nm for line in light.lines])
        self._natural = np.array([line.width_relative for line in light.lines])
        groups = np.array([line.group for line in light.lines])
        self._first_group, self._second_group = groups == "Ka1", groups == "Ka2"
        self._weights = np.array([line.weight for line in light.lines])
        largest = np.sin(np.radians(min(0.5 * (self._high + _BEYOND_RANGE_DEG), 89.0)))
        d_min = self._wavelengths.min() / (2.0 * min(largest, _LARGEST_SINE))
        planes = reflections(phase.space_group, phase.system, phase.lengths_nm, phase.angles_deg, d_min * 0.98)
        self._all_hkl, self._all_multiplicity = planes.hkl, planes.multiplicity
        self._kept: NDArray[np.bool_] | None = None

    def freeze(self, lengths_nm: tuple[float, ...]) -> None:
        """Evaluate at this lattice what hardly changes with it: which lines there are, polarisation, illumination."""
        before = self.frozen_at
        if before and all(abs(a / b - 1.0) < _SAME_LATTICE for a, b in zip(lengths_nm, before, strict=True)):
            return
        self.frozen_at = tuple(lengths_nm)
        self._nodes: NDArray[np.intp] | None = None
        self._scattering: StructureFactors | None = None
        self._drawn: tuple[Hashable, tuple[Lines, LineDerivatives]] | None = None
        self._intense: tuple[Hashable, tuple[Array, dict[str, Array]]] | None = None
        self.freezes += 1
        q_all, _ = inverse_d_squared(self.phase.system, self._all_hkl, lengths_nm, self.phase.angles_deg)
        sine = 0.5 * np.sqrt(q_all) * self._wavelengths[:, None].max()
        lowest = 2.0 * np.degrees(np.arcsin(np.clip(sine, 0.0, 1.0)))
        kept = (sine < _LARGEST_SINE) & (lowest > self._low - _BEYOND_RANGE_DEG)
        kept &= lowest < self._high + _BEYOND_RANGE_DEG
        if self._kept is None or not np.array_equal(kept, self._kept):
            self._choose(kept)
        self._s = 0.5 * np.sqrt(q_all[kept])
        self._march_cosines = None
        if self.march_axis:
            p = self.phase
            self._march_cosines = axis_cosines_squared(
                p.space_group, p.system, lengths_nm, p.angles_deg, self.hkl, self.march_axis
            )
        theta = np.arcsin(self._wavelengths[self._emission] * self._s[self._reflection])
        self._theta = theta
        self._gauss = gauss_basis(theta)
        self._lorentz = lorentz_basis(theta)
        self._size_gauss = self._lorentz["lorentz_sec"] ** 2
        self._natural_width = np.degrees(2.0 * self._natural[self._emission]) * np.tan(theta)
        geometry = self.optics.geometry
        self._fixed_shift = geometry.flat_specimen_shift(theta) + geometry.absorption_shift(theta)
        self._spacings = Spacings(
            lengths_nm[0], self._cubic_departure[self._reflection], np.sin(theta), self.attenuation_per_nm
        )
        self._strength = (
            lorentz_polarisation(
                np.degrees(2.0 * theta), self.optics.monochromator_two_theta_deg, self.optics.polarisation_ratio
            )
            * geometry.intensity_factor(theta)
            * self.multiplicity[self._reflection]
        )
        if self._norm is None:
            self._norm = self._strongest()

    def _choose(self, kept: NDArray[np.bool_]) -> None:
        """Take these reflections into the pattern, with what follows from their indices alone."""
        self._kept = kept
        self.hkl, self.multiplicity = self._all_hkl[kept], self._all_multiplicity[kept]
        n, lines = len(self.hkl), len(self._wavelengths)
        self._reflection = np.repeat(np.arange(n), lines)
        self._emission = np.tile(np.arange(lines), n)
        orders = zip(self.texture_names, TEXTURE_ORDERS, strict=False)
        self._harmonics = {name: cubic_harmonic(order, self.hkl) for name, order in orders}
        # zero on average over all directions, one along (100), -2/3 along (111)
        self._cubic_departure = 1.0 - 5.0 * fourth_order_sum(self.hkl)

    @cached_property
    def attenuation_per_nm(self) -> float:
        """Attenuation of the dense phase, 1/nm; zero where its atoms are not known."""
        p = self.phase
        if not p.sites:
            return 0.0
        return linear_attenuation_per_nm(
            p.atoms_per_cell(), p.cell_volume_nm3(), self.optics.radiation.energy_ev, self.optics.table
        )

    def _strongest(self) -> float:
        """Strength of the strongest line of the catalogue structure: a scale then is about its area, counts degree."""
        if self.twin:
            return self.twin.norm
        values = {name: site.b_iso_nm2 for name, site in zip(self.b_iso_names, self.phase.sites, strict=True)}
        if self.contrast_name:
            values[self.contrast_name] = 1.0
        squared, _ = self._structure_factor_squared(values)
        strengths = self._strength * squared[self._reflection]
        return float(strengths.max()) if len(strengths) else 1.0

    @property
    def norm(self) -> float:
        """Multiplicity times squared structure factor times Lorentz-polarisation for a scale of one."""
        assert self._norm is not None
        return self._norm

    def _structure_factor_squared(self, values: Mapping[str, float]) -> tuple[Array, dict[str, Array]]:
        """|F|^2 in electrons squared at each reflection, and derivatives by contrast and displacement parameters."""
        if self._scattering is None:
            energy, table = self.optics.radiation.energy_ev, self.optics.table
            self._scattering = StructureFactors(self.phase, self.hkl, self._s, energy, table)
        contrast = values[self.contrast_name] if self.contrast_name else None
        squared, by_contrast, by_b_iso = self._scattering.squared(contrast, [values[n] for n in self.b_iso_names])
        slopes = dict(zip(self.b_iso_names, by_b_iso, strict=True))
        if self.contrast_name:
            slopes[self.contrast_name] = by_contrast
        return squared, slopes

    def intensities(self, values: Mapping[str, float]) -> tuple[Array, dict[str, Array]]:
        """Intensity of each reflection before geometry and multiplicity, and its derivatives by parameters.

        Squared structure factor times density of plane normals, electrons squared, shape (reflections,).
        """
        here = tuple(values[name] for name in self._intensity_names)
        if self._intense is not None and self._intense[0] == here:
            return self._intense[1]
        squared, squared_by = self._structure_factor_squared(values)
        density, density_by = self._pole_density(values)
        slopes = {name: change * density for name, change in squared_by.items()}
        slopes |= {name: squared * change for name, change in density_by.items()}
        self._intense = here, (squared * density, slopes)
        return self._intense[1]

    def _pole_density(self, values: Mapping[str, float]) -> tuple[Array, dict[str, Array]]:
        """Texture factor of each reflection: the harmonic series times March's function, and its derivatives.

        A density cannot be negative; where the short series would be, it rests at a small positive value.
        """
        series = 1.0 + sum(
            (values[name] * harmonic for name, harmonic in self._harmonics.items()), np.zeros(len(self.hkl))
        )
        positive = series > _LEAST_DENSITY
        slopes = {name: np.where(positive, harmonic, 0.0) for name, harmonic in self._harmonics.items()}
        density = np.maximum(series, _LEAST_DENSITY)
        if self._march_cosines is not None and self.march_name:
            march, by_r = march_density(self._march_cosines, values[self.march_name])
            slopes = {name: slope * march for name, slope in slopes.items()}
            slopes[self.march_name] = density * by_r
            density = density * march
        return density, slopes

    def lines(self, values: Mapping[str, float], columns: Mapping[str, int]) -> tuple[Lines, LineDerivatives]:
        """All lines at these parameter values, and derivatives by the parameters named in `columns`.

        Parameters
        ----------
        values
            Every parameter of the phase and of the instrument.
        columns
            Wanted derivatives: parameter name to column.
        """
        here = self.freezes, tuple(values.items())
        if not columns and self._drawn is not None and self._drawn[0] == here:
            return self._drawn[1]
        # where tail and slope are zero all nodes coincide: the derivatives are those at their mean
        spread = any(name and values[name] != 0.0 for name in (self.tail_name, self.depth_name))
        nodes = self._spacings.nodes(spread)
        k = len(nodes.weight)
        by = _Slopes(len(self._reflection) * k, columns)
        position = self._positions(values, nodes.x, by)
        area = self._areas(values, nodes.weight, by)
        gauss, lorentz = self._widths(values, k, by)
        axial = None
        if "axial_source_ratio" in columns:
            axial = columns["axial_source_ratio"], columns["axial_detector_ratio"]
        drawn = Lines(position, area, gauss, lorentz)
        ratios = values["axial_source_ratio"], values["axial_detector_ratio"]
        if self._nodes is None or len(self._nodes) != len(position):
            self._nodes = axial_counts(drawn, *ratios)
        result = (
            drawn._replace(nodes=self._nodes),
            LineDerivatives(by.position, by.area, by.gauss, by.lorentz, axial),
        )
        if not columns:  # asked for again and again at one minimum
            self._drawn = here, result
        return result

    def _positions(self, values: Mapping[str, float], x: Array, by: "_Slopes") -> Array:
        """Centres in degrees, shape (lines,): Bragg angle and all shifts; fills the derivatives."""
        phase, geometry, k = self.phase, self.optics.geometry, len(x)
        lengths = [values[name] for name in self.length_names]
        q, q_by = inverse_d_squared(phase.system, self.hkl, lengths, phase.angles_deg)
        root = np.sqrt(q)[self._reflection]
        names = self.tail_name, self.elastic_name, self.depth_name
        stretch, stretch_by = self._spacings.stretch(x, *((name, values[name] if name else 0.0) for name in names))
        wavelength = self._wavelengths[self._emission] * (1.0 + values["wavelength_shift"])
        sine = np.minimum((0.5 * wavelength * root)[:, None] / stretch, 0.99999).ravel()
        theta = np.arcsin(sine)
        slopes, transparency = geometry.shift_slopes(theta), values["transparency_deg"]
        position = (
            np.degrees(2.0 * theta) + values["two_theta_offset"] - transparency * np.sin(2.0 * theta)
            + np.repeat(self._fixed_shift, k)
        )  # fmt: skip
        for name, slope in slopes.items():
            position = position + values[name] * slope
            by.add("position", name, slope)
        if not by.columns:
            return np.asarray(position)
        # how the position follows the Bragg angle: the shifts themselves move a little with it
        by_bragg = 1.0 - np.radians(transparency) * np.cos(2.0 * theta)
        for name, slope in geometry.shift_slopes_by_theta(theta).items():
            by_bragg = by_bragg + values[name] * np.radians(slope) / 2.0
        # the logarithm of the spacing moves 2 theta by -2 tan(theta)
        by_log_spacing = -by_bragg * np.degrees(2.0 * np.tan(theta))
        for j, name in enumerate(self.length_names):
            log_spacing = np.repeat(-0.5 * q_by[self._reflection, j] / q[self._reflection], k)
            by.add("position", name, by_log_spacing * log_spacing)
        for name, change in by.wanted(stretch_by):
            by.add("position", name, by_log_spacing * (change / stretch).ravel())
        by.add("position", "two_theta_offset", np.ones_like(theta))
        by.add("position", "transparency_deg", -np.sin(2.0 * theta))
        by.add("position", "wavelength_shift", -by_log_spacing / (1.0 + values["wavelength_shift"]))
        return np.asarray(position)

    def _areas(self, values: Mapping[str, float], weight: Array, by: "_Slopes") -> Array:
        """Areas in counts times degree, shape (lines,); fills the derivatives."""
        k = len(weight)
        emission, emission_by = self._emission_weights(values["alpha2_ratio"])
        intensity, intensity_by = self.intensities(values)
        share = values[self.share_name] if self.share_name else 1.0
        scale = values[self.scale_name]
        common = self._strength / self.norm

        def spread(of_line: Array) -> Array:
            return np.outer(of_line, weight).ravel() if k > 1 else of_line

        unit = common * emission
        on_line = intensity[self._reflection]
        if not by.columns:
            return spread(scale * share * unit * on_line)
        by.add("area", self.scale_name, spread(share * unit * on_line))
        if self.share_name:
            by.add("area", self.share_name, spread(scale * unit * on_line))
        for name, change in by.wanted(intensity_by):
            by.add("area", name, spread(scale * share * unit * change[self._reflection]))
        by.add("area", "alpha2_ratio", spread(scale * share * common * on_line * emission_by))
        return spread(scale * share * unit * on_line)

    def least_widths(self, values: Mapping[str, float]) -> tuple[float, float, float]:
        """Lower bounds of the specimen's widths, in the order of `width_names`: below nothing, but lines stay lines.

        `values` are those of the instrument.
        """
        if not len(self._theta):
            return 0.0, 0.0, 0.0
        gauss = sum(values[name] * self._gauss[name] for name in GAUSS_TERMS)
        lorentz = self._natural_width + sum(values[name] * self._lorentz[name] for name in LORENTZ_TERMS)
        sec, tan = (-_LORENTZ_TAKEN * float(np.min(lorentz / self._lorentz[name])) for name in LORENTZ_TERMS)
        tan2 = -_GAUSS_TAKEN * float(np.min(gauss / self._gauss[_SPECIMEN_GAUSS]))
        return min(sec, 0.0), min(tan, 0.0), min(tan2, 0.0)

    def _widths(self, values: Mapping[str, float], k: int, by: "_Slopes") -> tuple[Array, Array]:
        """Squared Gaussian and Lorentzian full widths, shape (lines,) each; fills the derivatives."""
        sec, tan, gauss_tan2 = self.width_names
        factor, squared = np.ones_like(self._theta), np.ones_like(self._theta)
        squared_by = np.zeros_like(self._theta)
        if self.anisotropy_name:
            departure = -self._cubic_departure[self._reflection]
            squared = 1.0 + values[self.anisotropy_name] * departure
            squared_by = np.where(squared > _LEAST_ANISOTROPY, departure, 0.0)
            squared = np.maximum(squared, _LEAST_ANISOTROPY)
            factor = np.sqrt(squared)
        own_gauss, own_tan = squared * self._gauss[_SPECIMEN_GAUSS], factor * self._lorentz["lorentz_tan"]
        gauss = sum((values[name] * self._gauss[name] for name in GAUSS_TERMS), values[gauss_tan2] * own_gauss)
        lorentz = (
            self._natural_width
            + sum(values[name] * self._lorentz[name] for name in LORENTZ_TERMS)
            + values[sec] * self._lorentz["lorentz_sec"]
            + values[tan] * own_tan
        )
        if self.size_gauss_name:
            gauss = gauss + values[self.size_gauss_name] * self._size_gauss
        widths = np.repeat(np.maximum(gauss, _LEAST_GAUSS), k), np.repeat(np.maximum(lorentz, _LEAST_LORENTZ), k)
        if not by.columns:
            return widths
        wide, positive = np.repeat(gauss >= _LEAST_GAUSS, k), np.repeat(lorentz >= _LEAST_LORENTZ, k)
        own = {gauss_tan2: own_gauss}
        if self.size_gauss_name:
            own[self.size_gauss_name] = self._size_gauss
        for name, basis in by.wanted(self._gauss | own):
            by.add("gauss", name, np.repeat(basis, k) * wide)
        for name, basis in by.wanted(self._lorentz | {sec: self._lorentz["lorentz_sec"], tan: own_tan}):
            by.add("lorentz", name, np.repeat(basis, k) * positive)
        if self.anisotropy_name and self.anisotropy_name in by.columns:
            change = values[gauss_tan2] * squared_by * self._gauss[_SPECIMEN_GAUSS]
            by.add("gauss", self.anisotropy_name, np.repeat(change, k) * wide)
            change = values[tan] * 0.5 * squared_by / factor * self._lorentz["lorentz_tan"]
            by.add("lorentz", self.anisotropy_name, np.repeat(change, k) * positive)
        return widths

    def _emission_weights(self, alpha2_ratio: float) -> tuple[Array, Array]:
        """Weight of each line's emission component at this K-alpha2 to K-alpha1 ratio, and its derivative."""
        first, second, weights = self._first_group, self._second_group, self._weights
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

    def first_lines(self) -> NDArray[np.bool_]:
        """Tell which of the lines (of one node) belong to the reference emission line: one of each reflection."""
        reference = int(np.argmin(np.abs(self._wavelengths - self.optics.radiation.wavelength_nm)))
        return np.asarray(self._emission == reference)

    def summary(self, values: Mapping[str, float]) -> Lines:
        """One line a reflection: at the reference wavelength and mean lattice, with the area of all emission lines."""
        alone = {name: 0.0 for name in (self.tail_name, self.depth_name) if name}
        drawn, _ = self.lines({**values, **alone}, {})
        first = self.first_lines()
        area = np.asarray(np.bincount(self._reflection, drawn.area, len(self.hkl)), dtype=np.float64)
        return Lines(drawn.position[first], area, drawn.gauss_squared[first], drawn.lorentz[first])

    def _copy(self) -> "PhaseLines":
        """The same lines, without what hangs on atoms and radiation."""
        other = copy.copy(self)
        other._scattering = other._drawn = other._intense = None
        other.__dict__.pop("attenuation_per_nm", None)
        return other

    def with_phase(self, phase: Phase) -> "PhaseLines":
        """Return the same lines with the atoms of another composition, for asking what the composition does."""
        other = self._copy()
        other.phase = phase
        return other

    def with_optics(self, lengths_nm: tuple[float, ...], **changes: object) -> "PhaseLines":
        """Return the same lines seen by other optics (fields of `Optics`), on the same scale."""
        other = self._copy()
        other.optics = replace(self.optics, **changes)  # type: ignore[arg-type]
        if "radiation" in changes:
            other._set_radiation()
        other.frozen_at = ()
        other.freeze(lengths_nm)
        return other

    def in_contamination(self, radiation: Radiation, share_name: str, lengths_nm: tuple[float, ...]) -> "PhaseLines":
        """Return the lines of the same grains in a contaminating emission line, `share_name` times as strong."""
        other = self.with_optics(lengths_nm, radiation=radiation)
        other.share_name = share_name
        other.roles = {**self.roles, share_name: Role("", Kind.CONTAMINATION)}
        return other


class _Slopes:
    """Derivatives of the lines by the wanted parameters, filled column by column."""

    def __init__(self, lines: int, columns: Mapping[str, int]) -> None:
        self.position, self.area, self.gauss, self.lorentz = np.zeros((4, lines, len(columns)))
        self.columns = columns

    def wanted(self, slopes: Mapping[str, Array]) -> list[tuple[str, Array]]:
        """Those of some slopes that are asked for."""
        return [(name, slope) for name, slope in slopes.items() if name in self.columns]

    def add(self, what: str, name: str, slope: Array) -> None:
        """Set one column if it is wanted."""
        if name in self.columns:
            getattr(self, what)[:, self.columns[name]] = slope
