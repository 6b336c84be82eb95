"""How fast is a fit, beside what else one could do with the same pattern? Ratios within one run.

Run from the checkout: ``python -m tests.benchmarks.fit_speed [PATTERNS]``. Processor times on one core, medians over
the demo and as many generated patterns as are asked for (30). Beside a whole `fit_pattern`, with uncertainties and
cross-checks, stand

- lmfit as a user would write it: a composite of one model a phase and a polynomial, all lines Voigt functions over all
  points, derivatives by differences, on one pattern;
- lmfit with the sums and the derivatives of this package, against the refinement alone from the same start: once with
  the weights of the start, and to the same end, where weights follow the model.

Each with numba and without. The unit that machines compare by is the Faddeeva function at two million points. Nothing
here is asserted.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path

import lmfit
import numpy as np
import xarray as xr
from scipy.special import voigt_profile, wofz

from tests.generator import simulate, simulate_standard
from tests.made import as_pattern
from tests.recovery.campaign import LAB6_PER_MM, case
from xrdorder.crystals import phase, structure_factor_squared
from xrdorder.crystals.reflections import reflections
from xrdorder.fitting import calibrate, fit_pattern
from xrdorder.fitting.procedure import Procedure
from xrdorder.fitting.whole_pattern import DEFAULT_PHASES, prepare
from xrdorder.forward_model.parameter_map import ParameterMap, set_values
from xrdorder.patterns import read_pattern
from xrdorder.profiles import Instrument, summation

DEMO = Path(__file__).parents[2] / "demo_patterns"
SETTLED_U = 0.01
Task = tuple[xr.DataArray, Instrument]


def seconds(work: Callable[[], object], repeats: int = 3) -> float:
    """Least processor time of a few repeats."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


@contextmanager
def plain() -> Iterator[None]:
    """As if numba were not installed."""
    compiled, summation.compiled = summation.compiled, lambda: None  # type: ignore[assignment]
    try:
        yield
    finally:
        summation.compiled = compiled


def demo() -> list[Task]:
    """The demo with its instrument."""
    standard = read_pattern(DEMO / "srm-660c-like-lab6.xy", radiation="cu-ka")
    instrument = calibrate(
        standard, "srm-660c", detector_distance_mm=217.5, divergence_deg=0.5, specimen_length_mm=20.0,
        domain_size_nm=800.0,
    ).instrument  # fmt: skip
    files = sorted(file for file in DEMO.glob("*.xy") if not file.name.startswith("srm"))
    return [(read_pattern(file, radiation="cu-ka"), instrument) for file in files]


def generated(count: int) -> list[Task]:
    """Specimens of the independent generator, every second strained, each with an instrument of its own."""
    tasks = []
    for number in range(count):
        one = case(900 + number, aberrations=True, strained=number % 2 == 1)
        scan = simulate_standard(one.instrument, seed=number, attenuation_per_mm=LAB6_PER_MM)
        found = calibrate(
            as_pattern(*scan), "srm-660c", detector_distance_mm=217.5, divergence_deg=0.5, specimen_length_mm=50.0
        )
        tasks.append((as_pattern(*simulate(one.sample, one.instrument, seed=1000 + number)), found.instrument))
    return tasks


def composite(pattern: xr.DataArray, instrument: Instrument) -> tuple[float, int]:
    """Seconds and evaluations of a plain lmfit composite: K-alpha1 and 2, widths that go with the angle."""
    two_theta, counts = pattern["two_theta"].values, pattern.values
    model = lmfit.models.PolynomialModel(degree=7, prefix="background_")
    parameters = model.make_params(**{f"c{k}": 0.0 for k in range(8)})
    parameters["background_c0"].value = float(np.median(counts))
    for name in DEFAULT_PHASES:
        structure = phase(name)
        (a,) = structure.lengths_nm
        planes = reflections(structure.space_group, structure.system, (a,), structure.angles_deg, 0.082)
        squares = np.sum(planes.hkl**2, axis=1)
        inverse_2d = 0.5 * np.sqrt(squares) / a
        strength = planes.multiplicity * structure_factor_squared(structure, planes.hkl, inverse_2d, 8047.8)
        seen = strength > 1e-3 * strength.max()
        table = np.stack([squares, strength / strength.max()], axis=1)[seen].tolist()

        def lines(x, scale, a, shift, sigma, gamma, tan, b, table=table):  # type: ignore[no-untyped-def]
            total = np.zeros_like(x)
            for wavelength, weight in ((0.1540593, 1.0), (0.1544427, 0.5)):
                for square, height in table:
                    sine = 0.5 * wavelength * np.sqrt(square) / a
                    if sine < 0.97:
                        centre = 2.0 * np.degrees(np.arcsin(sine)) + shift * np.sqrt(1.0 - sine**2)
                        width = gamma + tan * sine / np.sqrt(1.0 - sine**2)
                        area = scale * weight * height * np.exp(-b * sine**2) / (sine**2 * np.sqrt(1.0 - sine**2))
                        total += area * voigt_profile(x - centre, sigma, width)
            return total

        own = lmfit.Model(lines, independent_vars=["x"], prefix=f"{name.replace('-', '_')}_")
        start = {"scale": 100.0, "a": a, "shift": 0.0, "sigma": 0.04, "gamma": 0.03, "tan": 0.02, "b": 1.0}
        own_parameters = own.make_params(**start)
        for key in ("scale", "sigma", "gamma", "tan"):
            own_parameters[own.prefix + key].min = 0.0
        model, parameters = model + own, parameters + own_parameters
    begun = time.process_time()
    result = model.fit(counts, parameters, x=two_theta, weights=1.0 / np.sqrt(np.maximum(counts, 1.0)), max_nfev=4000)
    return time.process_time() - begun, result.nfev


