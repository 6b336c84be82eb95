"""What the lattice itself does: thermal expansion and heat capacity."""

import numpy as np

from xrdorder.relations.entry import Array, Check, Relation, Scatter, Symbol

_TIN = Symbol("beta", "atomic fraction of tin", "1", 0.24)
_LI = "Y. Li, Y. Gao, arXiv:1408.0353, fitted to the collection of R. Fluekiger et al., Cryogenics 48 (2008) 293"
REFERENCE_C, PER_KELVIN = 22.5, 7.6e-6


EXPANSION = Relation(
    name="ekin-2006-expansion",
    kind="thermal-expansion",
    title="straight line",
    formula="a(T) / a(22.5 °C) = 1 + 7.6e-6 (T - 22.5 °C)",
    function=lambda temperature: 1.0 + PER_KELVIN * (temperature - REFERENCE_C),
    inverse=lambda ratio: REFERENCE_C + (ratio - 1.0) / PER_KELVIN,
    inputs=(Symbol("T", "temperature", "°C", 22.5),),
    output=Symbol("a/a(22.5 °C)", "lattice parameter over that at 22.5 °C", "1", 1.0),
    source="J. W. Ekin, Experimental Techniques for Low-Temperature Measurements (2006), appendix 6.4",
    equation="coefficient at room temperature, from memory; 20 to 700 °C in situ gives 7.4 to 8.2e-6",
    valid=(-50.0, 750.0),
    scatter=Scatter(
        "range of what lattice parameters at 700 °C give, 0.4e-6/K over the 680 K", ((-100.0, 3e-5), (150.0, 2.7e-4))
    ),
    known="memory",
    checks=(
        Check(
            (700.0,),
            0.53156 / 0.5288,
            4e-4,
            "0.53156 nm at 700 °C: L. Thilly et al., Appl. Phys. Lett. 99 (2011) 122508; 0.5288 ± 0.0002 nm before",
        ),
    ),
)


def _line(slope: float, level: float, name: str, title: str, output: Symbol, measured: float) -> Relation:
    def value(beta: Array) -> Array:
        return np.asarray(slope * 100.0 * beta + level)

    def inverse(out: Array) -> Array:
        return np.asarray((out - level) / (100.0 * slope))

    return Relation(
        name=name,
        kind="heat-capacity",
        title=title,
        formula=f"{output.name} = {slope:g} x {'+' if level > 0 else '-'} {abs(level):g}, x = 100 beta",
        function=value,
        inverse=inverse,
        inputs=(_TIN,),
        output=output,
        source=_LI,
        equation="linear fits beside table 1",
        valid=(0.18, 0.25),
        scatter=Scatter("judged: 5 %; no residuals are printed", relative=0.05),
        known="read",
        wire="binary",
        checks=(
            Check(
                (0.254,),
                measured,
                0.05 * measured,
                "V. Guritanu et al., Phys. Rev. B 70 (2004) 184526, nominal 25.4 at.%, to the 5 % of scatter",
            ),
        ),
    )


GAMMA = _line(
    1.3473, -20.983, "li-gao-2014-sommerfeld", "Sommerfeld coefficient",
    Symbol("gamma", "coefficient of the electronic heat capacity", "mJ/(K^2 gat)", 11.4), 13.7,
)  # fmt: skip
DEBYE = _line(
    -14.018, 584.94, "li-gao-2014-debye", "Debye temperature",
    Symbol("theta_D", "Debye temperature at low temperature", "K", 248.5), 233.7,
)  # fmt: skip

ENTRIES = (EXPANSION, GAMMA, DEBYE)
