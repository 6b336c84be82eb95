"""Make the invented study of this folder: two wire lots and a diffractometer that do not exist.

Run from a checkout with ``python -m demo_patterns.make_demo``. The patterns come from the generator that
also judges the fits in the tests; what is true about every specimen stands here and nowhere in the data.
All trends below are made up to look sensible (hotter and longer: more tin, more order, larger domains, less
niobium) and say nothing about any wire.
"""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.generator import (
    Background,
    Dopant,
    InstrumentTruth,
    PhaseTruth,
    SampleTruth,
    simulate,
    simulate_standard,
)
from tests.generator.patterns import default_two_theta

HERE = Path(__file__).parent
SEED = 20_417
PEAK_COUNTS = 25_000.0
SPECIMEN_LENGTH_MM = 20.0
LAB6_DOMAIN_SIZE_NM = 800.0
LAB6_FILE = "srm-660c-like-lab6.xy"
GAS_CONSTANT = 8.314462618e-3  # kJ/(mol K); CODATA 2018, rounded

# A powder bed fills some six tenths of the space: 0.6 of the attenuation of the dense solids at Cu Ka, per
# mm.
ATTENUATION_PER_MM, LAB6_ATTENUATION_PER_MM = 90.0, 65.0

DIFFRACTOMETER = InstrumentTruth(
    divergence_deg=0.5,
    flat_specimen=True,
    two_theta_offset=0.0085,
    gauss_tan2=0.0009,
    gauss_tan=-0.0005,
    gauss_const=0.0015,
    lorentz_sec=0.007,
    lorentz_tan=0.006,
    axial_source_ratio=0.021,
    axial_detector_ratio=0.018,
)


@dataclass(frozen=True)
class Piece:
    """A reacted piece of wire: lot, last hold, and a letter where two pieces were reacted alike."""

    lot: str
    hold_c: int
    hours: int
    letter: str = ""

    @property
    def name(self) -> str:
        """Name of sample and file."""
        return f"{self.lot}-{self.hold_c}c-{self.hours}h" + (f"-{self.letter}" if self.letter else "")

    @property
    def steps(self) -> tuple[tuple[int, int, int], ...]:
        """Ramp (K/h), hold (°C), hours."""
        if self.lot == "heron":
            return ((100, self.hold_c, self.hours),)
        return ((30, 205, 60), (40, 385, 36), (45, self.hold_c, self.hours))


PIECES = (
    Piece("heron", 625, 100),
    Piece("heron", 625, 250),
    Piece("heron", 650, 50),
    Piece("heron", 650, 100, "a"),
    Piece("heron", 650, 100, "b"),
    Piece("heron", 675, 50),
    Piece("heron", 675, 100),
    Piece("heron", 700, 50),
    Piece("heron", 725, 50),
    Piece("curlew", 625, 200),
    Piece("curlew", 650, 50),
    Piece("curlew", 650, 150),
    Piece("curlew", 675, 50),
    Piece("curlew", 675, 100),
    Piece("curlew", 700, 50),
)

STUDY_HEAD = f"""\
# An invented study: no real wire, no real measurement. README.md says more.
title = "Invented demo: Heron and Curlew over reaction temperature and time"
phases = ["nb3sn", "nb", "cu-sn"]

[instrument.calibrate]
pattern = "{LAB6_FILE}"
standard = "srm-660c"
radiation = "cu-ka"
detector_distance_mm = 217.5
divergence_deg = 0.5
specimen_length_mm = 20.0
temperature_c = 22.5
standard_domain_size_nm = {LAB6_DOMAIN_SIZE_NM:g}.0

[defaults]                      # what all samples have in common; a sample may say otherwise
radiation = "cu-ka"
mount = "ground-powder"
temperature_c = 22.5
u_temperature_k = 0.5
specimen_length_mm = 20.0
divergence_deg = 0.5

[lots.heron]
route = "powder-in-tube"  # invented, as all of this
undoped = true

[lots.curlew]
route = "internal-tin"    # invented
filament = "Nb-7.5Ta"     # invented
dopant_at_percent = {{ Ta = 2.4 }}
u_dopant_at_percent = {{ Ta = 0.2 }}
"""


