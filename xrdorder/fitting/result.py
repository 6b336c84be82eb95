"""What a fit hands on."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from xrdorder.display import Displayed
from xrdorder.exceptions import Flag
from xrdorder.quantities.records import Record
from xrdorder.uncertainty import Contributions

if TYPE_CHECKING:
    import lmfit
    import xarray as xr

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PhaseResult:
    """How much of a phase there is, and its lattice.

    Attributes
    ----------
    present
        False when its lines do not stand out; then only `upper_limit` means something.
    significance
        Scale over its standard uncertainty.
    weight_fraction, u_weight_fraction
        Share of the mass of all crystalline phases found.
    upper_limit
        Weight fraction that is exceeded with a probability of 5 %, for phases not found; NaN for those found.
    lengths_nm, u_lengths_nm
        Lattice parameters and their standard uncertainties (0 where held).
    """

    present: bool
    significance: float
    weight_fraction: float
    u_weight_fraction: float
    upper_limit: float
    lengths_nm: tuple[float, ...]
    u_lengths_nm: tuple[float, ...]


@dataclass
class Quantities:
    """What was measured, and the free parameters that it was computed of.

    Attributes
    ----------
    values, contributions
        What was measured and the signed contributions of each source of uncertainty: ``a_nm`` (as measured, not
        brought to a reference temperature), ``order_contrast``, ``lorentz_sec``, ``lorentz_tan`` (degrees, full
        widths the A15 adds to the instrument), ``gauss_tan2`` (degrees squared), ``weight_fraction_<phase>`` and, for
        all other phases, ``lattice_<axis>_nm_<phase>``. Where the pattern asks for more: ``lattice_tail_nm`` (decay
        length of a tail toward small lattices), ``a_nm_lean``, ``a_nm_rich`` and ``rich_share`` of two populations
        (``a_nm`` is their mean by mass), ``strain_anisotropy_<phase>``; ``elastic_shift`` and ``depth_slope`` where
        asked for. ``order_contrast_second_table`` says what another table of f' and f'' would give.
    records
        How each value was computed of the parameters.
    by_tin
        How each value moves for each unit of the tin fraction that the fit held, for whoever learns the tin content
        afterwards.
    free_names, covariance
        Free parameters and their covariance (enlarged like all uncertainties).
    enlargement
        Factor on counting uncertainties: serial correlation, and a chi squared beyond one.
    """

    values: dict[str, float]
    contributions: Contributions
    records: dict[str, Record] = field(repr=False)
    by_tin: dict[str, float]
    free_names: tuple[str, ...]
    covariance: Array = field(repr=False)
    enlargement: float

    @property
    def u_free(self) -> Array:
        """Standard uncertainties of the free parameters from counting."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    def u(self, quantity: str) -> float:
        """Return the total standard uncertainty of one of `values`."""
        return self.contributions.total(quantity)


@dataclass
class PatternFit(Quantities, Displayed, view="fits"):
    """The explanation of one pattern: its `Quantities`, and how the fit came to them.

    Attributes
    ----------
    status
        ``"ok"`` or ``"no A15"``.
    a15
        Name of the A15 phase, empty when none was found.
    tin_held
        Tin fraction at which the fit holds the mean scattering and the mass of the A15.
    parameters
        The fit as lmfit knows it.
    curves
        Per measuring point: observed, calculated, background, weighted residual and the part of each phase.
    lines
        Per reflection: phase, hkl, angle, d, area, width.
    phases
        Amount and lattice of each phase asked for.
    r_wp, r_expected, chi2_reduced, serial_correlation
        Quality of the fit as fractions; the last is the factor by which serial correlation of the residuals has
        enlarged every uncertainty.
    quality_words
        How far the result can be trusted and why, in plain words.
    cross_checks
        Lattice and order by independent routes through the same counts (`xrdorder.fitting.cross_checks`); None without.
    single_lines
        Lines of the A15 fitted one by one (`xrdorder.fitting.from_lines.single_line_table`); None without.
    upper_limits
        Weight fractions above which a phase that was not found would have been seen.
    """

    status: str
    a15: str
    tin_held: float
    flags: list[Flag]
    parameters: "lmfit.Parameters"
    curves: "xr.Dataset" = field(repr=False)
    lines: "xr.Dataset" = field(repr=False)
    phases: dict[str, PhaseResult]
    r_wp: float
    r_expected: float
    chi2_reduced: float
    serial_correlation: float
    iterations: int
    quality_words: str = ""
    cross_checks: "xr.Dataset | None" = field(default=None, repr=False)
    single_lines: "xr.Dataset | None" = field(default=None, repr=False)

    @property
    def upper_limits(self) -> dict[str, float]:
        """Weight fraction limits of the phases that were not found."""
        return {name: p.upper_limit for name, p in self.phases.items() if not p.present}
