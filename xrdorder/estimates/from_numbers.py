"""Tin, order, Tc, resistivity and Bc2 from numbers alone, without a pattern."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from xrdorder.crystals.a15 import dopant_site
from xrdorder.display import Displayed
from xrdorder.estimates.from_material import on_scale, wire_of_material
from xrdorder.estimates.from_numbers_rows import JOINT, Row, estimate_rows
from xrdorder.estimates.hyperparameters import PUBLISHED as HYPER
from xrdorder.estimates.model import DRAWS, JointDraws, joint_draws
from xrdorder.estimates.stored_draws import stored_targets
from xrdorder.estimates.wires import Measured
from xrdorder.exceptions import Flag, ValidityError
from xrdorder.material import A15_FIELD, PUBLISHED_SCALE, Material, Specimen, TinScale
from xrdorder.material.lattice import refer_lattice
from xrdorder.material.order import add_tin_bound, drop_intermediate
from xrdorder.material.tin import add_tin
from xrdorder.material.tin_by_order import Prior, add_tin_by_order, usual_order
from xrdorder.quantities.registry import ESTIMATED, quantity
from xrdorder.relations import PUBLISHED, Library
from xrdorder.superconductivity.by_relation import by_relation
from xrdorder.superconductivity.mixture import Answer, Common
from xrdorder.superconductivity.strain import MOST_STRAIN, AtStrain, at_strain
from xrdorder.superconductivity.targets import HELIUM_K, targets_at, wire_of
from xrdorder.uncertainty import Array, Contributions

U_LATTICE_NM = 4e-5
"""Standard uncertainty of a lattice parameter given without one, nm: scatter within one calibrated laboratory
is 0.03-0.05 pm in published tables."""

U_SITE_ORDER = 0.02
"""Standard uncertainty of a site order given without one: what T. Spina, doctoral thesis, University of
Geneva, states for S of well measured samples (0.04 for poor ones)."""

U_TIN = 0.005
"""Standard uncertainty of a tin fraction given without one: microanalysis states 0.2-0.7 at.% (J. Zhou et
al., Appl. Phys. Lett. 99 (2011) 122507, table 1)."""

_BESIDE_FIELD = 0.02
"""How far beside the A15 field the tin of a lattice parameter may lie and still be that of A15 (judged)."""

TIN_RANGE = (A15_FIELD[0] - 0.009, A15_FIELD[1] + 0.009)
"""Tin fractions that may be given. The joint model sets aside what was measured 1 at.% beside the field."""

_NAME, _GIVEN_TIN = "estimate", "tin_fraction"
_TIN_IN_WORDS = (
    "given tin taken as measured by a microprobe, which by published samples reads "
    f"{-HYPER['probe_bias']:.2g} ± {HYPER['u_probe_bias']:.2g} at.% low (docs/explanation/evidence.md)"
)
_LEAST_U_TIN_AT_PERCENT = 0.01
"""For tin that is said to be exact: far below what any analysis reaches."""


class _Given(NamedTuple):
    """Where a number that may be given and its uncertainty lie, and what the latter usually is."""

    least: float
    most: float
    hint: str
    most_u: float
    usual_u: float


_OF_ATOMS = "a fraction of all atoms"
_GIVEN = {
    "a_nm": _Given(0.51, 0.55, "nm, for Nb3Sn near 0.529", 0.05, U_LATTICE_NM),
    "site_order": _Given(0.0, 1.2, "the site order, 1 in fully ordered stoichiometric A15", 1.0, U_SITE_ORDER),
    _GIVEN_TIN: _Given(
        *TIN_RANGE,
        f"{_OF_ATOMS} in the A15 field, {A15_FIELD[0]:g} to {A15_FIELD[1]:g} (at.% on the command line)",
        1.0, U_TIN,
    ),
}  # fmt: skip

STRAIN_FREE = (
    "Tc and Bc2 are those of strain-free A15; in a wire at 4.2 K compression costs Bc2 some 3 to 7 %"
)
"""For 0.2-0.3 % of axial compression by the deviatoric strain function of A. Godeke et al., Supercond. Sci.
Technol. 19 (2006) R100, eq. (22), form from memory."""


@dataclass(frozen=True)
class Estimate(Displayed, view="estimate"):
    """What numbers alone say.

    Attributes
    ----------
    material : Material
        Given and derived quantities with their uncertainty table.
    draws : dict of target to array, (draws,)
        Joint draws of tin, order, Tc, resistivity, slope and Bc2, free of strain: those of a study of this wire alone.
    relations : tuple of Answer
        What each published relation says by itself, asked with these draws.
    wire : str
        Kind of wire that relations are chosen for.
    flags : tuple of Flag
    assumptions : tuple of str
        What was taken for granted, uncertainties among it.
    usual : Prior
        What S_a usually is in such a wire.
    dopants : tuple of str
        Elements said to be in the A15.
    strained : AtStrain, optional
        Tc and Bc2 at the strain that was given.
    given_tin : (float, float), optional
        Tin content that was given, and its standard uncertainty.
    scale : TinScale
        Line that gave the tin content.
    library : Library
        Relations that were asked.
    """

    material: Material
    draws: Mapping[str, Array] = field(repr=False)
    relations: tuple[Answer, ...] = field(repr=False)
    wire: str
    flags: tuple[Flag, ...]
    assumptions: tuple[str, ...]
    usual: Prior
    dopants: tuple[str, ...] = ()
    strained: AtStrain | None = None
    given_tin: tuple[float, float] | None = None
    scale: TinScale = PUBLISHED_SCALE
    library: Library = PUBLISHED

    def rows(self, *, brief: bool = False) -> tuple[Row, ...]:
        """Give everything as lines of a table: tin by each line and by order, S_a, S_b, Tc, Bc2.

        With `brief`, of quantities that the joint model estimates only that estimate and what was given.
        """
        rows = estimate_rows(self)
        joint = {row.quantity for row in rows if row.by == JOINT}
        return tuple(row for row in rows if not brief or row.by in (JOINT, "given") or row.quantity not in joint)


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
    u_dopants: Mapping[str, float] | None = None,
    on_tin_site: Mapping[str, float] | None = None,
    undoped: bool = False,
    bc2_at_k: Sequence[float] = (),
    strain: float | None = None,
    u_strain: float | None = None,
    library: Library = PUBLISHED,
    scale: TinScale = PUBLISHED_SCALE,
    seed: int = 0,
    n: int = DRAWS,
) -> Estimate:
    """Estimate tin, S_a, S_b, Tc and Bc2 from a lattice parameter, a site order, a tin content, or several.

    Tin, Tc and Bc2 are those that a study of this one wire gives: by the joint model of `xrdorder.estimates`.

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
    dopants, u_dopants, on_tin_site : mapping, optional
        Dopant content (atomic fraction of all atoms), its standard uncertainty, and its share on the tin site.
        Relations are chosen by it.
    undoped : bool
        The wire is known to hold no dopant.
    bc2_at_k : sequence of float
        Temperatures for Bc2 beside 0 and 4.2 K.
    strain, u_strain : float, optional
        Intrinsic axial strain at which Tc and Bc2 are wanted too (-0.0025 for 0.25 % of compression), and its standard
        uncertainty.
    library : Library
    scale : TinScale
        Line a(tin): the published one, or that of a laboratory.
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
    >>> print(f"{result.material.values['tin_fraction_lattice']:.4f}")
    0.2353
    """
    inputs, remarks = _inputs(
        {
            "a_nm": (lattice_nm, u_lattice_nm),
            "site_order": (site_order, u_site_order),
            _GIVEN_TIN: (tin_fraction, u_tin_fraction),
        }
    )
    if u_strain is not None and (strain is None or not 0.0 <= u_strain < MOST_STRAIN):
        raise ValidityError(f"uncertainty of the strain is {u_strain:g}; give a strain and a fraction of zero or more")
    for element in dopants or {}:
        dopant_site(element)  # a name nobody knows must not pass where it happens to play no part
    specimen = Specimen(
        mount="ground-powder",
        temperature_c=temperature_c,
        u_temperature_k=u_temperature_k,
        dopants=dopants or {},
        u_dopants=u_dopants or {},
        on_tin_site=on_tin_site,
        undoped=undoped,
    )
    material = _derived(inputs, specimen, scale)
    material.assumptions[:0] = remarks
    temperatures = targets_at((HELIUM_K, *bc2_at_k))
    drawn = _drawn(material, specimen, inputs.get(_GIVEN_TIN), scale, seed, n)
    draws = _targets(drawn, temperatures)
    wire = wire_of(specimen.dopants, undoped=undoped)
    at = None
    if strain is not None:
        at = at_strain(
            draws["Tc_K"], draws["Bc2_0K_T"], strain, u_strain=u_strain or 0.0, temperatures=temperatures,
            law=drawn.law, common=Common(n, seed, library=library, wire=wire),
        )  # fmt: skip
    return Estimate(
        material,
        draws,
        by_relation(draws, Common(n, 0, _NAME, library=library, wire=wire), (HELIUM_K, *bc2_at_k)),
        wire,
        (*material.flags, *drawn.flags[_NAME], *(at.flags if at else ())),
        (*material.assumptions, STRAIN_FREE if strain is None else _strain_in_words(u_strain)),
        usual_order(specimen),
        tuple(specimen.dopants),
        at,
        inputs.get(_GIVEN_TIN),
        scale,
        library,
    )


def _derived(inputs: Mapping[str, tuple[float, float]], specimen: Specimen, scale: TinScale) -> Material:
    """Derive of what was given, value and uncertainty by name, what each route says by itself."""
    routes = {name: given for name, given in inputs.items() if name != _GIVEN_TIN}
    derived = Material({name: value for name, (value, _) in routes.items()}, Contributions.empty())
    for name, (value, u) in routes.items():
        derived.add_given(name, value, {f"given/{name}": (u, "")})
    derived.assumptions += [specimen.dopant_in_words(element) for element in specimen.dopants]
    by_lattice = "a_nm" in inputs and _GIVEN_TIN not in inputs
    if "a_nm" in inputs:
        derived.assumptions.append("lattice parameter free of strain, as of ground powder")
        refer_lattice(derived, specimen)
    if by_lattice:
        add_tin(derived, specimen, scale)
        _check_tin_by_lattice(inputs["a_nm"][0], derived.values["tin_fraction_lattice"], scale)
    add_tin_bound(derived, specimen)
    if by_lattice and "site_order" in inputs:
        add_tin_by_order(derived, specimen, scale)  # for its remark where the two routes disagree
    drop_intermediate(derived)
    if _GIVEN_TIN in inputs:
        derived.assumptions.append(_TIN_IN_WORDS)
    return derived


def _drawn(
    material: Material,
    specimen: Specimen,
    given_tin: tuple[float, float] | None,
    scale: TinScale,
    seed: int,
    n: int,
) -> JointDraws:
    """Draw jointly as of a study of one wire; tin that was given anchors it and takes the place of the lattice."""
    anchors = {}
    if given_tin:
        tin, u = given_tin
        anchors["tin_at_percent"] = Measured(100.0 * tin, max(100.0 * u, _LEAST_U_TIN_AT_PERCENT))
    wire = wire_of_material(_NAME, material, specimen, scale=scale, **anchors)
    return joint_draws([wire], seed=seed, n=n, hyper=on_scale(scale))


def _targets(drawn: JointDraws, temperatures: Mapping[str, float]) -> dict[str, Array]:
    """Draws of everything a study stores, and Bc2 at further temperatures."""
    draws = dict(zip(ESTIMATED, np.asarray(stored_targets(drawn)[0], dtype=np.float64), strict=True))
    for name, temperature in temperatures.items():
        if name not in draws:
            draws[name] = drawn.field(temperature)[0]
    return draws


def _strain_in_words(u_strain: float | None) -> str:
    exact = "strain held as exact, as no uncertainty was given; " if u_strain is None else ""
    return f"{exact}strain along the wire, in compression as it comes from cooling, without transverse load"


def _check_tin_by_lattice(lattice_nm: float, tin: float, scale: TinScale) -> None:
    """Refuse a lattice parameter that no A15 has: no relation would answer."""
    low, high = A15_FIELD
    if not low - _BESIDE_FIELD <= tin <= high + _BESIDE_FIELD:
        raise ValidityError(
            f"lattice parameter is {lattice_nm:.4f} nm, {100 * tin:.1f} at.% tin on the scale '{scale.name}', too far "
            f"outside the A15 field, {100 * low:g} to {100 * high:g} at.%; give that of A15 free of strain, "
            f"{scale.lattice(low):.4f} to {scale.lattice(high):.4f} nm"
        )


def _inputs(
    given: Mapping[str, tuple[float | None, float | None]],
) -> tuple[dict[str, tuple[float, float]], list[str]]:
    """Sort out what is given, value and standard uncertainty, and say which uncertainties were not."""
    inputs, remarks = {}, []
    for name, (value, u) in given.items():
        about, limits = quantity(name), _GIVEN[name]
        if value is None:
            if u is not None:
                raise ValidityError(f"an uncertainty of the {about.noun} is given, but no {about.noun}; give both")
            continue
        if not limits.least <= value <= limits.most:
            raise ValidityError(f"{about.noun} is {value:g}; give {limits.hint}")
        if u is None:
            u = limits.usual_u
            amount = f"{about.people.factor * u:g} {about.people.unit}".strip()
            remarks.append(f"standard uncertainty of the {about.noun}: {amount}, as none was given")
        if not 0.0 <= u <= limits.most_u:
            unit = f"{_OF_ATOMS}, " if name == _GIVEN_TIN else f"{about.unit}, " if about.unit else ""
            raise ValidityError(f"uncertainty of the {about.noun} is {u:g}; give {unit}zero or more")
        inputs[name] = (float(value), float(u))
    if not inputs:
        raise ValidityError("nothing to estimate from; give a lattice parameter, a site order or a tin content")
    return inputs, remarks