def truth(piece: Piece) -> SampleTruth:
    """Invent the state of a piece: smooth trends with the treatment, and a little scatter."""
    rng = np.random.default_rng([SEED, PIECES.index(piece)])
    kelvin = piece.hold_c + 273.15

    def faster(energy_kj_per_mol: float) -> float:
        return math.exp(-energy_kj_per_mol / GAS_CONSTANT * (1.0 / kelvin - 1.0 / 948.15))

    dose_h = piece.hours * faster(230.0)  # hours at 675 °C that would do the same
    still_to_do = math.exp(-dose_h / 45.0)
    doped = piece.lot == "curlew"
    tin = 0.2455 - 0.011 * still_to_do + 3.0e-5 * (piece.hold_c - 675) + rng.normal(0.0, 4e-4)
    order = 0.982 - 0.055 * still_to_do + 1.0e-4 * (piece.hold_c - 675) + rng.normal(0.0, 0.004)
    # Tantalum leaves the tin site as the reaction gets hotter; shares of this size and sense: C. Tarantini
    # et al., Supercond. Sci. Technol. 32 (2019) 124003.
    on_tin_site = 0.08 + 0.30 / (1.0 + math.exp((piece.hold_c - 652.0) / 8.0))
    others = (
        PhaseTruth("nb", 0.030 + 0.14 * still_to_do + rng.uniform(0.0, 0.01), 0.33008, 70.0),
        PhaseTruth("cu-sn", rng.uniform(0.012, 0.035), 0.3632 + 0.0040 * still_to_do, 45.0),
    )
    return SampleTruth(
        tin_fraction=tin - (0.004 if doped else 0.0),
        order_a=min(order, 1.0),
        domain_size_nm=105.0 * (piece.hours / 100.0) ** 0.2 * faster(70.0) * rng.normal(1.0, 0.02),
        lattice_spread=2.57e-4 * (0.25 + 0.45 * still_to_do),  # rms: tin varies by 0.25 to 0.7 at.%
        dopants=(Dopant("Ta", 0.024, on_tin_site),) if doped else (),
        others=others,
        displacement_mm=rng.uniform(-0.05, 0.05),
        specimen_length_mm=SPECIMEN_LENGTH_MM,
        attenuation_per_mm=ATTENUATION_PER_MM,
        background=Background(
            constant=rng.uniform(0.006, 0.009), air=rng.uniform(0.015, 0.022), hump=rng.uniform(0.001, 0.003)
        ),
    )


MEASURED = ("heron-625c-100h", "heron-650c-100h-a", "heron-675c-100h", "heron-725c-50h",
            "curlew-625c-200h", "curlew-650c-150h", "curlew-675c-100h")  # fmt: skip
"""Pieces on which this laboratory, which does not exist, is said to have measured more."""


TC_AS_OF_MORE_TIN = 0.014
"""Wire has the Tc of so much more tin than it holds, by the relations of `invented_tc` (atomic fraction).

Of the published samples below 24.2 at.% tin by microanalysis all 21 have more Tc than that: as 1.3 at.% more tin would
give in bulk, 2.3 and 2.7 in wires, 3.0 in films (docs/explanation/evidence.md). Half a per cent of it is taken for what
microanalysis reads low, `PROBE_READS_LOW`; the wires invented here have somewhat less of both than published ones.
"""
PROBE_READS_LOW = 0.005
MIDDLE_K = 0.3
"""What the middle of an invented transition lies below its best part (K); onset and middle of published ones differ by
half a kelvin."""
RATIO_DOPED, RATIO_UNDOPED = 1.61, 1.53
"""Bc2 at 0 K over Tc (T/K): means of 49 doped and of 16 undoped published samples."""


