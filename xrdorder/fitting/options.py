"""Options of a fit beyond pattern, instrument and phases; all have defaults."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from xrdorder.exceptions import FitError

LATTICE_DISTRIBUTIONS = ("auto", "single", "tail", "two-populations")


@dataclass(frozen=True)
class FitOptions:
    """Choices of a fit.

    Attributes
    ----------
    lattice_distribution
        Of the A15: ``auto`` takes in a tail or a second population where the pattern asks for it, ``single`` never,
        the others always.
    texture_axes
        Phases whose texture is March's function: name to the plane (h, k, l) whose normal the grains prefer. All other
        cubic phases get cubic harmonics where the pattern asks for them.
    elastic_shifts
        Fit the strain of A15 grains held in a composite, (h00) against (hhh).
    depth_gradient
        Fit a lattice parameter of the A15 that changes with depth: for layers and whole filaments.
    mu_t, mu_r
        Attenuation times thickness of a plate in transmission, times radius of a capillary; None where not known.
    roughness
        Share p and length q of the loss of intensity at grazing angles (`xrdorder.forward_model.geometry`).
    particle_size_um
        Mean size of the particles a ray goes through, for the microabsorption of weight fractions.
    measured_dispersion
        f' and f'' of elements, electrons, where they were measured.
    tube_lines
        Look for K-beta and tungsten lines of the tube.
    identify_phases
        Look in the catalogue for phases that explain unindexed lines.
    cross_checks
        Single lines and free intensities beside the fit.

    Raises
    ------
    FitError
        A choice that is not known, or impossible.
    """

    lattice_distribution: str = "auto"
    texture_axes: Mapping[str, tuple[int, int, int]] = field(default_factory=dict)
    elastic_shifts: bool = False
    depth_gradient: bool = False
    mu_t: float | None = None
    mu_r: float | None = None
    roughness: tuple[float, float] | None = None
    particle_size_um: float | None = None
    measured_dispersion: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    tube_lines: bool = True
    identify_phases: bool = True
    cross_checks: bool = True

    def __post_init__(self) -> None:
        if self.lattice_distribution not in LATTICE_DISTRIBUTIONS:
            raise FitError(
                f"fit: lattice distribution '{self.lattice_distribution}' is unknown; "
                f"say one of {', '.join(LATTICE_DISTRIBUTIONS)}"
            )
        for name, axis in self.texture_axes.items():
            if len(axis) != 3 or not any(axis):
                raise FitError(f"fit: texture axis of {name} is {axis}; give three indices, as 1 1 0")
        if self.particle_size_um is not None and not 0.0 < self.particle_size_um < 1000.0:
            raise FitError(f"fit: particle size {self.particle_size_um} um; give micrometres above zero")
