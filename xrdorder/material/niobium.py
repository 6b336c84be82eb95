"""What unreacted niobium tells about the A15 beside it: has the wire taken up hydrogen or oxygen?

Etching in acid charges niobium with hydrogen, annealing in poor vacuum with oxygen; both widen its lattice, and both
get into the A15 as well, whose lattice parameter then no longer means tin alone.
"""

from __future__ import annotations

import math

from xrdorder.material.lattice import REFERENCE_C, temperature_doubt, temperature_of
from xrdorder.material.material import Material
from xrdorder.material.specimen import Specimen
from xrdorder.quantities.formatting import rounded, with_sign
from xrdorder.quantities.of_phase import WEIGHT_FRACTION, lattice_parameter

NIOBIUM_NM = 0.33007
"""Lattice parameter of pure niobium near 25 °C: handbook value, from memory; 0.3300 in A. Godeke, Supercond. Sci.
Technol. 19 (2006) R68."""

EXPANSION_PER_K = 7.3e-6
"""J. W. Ekin, Experimental Techniques for Low-Temperature Measurements (2006), app. 6.4 (from memory)."""

LEAST_DEPARTURE_NM = 2e-5
"""Departure below which nothing is said: the digits of the handbook value (half of the last one is 0.5e-5 nm) and what
laboratories differ by."""

_COVERAGE = 3.89
"""Standard uncertainties: by chance once in ten thousand specimens, as the hints of a fit; batches have hundreds."""

_PLACE = "specimen displacement"
_PLACE_DOUBT = 2.0
"""Factor on what not knowing the place of the specimen adds; judged.

Over a short range lattice and displacement are hard to tell apart, and what else is wrong with angles by some
thousandths of a degree is enlarged alike. Simulated over 30 to 60 degrees, niobium stated to 1.07e-5 nm, with three
quarters of the variance by the displacement, scatters by 1.26e-5 nm (30 scans), and is off by another 1.3e-5 nm where
half a degree of divergence is told that was not there: two in 24 of those were beyond three stated uncertainties, none
with this factor. Over 20 to 80 degrees and more the displacement adds next to nothing.
"""

WIDENING_BY_HYDROGEN = 0.058
"""Relative change of the lattice parameter by one hydrogen a niobium atom: a third of the volume change of 0.174,
H. Peisl in Hydrogen in Metals I, ed. G. Alefeld, J. Völkl (1978) (from memory)."""

_QUANTITY, _OF_TANTALUM = lattice_parameter("a").of("nb"), WEIGHT_FRACTION.of("ta")


def remark_on_niobium(derived: Material, specimen: Specimen) -> None:
    """Flag niobium whose lattice parameter is off that of the pure metal by more than its uncertainty explains."""
    if not derived.given(_QUANTITY):
        return
    temperature, u_temperature = temperature_of(specimen)
    a = derived.values[_QUANTITY] / (1.0 + EXPANSION_PER_K * (temperature - REFERENCE_C))
    by_place = dict(derived.contributions.budget(_QUANTITY)).get(_PLACE, 0.0)
    u = math.hypot(
        derived.u(_QUANTITY), math.sqrt(_PLACE_DOUBT**2 - 1.0) * by_place, a * EXPANSION_PER_K * u_temperature
    )
    departure = a - NIOBIUM_NM
    if abs(departure) <= max(_COVERAGE * u, LEAST_DEPARTURE_NM):
        return
    causes = []
    if departure > 0.0:
        share = departure / NIOBIUM_NM / WIDENING_BY_HYDROGEN
        causes.append(f"hydrogen from etching ({100 * share:.1f} H per 100 Nb would do) or oxygen from annealing")
    alloyed = list(specimen.dopants)
    if _OF_TANTALUM in derived.values and "Ta" not in alloyed:
        alloyed.append("Ta")
    if alloyed:
        causes.append(f"alloying with {' or '.join(alloyed)}")
    if specimen.mount != "ground-powder":
        causes.append("strain by its surroundings")
    if cause := temperature_doubt(specimen):
        causes.insert(0, cause)
    if not causes:
        causes.append("angles that are off")
    derived.flag(
        "niobium-lattice",
        f"niobium has {rounded(a, u, 'nm')}, {with_sign(1e3 * departure, '.3f')} pm off the pure metal: "
        f"{', '.join(causes)}; the same cause moves the A15, so its lattice parameter may not mean tin alone",
    )
