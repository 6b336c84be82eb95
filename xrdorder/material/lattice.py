"""The lattice parameter at the reference temperature of 22.5 °C."""

from __future__ import annotations

from xrdorder.material.account import Account
from xrdorder.material.specimen import Specimen

REFERENCE_C = 22.5

EXPANSION_PER_K = 7.6e-6
U_EXPANSION_PER_K = 0.4e-6
"""Linear thermal expansion of Nb3Sn near room temperature: J. W. Ekin, Experimental Techniques for
Low-Temperature Measurements (2006), from memory; lattice parameters measured in situ at 700 °C give 7.4 to
8.2e-6 (L. Thilly et al., Appl. Phys. Lett. 99 (2011) 122508), from which the uncertainty."""

U_ASSUMED_TEMPERATURE_K = 1.2
"""Standard uncertainty of an unstated temperature: a room between 20.4 and 24.6 °C, rectangular (judged)."""

U_STATED_TEMPERATURE_K = 0.5
"""Standard uncertainty of a temperature stated without one (common practice, no source)."""


def refer_lattice(account: Account, specimen: Specimen) -> None:
    """Bring ``a_nm`` from the measuring temperature to the reference temperature.

    1 K is 4 fm, 0.03 at.% of tin. The uncertainty of the expansion is shared by all samples and grows with
    the distance from the reference.
    """
    if not account.given("a_nm"):
        return
    temperature, u_temperature = specimen.temperature_c, specimen.u_temperature_k
    if temperature is None:
        temperature = REFERENCE_C
        u_temperature = U_ASSUMED_TEMPERATURE_K if u_temperature is None else u_temperature
        account.assumptions.append(
            f"specimen at {REFERENCE_C} °C ± {u_temperature:g} K, as no temperature was given"
        )
    elif u_temperature is None:
        u_temperature = U_STATED_TEMPERATURE_K
        account.assumptions.append(f"specimen temperature known to {u_temperature:g} K, as nothing was said")
    away = temperature - REFERENCE_C
    factor = 1.0 / (1.0 + EXPANSION_PER_K * away)
    a = account.values["a_nm"] * factor
    account.add(
        "a_nm",
        a,
        {"a_nm": factor},
        {
            "temperature": (-a * EXPANSION_PER_K * u_temperature, ""),
            "thermal expansion": (-a * away * U_EXPANSION_PER_K, "nb3sn"),
        },
    )
