"""What does the fit make of each effect a real specimen may show? One simulated pattern each, truth against result.

``python -m tests.benchmarks.effects [CASE...]`` prints the table of docs/contributing/effects.md. Patterns come from
the independent generator with Poisson counts (strongest point 25 000), 18 to 140 degrees by 0.03, calibrated by a
simulated LaB6 scan of the same instrument.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from tests.generator import (
    InstrumentTruth,
    PhaseTruth,
    SampleTruth,
    a15_lattice_nm,
    attenuation_per_mm,
    simulate,
    simulate_standard,
)
from tests.generator.absorption import Roughness
from tests.generator.cells import Fibre
from tests.generator.distributions import LatticeDistribution
from tests.generator.stray import copper_k_beta, tungsten_l_alpha
from tests.made import as_pattern
from tests.recovery.campaign import CU_KA_EV, LAB6_PER_MM, PACKING
from xrdorder.fitting import FitOptions, PatternFit, calibrate, fit_pattern

TWO_THETA = np.round(np.arange(18.0, 140.0, 0.03), 2)
INSTRUMENT = InstrumentTruth(two_theta_offset=0.01)
NIOBIUM = PhaseTruth("nb", 0.10, 0.33007, 60.0, b_iso_nm2=0.0046)
BRONZE = PhaseTruth("cu-sn", 0.05, 0.3660, 40.0, tin_fraction=0.03)
SAMPLE = SampleTruth(
    tin_fraction=0.24, order_a=0.95, domain_size_nm=120.0, displacement_mm=0.03, others=(NIOBIUM, BRONZE)
)
MU = attenuation_per_mm(SAMPLE.a15_cell(SAMPLE.lattice_nm), CU_KA_EV)
SAMPLE = replace(SAMPLE, attenuation_per_mm=PACKING * MU)
PM = 1e-3  # nm
Truth = Callable[[SampleTruth], float]


@dataclass(frozen=True)
class Case:
    """One effect: what is simulated, what the fit is told, and the quantities to look at."""

    about: str
    sample: SampleTruth = SAMPLE
    instrument: InstrumentTruth = INSTRUMENT
    fit: dict[str, object] = field(default_factory=dict)
    calibration: dict[str, object] = field(default_factory=dict)
    standard: dict[str, object] = field(default_factory=dict)
    more: dict[str, float] = field(default_factory=dict)  # further quantities and their truth


def _spread(lattice: LatticeDistribution, **more: object) -> SampleTruth:
    return replace(SAMPLE, lattice=lattice, **more)


A = SAMPLE.lattice_nm
TAIL = LatticeDistribution.exponential_tail(A, 0.5, 0.25 * PM)
LONG_TAIL = LatticeDistribution.exponential_tail(A, 0.3, 0.68 * PM)
BOX = LatticeDistribution.graded(A - 0.68 * PM, A)
WEDGE = LatticeDistribution.graded(A - 0.68 * PM, A, 1.0)
PAIR = LatticeDistribution.two_populations(a15_lattice_nm(0.22), a15_lattice_nm(0.245), 0.3, 90.0, 400.0)
SILICON = PhaseTruth("si", 0.25, 0.54311946, 400.0)
PLATE = replace(INSTRUMENT, geometry="transmission")
TUBE = replace(INSTRUMENT, geometry="capillary")


def _with(**changes: object) -> SampleTruth:
    return replace(SAMPLE, **changes)


CASES: dict[str, Case] = {
    "plain": Case("nothing but the ideal powder"),
    "internal standard": Case(
        "goniometer moved by 0.03 degrees since the calibration; silicon SRM 640c mixed in",
        _with(others=(NIOBIUM, BRONZE, SILICON)),
        replace(INSTRUMENT, two_theta_offset=0.04),
        {"internal_standard": "srm-640c"},
        {"instrument": INSTRUMENT},
    ),
    "texture": Case("A15 fibre along (100), March r = 0.75", _with(fibre=Fibre((1, 0, 0), 0.75))),
    "texture, March asked": Case(
        "the same, March's function asked for",
        _with(fibre=Fibre((1, 0, 0), 0.75)),
        fit={"options": FitOptions(texture_axes={"nb3sn": (1, 0, 0)})},
    ),
    "tail": Case("half of the layer spread exponentially, decay 0.25 pm", _spread(TAIL)),
    "tail of 5 at.%": Case("30 % of the layer spread exponentially, decay 0.68 pm (5 at.%)", _spread(LONG_TAIL)),
    "sharp gradient": Case("even between two sharp edges 5 at.% apart", _spread(BOX)),
    "sharp wedge": Case("between edges 5 at.% apart, most at the rich one", _spread(WEDGE)),
    "gradient and strain": Case("the tail with a Gaussian microstrain of 5e-4", _spread(TAIL, lattice_spread=5e-4)),
    "two populations": Case(
        "22 at.% in domains of 90 nm and 24.5 at.% in 400 nm (30 %)",
        _spread(PAIR),
        more={"a_nm_lean": a15_lattice_nm(0.22), "a_nm_rich": a15_lattice_nm(0.245), "rich_share": 0.3},
    ),
    "strained niobium": Case(
        "microstrain of niobium 1.5e-3, three times larger in variance along (100) than along (111)",
        _with(others=(replace(NIOBIUM, microstrain_lorentz=1.5e-3, strain_anisotropy=-0.8), BRONZE)),
        more={"strain_anisotropy_nb": -0.8},
    ),
    "elastic shift": Case(
        "(h00) of A15 strained by 3e-4 against the mean",
        _with(elastic_shift=3e-4),
        fit={"options": FitOptions(elastic_shifts=True)},
        more={"elastic_shift": 3e-4},
    ),
    "depth": Case(
        "lattice parameter growing by 0.1 pm for each micrometre of depth",
        _with(depth_nm_per_um=1e-4, depth_attenuation_per_mm=MU),
        fit={"options": FitOptions(depth_gradient=True)},
        more={"depth_slope": 1e-7},
    ),
    "stray lines": Case(
        "K-beta 1.5 % and tungsten L-alpha 0.7 %",
        instrument=replace(INSTRUMENT, stray=(copper_k_beta(0.015), tungsten_l_alpha(0.007))),
        calibration={"instrument": INSTRUMENT},
    ),
    "short specimen": Case(
        "10 mm specimen in a beam of 1 degree",
        _with(specimen_length_mm=10.0),
        replace(INSTRUMENT, divergence_deg=1.0, flat_specimen=True),
        {"specimen_length_mm": 10.0},
        {"divergence_deg": 1.0},
    ),
    "variable slit": Case(
        "10 mm lit at every angle",
        _with(specimen_length_mm=20.0),
        replace(INSTRUMENT, lit_length_mm=10.0, flat_specimen=True),
        {"specimen_length_mm": 20.0},
        {"illuminated_length_mm": 10.0, "specimen_length_mm": 20.0},
    ),
    "roughness": Case(
        "rough surface, 4 % lost at (110)",
        _with(roughness=Roughness(0.8, 0.1)),
        fit={"options": FitOptions(roughness=(0.8, 0.1))},
    ),
    "transmission": Case(
        "plate with mu t = 0.8",
        _with(mu_t=0.8),
        PLATE,
        {"options": FitOptions(mu_t=0.8)},
        {"geometry": "transmission", "mu_t": 0.0},
    ),
    "capillary": Case(
        "capillary with mu R = 1.5",
        _with(mu_r=1.5, displacement_mm=0.0, displacement_across_mm=0.02, displacement_along_mm=-0.03),
        TUBE,
        {"options": FitOptions(mu_r=1.5)},
        {"geometry": "capillary", "mu_r": 0.0},
    ),
    "polarised beam": Case(
        "monochromatic 0.154060 nm, polarisation ratio 0.05",
        instrument=replace(INSTRUMENT, wavelength_nm=0.154060, polarisation_ratio=0.05),
        calibration={"radiation": "0.154060 nm", "polarisation_ratio": 0.05},
    ),
}


def run(case: Case, seed: int = 1) -> PatternFit:
    """Simulate, calibrate, fit."""
    told = dict(case.calibration)
    maker = told.pop("instrument", case.instrument)
    radiation = str(told.get("radiation", "cu-ka"))
    mount = {"specimen_length_mm": told["specimen_length_mm"]} if "specimen_length_mm" in told else {}
    scan = simulate_standard(
        maker, two_theta=TWO_THETA, seed=10 * seed, attenuation_per_mm=LAB6_PER_MM, **mount  # type: ignore[arg-type]
    )  # fmt: skip
    found = calibrate(as_pattern(*scan, radiation=radiation), "srm-660c", detector_distance_mm=217.5, **told)  # type: ignore[arg-type]
    pattern = as_pattern(*simulate(case.sample, case.instrument, TWO_THETA, seed=10 * seed + 1), radiation=radiation)
    return fit_pattern(pattern, found.instrument, **case.fit)  # type: ignore[arg-type]


def rows(name: str, case: Case, result: PatternFit) -> list[str]:
    """Lines of the table: quantity, truth, result, standard uncertainty, deviation in units of it."""
    deep = 0.0
    if case.sample.depth_attenuation_per_mm:  # the fit counts from the mean depth seen at theta = 45 degrees
        deep = case.sample.depth_nm_per_um * 1e3 * np.sqrt(0.5) / (2.0 * case.sample.depth_attenuation_per_mm)
    truths = {"a_nm": case.sample.lattice_nm + deep, "order_contrast": case.sample.order_contrast(), **case.more}
    truths |= {
        f"weight_fraction_{p}": share / (1.0 - case.sample.weight_fractions().get("si", 0.0))
        for p, share in case.sample.weight_fractions().items()
        if p == "nb"
    }
    lines = []
    for quantity, truth in truths.items():
        value, u = result.values.get(quantity, np.nan), np.nan
        if quantity in result.contributions.quantities:
            u = result.u(quantity)
        lines.append(f"| {name} | {quantity} | {truth:.7g} | {value:.7g} | {u:.2g} | {(value - truth) / u:+.1f} |")
        name = ""
    return lines


def main(names: list[str]) -> None:
    """Print the table."""
    print("| case | quantity | truth | result | u | (result - truth) / u |\n|---|---|---|---|---|---|")
    for name, case in CASES.items():
        if not names or name in names:
            result = run(case)
            print("\n".join(rows(name, case, result)), flush=True)
            said = sorted({flag.name for flag in result.flags} - {"slit-not-given", "length-not-given"})
            quality = f"flags: {', '.join(said) or 'none'}; R_wp/R_exp = {result.r_wp / result.r_expected:.3f}"
            print(f"| | {case.about} | {quality} | | | |", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
