"""Laws of Tc and Bc2 against arbitrary precision and printed points."""

import mpmath
import numpy as np

from tests.outside.rows import Kind, Row
from xrdorder.relations import relation
from xrdorder.relations.bc2_of_temperature import reduced_field

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
)  # fmt: skip
_KINDS: dict[str, Kind] = {
    "hayase-2006-interface": "transcription",
    "bronze-multifilament-growth": "transcription",
    "vapour-diffusion-growth": "transcription",
    "undoped-slope": "shared input",  # one of the samples it was derived from, as the next
    "undoped-bc2-by-resistivity": "shared input",
    "orlando-1979-films-bc2": "shared input",  # one film as two reviews give it
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
]
