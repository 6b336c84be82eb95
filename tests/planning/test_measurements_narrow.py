"""What a laboratory measures narrows the parameter it is of, by what one Kalman update by hand says.

The formulas below are written out for single holds without ramps, and share nothing with the model but its parameters:
of a study with patterns alone the covariance P becomes P - P H' (H P H' + V)^-1 H P, with H from these formulas.
"""

import json

import numpy as np
import pytest

from tests.planning.lots import POINTS, study
from xrdorder.exceptions import StudyError
from xrdorder.kinetics import Courses, fitted_conversion, route_of
from xrdorder.planning.conversion_courses import GAP, courses_of
from xrdorder.planning.observations import wires_of
from xrdorder.planning.planner import LotProcess
from xrdorder.planning.process import LEVELS
from xrdorder.relations import resistivity
from xrdorder.treatments import LoggedTreatment, Schedule, Step

ROUTE = route_of("internal-tin")[0]
KELVIN, HOURS = np.array(POINTS, dtype=float).T + np.array([[273.15], [0.0]])


def theta(kilojoule):
    """Hours at 650 °C."""
    return HOURS * np.exp(-kilojoule / 8.314462618e-3 * (1.0 / KELVIN - 1.0 / 923.15))


def converted(v):
    return 1.0 - np.exp(-((theta(v["q_conversion"]) / v["tau_h"]) ** v["exponent"]))


def bc2(v):
    left = np.exp(-theta(v["q_conversion"]) / (v["field_lag"] * v["tau_h"]))
    return v["field_t"] + v["field_per_k"] * (KELVIN - 923.15) - v["field_deficit_t"] * left + v["left"]


FORMULAS = {
    "a15_area_fraction": lambda v: np.exp(v["area"]) * converted(v),
    "grain_size_nm": lambda v: v["d0_nm"] * (theta(v["e_grain"] / v["m_grain"]) / 100.0) ** v["m_grain"],
    "resistivity_uohm_cm": lambda v: v["resistivity"] + v["resistivity_per_tin"] * (bc2(v) - 25.0) / v["tin_per_field"],
    "rrr_copper": lambda v: 1.0
    / (1.0 / v["clean_rrr"] + v["a_copper"] * (theta(v["e_copper"] / v["k_copper"]) / 100.0) ** v["k_copper"]),
}


def process(measured=(), courses=()):
    results, treatments = study(measured=measured)
    holds = {name: Schedule((Step(*one),)) for name, one in zip(treatments, POINTS, strict=True)}
    return LotProcess(wires_of(results, holds, "current", 4.2, courses), ROUTE)


@pytest.fixture(scope="module")
def before():
    return process()


def values(lot, z):
    """Parameters by name, each with its own number, and what the laws leave of Bc2."""
    one = {name: lot.process.parameter(z[None], name)[0] for name in {**ROUTE.parameters, **LEVELS}}
    basis, first = lot.process.leftover.basis(lot.places), lot.process.names.index("field_left_t")
    one["left"] = lot.process.spread("field_left_t") * basis @ z[first : first + basis.shape[1]]
    return one


def update(lot, slopes, variance):
    """Covariance after measurements of these slopes and variances."""
    p = lot.posterior.half @ lot.posterior.half.T
    gain = np.linalg.solve(slopes @ p @ slopes.T + variance, slopes @ p)
    return p - p @ slopes.T @ gain


def u_of(lot, name, covariance=None):
    """Standard uncertainty of a parameter in prior standard deviations."""
    c = lot.posterior.half @ lot.posterior.half.T if covariance is None else covariance
    k = lot.process.names.index(name)
    return float(np.sqrt(c[k, k]))


@pytest.mark.parametrize(
    ("key", "of", "u", "gap", "log", "at_most"),
    [
        ("a15_area_fraction", "area", 0.005, 0.03, True, 0.3),
        ("grain_size_nm", "d0_nm", 3.0, 0.05, True, 0.8),
        ("resistivity_uohm_cm", "resistivity", 1.0, 3.0, False, 0.8),
        ("rrr_copper", "a_copper", 5.0, 0.1, True, 0.5),
    ],
)
def test_a_measurement_narrows_its_parameter_as_a_kalman_update_does(before, key, of, u, gap, log, at_most):
    z, formula = before.posterior.z, FORMULAS[key]

    def scaled(at):
        found = formula(values(before, at))
        return np.log(found) if log else found

    middle = formula(values(before, z))  # so measured, what is most probable stays, and only its doubt changes
    steps = 1e-4 * np.eye(len(z))
    slopes = np.array([(scaled(z + step) - scaled(z - step)) / 2e-4 for step in steps]).T
    own = u / middle if log else np.full(len(middle), u)
    by_hand = update(before, slopes, np.diag(own**2 + gap**2))
    after = process([(key, middle, u)])
    # steps of the slopes, and a search that ends at a hundredth of the sum of squares
    assert u_of(after, of) == pytest.approx(u_of(before, of, by_hand), rel=0.02)
    assert u_of(after, of) < at_most * u_of(before, of)


def course(hours, celsius, q=240.0, tau=9.0, noise=0.01, seed=0):
    """Log, and shares along it by the sum over its own fine steps."""
    log = LoggedTreatment(hours, celsius)
    fine = np.linspace(hours[0], hours[-1], 20001)
    rate = np.exp(-q / 8.314462618e-3 * (1.0 / (np.interp(fine, hours, celsius) + 273.15) - 1.0 / 923.15))
    done = np.concatenate([[0.0], np.cumsum((rate[1:] + rate[:-1]) / 2.0 * np.diff(fine))])
    share = 0.9 * (1.0 - np.exp(-np.interp(hours, fine, done) / tau))
    return log, share + noise * np.random.default_rng(seed).standard_normal(len(hours))


