"""Laws of Tc and Bc2 against arbitrary precision and printed points."""

import math

import mpmath
import numpy as np

from tests.outside.rows import Kind, Row
from xrdorder.relations import relation
from xrdorder.relations.bc2_of_temperature import reduced_field
from xrdorder.superconductivity.currents import A_PER_MM2
from xrdorder.superconductivity.mixture import Common
from xrdorder.superconductivity.pinning import ForceShape

_MAKI = "implicit equation of K. Maki and P. G. de Gennes, solved by mpmath with 30 digits"
_G06B = "A. Godeke et al., Supercond. Sci. Technol. 19 (2006) R100"
_WHH = "N. R. Werthamer, E. Helfand, P. C. Hohenberg, Phys. Rev. 147 (1966) 295: 0.693 in the dirty limit"
_LI_GAO = "Y. Li, Y. Gao, arXiv:1408.0353, table 2"
_R68 = "A. Godeke, Supercond. Sci. Technol. 19 (2006) R68"
_PAUDEL = "N. Paudel et al., arXiv:2412.09514: film of 36 microohm cm"
_HAYASE = "T. Hayase, M. Kajihara, Mater. Sci. Eng. A 433 (2006) 83, abstract"

# Relation, inputs, printed value, tolerance and why, source, how it is known, kind.
_PRINTED = (
    ("orlando-1979-films-tc", (36.0,), 16.1, 1.0, "scatter of a line between three films", _PAUDEL, "read"),
    ("orlando-1979-films-bc2", (36.0,), 29.0, 0.5, "the last digit printed", _PAUDEL, "read"),
    ("orlando-1979-films-bc2", (9.0,), 26.5, 0.25, "half a tesla printed", f"{_R68}, text", "read"),
    ("undoped-bc2-by-resistivity", (22.0,), 28.3, 1.9, "scatter of samples", f"{_LI_GAO}, sintered bulk", "read"),
    ("undoped-slope", (14.8,), 2.03, 0.4, "twice the scatter", "A. Alimenti et al., arXiv:2008.11656", "read"),
    ("li-gao-2014-resistivity", (0.236,), 35.0, 4.0, "a tenth, as two laws differ", f"{_R68}: 35 at 23.6 at.%", "read"),
    ("hayase-2006-interface", (10.0, 650.0), 10.0, 1e-9, "an exponent of 1", _HAYASE, "read"),
    ("hayase-2006-interface", (10.0, 700.0), 10.0**0.9, 1e-9, "an exponent of 0.9", _HAYASE, "read"),
    ("bronze-multifilament-growth", (4.0,), 4.0**0.41, 1e-9, "squared thickness with t^0.82",
     "Rare Metals (2020), doi 10.1007/s12598-020-01398-1, abstract", "read"),
    ("vapour-diffusion-growth", (4.0,), 4.0**0.38, 1e-9, "an exponent of 0.38",
     "S. Posen, D. L. Hall, Supercond. Sci. Technol. 30 (2017) 033004", "secondary"),
    ("peak-force-power", (1.2, 2.0), 58.0 / 40.0, 0.02, "0.1 B^2 in whole GN/m^3",
     "L. D. Cooley et al., J. Appl. Phys. 96 (2004) 2122: 40 and 58 GN/m^3 at 20 and 24 T", "read"),
    *(("godeke-2006-power-law", (t * 18.0, 1.0, 18.0), value, 5e-4, "worked out apart to three digits",
       f"{_G06B}, eq. (14)", "computed")
      for t, value in ((0.1, 0.970), (0.233, 0.891), (0.5, 0.651), (0.9, 0.148))),
    ("triangular-flux-lattice", (12.0,), 14.0, 0.5, "whole nm", "X. Xu, Supercond. Sci. Technol. 30 (2017) 093001",
     "read"),
    ("baumgartner-2017-tantalum", (0.255,), 18.33, 0.005, "the last digit printed",
     "T. Baumgartner et al., Supercond. Sci. Technol. 30 (2017) 014011", "read"),
    *((name, (tin,), tc, 0.6 if tc < 10.0 else 0.35, "whole kelvin; the doped form lies 0.3 to 0.4 K higher",
       f"{_R68}, section III", "read")
      for name in ("devantay-1981-line", "godeke-2006-boltzmann", "baumgartner-2017-tantalum", "li-gao-2014-cubic")
      for tin, tc in ((0.18, 6.0), (0.25, 18.0))),
    ("godeke-2006-collapse", (0.25,), 21.4, 0.1, "the last digit printed", _R68, "read"),
    *(("senatore-2013-slope", point, field, 0.025 * field, "slopes are printed to three digits at most",
       "L. D. Cooley et al., Appl. Phys. Lett. 88 (2006) 142506: bulk samples", "read")
      for point, field in (((15.1, 3.34), 35.7), ((18.0, 1.93), 24.0), ((18.0, 2.07), 25.6), ((17.5, 2.40), 29.0))),
    *((name, (order,), value, tolerance, "worked out by hand to the digits given", f"{_R68}, eqs (4), (5), (10)",
       "computed")
      for order, rho, tc in ((0.99, 5.8, 17.83), (0.97, 16.9, 17.53), (0.95, 27.3, 17.04), (0.93, 37.0, 16.24),
                             (0.90, 50.6, 14.18))
      for name, value, tolerance in (("flukiger-1987-resistivity", rho, 0.06), ("order-resistivity-chain", tc, 0.02))),
    *((name, (size,), force, 0.6, "worked out apart and rounded to one unit", f"{_R68}, eqs (14), (15)", "computed")
      for size, *forces in ((35.0, 66.0, 121.0), (100.0, 42.0, 80.0), (150.0, 33.0, 64.0), (200.0, 27.0, 53.0),
                            (400.0, 10.8, 26.0))
      for name, force in zip(("godeke-2006-logarithm", "fischer-2002-logarithm"), forces, strict=True)),
    *((name, (size,), force_0 * math.exp(-size / length), 1e-6 * force_0, "level and length as printed",
       "arXiv:2306.13071, characteristic lengths", "read")
      for name, force_0, length in (("exponential-bronze", 74.0, 176.0), ("exponential-powder-in-tube", 189.0, 175.0),
                                    ("exponential-bronze-other-level", 8.9, 146.0))
      for size in (60.0, 120.0)),
)  # fmt: skip
_INVERSE = (
    *(("godeke-2006-resistivity", rho, tin, 6e-4, "tin printed to 0.1 at.%", f"{_R68}, beside eq. (5)")
      for rho, tin in ((9.0, 0.248), (35.0, 0.236), (70.0, 0.210))),
    ("godeke-2006-measured", 0.25, 0.5290, 1e-9, "both lines meet there", f"{_R68}, eqs (2), (3)"),
    ("godeke-2006-end-points", 0.25, 0.5290, 1e-9, "both lines meet there", f"{_R68}, eqs (2), (3)"),
    ("godeke-2006-end-points", 0.0, 0.5246, 1e-9, "pure niobium", f"{_R68}, eq. (3)"),
)  # fmt: skip
"""Relation, output, input that gives it, tolerance and why, source."""
# resistivity, Tc and Bc2(0) of films: other samples than the relations were fitted to
_FILMS = ((9.0, 18.0, 26.5), (35.0, 16.0, 29.0), (70.0, 10.5, 15.0))
_ORLANDO = "T. P. Orlando et al., Phys. Rev. B 19 (1979) 4545, and IEEE Trans. Magn. 17 (1981) 368, as in " + _R68
TREATMENTS = {
    "620 °C 192 h": (2.65, 22.71, 5248.0, 109.7),
    "650 °C 96 h": (2.22, 22.86, 5137.0, 105.5),
    "665 °C 50 h": (2.11, 22.73, 4568.0, 94.4),
    "680 °C 48 h": (1.99, 23.47, 4938.0, 97.2),
    "695 °C 48 h": (1.66, 24.81, 4446.0, 81.9),
    "750 °C 96 h": (1.19, 25.20, 3187.0, 58.4),
}
"""One tantalum-doped wire by heat treatment: density of grain boundaries (1e7/m), field of zero force (T), current
density of the layer at 12 T and 4.2 K (A/mm²), peak force of the layer (GN/m³)."""
_T14 = "C. Tarantini et al., Supercond. Sci. Technol. 27 (2014) 065013, table of heat treatments"
_KINDS: dict[str, Kind] = {
    "hayase-2006-interface": "transcription",
    "bronze-multifilament-growth": "transcription",
    "vapour-diffusion-growth": "transcription",
    "undoped-slope": "shared input",  # one of the samples it was derived from, as the next
    "undoped-bc2-by-resistivity": "shared input",
    "orlando-1979-films-bc2": "shared input",  # one film as two reviews give it
    "flukiger-1987-resistivity": "shared input",  # one formula, worked out twice
    "order-resistivity-chain": "shared input",
    "godeke-2006-power-law": "shared input",
    "godeke-2006-logarithm": "shared input",
    "fischer-2002-logarithm": "shared input",
    "exponential-bronze": "transcription",
    "exponential-powder-in-tube": "transcription",
    "exponential-bronze-other-level": "transcription",
    "baumgartner-2017-tantalum": "transcription",
    "godeke-2006-boltzmann": "transcription",
    "godeke-2006-collapse": "transcription",
    "devantay-1981-line": "transcription",
}


