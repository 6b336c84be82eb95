"""A furnace run of known truth, made by the independent generator: invented, nothing in it was measured.

Bragg scattering of a mixture is linear in the volumes of its phases, so that each phase is summed once for each
temperature. The conversion is integrated here, apart from the package.
"""

from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import h5py
import numpy as np

from tests.generator import InstrumentTruth, PhaseTruth, SampleTruth, simulate_standard
from tests.generator.patterns import _bragg
from tests.made import as_pattern
from xrdorder.fitting import calibrate
from xrdorder.profiles import write_instrument

INSTRUMENT = InstrumentTruth()
GRID = np.round(np.arange(32.0, 100.0, 0.05), 2)
A_NM = {"nb3sn": 0.52890, "nb": 0.33010, "cu-sn": 0.36600}
EXPANSION = {"nb3sn": 7.6e-6, "nb": 7.3e-6, "cu-sn": 18e-6}  # as in tests/generator, and from memory
SIZE_NM, Q_KJ, TAU_H, END = 60.0, 220.0, 0.8, 0.70
NO_BEAM_FRAME = 61
GAS_CONSTANT = 8.314462618e-3  # kJ/mol/K, CODATA 2018


@dataclass(frozen=True)
class Truth:
    """What was put in, a frame each."""

    hours: np.ndarray
    celsius: np.ndarray
    weight: dict[str, np.ndarray]
    counts: np.ndarray


def schedule(hours):
    """Temperature in °C: 400 to 650 °C in an hour, five hours there, to 700 °C in half an hour."""
    return np.interp(hours, [0.0, 1.0, 6.0, 6.5, 9.0], [400.0, 650.0, 650.0, 700.0, 700.0])


def converted(hours, celsius):
    """Share of the reaction that is done: 1 - exp(-theta/tau), by the trapezoidal rule."""
    fine = np.linspace(0.0, hours[-1], 40_001)
    rate = np.exp(-Q_KJ / GAS_CONSTANT * (1.0 / (np.interp(fine, hours, celsius) + 273.15) - 1.0 / 923.15))
    theta = np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(fine))])
    return 1.0 - np.exp(-np.interp(hours, fine, theta) / TAU_H)


def _hot(name, celsius):
    return A_NM[name] * (1.0 + EXPANSION[name] * (celsius - 22.5))


@cache
def _shape(name, celsius):
    """Bragg scattering of one phase alone at a temperature, and its density."""
    moved = (celsius + 273.15) / 295.65
    if name == "nb3sn":
        sample = SampleTruth(
            a_nm=A_NM[name], domain_size_nm=SIZE_NM, temperature_c=celsius, order_a=0.95,
            b_2a_nm2=0.0045 * moved, b_6c_nm2=0.0050 * moved,
        )  # fmt: skip
        density = sample.a15_cell(_hot(name, celsius)).density_g_cm3
    else:
        b = {"nb": 0.0046, "cu-sn": 0.0060}[name] * moved
        tin = 0.03 if name == "cu-sn" else None
        phase = PhaseTruth(name, 1.0, _hot(name, celsius), SIZE_NM, b_iso_nm2=b, tin_fraction=tin)
        sample, density = SampleTruth(others=(phase,)), phase.cell().density_g_cm3
    return _bragg(sample, INSTRUMENT, tuple(GRID), "gemmi"), density


def _weights(done):
    """Weight fractions by phase when this share has reacted."""
    return {"nb3sn": END * done, "nb": 0.70 - 0.55 * done, "cu-sn": 0.30 - 0.15 * done}


def _counts(weight, celsius, level):
    """Expected counts of one frame."""
    shapes = {name: _shape(name, float(celsius)) for name, share in weight.items() if share > 0.0}
    volume = {name: weight[name] / density for name, (_, density) in shapes.items()}
    total = sum(volume.values())
    bragg = sum(volume[name] / total * shape for name, (shape, _) in shapes.items())
    return level * (bragg / _shape("nb", 650.0)[0].max() + SampleTruth().background.at(GRID))


