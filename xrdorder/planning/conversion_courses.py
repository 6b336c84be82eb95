"""Conversion against time, of a furnace run or a table: what it says of the conversion law of a lot.

A lot names its courses in study.toml under ``conversion``: the `series.nc` of ``xrdorder series``, or a CSV of time,
``temperature_c``, ``conversion`` and ``u_conversion``. Each is one measurement of activation energy, ln tau and ln
exponent together, with the gap between a specimen in one furnace and the wire of the lot in another.
"""

import json
from pathlib import Path

import numpy as np

from xrdorder.exceptions import StudyError
from xrdorder.files.sealed import read_sealed
from xrdorder.kinetics import ConversionCurve, Courses, fitted_conversion
from xrdorder.kinetics.fitted import FEWEST
from xrdorder.planning.inference import Observed
from xrdorder.planning.kinds import LAW
from xrdorder.results.netcdf import read_root
from xrdorder.treatments.logged import read_course

GAP = (10.0, 0.2, 0.1)
"""Standard uncertainty beyond that of the fit: kJ/mol, ln tau, ln exponent. Furnaces of two laboratories differ by some
5 K, which is 0.16 in ln tau at 225 kJ/mol and 650 °C; the rest is judged: a specimen in the beam is no wire in a
coil."""

_UNKNOWN = (3500.0, 60.0, 30.0)  # a hundred prior standard deviations: what a course does not tell stays open


def courses_of(files: tuple[Path, ...]) -> tuple[Observed, ...]:
    """Read what courses of conversion say of the law.

    Raises
    ------
    StudyError
        A file is none, or holds no course that the law could be fitted to.
    """
    return tuple(_observed(_curve(file)) for file in files)


def _observed(curve: ConversionCurve) -> Observed:
    known = np.array(curve.information) + np.diag(np.array(_UNKNOWN) ** -2.0)
    value = np.array([curve.q_kj_per_mol, np.log(curve.tau_h), np.log(curve.exponent)])
    every = np.arange(3, dtype=np.intp)
    return Observed(((LAW, every),), value, np.linalg.inv(known) + np.diag(np.square(GAP)))


def _curve(file: Path) -> ConversionCurve:
    if file.suffix.lower() == ".csv":
        return _of_table(file)
    try:
        told = str(read_root(read_sealed(file)).attrs.get("conversion", ""))
        curve = ConversionCurve(**json.loads(told)) if told else None
    except (OSError, ValueError, TypeError) as error:
        raise StudyError(
            f"{file}: is no result of xrdorder series ({error}); name a series.nc, run again if it is old, or a CSV"
        ) from None
    if curve is None or not curve.information:
        raise StudyError(f"{file}: tells no course of conversion; run xrdorder series again, or leave the file out")
    return curve


def _of_table(file: Path) -> ConversionCurve:
    log, measured = read_course(file, ("conversion", "u_conversion"))
    share, u = measured[1:].T  # at the first time the furnace has done nothing
    if not (np.all(np.isfinite(measured)) and np.all(u > 0.0)):
        raise StudyError(f"{file}: every conversion needs a number and its standard uncertainty above zero")
    curve = fitted_conversion(Courses([log.until(float(t)) for t in log.hours[1:]]), share, u)
    if curve is None:
        raise StudyError(
            f"{file}: no conversion law can be fitted: it takes {FEWEST + 1} times or more, over which the conversion "
            "rises by five standard uncertainties"
        )
    return curve


