"""How strong lines are: structure factors.

The amplitude is written out here in numpy, for the fit needs its derivatives; the tests hold it against
gemmi's own code. `structure_factor_squared` has `structure_factor_squared_derivatives` beside it.

Of non-centrosymmetric phases a powder line is the mean of |F(h)|² and |F(-h)|², which differ by f''.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.crystals.phase import Phase
from xrdorder.exceptions import PhaseError
from xrdorder.xrays.scattering import GEMMI_TABLE, ScatteringTable, scattering_factor

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


def geometry_factors(phase: Phase, hkl: ArrayLike) -> ComplexArray:
    """Return the sum over the positions of each site of exp(2πi h·r).

    Parameters
    ----------
    phase : Phase
        The phase.
    hkl : array_like, shape (n, 3)
        Miller indices.

    Returns
    -------
    ndarray of complex, shape (n_sites, n)
    """
    indices = np.atleast_2d(np.asarray(hkl, dtype=np.float64))
    return np.array([np.exp(2j * np.pi * (site.positions @ indices.T)).sum(axis=0) for site in phase.sites])


def _ordered_pair(phase: Phase) -> tuple[int, int, tuple[str, str]]:
    """Return the rows of the two ordered sites and the elements that belong there."""
    if phase.order is None:
        raise PhaseError(f"phase {phase.name} has no order to set: leave the contrast out")
    labels = [site.label for site in phase.sites]
    return labels.index(phase.order.sites[0]), labels.index(phase.order.sites[1]), phase.order.elements


def _contrast_unit(phase: Phase, s_per_nm: Array, energy_ev: float, table: ScatteringTable) -> ComplexArray:
    """Return d f_site / d contrast, shape (n_sites, n); it adds up to nothing over the cell."""
    first, second, elements = _ordered_pair(phase)
    f_first, f_second = (scattering_factor(element, s_per_nm, energy_ev, table) for element in elements)
    difference = f_first - f_second
    n_first, n_second = len(phase.sites[first].positions), len(phase.sites[second].positions)
    unit = np.zeros((len(phase.sites), len(difference)), dtype=np.complex128)
    unit[first] = n_second / (n_first + n_second) * difference
    unit[second] = -n_first / (n_first + n_second) * difference
    return unit


def site_scattering(
    phase: Phase,
    s_per_nm: ArrayLike,
    energy_ev: float,
    table: ScatteringTable = GEMMI_TABLE,
    contrast: float | None = None,
) -> ComplexArray:
    """Return the mean scattering factor of one position of each site, without displacement.

    Parameters
    ----------
    phase : Phase
        The phase.
    s_per_nm : array_like, shape (n,)
        sin(theta)/lambda, 1/nm.
    energy_ev : float
        Photon energy, eV.
    table : ScatteringTable, optional
        Source of the scattering factors.
    contrast : float, optional
        Contrast (f_1 - f_2)/(f_A - f_B) between the two sites of `Phase.order`. The scattering of the cell
        as a whole, which the composition fixes, is kept and only its distribution over the two sites
        changed. None takes the occupancies as they are.

    Returns
    -------
    ndarray of complex, shape (n_sites, n)
        Electrons.

    Raises
    ------
    PhaseError
        If a contrast is given for a phase without order.
    """
    s = np.atleast_1d(np.asarray(s_per_nm, dtype=np.float64))
    factors = {element: scattering_factor(element, s, energy_ev, table) for element in phase.atoms_per_cell()}
    mean = np.zeros((len(phase.sites), len(s)), dtype=np.complex128)
    for row, site in enumerate(phase.sites):
        for element, share in site.occupancy.items():
            mean[row] += share * factors[element]
    if contrast is None:
        return mean
    first, second, _ = _ordered_pair(phase)
    n_first, n_second = len(phase.sites[first].positions), len(phase.sites[second].positions)
    average = (n_first * mean[first] + n_second * mean[second]) / (n_first + n_second)
    mean[first] = average
    mean[second] = average
    return mean + contrast * _contrast_unit(phase, s, energy_ev, table)


def _displacement(phase: Phase, s: Array, b_iso_nm2: ArrayLike | None) -> Array:
    b = [site.b_iso_nm2 for site in phase.sites] if b_iso_nm2 is None else b_iso_nm2
    return np.exp(-np.outer(np.asarray(b, dtype=np.float64), s**2))


def structure_factor_squared(
    phase: Phase,
    hkl: ArrayLike,
    s_per_nm: ArrayLike,
    energy_ev: float,
    table: ScatteringTable = GEMMI_TABLE,
    contrast: float | None = None,
    b_iso_nm2: ArrayLike | None = None,
) -> Array:
    r"""Return \|F\|² of reflections, averaged over Friedel mates.

    .. math:: F(h) = \sum_j f_j(s)\, e^{-B_j s^2} \sum_{r \in j} e^{2\pi i\, h \cdot r}

    Parameters
    ----------
    phase : Phase
        The phase.
    hkl : array_like, shape (n, 3)
        Miller indices.
    s_per_nm : array_like, shape (n,)
        sin(theta)/lambda = 1/(2d), 1/nm.
    energy_ev : float
        Photon energy, eV.
    table : ScatteringTable, optional
        Source of the scattering factors.
    contrast : float, optional
        See `site_scattering`.
    b_iso_nm2 : array_like, shape (n_sites,), optional
        Displacement parameters in place of those of the phase, nm².

    Returns
    -------
    ndarray, shape (n,)
        Electrons squared.

    Raises
    ------
    PhaseError
        If a contrast is given for a phase without order.
    """
    return StructureFactors(phase, hkl, s_per_nm, energy_ev, table).squared(contrast, b_iso_nm2)[0]


def structure_factor_squared_derivatives(
    phase: Phase,
    hkl: ArrayLike,
    s_per_nm: ArrayLike,
    energy_ev: float,
    table: ScatteringTable = GEMMI_TABLE,
    contrast: float | None = None,
    b_iso_nm2: ArrayLike | None = None,
) -> tuple[Array, Array]:
    r"""Return the derivatives of `structure_factor_squared`, same arguments.

    Returns
    -------
    by_contrast : ndarray, shape (n,)
        d\|F\|²/d(contrast), electrons squared; zeros where no contrast is given.
    by_b_iso : ndarray, shape (n_sites, n)
        d\|F\|²/dB of each site, electrons squared per nm².
    """
    _, by_contrast, by_b_iso = StructureFactors(phase, hkl, s_per_nm, energy_ev, table).squared(contrast, b_iso_nm2)
    return by_contrast, by_b_iso


class StructureFactors:
    """Squared structure factors of some reflections, for contrasts and displacement parameters that are varied.

    Parameters are those of `structure_factor_squared`; what does not depend on the two is evaluated once.
    """

    def __init__(
        self,
        phase: Phase,
        hkl: ArrayLike,
        s_per_nm: ArrayLike,
        energy_ev: float,
        table: ScatteringTable = GEMMI_TABLE,
    ) -> None:
        self._phase = phase
        self._s = s = np.atleast_1d(np.asarray(s_per_nm, dtype=np.float64))
        geometry = geometry_factors(phase, hkl)
        # reflections and their mates count half each; with an inversion centre at the origin they are the same
        alike = not np.any(geometry.imag)
        self._mates = ((geometry.real, 1.0),) if alike else ((geometry, 0.5), (geometry.conj(), 0.5))
        self._mean = site_scattering(phase, s, energy_ev, table)
        if phase.order is not None:
            self._disordered = site_scattering(phase, s, energy_ev, table, 0.0)
            self._unit = _contrast_unit(phase, s, energy_ev, table)

    def squared(self, contrast: float | None, b_iso_nm2: ArrayLike | None) -> tuple[Array, Array, Array]:
        r"""Return \|F\|² and its derivatives by contrast and displacement parameters.

        See `structure_factor_squared` and `structure_factor_squared_derivatives`.
        """
        damping = _displacement(self._phase, self._s, b_iso_nm2)
        if contrast is None:
            f = self._mean * damping
        else:
            _ordered_pair(self._phase)
            f = (self._disordered + contrast * self._unit) * damping
        squared, by_contrast, by_b_iso = np.zeros(len(self._s)), np.zeros(len(self._s)), np.zeros(f.shape)
        for mate, share in self._mates:
            terms = f * mate
            total = terms.sum(axis=0)
            squared += share * np.abs(total) ** 2
            # d|F|^2 = 2 Re(F* dF)
            by_b_iso -= 2.0 * share * self._s**2 * (total.conj() * terms).real
            if contrast is not None:
                by_contrast += 2.0 * share * (total.conj() * (self._unit * damping * mate).sum(axis=0)).real
        return squared, by_contrast, by_b_iso