def _course(frames, until_h, step_k):
    """Hours, temperatures (on the ramps in steps, so that few shapes are needed) and weight fractions of the frames."""
    hours = np.linspace(0.0, until_h, frames)
    celsius = np.round(schedule(hours) / step_k) * step_k
    return hours, celsius, _weights(converted(hours, celsius))


class WrittenRun:
    """A run of any length, written block by block as it is made, so that it is never whole in memory."""

    def __init__(self, path: Path, frames, *, until_h=9.0, level=3000.0, seed=1, step_k=5.0, each=200):
        self.path, (self.hours, self.celsius, self.weight) = path, _course(frames, until_h, step_k)
        rng = np.random.default_rng(seed)
        with stack(path, self.hours) as counts:
            for first in range(0, frames, each):
                block = range(first, min(first + each, frames))
                expected = [_counts({n: w[k] for n, w in self.weight.items()}, self.celsius[k], level) for k in block]
                counts[block.start : block.stop] = rng.poisson(expected)


def furnace_run(frames, *, until_h=9.0, level=3000.0, seed=1, step_k=5.0):
    """A run in memory; where it is long enough one frame of it is without beam."""
    hours, celsius, weight = _course(frames, until_h, step_k)
    expected = [_counts({n: w[k] for n, w in weight.items()}, celsius[k], level) for k in range(frames)]
    rng = np.random.default_rng(seed)
    counts = rng.poisson(expected).astype(float)
    if frames > NO_BEAM_FRAME:
        counts[NO_BEAM_FRAME] = rng.poisson(0.5, len(GRID))
    return Truth(hours, celsius, weight, counts)


@contextmanager
def stack(path, hours, **more):
    """Counts of a NeXus stack, to be filled."""
    with h5py.File(path, "w") as file:
        group = file.create_group("entry/data")
        group.attrs.update({"NX_class": "NXdata", "signal": "counts", "axes": ["time", "two_theta"]})
        group["time"] = hours * 3600.0
        group["time"].attrs["units"] = "s"
        group["two_theta"] = GRID
        group["two_theta"].attrs["units"] = "degree"
        for name, values in more.items():
            group[name] = values
        yield group.create_dataset("counts", (len(hours), len(GRID)), np.int32)


def write_stack(truth, path: Path, **more):
    """The frames as a NeXus stack."""
    with stack(path, truth.hours, **more) as counts:
        counts[:] = truth.counts
    return path


STEP_H, STEP_MOHM = 3.0, 0.02  # a contact that moves, which the pattern knows nothing of


def write_log(truth, path: Path):
    """The furnace as it was, and a resistance that follows it: a step at 2 wt% of A15, another for no reason.

    An entry for each frame at least, so that temperatures at the frames are those of the truth.
    """
    hours = np.linspace(truth.hours[0], truth.hours[-1], max(1, 600 // len(truth.hours)) * (len(truth.hours) - 1) + 1)
    celsius = np.interp(hours, truth.hours, truth.celsius)
    begun = np.interp(0.02, truth.weight["nb3sn"], truth.hours)
    ohm = 1.0 + 1.5e-3 * celsius + 0.05 * (hours >= begun) - STEP_MOHM * (hours >= STEP_H)
    ohm += np.random.default_rng(4).normal(0.0, 1e-3, len(hours))
    lines = [f"{h * 3600.0:.3f},{c:.2f},{r:.5f}" for h, c, r in zip(hours, celsius, ohm, strict=True)]
    path.write_text("\n".join(["time_s,temperature_c,resistance_mohm", *lines, ""]), encoding="utf-8")
    return path


def write_calibration(path: Path):
    """An instrument file, from a standard of the same generator."""
    standard = as_pattern(*simulate_standard(INSTRUMENT, two_theta=GRID, seed=2, peak_counts=100_000.0))
    found = calibrate(standard, "srm-660c", detector_distance_mm=217.5, domain_size_nm=np.inf)
    write_instrument(found.instrument, path)
    return path
