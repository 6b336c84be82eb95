"""How each stored quantity follows from what was fitted: formula, where the formula comes from, and a check.

Only what a sample file holds is used. Where everything a formula needs is stored, the value is computed once more and
compared with the stored one: a result of an older version that this version would not reproduce shows itself.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from xrdorder.crystals.a15 import contrast_shift, dopant_site, order_parameters, tin_lower_bound
from xrdorder.exceptions import XrdorderError
from xrdorder.explanation.described import described_specimen
from xrdorder.fitting.derived import weight_quantity
from xrdorder.forward_model.roles import parameter_name
from xrdorder.material import PUBLISHED_SCALE, Specimen
from xrdorder.material.joint_tin import usual_order
from xrdorder.material.lattice import EXPANSION_PER_K, REFERENCE_C
from xrdorder.material.order import S_OF_110_PER_NM
from xrdorder.material.strain import FREE, METALS, STRAIN, bounded_strain, mismatch_bound, strain_share
from xrdorder.material.tin_scale import LEVEL
from xrdorder.material.widths import rms_strain
from xrdorder.profiles.width_terms import size_from_lorentz_sec, voigt_breadth
from xrdorder.relations import LABELS, Relation
from xrdorder.relations.tin_from_lattice import DEFAULT, SECOND
from xrdorder.results.parameters import StoredParameters
from xrdorder.results.sample_file import StoredSample
from xrdorder.xrays import Radiation, radiation

FITTED = "fitted to the pattern"

_EXPANSION = "J. W. Ekin, Experimental Techniques for Low-Temperature Measurements (2006), from memory"
_ORDER = "A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, eq. 1; form from memory"
_AMOUNTS = "R. J. Hill, C. J. Howard, J. Appl. Cryst. 20 (1987) 467, from memory"
_BREADTH = "A. R. Stokes, A. J. C. Wilson, Proc. Camb. Phil. Soc. 38 (1942) 313, from memory"
_VOIGT = "J. J. Olivero, R. L. Longbothum, J. Quant. Spectrosc. Radiat. Transfer 17 (1977) 233, from memory"
_DEFINITION = "definition"
_DESCRIPTION = "description of the sample"
_OWN_SCALE = "the file that study.toml names as tin_scale; its samples and covariance stand there"
_POPULATIONS = ("_lean", "_rich")


@dataclass(frozen=True)
class Step:
    """One step from the pattern to a quantity.

    Attributes
    ----------
    quantity : str
        What the step gives.
    value : float
        As stored.
    inputs : tuple of (name, value)
        Stored quantities and parameters it is computed from; empty for what was fitted.
    formula : str
        With the names of the inputs.
    source : str
        Where the formula and its constants come from.
    recomputed : float
        The value computed anew from the stored inputs; NaN where not all of them are stored.
    """

    quantity: str
    value: float
    inputs: tuple[tuple[str, float], ...]
    formula: str
    source: str = ""
    recomputed: float = math.nan

    @property
    def reproduced(self) -> bool | None:
        """Whether this version finds the stored value again; None where it cannot tell.

        Inputs are stored in full precision: only rounding of a few operations may remain.
        """
        if math.isnan(self.recomputed) or math.isnan(self.value):
            return None
        return math.isclose(self.recomputed, self.value, rel_tol=1e-9, abs_tol=1e-15)


@dataclass(frozen=True)
class Stored:
    """What formulas need of a stored sample.

    Attributes
    ----------
    values : mapping of str to float
        Quantities by name.
    fitted : StoredParameters
        Parameters of the fit; none where the file holds none.
    specimen : Specimen
        As it was described, with the temperature of the pattern file where the description gave none.
    light : Radiation or None
        None where no stored source of uncertainty names it.
    scale : str
        Name of the line from lattice to tin: "published", or that of the laboratory.
    """

    values: Mapping[str, float]
    fitted: StoredParameters = field(default_factory=StoredParameters)
    specimen: Specimen = field(default_factory=Specimen)
    light: Radiation | None = None
    scale: str = PUBLISHED_SCALE.name

    @classmethod
    def of(cls, sample: StoredSample) -> Stored:
        """Gather it from a sample as it is stored."""
        fitted = StoredParameters.of(sample)
        return cls(sample.values, fitted, described_specimen(sample), _light(sample), _scale(sample))

    def number(self, name: str) -> float:
        """Give a quantity or, where there is none of that name, a parameter."""
        return float(self.values.get(name, self.fitted.values.get(name, math.nan)))

    @property
    def dopants(self) -> Mapping[str, float]:
        """Dopants whose share of the contrast is taken off, atomic fractions."""
        return {} if "dopant-contrast" in self.specimen.off else self.specimen.dopants

    def share(self, element: str) -> float:
        """Share of a dopant on the tin site: the one given, or the published one (of tantalum by the reaction)."""
        return self.specimen.tin_site_share(element)[0]


def _light(sample: StoredSample) -> Radiation | None:
    """Radiation, as the group of the sources that all patterns taken with it share."""
    table = sample.contributions
    for source, group in zip(table.sources, table.groups, strict=True):
        if source.split("/", 1)[0] in ("wavelength", "scattering table") and group:
            try:
                return radiation(group)
            except XrdorderError:
                return None
    return None


@dataclass(frozen=True)
class _Rule:
    inputs: tuple[str, ...]
    formula: str
    source: str
    compute: Callable[[], float] | None = None


def steps(quantity: str, stored: Stored) -> tuple[Step, ...]:
    """All steps that lead to a quantity, what was fitted first, the quantity itself last."""
    done: dict[str, Step] = {}

    def go(name: str) -> None:
        if name in done:
            return
        rule = _rule(name, stored)
        known = tuple(x for x in rule.inputs if not math.isnan(stored.number(x)))
        for item in known:
            go(item)
        recomputed = math.nan
        if rule.compute is not None and len(known) == len(rule.inputs):
            try:
                recomputed = float(rule.compute())
            except XrdorderError:
                recomputed = math.nan  # a name that this version does not know
        inputs = tuple((item, stored.number(item)) for item in known)
        done[name] = Step(name, stored.number(name), inputs, rule.formula, rule.source, recomputed)

    go(quantity)
    return tuple(done.values())


def fitted_parameter(quantity: str, stored: Stored) -> str:
    """Parameter of the fit that is a quantity, or that it is a correction of; empty where there is none."""
    if quantity in stored.fitted.values and quantity not in stored.values:
        return quantity
    match = re.fullmatch(r"lattice_(\w)_nm_(.+)", quantity)
    if match is not None:
        name = parameter_name(match[2], f"{match[1]}_nm")
    else:
        name = parameter_name(stored.fitted.a15, quantity)
    return name if name in stored.fitted.values else ""


def _rule(name: str, stored: Stored) -> _Rule:
    end = next((end for end in _POPULATIONS if name.endswith(end)), "")
    maker = _MAKERS.get(name.removesuffix(end))
    if maker is not None:
        return maker(stored, end)
    if name in stored.fitted.values and name not in stored.values:
        return _Rule((), FITTED, "")
    if name.startswith("weight_fraction_"):
        formula = "scale x cell mass x cell volume, over the sum of it for all phases found"
        if "order_contrast_by_tin" in stored.values:
            formula += "; scale and mass of the A15, held at one tin content, referred to the tin found by first order"
        return _Rule((), formula, _AMOUNTS)
    if name.startswith("upper_limit_"):
        formula = "weight fraction of a scale of zero or above plus 1.645 standard uncertainties (95 %)"
        return _Rule((), formula, _AMOUNTS)
    parameter = fitted_parameter(name, stored)
    if parameter:
        return _Rule((parameter,), parameter, "", lambda: stored.number(parameter))
    return _Rule((), "as the fit handed it on", "")


def _cite(entry: Relation) -> str:
    return f"{entry.name}: {entry.source}, {entry.equation} ({LABELS[entry.known]})"


def _lattice(stored: Stored, end: str) -> _Rule:
    parameter = fitted_parameter("a_nm", stored)
    if "temperature" in stored.specimen.off and parameter and not end and "rich_share" not in stored.values:
        words = f"{parameter}, as measured: correction for temperature switched off"
        return _Rule((parameter,), words, "", lambda: stored.number(parameter))
    if not parameter or end or "rich_share" in stored.values:
        # two populations: the mean and its parts are functions of several parameters
        words = f"as fitted, at {REFERENCE_C} °C by {EXPANSION_PER_K:g}/K"
        return _Rule((), words, _EXPANSION)
    given = stored.specimen.temperature_c
    temperature = REFERENCE_C if given is None else given
    at = f"T = {temperature:g} °C" + (", as none was given" if given is None else "")
    return _Rule(
        (parameter,),
        f"{parameter} / (1 + {EXPANSION_PER_K:g}/K (T - {REFERENCE_C} °C)), {at}",
        _EXPANSION,
        lambda: stored.number(parameter) / (1.0 + EXPANSION_PER_K * (temperature - REFERENCE_C)),
    )


def _strain(stored: Stored, end: str) -> _Rule:
    specimen = stored.specimen
    if specimen.strain is not None:
        strain = specimen.strain
        return _Rule((), f"as given: {100 * strain:g} % along the scattering vector", _DESCRIPTION, lambda: strain)
    share = strain_share(specimen)
    seen = f"{share:+.2f} of an axial strain shows along the scattering vector (cos² - nu sin² of their angle)"
    if specimen.strain_gauge:
        metal = METALS[specimen.strain_gauge]
        lattice = f"lattice_a_nm_{specimen.strain_gauge}"
        tie = (
            "axial strain of the A15 by the balance of forces with it, weight fractions and Young's moduli"
            if specimen.strain_gauge == "cu"
            else "axial strain of the A15 is that of it and the difference of thermal expansion since the reaction"
        )
        return _Rule(
            (lattice,),
            f"{metal.words} as gauge: {lattice} against {metal.a_nm:g} nm free of strain; {tie}; {seen}",
            "constants of metals: handbook values, from memory; docs/tin.md",
        )
    reaction = specimen.reaction_temperature_c
    if reaction is None:
        return _Rule((), "as stored", "")
    bound = mismatch_bound(reaction)
    axial = bounded_strain(bound)[0]
    return _Rule(
        (),
        f"usual axial strain within the thermal mismatch with copper from {reaction:g} °C ({100 * bound:.2f} %): "
        f"{100 * axial:.2f} %, a bound and no measurement; {seen}",
        _EXPANSION,
        lambda: axial * share,
    )


def _strain_free(stored: Stored, end: str) -> _Rule:
    return _Rule(
        ("a_nm", STRAIN),
        f"a_nm / (1 + {STRAIN})",
        _DEFINITION,
        lambda: stored.number("a_nm") / (1.0 + stored.number(STRAIN)),
    )


def _contrast(stored: Stored, end: str) -> _Rule:
    parameter, slope = fitted_parameter("order_contrast", stored), stored.number("order_contrast_by_tin")
    formula = f"{parameter or 'fitted contrast'} + order_contrast_by_tin (tin_fraction - tin held in the fit)"
    if slope and not math.isnan(slope):
        change = (stored.number("order_contrast") - stored.number(parameter)) / slope
        held = stored.number("tin_fraction") - change
        if not math.isnan(held):
            formula += f"; held was {held:.3f}"
    return _Rule(
        (parameter, "order_contrast_by_tin", "tin_fraction"),
        formula,
        "first order in the tin content, with the slope of this fit",
    )


def _by_tin(stored: Stored, end: str) -> _Rule:
    return _Rule((), "change of the fitted contrast by unit tin fraction in the mean scattering", FITTED)


def _site_order(stored: Stored, end: str) -> _Rule:
    if not stored.dopants:
        if stored.specimen.dopants:
            words = "as of an undoped wire: correction for dopants in the contrast switched off"
        elif stored.specimen.undoped:
            words = "as the wire is said to hold no dopant"
        else:
            words = "as of an undoped wire: nothing was said about dopants"
        return _Rule(
            ("order_contrast",),
            f"order_contrast, {words}",
            _DEFINITION,
            lambda: stored.number("order_contrast"),
        )
    light = stored.light
    names = ", ".join(
        f"{content:g} of all atoms {element}, {stored.share(element):.3g} of it on the tin site"
        for element, content in stored.dopants.items()
    )
    given = stored.specimen.on_tin_site or {}
    published = "; ".join(dopant_site(element).source for element in stored.dopants if element not in given)

    def compute() -> float:
        assert light is not None
        shift = sum(
            content
            / 0.1
            * contrast_shift({e: 0.1}, {e: stored.share(e)}, light.energy_ev, S_OF_110_PER_NM)
            for e, content in stored.dopants.items()
        )
        return stored.number("order_contrast") - float(shift)

    return _Rule(
        ("order_contrast",),
        f"order_contrast less the dopants' share of the contrast at (110): {names}",
        published or "shares on the tin site as given",
        None if light is None else compute,
    )


def _scale(sample: StoredSample) -> str:
    """Name of the a(tin) scale: whoever shares its doubt."""
    table = sample.contributions
    groups = dict(zip(table.sources, table.groups, strict=True))
    return groups.get(LEVEL) or PUBLISHED_SCALE.name


def _tin(stored: Stored, end: str) -> _Rule:
    inputs, lattice, a = _lattice_of_tin(stored, end)
    if stored.scale != PUBLISHED_SCALE.name:
        return _Rule(
            inputs,
            f"the laboratory's own line '{stored.scale}' at a = {lattice}",
            _OWN_SCALE,
        )
    return _Rule(
        inputs,
        f"{DEFAULT.formula}, a = {lattice}; the other published line would give "
        f"{float(SECOND.function(a)):.4f}",
        f"{_cite(DEFAULT)}; {_cite(SECOND)}",
        lambda: float(DEFAULT.function(a)),
    )


def _lattice_of_tin(stored: Stored, end: str) -> tuple[tuple[str, ...], str, float]:
    """Inputs, words and value of the lattice parameter that tin is read from: strain and dopants taken off."""
    specimen, words = stored.specimen, f"a_nm{end}"
    inputs, a = [words], stored.number(words)
    if STRAIN in stored.values:
        inputs.append(STRAIN)
        words = f"{words} / (1 + {STRAIN})"
        a /= 1.0 + stored.number(STRAIN)
    for element in specimen.dopants if "dopant-lattice" not in specimen.off else ():
        effect, _ = specimen.lattice_effect(element)
        if effect:
            words += f" - {specimen.dopants[element]:g} x {effect:g} nm (for {element})"
            a -= specimen.dopants[element] * effect
    return tuple(inputs), words, a


def _of_tin(stored: Stored) -> float:
    taken = sum(4.0 * content * stored.share(e) for e, content in stored.dopants.items())
    return stored.number("site_order") - taken


def _tin_by_order(stored: Stored, end: str) -> _Rule:
    prior = usual_order(stored.specimen)
    slope = stored.number("order_contrast_by_tin")

    def compute() -> float:
        return (_of_tin(stored) - slope * stored.number("tin_fraction")) / (4.0 * prior.s_a - slope)

    return _Rule(
        ("site_order", "order_contrast_by_tin", "tin_fraction"),
        f"(x - c tin_fraction) / (4 S_a - c), c = order_contrast_by_tin, S_a = {prior.s_a:g} ± {prior.u:g} before the "
        f"measurement (as of {prior.words}); x = site_order less the tin sites that dopants take. c takes back that "
        "the contrast was referred to the tin of the lattice",
        "site balance x = 4 tin S_a, T. Spina, thesis, Univ. Geneva, and S. M. Heald et al., Sci. Rep. 8 (2018) 4798",
        None if math.isnan(slope) else compute,
    )


def _joint(stored: Stored, end: str) -> _Rule:
    prior = usual_order(stored.specimen)
    return _Rule(
        ("tin_fraction", "tin_fraction_order"),
        "tin and S_a that suit three statements best (least squares with their covariance): tin by the lattice, which "
        f"disorder makes read high; x = 4 tin S_a; S_a = {prior.s_a:g} ± {prior.u:g} (as of {prior.words})",
        "docs/tin.md; gains of each statement are in the budget, with their signs",
    )


def _bound(stored: Stored, end: str) -> _Rule:
    return _Rule(
        ("site_order",),
        "x / 4, x = site_order less the tin sites that dopants take",
        "S_a cannot exceed one; tin sites are a quarter of all atoms",
        lambda: float(
            tin_lower_bound(
                stored.number("site_order"), stored.dopants, {e: stored.share(e) for e in stored.dopants}
            )
        ),
    )


def _order_parameter(which: int) -> Callable[[Stored, str], _Rule]:
    formula = ("x / (4 tin_fraction)", "3 x / (4 (1 - tin_fraction))")[which]

    def maker(stored: Stored, end: str) -> _Rule:
        return _Rule(
            ("site_order", "tin_fraction"),
            f"{formula}, x = site_order less the tin sites that dopants take",
            _ORDER,
            lambda: float(order_parameters(stored.number("tin_fraction"), _of_tin(stored))[which]),
        )

    return maker


def _size(stored: Stored, end: str) -> _Rule:
    width, light = f"lorentz_sec{end}", stored.light
    return _Rule(
        (width,),
        f"wavelength / (pi/2 {width} in radians): volume-weighted length along the scattering vector, K = 1 with "
        "integral breadths; spheres of one size have 4/3 of it as diameter",
        _BREADTH,
        None if light is None else lambda: size_from_lorentz_sec(stored.number(width), light.wavelength_nm),
    )


def _size_breadth(stored: Stored, end: str) -> _Rule:
    width = f"lorentz_sec{end}"
    return _Rule(
        (width,), f"pi/2 {width}: area over height", _DEFINITION, lambda: math.pi / 2 * stored.number(width)
    )


def _size_limit(words: str) -> Callable[[Stored, str], _Rule]:
    return lambda stored, end: _Rule((f"lorentz_sec{end}",), f"domain size whose breadth is {words}", _BREADTH)


def _microstrain(stored: Stored, end: str) -> _Rule:
    return _Rule(
        ("lorentz_tan", "gauss_tan2"),
        "full width F of the Voigt line, 0.5346 lorentz_tan + sqrt(0.2166 lorentz_tan² + gauss_tan2), over "
        "4 sqrt(2 ln 2): root mean square of a Gaussian as wide",
        _VOIGT,
        lambda: rms_strain(stored.number("lorentz_tan"), stored.number("gauss_tan2"))[0],
    )


def _strain_breadth(stored: Stored, end: str) -> _Rule:
    return _Rule(
        ("lorentz_tan", "gauss_tan2"),
        "integral breadth of the Voigt line at tan(theta) = 1",
        "Th. H. de Keijser et al., J. Appl. Cryst. 16 (1983) 309, from memory",
        lambda: voigt_breadth(stored.number("lorentz_tan"), stored.number("gauss_tan2")),
    )


def _spread(stored: Stored, end: str) -> _Rule:
    if "rich_share" in stored.values:
        p, lean, rich = (stored.number(x) for x in ("rich_share", "tin_fraction_lean", "tin_fraction_rich"))
        return _Rule(
            ("rich_share", "tin_fraction_lean", "tin_fraction_rich"),
            "sqrt(p (1 - p)) |rich - lean|, p = rich_share: standard deviation of two populations",
            _DEFINITION,
            lambda: math.sqrt(p * (1.0 - p)) * abs(rich - lean),
        )
    published = stored.scale == PUBLISHED_SCALE.name
    slope = f"{PUBLISHED_SCALE.slope_nm} nm" if published else f"slope of '{stored.scale}'"
    source = _cite(DEFAULT) if published else _OWN_SCALE
    tail = stored.values.get("lattice_tail_nm", 0.0)
    if math.isnan(tail):
        return _Rule((), "none: the tail of the lattice parameter is not determined", "")
    if tail:
        return _Rule(
            ("lattice_tail_nm",),
            f"lattice_tail_nm / {slope}: standard deviation of an exponential tail",
            source,
            (lambda: abs(tail) / PUBLISHED_SCALE.slope_nm) if published else None,
        )
    resolved = not math.isnan(stored.number("microstrain"))
    return _Rule(
        ("microstrain", "a_nm"),
        f"microstrain (or its limit of 95 %) x a_nm / {slope}: upper bound, all of it composition",
        source,
        (lambda: stored.number("microstrain") * stored.number("a_nm") / DEFAULT.slope_nm)
        if resolved and published
        else None,
    )


def _a15_fraction(stored: Stored, end: str) -> _Rule:
    name = weight_quantity(stored.fitted.a15)
    known = name in stored.values
    return _Rule((name,) if known else (), name if known else "weight fraction of the A15", _AMOUNTS)


_MAKERS: Mapping[str, Callable[[Stored, str], _Rule]] = {
    "a_nm": _lattice,
    STRAIN: _strain,
    FREE: _strain_free,
    "order_contrast": _contrast,
    "order_contrast_by_tin": _by_tin,
    "site_order": _site_order,
    "tin_fraction": _tin,
    "tin_fraction_order": _tin_by_order,
    "tin_fraction_joint": _joint,
    "tin_lower_bound": _bound,
    "S_a": _order_parameter(0),
    "S_b": _order_parameter(1),
    "domain_size_nm": _size,
    "size_breadth_deg": _size_breadth,
    "largest_resolvable_size_nm": _size_limit("two standard uncertainties of it"),
    "domain_size_at_least_nm": _size_limit("as large as its uncertainty allows (95 %)"),
    "microstrain": _microstrain,
    "strain_breadth_deg": _strain_breadth,
    "tin_spread": _spread,
    "a15_fraction": _a15_fraction,
}
