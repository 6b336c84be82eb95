"""Tin, order, Tc and Bc2 from numbers alone, without a pattern."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from xrdorder.crystals.a15 import dopant_site
from xrdorder.exceptions import Flag, ValidityError
from xrdorder.material import Material, Specimen
from xrdorder.material.account import Account
from xrdorder.material.lattice import refer_lattice
from xrdorder.material.order import add_order_parameters, drop_intermediate
from xrdorder.material.tin import U_SCALE_NM, add_tin
from xrdorder.relations import relations
from xrdorder.superconductivity.prediction import Prediction, predict
from xrdorder.superconductivity.rows import Row, combined_row, plain_row, relation_row, result_row
from xrdorder.uncertainty import DEFAULT_DRAWS, Contributions

U_LATTICE_NM = 4e-5
"""Standard uncertainty of a lattice parameter given without one, nm: scatter within one calibrated laboratory
is 0.03-0.05 pm in published tables."""

U_SITE_ORDER = 0.02
"""Standard uncertainty of a site order given without one: what T. Spina, doctoral thesis, University of
Geneva, states for S of well measured samples (0.04 for poor ones)."""

U_TIN = 0.005
"""Standard uncertainty of a tin fraction given without one: microanalysis states 0.2-0.7 at.% (J. Zhou et
al., Appl. Phys. Lett. 99 (2011) 122507, table 1)."""

STRAIN_FREE = (
    "Tc and Bc2 are those of strain-free A15; in a wire at 4.2 K compression costs Bc2 some 3 to 7 %"
)
"""For 0.2-0.3 % of axial compression by the deviatoric strain function of A. Godeke et al., Supercond. Sci.
Technol. 19 (2006) R100, eq. (22), form from memory."""


@dataclass(frozen=True)
class Estimate:
    """What numbers alone say.

    Attributes
    ----------
    material : Material
        Given and derived quantities with their uncertainty table.
    prediction : Prediction
        Tc and Bc2.
    flags : tuple of Flag
    assumptions : tuple of str
        What was taken for granted, uncertainties among it.
    dopants : tuple of str
        Elements said to be in the A15.
    """

    material: Material
    prediction: Prediction
    flags: tuple[Flag, ...]
    assumptions: tuple[str, ...]
    dopants: tuple[str, ...] = ()

    def rows(self) -> tuple[Row, ...]:
        """Give everything as lines of a table: tin by each line and by order, S_a, S_b, Tc, Bc2."""
        return (
            *_tin_rows(self.material),
            *_order_rows(self.material, bool(self.dopants)),
            *_prediction_rows(self.prediction),
        )


def estimate(
    *,
    lattice_nm: float | None = None,
    u_lattice_nm: float | None = None,
    site_order: float | None = None,
    u_site_order: float | None = None,
    tin_fraction: float | None = None,
    u_tin_fraction: float | None = None,
    temperature_c: float | None = None,
    u_temperature_k: float | None = None,
    dopants: Mapping[str, float] | None = None,
    on_tin_site: Mapping[str, float] | None = None,
    seed: int = 0,
    n: int = DEFAULT_DRAWS,
) -> Estimate:
    """Estimate tin, S_a, S_b, Tc and Bc2 from a lattice parameter, a site order, a tin content, or several.

    Parameters
    ----------
    lattice_nm, u_lattice_nm : float, optional
        Lattice parameter of strain-free A15 and its standard uncertainty, nm.
    site_order, u_site_order : float, optional
        r_a + r_b - 1 = 4 beta S_a in undoped A15, and its standard uncertainty.
    tin_fraction, u_tin_fraction : float, optional
        Tin content known otherwise (0.24, not 24), and its standard uncertainty; it then takes the place of
        that from the lattice parameter.
    temperature_c, u_temperature_k : float, optional
        Temperature the lattice parameter was measured at; 22.5 °C unless given.
    dopants, on_tin_site : mapping, optional
        Dopant content (atomic fraction of all atoms) and its share on the tin site.
    seed, n : int
        Seed and number of draws.

    Returns
    -------
    Estimate

    Raises
    ------
    ValidityError
        Nothing is given, or a number cannot be what it is given as.

    Examples
    --------
    >>> result = estimate(lattice_nm=0.52880, site_order=0.93, n=1000)
    >>> print(f"{result.material.values['tin_fraction']:.4f}")
    0.2353
    """
    _check(lattice_nm, u_lattice_nm, site_order, u_site_order, tin_fraction, u_tin_fraction)
    for element in dopants or {}:
        dopant_site(element)  # a name nobody knows must not pass where it happens to play no part
    specimen = Specimen(
        mount="ground-powder",
        temperature_c=temperature_c,
        u_temperature_k=u_temperature_k,
        dopants=dopants or {},
        on_tin_site=on_tin_site,
    )
    inputs, remarks = _inputs(
        {
            "a_nm": (lattice_nm, u_lattice_nm, U_LATTICE_NM, "lattice parameter", "nm"),
            "site_order": (site_order, u_site_order, U_SITE_ORDER, "site order", ""),
            "tin_fraction": (tin_fraction, u_tin_fraction, U_TIN, "tin fraction", ""),
        }
    )
    account = Account({name: value for name, (value, _) in inputs.items()}, Contributions.empty())
    for name, (value, u) in inputs.items():
        account.add(name, value, {}, {f"given/{name}": (u, "")})
    account.assumptions += remarks
    account.assumptions += [specimen.dopant_in_words(element) for element in specimen.dopants]
    if lattice_nm is not None:
        account.assumptions.append("lattice parameter free of strain, as of ground powder")
        refer_lattice(account, specimen)
        if tin_fraction is None:
            add_tin(account, specimen)
    add_order_parameters(account, specimen)
    drop_intermediate(account)
    material = Material(
        account.values, account.contributions, tuple(account.flags), tuple(account.assumptions)
    )
    prediction = predict(material, seed=seed, n=n)
    return Estimate(
        material,
        prediction,
        (*account.flags, *prediction.flags),
        (*account.assumptions, STRAIN_FREE),
        tuple(specimen.dopants),
    )


def _check(
    lattice_nm: float | None,
    u_lattice_nm: float | None,
    site_order: float | None,
    u_site_order: float | None,
    tin_fraction: float | None,
    u_tin_fraction: float | None,
) -> None:
    if lattice_nm is None and site_order is None and tin_fraction is None:
        raise ValidityError(
            "nothing to estimate from; give a lattice parameter, a site order or a tin content"
        )
    for what, value, low, high, hint in (
        ("lattice parameter", lattice_nm, 0.51, 0.55, "give nm, for Nb3Sn near 0.529"),
        ("site order", site_order, 0.0, 1.2, "give r_a + r_b - 1, at most one and some noise"),
        ("tin fraction", tin_fraction, 0.0, 1.0, "give a fraction of all atoms, 0.24 for 24 at.%"),
        ("uncertainty of the lattice parameter", u_lattice_nm, 0.0, 0.05, "give nm, zero or more"),
        ("uncertainty of the site order", u_site_order, 0.0, 1.0, "give zero or more"),
        (
            "uncertainty of the tin fraction",
            u_tin_fraction,
            0.0,
            1.0,
            "give a fraction of all atoms, zero or more",
        ),
    ):
        if value is not None and not low <= value <= high:
            raise ValidityError(f"{what} is {value:g}; {hint}")
    for what, value, u in (
        ("lattice parameter", lattice_nm, u_lattice_nm),
        ("site order", site_order, u_site_order),
        ("tin fraction", tin_fraction, u_tin_fraction),
    ):
        if value is None and u is not None:
            raise ValidityError(f"an uncertainty of the {what} is given, but no {what}; give both")


def _inputs(
    given: Mapping[str, tuple[float | None, float | None, float, str, str]],
) -> tuple[dict[str, tuple[float, float]], list[str]]:
    """Sort out what is given, and say which uncertainties were not."""
    inputs, remarks = {}, []
    for name, (value, u, usual, title, unit) in given.items():
        if value is None:
            continue
        if u is None:
            u = usual
            remarks.append(
                f"standard uncertainty of the {title}: {u:g}{' ' if unit else ''}{unit}, as none was given"
            )
        inputs[name] = (float(value), float(u))
    return inputs, remarks


def _tin_rows(material: Material) -> list[Row]:
    rows = []
    values, given = material.values, material.values.get
    tin_known = math.isfinite(given("tin_fraction", math.nan))
    from_lattice = "a_nm" in values and "a(tin) scale" in material.contributions.sources
    if "a_nm" in values:
        a, u_a = values["a_nm"], material.u("a_nm")
        rows.append(plain_row("lattice parameter at 22.5 °C", "given", a, u_a, "nm"))
        for entry in relations("tin-from-lattice"):
            tin = float(entry.function(np.asarray(a)))
            # Exact for a line: one difference quotient is its slope.
            per_nm = float(entry.function(np.asarray(a + 1e-3))) - tin
            u = math.hypot(per_nm * 1e3 * math.hypot(u_a, U_SCALE_NM), float(entry.scatter.at(a, tin)))
            note = "" if entry.inside(a) else f"outside its validity: {entry.inputs[0].name} {entry.validity}"
            rows.append(relation_row("tin", entry, tin, u, "at.%", note, 100.0))
    if tin_known:
        tin, u = 100.0 * values["tin_fraction"], 100.0 * material.u("tin_fraction")
        own = 100.0 * material.u_tin_independent
        note = ""
        if from_lattice:
            note = (
                "the first line, with its distance to the second as one more doubt; "
                f"of it {own:.2f} at.% not shared with other wires measured alike"
            )
        rows.append(plain_row("tin", "combined" if from_lattice else "given", tin, u, "at.%", note))
    if math.isfinite(given("tin_lower_bound", math.nan)):
        bound, u_bound = values["tin_lower_bound"], material.u("tin_lower_bound")
        for entry in relations("tin-from-order"):
            tin = float(entry.function(np.asarray(4.0 * bound)))
            u = math.hypot(tin / bound * u_bound, float(entry.scatter.at(4.0 * bound, tin)))
            note = "at least this much" if entry.name == "order-bound" else "if tin is ordered as usual"
            rows.append(relation_row("tin", entry, tin, u, "at.%", note, 100.0))
    return rows


def _order_rows(material: Material, dopants: bool) -> list[Row]:
    rows = []
    # a dopant on a tin site counts as right in the site order, but is no tin: it is taken off first
    tin_order = "(site order - dopants on tin sites)" if dopants else "site order"
    for name, title, by in (
        ("site_order", "site order", "given"),
        ("S_a", "S_a", f"{tin_order} / (4 beta)"),
        ("S_b", "S_b", f"3 {tin_order} / (4 (1 - beta))"),
    ):
        value = material.values.get(name, math.nan)
        if math.isfinite(value):
            note = (
                "above one: tin too low or order too high, within uncertainty or not" if value > 1.0 else ""
            )
            rows.append(plain_row(title, by, value, material.u(name), "1", note))
    return rows


def _prediction_rows(prediction: Prediction) -> list[Row]:
    rows = []
    for target, combined in prediction.combined.items():
        rows += [result_row(result) for result in prediction.of(target)]
        rows.append(combined_row(combined))
    return rows