TWO_HOLDS = np.linspace(0.0, 40.0, 41), np.where(np.linspace(0.0, 40.0, 41) < 20.0, 620.0, 690.0)
ONE_HOLD = np.linspace(0.0, 40.0, 41), np.full(41, 650.0)


def written(path, log, share):
    rows = zip(log.hours, log.temperatures_c, share, strict=True)
    text = "\n".join(f"{t:.6g},{c:.6g},{x:.6f},0.01" for t, c, x in rows)
    path.write_text(f"time_h,temperature_c,conversion,u_conversion\n{text}\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(("holds", "tells"), [(TWO_HOLDS, True), (ONE_HOLD, False)])
def test_a_course_of_conversion_narrows_energy_and_time(before, tmp_path, holds, tells):
    (seen,) = courses_of((written(tmp_path / "course.csv", *course(*holds)),))
    after = process(courses=[seen])
    slopes = np.zeros((3, len(before.posterior.z)))
    for row, name in enumerate(("q_conversion", "tau_h", "exponent")):
        slopes[row, before.process.names.index(name)] = before.process.spread(name)
    by_hand = update(before, slopes, seen.covariance)
    for name in ("q_conversion", "tau_h"):
        # the mean moves, and with it the slopes of the patterns' part
        assert u_of(after, name) == pytest.approx(u_of(before, name, by_hand), rel=0.1)
    q, tau = (after.process.parameter(after.posterior.z[None], name)[0] for name in ("q_conversion", "tau_h"))
    assert abs(np.log(tau / 9.0)) < 3.0 * u_of(after, "tau_h") * after.process.spread("tau_h")
    assert abs(q - 240.0) < 3.0 * u_of(after, "q_conversion") * after.process.spread("q_conversion")
    assert np.sqrt(seen.covariance[0, 0]) > GAP[0]
    # at one temperature an energy is not told, the time is
    assert (u_of(after, "q_conversion") < 0.6 * u_of(before, "q_conversion")) is tells
    assert u_of(after, "tau_h") < 0.6 * u_of(before, "tau_h")


def test_the_information_of_a_course_is_the_inverse_of_its_covariance():
    log, share = course(*TWO_HOLDS)
    curve = fitted_conversion(Courses([log.until(t) for t in log.hours[1:]]), share[1:], np.full(40, 0.01))
    u = np.sqrt(np.diag(np.linalg.inv(np.array(curve.information))))
    told = (curve.u_q_kj_per_mol, curve.u_tau_h / curve.tau_h, curve.u_exponent / curve.exponent)
    assert u == pytest.approx(told, rel=1e-6)


def test_a_furnace_run_is_read_as_it_was_stored(tmp_path):
    from dataclasses import asdict

    import xarray as xr

    from xrdorder.files.sealed import write_sealed
    from xrdorder.results.netcdf import netcdf

    log, share = course(*TWO_HOLDS)
    curve = fitted_conversion(Courses([log.until(t) for t in log.hours[1:]]), share[1:], np.full(40, 0.01))
    run = xr.Dataset({"time_h": ("frame", log.hours)}, attrs={"conversion": json.dumps(asdict(curve))})
    write_sealed(tmp_path / "series.nc", netcdf(run))
    (by_run,), (by_table,) = (
        courses_of((file,)) for file in (tmp_path / "series.nc", written(tmp_path / "t.csv", log, share))
    )
    # the table has six digits of each share
    np.testing.assert_allclose(by_run.value, by_table.value, rtol=1e-3)
    run.attrs["conversion"] = ""
    write_sealed(tmp_path / "series.nc", netcdf(run))
    with pytest.raises(StudyError, match="tells no course of conversion"):
        courses_of((tmp_path / "series.nc",))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("time_h,temperature_c\n0,650\n1,650\n", "no column conversion"),
        ("time_h,temperature_c,conversion,u_conversion\n0,650,0,0.01\n1,650,0.1,0\n", "uncertainty above zero"),
        ("time_h,temperature_c,conversion,u_conversion\n0,650,0,0.01\n1,650,0.1,0.01\n", "takes 11 times or more"),
    ],
)
def test_a_table_that_tells_no_course_is_refused_in_one_line(tmp_path, text, said):
    file = tmp_path / "course.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(StudyError, match=said) as caught:
        courses_of((file,))
    assert "\n" not in str(caught.value) and str(file) in str(caught.value)


def test_a_file_that_is_no_run_is_refused_in_one_line(tmp_path):
    file = tmp_path / "series.nc"
    file.write_bytes(b"no")
    with pytest.raises(StudyError, match="is no result of xrdorder series"):
        courses_of((file,))


def test_resistivity_goes_with_tin_as_published():
    slopes = [(one.function(np.array(0.2405)) - one.function(np.array(0.2395))) / 0.1
              for one in (resistivity.FROM_TIN, resistivity.CUBIC)]  # fmt: skip
    about = LEVELS["resistivity_per_tin"]
    assert about.value == pytest.approx(np.mean(slopes), abs=0.1)
    assert about.wide == pytest.approx(np.ptp(slopes) / 2.0, abs=0.2)