def whh(t: float) -> float:
    """Bc2(T) / Bc2(0) by the polynomial in use for the theory of Werthamer, Helfand and Hohenberg."""
    below = 1.0 - t
    return (below - 0.153 * below**2 - 0.152 * below**4) / 0.693


def reduced_field_by_mpmath(t: float) -> float:
    """Bc2(T) / Bc2(0), from ln t = psi(1/2) - psi(1/2 + x)."""
    with mpmath.workdps(30):
        half = mpmath.digamma(mpmath.mpf(1) / 2)
        x = mpmath.findroot(
            lambda x: mpmath.log(t) - half + mpmath.digamma(mpmath.mpf(1) / 2 + x),
            (0.01, 2.0 / t),
            solver="anderson",
        )
        return float(t * x / mpmath.exp(half))


def slope_constant() -> float:
    """Bc2(0) over Tc times the slope at Tc, from our curve."""
    step = 1e-6
    return step / float(reduced_field(np.array(1.0 - step)))


def of_film(rho: float, first: str, then: str) -> tuple[float, float]:
    """What a relation says of a film by its resistivity, and its stated scatter there."""
    between = relation(first).inverse
    assert between is not None
    x, found = between(np.array(rho)), relation(then)
    return float(found(x)), float(found.scatter.at(x, found(x)))


