"""Order, tin and dopants on the two sublattices of the A15 phase.

A cell of A15 Nb3Sn has two 2a positions, where tin belongs, and six 6c positions, where niobium belongs.
Two numbers describe an undoped crystal: the tin fraction β of all atoms and the site order

    site order = 1 - (Sn on 6c) - (Nb on 2a)

with both as fractions of their sites. Undoped it is r_a + r_b - 1 (r_a, r_b: niobium on 6c, tin on 2a) and
equals 4βS_a of the long-range order parameters S_a = [r_a - (1-β)]/β and S_b = (r_b - β)/(1-β) (A. Godeke,
Supercond. Sci. Technol. 19 (2006) R68, eq. 1; form from memory). From the site balance 3(1 - r_a) + r_b =
4β also follows S_b = 3βS_a/(1-β), so that full order short of tin means S_a = 1 and S_b < 1.

What intensities measure is the contrast (f_2a - f_6c)/(f_Sn - f_Nb) of the mean scattering factors.
`contrast_shift` tells by how much dopants move it away from the site order.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from xrdorder.crystals.phase import Phase
from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.xrays.scattering import GEMMI_TABLE, ScatteringTable, scattering_factor

Array = NDArray[np.float64]

#: Positions of each site in a cell of eight atoms.
_POSITIONS = {"2a": 2, "6c": 6}


class DopantSite(NamedTuple):
    """Which share of a dopant is on the tin site, standard uncertainty, and who found it."""

    share: float
    u_share: float
    source: str


_AS_TITANIUM = (
    "judged, no measurement could be read: of the group of titanium, which is on the Nb site, but larger; what is "
    "bound as oxide is on no site and must not be counted as content"
)

#: Where dopants go in reacted wires.
DOPANT_SITES: Mapping[str, DopantSite] = {
    "Ti": DopantSite(
        0.0,
        0.03,
        "all Ti on the Nb site in every wire, EXAFS: S. M. Heald et al., Sci. Rep. 8 (2018) 4798; "
        "0.03 is an estimate of the precision of such a fit",
    ),
    "Ta": DopantSite(
        0.30,
        0.12,
        "21-32 % on the Sn site, EXAFS: S. M. Heald et al., Sci. Rep. 8 (2018) 4798; 8-43 % with "
        "the heat treatment: C. Tarantini et al., Supercond. Sci. Technol. 32 (2019) 124003; 0.12 spans them",
    ),
    "Hf": DopantSite(0.15, 0.15, _AS_TITANIUM),
    "Zr": DopantSite(0.15, 0.15, _AS_TITANIUM),
}


def dopant_site(element: str) -> DopantSite:
    """Return where a dopant goes.

    Raises
    ------
    UnknownNameError
        If nothing is known of that dopant.
    """
    try:
        return DOPANT_SITES[element]
    except KeyError:
        known = ", ".join(DOPANT_SITES)
        raise UnknownNameError(f"dopant '{element}': its sites in Nb3Sn are known only for {known}") from None


def _on_sites(
    dopants: Mapping[str, float], on_tin_site: Mapping[str, float] | None
) -> dict[str, tuple[float, float]]:
    """Return of each dopant the fraction of 2a and of 6c positions it fills."""
    shares = {} if on_tin_site is None else dict(on_tin_site)
    stray = sorted(set(shares) - set(dopants))
    if stray:
        raise ValidityError(f"dopant '{stray[0]}' has a share on the tin site but no content")
    filled = {}
    for element, content in dopants.items():
        default = dopant_site(element).share
        share = shares.get(element, default)
        if not (0.0 <= content <= 0.2):
            raise ValidityError(
                f"dopant {element}: {content} is no atomic fraction of a dopant (0 to 0.2, not per cent)"
            )
        if not (0.0 <= share <= 1.0):
            raise ValidityError(
                f"dopant {element}: {share} of it on the tin site; a share is between 0 and 1"
            )
        atoms = 8.0 * content
        filled[element] = (atoms * share / _POSITIONS["2a"], atoms * (1.0 - share) / _POSITIONS["6c"])
    return filled


@dataclass(frozen=True)
class A15Composition:
    """Who sits where in A15 Nb3Sn, on average.

    Attributes
    ----------
    tin_fraction : float
        β, tin over all atoms.
    site_order : float
        1 - (Sn on 6c) - (Nb on 2a).
    dopants : mapping
        Atomic fraction of all atoms of each dopant, ``{"Ta": 0.024}``.
    on_tin_site : mapping
        Share of each dopant on the 2a site; those of `DOPANT_SITES` where left out.
    """

    tin_fraction: float = 0.25
    site_order: float = 1.0
    dopants: Mapping[str, float] = field(default_factory=dict)
    on_tin_site: Mapping[str, float] = field(default_factory=dict)

    def occupancies(self) -> dict[str, dict[str, float]]:
        """Return the mean occupancies of the sites, each adding up to 1.

        An order that the tin content does not allow gives a negative number of antisite atoms. It is handed
        on as it is, for a measured order scatters to both sides of what is possible.

        Raises
        ------
        ValidityError
            If the tin fraction or a dopant content is no atomic fraction, or a dopant share no share.
        UnknownNameError
            If a dopant is not known.

        Examples
        --------
        >>> sites = A15Composition(tin_fraction=0.24, site_order=0.9).occupancies()
        >>> {label: {el: round(x, 4) for el, x in site.items()} for label, site in sites.items()}
        {'2a': {'Sn': 0.915, 'Nb': 0.085}, '6c': {'Sn': 0.015, 'Nb': 0.985}}
        """
        if not (0.0 <= self.tin_fraction <= 1.0 and np.isfinite(self.site_order)):
            raise ValidityError(
                f"tin fraction {self.tin_fraction}, site order {self.site_order}: "
                "give tin as a fraction of all atoms (0.25, not 25) and a finite order"
            )
        filled = _on_sites(self.dopants, self.on_tin_site)
        dopant_2a = sum(on_2a for on_2a, _ in filled.values())
        dopant_6c = sum(on_6c for _, on_6c in filled.values())
        # Two equations: 2 Sn_2a + 6 Sn_6c = 8 beta, and Sn_2a - Sn_6c + dopant_2a = site order.
        excess = self.site_order - dopant_2a
        tin_2a, tin_6c = self.tin_fraction + 0.75 * excess, self.tin_fraction - 0.25 * excess
        sites = {
            "2a": {"Sn": tin_2a, "Nb": 1.0 - tin_2a - dopant_2a},
            "6c": {"Sn": tin_6c, "Nb": 1.0 - tin_6c - dopant_6c},
        }
        for element, (on_2a, on_6c) in filled.items():
            sites["2a"][element], sites["6c"][element] = on_2a, on_6c
        return sites


def doped(phase: Phase, composition: A15Composition) -> Phase:
    """Return an A15 phase with the mean occupancies of a composition on its sites 2a and 6c."""
    return phase.with_occupancies(composition.occupancies())


def order_parameters(tin_fraction: ArrayLike, site_order: ArrayLike) -> tuple[Array, Array]:
    """Return the long-range order parameters S_a and S_b of an undoped A15 phase.

    S_a = site order/(4β), S_b = 3 site order/(4(1-β)).

    Parameters
    ----------
    tin_fraction, site_order : array_like
        β and r_a + r_b - 1; any shapes that fit together.

    Examples
    --------
    >>> s_a, s_b = order_parameters(0.22, 0.88)
    >>> print(f"{s_a:.3f} {s_b:.3f}")
    1.000 0.846
    """
    beta, order = np.asarray(tin_fraction, dtype=np.float64), np.asarray(site_order, dtype=np.float64)
    return np.asarray(order / (4.0 * beta)), np.asarray(3.0 * order / (4.0 * (1.0 - beta)))


def site_order_from(s_a: ArrayLike, tin_fraction: ArrayLike) -> Array:
    """Return the site order 4βS_a of an undoped A15 phase.

    >>> print(f"{site_order_from(1.0, 0.22):.2f}")
    0.88
    """
    return np.asarray(4.0 * np.asarray(tin_fraction, dtype=np.float64) * np.asarray(s_a, dtype=np.float64))


def tin_lower_bound(
    site_order: ArrayLike,
    dopants: Mapping[str, float] | None = None,
    on_tin_site: Mapping[str, float] | None = None,
) -> Array:
    """Return the smallest tin fraction a site order allows, independent of any scale of lattice parameters.

    Fewer than no tin atoms cannot be on 6c, so β ≥ (site order - share of 2a filled by dopants)/4. Undoped
    this is the statement S_a ≤ 1.

    Parameters
    ----------
    site_order : array_like
        1 - (Sn on 6c) - (Nb on 2a).
    dopants, on_tin_site : mapping, optional
        See `A15Composition`.

    Examples
    --------
    >>> print(f"{tin_lower_bound(0.94):.3f}")
    0.235
    """
    filled = _on_sites(dopants or {}, on_tin_site)
    return np.asarray(
        (np.asarray(site_order, dtype=np.float64) - sum(on_2a for on_2a, _ in filled.values())) / 4.0
    )


def contrast_shift(
    dopants: Mapping[str, float],
    on_tin_site: Mapping[str, float] | None,
    energy_ev: float,
    s_per_nm: float,
    table: ScatteringTable = GEMMI_TABLE,
) -> float:
    r"""Return by how much dopants move the contrast away from the site order.

    .. math:: \frac{f_{2a} - f_{6c}}{f_{Sn} - f_{Nb}} = \text{site order} + \sum_D
              \frac{d_{2a} (f_D - f_{Sn}) - d_{6c} (f_D - f_{Nb})}{f_{Sn} - f_{Nb}}

    with d the fractions of both sites that a dopant fills. This is an identity for any tin content and any
    order; its real part is returned, which differs from the change of the modulus by less than 0.0004 for
    usual dopings. It belongs to a fit whose strong lines know of the dopant (occupancies by `doped`); what
    a fit without dopants reads is `apparent_contrast`.

    Parameters
    ----------
    dopants, on_tin_site : mapping
        See `A15Composition`.
    energy_ev : float
        Photon energy, eV.
    s_per_nm : float
        sin(theta)/lambda of the order line, 1/nm; that of (110) is 1.337. The shift hardly depends on it.
    table : ScatteringTable, optional
        Source of the scattering factors.

    Returns
    -------
    float
        To be subtracted from a measured contrast to get the site order.

    Examples
    --------
    >>> print(f'{contrast_shift({"Ta": 0.024}, {"Ta": 0.08}, 8047.8, 1.337):.3f}')
    -0.066
    """
    f_tin, f_niobium = (complex(scattering_factor(el, s_per_nm, energy_ev, table)) for el in ("Sn", "Nb"))
    shift = 0.0j
    for element, (on_2a, on_6c) in _on_sites(dopants, on_tin_site).items():
        f_dopant = complex(scattering_factor(element, s_per_nm, energy_ev, table))
        shift += on_2a * (f_dopant - f_tin) - on_6c * (f_dopant - f_niobium)
    return (shift / (f_tin - f_niobium)).real


def apparent_contrast(
    composition: A15Composition,
    energy_ev: float,
    length_nm: float = 0.5289,
    table: ScatteringTable = GEMMI_TABLE,
) -> float:
    """Return the order that I(110)/I(211) shows to someone who leaves the dopants out of the calculation.

    A dopant changes the strong line as well: tantalum adds to it, so that the order line looks weaker
    beside it. This is the square root of I(110)/I(211), relative to that of an undoped, stoichiometric,
    ordered crystal of the same displacement parameters.

    Parameters
    ----------
    composition : A15Composition
        Tin, order and dopants as they are.
    energy_ev : float
        Photon energy, eV.
    length_nm : float, optional
        Lattice parameter, nm.
    table : ScatteringTable, optional
        Source of the scattering factors.

    Examples
    --------
    In a perfectly ordered wire with 2.4 at.% Ta on the niobium site but for 8 %, all 2a and 6c sites
    rightly filled:

    >>> wire = A15Composition(0.2481, 1.0, {"Ta": 0.024}, {"Ta": 0.08})
    >>> print(f"{apparent_contrast(wire, 8047.8):.3f}")
    0.924
    """

    def amplitude_ratio(occupancies: Mapping[str, Mapping[str, float]]) -> float:
        sums = []
        for squared, sign in ((2, -1.0), (6, 1.0)):
            s = np.sqrt(squared) / (2.0 * length_nm)
            mean = {
                label: sum(x * complex(scattering_factor(el, s, energy_ev, table)) for el, x in site.items())
                for label, site in occupancies.items()
            }
            sums.append(abs(mean["2a"] + sign * mean["6c"]))
        return sums[0] / sums[1]

    return amplitude_ratio(composition.occupancies()) / amplitude_ratio(A15Composition().occupancies())
