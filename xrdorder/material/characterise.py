"""All that a fitted pattern says about the A15, in one call."""

from __future__ import annotations

import math
from collections.abc import Mapping

from xrdorder.material.depth import remark_on_depth
from xrdorder.material.distribution import add_tin_spread
from xrdorder.material.lattice import refer_lattice
from xrdorder.material.lattice_strain import add_strain
from xrdorder.material.material import Material
from xrdorder.material.niobium import remark_on_niobium
from xrdorder.material.order import add_site_order, add_tin_bound, drop_contrast_at_bound, drop_intermediate
from xrdorder.material.specimen import Specimen
from xrdorder.material.tin import add_tin
from xrdorder.material.tin_by_order import add_tin_by_order
from xrdorder.material.tin_held import CONTRAST, refer_to_tin
from xrdorder.material.tin_scale import PUBLISHED_SCALE, TinScale
from xrdorder.material.widths import add_domain_size, add_microstrain
from xrdorder.quantities.of_phase import WEIGHT_FRACTION
from xrdorder.quantities.records import Record, symbol_of
from xrdorder.uncertainty import Contributions
from xrdorder.xrays import Radiation


def characterise(
    values: Mapping[str, float],
    contributions: Contributions,
    specimen: Specimen | None = None,
    *,
    radiation: Radiation,
    wavelength_nm: float | None = None,
    a15: str = "nb3sn",
    tin_held: float = math.nan,
    by_tin: Mapping[str, float] | None = None,
    two_theta_range: tuple[float, float] | None = None,
    scale: TinScale = PUBLISHED_SCALE,
    records: Mapping[str, Record] | None = None,
) -> Material:
    """Derive from the quantities of a fit what the A15 is like.

    Parameters
    ----------
    values : mapping of str to float
        ``a_nm`` (as measured, nm), ``order_contrast``, ``lorentz_sec``, ``lorentz_tan`` (full widths,
        degrees), ``gauss_tan2`` (degrees squared), ``weight_fraction_<phase>``, ``lattice_a_nm_nb``; any of them may be
        missing. Where the data asked for them: ``lattice_tail_nm`` (decay length toward small a); ``a_nm_lean``,
        ``a_nm_rich``, ``rich_share``, ``lorentz_sec_lean``, ``lorentz_sec_rich`` (two populations).
    contributions : Contributions
        Their uncertainty table.
    specimen : Specimen, optional
        Dopants, mount, temperature, lot.
    radiation : Radiation
        For the share of dopants in the contrast, and the wavelength.
    wavelength_nm : float, optional
        Wavelength of the domain size; that of the radiation unless given.
    a15 : str, optional
        Name of the A15 phase in ``weight_fraction_<phase>``.
    tin_held : float, optional
        Tin fraction that the fit took for the mean scattering (`PatternFit.tin_held`).
    by_tin : mapping of str to float, optional
        Change of the contrast and of the weight fractions for each unit of it (`PatternFit.by_tin`).
    two_theta_range : (float, float), optional
        First and last angle of the pattern, degrees; tells which order lines say how deep was seen.
    scale : TinScale, optional
        Line a(tin) that gives the tin content: the published one, or that of a laboratory's own samples.
    records : mapping of str to Record, optional
        How the fit computed its quantities.

    Returns
    -------
    Material
        Contradictions among quantities (order above one, tin below the bound by order) are flags, never errors.

    Raises
    ------
    UnknownNameError
        A dopant whose sites are not known.
    """
    specimen = Specimen() if specimen is None else specimen
    by_tin = by_tin or {}
    derived = Material(values, contributions, records)
    if specimen.off:
        derived.flag(
            "corrections-off",
            f"switched off: {', '.join(sorted(specimen.off))}; neither these corrections nor their uncertainty take "
            "part, and u is that much too small",
        )
    drop_contrast_at_bound(derived)
    refer_lattice(derived, specimen)
    add_strain(derived, specimen, a15)
    add_tin(derived, specimen, scale)
    refer_to_tin(derived, tin_held, by_tin)
    add_site_order(derived, specimen, radiation)
    add_tin_bound(derived, specimen)
    add_tin_by_order(derived, specimen, scale, by_tin.get(CONTRAST, 0.0), tin_held)
    drop_intermediate(derived)
    wavelength_nm = radiation.wavelength_nm if wavelength_nm is None else wavelength_nm
    add_domain_size(derived, wavelength_nm)
    add_tin_spread(derived, specimen, wavelength_nm, add_microstrain(derived), scale)
    remark_on_depth(derived, specimen, radiation, two_theta_range)
    remark_on_niobium(derived, specimen)
    fraction = WEIGHT_FRACTION.of(a15)
    if derived.given(fraction):
        derived.add(
            "a15_fraction",
            derived.values[fraction],
            {fraction: 1.0},
            formula=symbol_of(fraction),
            source="definition",
        )
    else:
        derived.absent("a15_fraction", "the fit holds no weight fraction of the A15")
    return derived