def current_at_twelve_tesla(field_t: float, peak_gn_per_m3: float) -> float:
    """Current density of a layer from its peak pinning force and the field where that ends, A/mm²."""
    return A_PER_MM2 * peak_gn_per_m3 * float(ForceShape(Common(1))(np.array([12.0 / field_t]))[0]) / 12.0


def peak_of_force() -> float:
    """Reduced field at which the pinning force is largest."""
    h = np.linspace(0.0, 1.0, 1001)
    return float(h[np.argmax([ForceShape(Common(1))(np.array([x]))[0] for x in h])])


ROWS = [
    *(
        Row(
            f"{name} at {', '.join(f'{x:g}' for x in inputs)}",
            relation(name).output.unit.removesuffix("1"),
            lambda n=name, x=inputs: float(relation(n)(*x)),
            value,
            tolerance,
            reason,
            source,
            known,
            _KINDS.get(name, "independent"),
        )
        for name, inputs, value, tolerance, reason, source, known in _PRINTED
    ),
    *(
        Row(
            f"Bc2 over Bc2(0) at T/Tc = {t:g} against a polynomial for it",
            "",
            lambda t=t: float(reduced_field(np.array(t))),
            lambda t=t: whh(t),
            0.01,
            "the polynomial is said to be within 1 %",
            "T. Baumgartner et al., arXiv:1311.6901: 1 - t - 0.153 (1 - t)^2 - 0.152 (1 - t)^4",
            "read",
        )
        for t in (0.1, 0.3, 0.5, 0.7, 0.9)
    ),
    *(
        Row(
            f"Bc2 over Bc2(0) at T/Tc = {t:g}",
            "",
            lambda t=t: float(reduced_field(np.array(t))),
            lambda t=t: reduced_field_by_mpmath(t),
            1e-10,
            "five steps of Newton reach 1e-14",
            _MAKI,
            "computed",
        )
        for t in (0.05, 0.233, 0.5, 0.75, 0.95)
    ),
    Row(
        "Bc2(0) over Tc |dBc2/dT| in the dirty limit",
        "",
        slope_constant,
        lambda: float(mpmath.pi**2 / 2 * mpmath.exp(mpmath.digamma(0.5))),
        1e-5,
        "slope over a step of 1e-6",
        _WHH,
        "computed",
    ),
    *(
        Row(
            f"{name} at intrinsic strain {100 * strain:g} %",
            "",
            lambda n=name, e=strain: float(relation(n)(e)),
            value,
            6e-4,
            "worked out apart to three digits",
            source,
            "computed",
            "shared input",
        )
        for name, source, values in (
            (
                "godeke-2006-deviatoric",
                f"{_G06B}, eq. (22) with the constants of its bronze C",
                (0.991, 0.968, 0.935, 0.858),
            ),
            (
                "ekin-1980-power-law",
                "J. W. Ekin, Cryogenics 20 (1980) 611: 1 - 900 |strain|^1.7",
                (0.993, 0.977, 0.954, 0.890),
            ),
        )
        for strain, value in zip((-0.001, -0.002, -0.003, -0.005), values, strict=True)
    ),
    *(
        Row(
            f"{relation(name).inputs[0].name} at which {name} gives {out:g}",
            relation(name).inputs[0].unit.removesuffix("1"),
            lambda n=name, y=out: float(relation(n).inverse(np.array(y))),
            value,
            tolerance,
            reason,
            source,
            "read",
            "transcription",
        )
        for name, out, value, tolerance, reason, source in _INVERSE
    ),
    *(
        Row(
            f"{what} of a film of {rho:g} microohm cm by {then}",
            unit,
            lambda r=rho, f=first, t=then: of_film(r, f, t)[0],
            value,
            sigmas * of_film(rho, first, then)[1],
            f"the stated scatter of the relation, times {sigmas}",
            _ORLANDO,
            "secondary",
        )
        for rho, tc, field in _FILMS
        for what, unit, value, first, then, sigmas in (
            ("Tc", "K", tc, "flukiger-1987-resistivity", "order-resistivity-chain", 1 if rho > 9.0 else 2),
            ("Bc2(0)", "T", field, "godeke-2006-resistivity", "rise-and-plateau", 2),
        )
    ),
    *(
        Row(
            f"current density at 12 T from peak force and field of zero force, {treatment}",
            "A/mm²",
            lambda f=field, p=force: current_at_twelve_tesla(f, p),
            current,
            0.03 * current,
            "the wire's own exponents differ a little from 1/2 and 2: 3 %",
            _T14,
            "read",
        )
        for treatment, (_, field, current, force) in TREATMENTS.items()
    ),
    Row(
        "reduced field of the largest pinning force",
        "",
        peak_of_force,
        0.2,
        1e-3,
        "steps of a thousandth",
        f"X. Xu, Supercond. Sci. Technol. 30 (2017) 093001, eq. (1); {_G06B}, eq. (39)",
        "read",
        "transcription",
    ),
]