def started(task: Task) -> Procedure:
    """A fit after its search."""
    job = prepare(*task)
    job.search()
    return job


def at_once(job: Procedure) -> None:
    """Refine all that a pattern decides, from the search to the minimum by its own weights."""
    job.fit.run(job.decidable(), follow=True)


def by_lmfit(job: Procedure) -> None:
    """The same with lmfit, by the counts and the derivatives of the package; the weights stay as they are."""
    fit = job.fit
    for name in job.decidable():
        job.parameters[name].vary = True
    translation = ParameterMap(job.parameters)
    root = 1.0 / np.sqrt(fit.variance)

    def point(parameters: lmfit.Parameters) -> dict[str, float]:
        return {name: float(parameter.value) for name, parameter in parameters.items()}

    def residuals(parameters: lmfit.Parameters) -> np.ndarray:
        return np.asarray((job.model.counts(point(parameters)) - fit.observed) * root)

    def jacobian(parameters: lmfit.Parameters) -> np.ndarray:
        _, slopes = job.model.counts_with_jacobian(point(parameters), translation.free)
        return np.asarray(slopes * root[:, None])

    found = lmfit.minimize(residuals, job.parameters, method="leastsq", Dfun=jacobian, col_deriv=0, max_nfev=400)
    set_values(job.parameters, {name: found.params[name].value for name in translation.free})


def by_lmfit_settled(job: Procedure) -> None:
    """With lmfit to where `at_once` ends: again with new weights and constants until nothing moves by 0.01 u."""
    for _ in range(20):
        before = job.fit.values()
        by_lmfit(job)
        job.fit.reweight()
        job.fit.freeze()
        solution, after = job.fit.solution()[0], job.fit.values()
        if all(abs(after[name] - before[name]) < SETTLED_U * solution.u(name) for name in solution.free):
            return


def refined(task: Task, how: Callable[[Procedure], None]) -> float:
    """Processor time of a refinement after the search."""
    job = started(task)
    return seconds(lambda: how(job), 1)


def main(count: int) -> None:
    """Print the table."""
    rng = np.random.default_rng(0)
    z = rng.normal(size=2_000_000) * 5 + 1j * rng.uniform(0.1, 2.0, 2_000_000)
    unit = seconds(lambda: wofz(z))
    groups = {"demo": demo(), "generated": generated(count)}
    print(f"unit: Faddeeva function at 2 000 000 points, {unit:.3f} s")
    every = [task for tasks in groups.values() for task in tasks]
    spent = {}
    for way in ("numba", "numpy"):
        with plain() if way == "numpy" else nullcontext():
            fit_pattern(*every[0])
            for name, tasks in groups.items():
                times, evaluations = [], []
                for task in tasks:
                    begun = time.process_time()
                    evaluations.append(fit_pattern(*task).iterations)
                    times.append(time.process_time() - begun)
                spent[way, name] = float(np.median(times))
                print(
                    f"{way}, {name:9s} {len(tasks):3d} patterns: {np.median(times):6.3f} s "
                    f"({np.median(times) / unit:4.2f} units), largest {max(times):6.3f} s; evaluations "
                    f"{np.median(evaluations):g}, most {max(evaluations)}"
                )
            ways = {"refine": Procedure.refine, "at once": at_once, "lmfit": by_lmfit, "settled": by_lmfit_settled}
            own = {name: float(np.median([refined(task, how) for task in every[::6]])) for name, how in ways.items()}
            print(f"{way}, from search to minimum: all at once {own['at once']:.3f} s, refined {own['refine']:.3f} s")
            for name, about in (("settled", "to the same minimum"), ("lmfit", "where it keeps the first weights")):
                once, refined_in = own[name] / own["at once"], own[name] / own["refine"]
                print(
                    f"{way}, lmfit with the same sums and derivatives {about}: {once:.1f} times all at once, "
                    f"{refined_in:.1f} times refined"
                )
    lasted, evaluations_of = composite(*every[0])
    for way in ("numba", "numpy"):
        ratio = lasted / spent[way, "demo"]
        print(f"lmfit composite {lasted:.1f} s ({evaluations_of} evaluations): {ratio:.0f} times a fit with {way}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 30)