def invented_tc(tin: float, *, doped: bool) -> float:
    """Critical temperature (K) of a wire of so much tin, at the middle of its transition.

    The form of A. Godeke, Supercond. Sci. Technol. 19 (2006) R68, eq. 10, without dopants, and of T. Baumgartner et
    al., Supercond. Sci. Technol. 30 (2017) 014011, eq. 3, with tantalum, at more tin by `TC_AS_OF_MORE_TIN`.
    """
    high, low, centre, width = (18.6, 6.39, 0.2201, 0.00921) if doped else (18.3, 6.0, 0.22, 0.009)
    return (low - high) / (1.0 + math.exp((tin + TC_AS_OF_MORE_TIN - centre) / width)) + high - MIDDLE_K


def measured(piece: Piece) -> str:
    """Invent what a laboratory measured on a piece: from its truth by published relations, offsets and noise."""
    rng = np.random.default_rng([SEED, PIECES.index(piece), 1])
    state = truth(piece)
    tin, doped = state.tin_fraction, bool(state.dopants)
    tc = invented_tc(tin, doped=doped)
    field = (RATIO_DOPED if doped else RATIO_UNDOPED) * tc * (1.0 - (4.2 / tc) ** 1.52)
    values = {
        "Tc_K": f'value = {tc + rng.normal(0.0, 0.08):.2f}, u = 0.08, criterion = "50 %"',
        "Bc2_T": f'value = {field + rng.normal(0.0, 0.25):.1f}, u = 0.25, temperature_k = 4.2, criterion = "90 %"',
        "tin_at_percent": f"value = {100 * (tin - PROBE_READS_LOW) + rng.normal(0.0, 0.4):.1f}, u = 0.4",
        "grain_size_nm": f"value = {1.25 * state.domain_size_nm * rng.normal(1.0, 0.07):.0f}, u = 10",
    }
    lines = [f"{name} = {{ {text}, remark = \"invented\" }}" for name, text in values.items()]
    return "\n".join(["[samples.measured]  # invented", *lines, ""])


def study_text() -> str:
    """Describe the study as a user would."""
    parts = [STUDY_HEAD]
    for piece in PIECES:
        steps = ", ".join(
            f"{{ ramp_k_per_h = {ramp}, hold_c = {hold}, hours = {hours} }}"
            for ramp, hold, hours in piece.steps
        )
        parts.append(
            f'[[samples]]\nname = "{piece.name}"\npattern = "{piece.name}.xy"\nlot = "{piece.lot}"\n'
            f"treatment = [{steps}]\n" + (measured(piece) if piece.name in MEASURED else "")
        )
    return "\n".join(parts)


def write_columns(path: Path, two_theta: np.ndarray, counts: np.ndarray) -> None:
    """Write two columns: angle and counts."""
    rows = (f"{angle:.2f} {count:.0f}" for angle, count in zip(two_theta, counts, strict=True))
    head = "# invented pattern, not measured; 2theta (degree), counts; Cu K-alpha\n"
    path.write_text(head + "\n".join(rows) + "\n", encoding="utf-8")


def main() -> None:
    """Write every file of the study."""
    two_theta = default_two_theta()
    _, counts = simulate_standard(
        DIFFRACTOMETER,
        displacement_mm=-0.018,
        domain_size_nm=LAB6_DOMAIN_SIZE_NM,
        specimen_length_mm=SPECIMEN_LENGTH_MM,
        attenuation_per_mm=LAB6_ATTENUATION_PER_MM,
        peak_counts=PEAK_COUNTS,
        seed=SEED,
    )
    write_columns(HERE / LAB6_FILE, two_theta, counts)
    for number, piece in enumerate(PIECES, start=1):
        _, counts = simulate(truth(piece), DIFFRACTOMETER, peak_counts=PEAK_COUNTS, seed=SEED + number)
        write_columns(HERE / f"{piece.name}.xy", two_theta, counts)
        print(f"{number}/{len(PIECES)} {piece.name}")
    (HERE / "study.toml").write_text(study_text(), encoding="utf-8")


if __name__ == "__main__":
    main()
