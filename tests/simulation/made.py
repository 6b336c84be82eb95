"""An instrument and a specimen that were never measured, on a coarse grid so that tests stay quick."""

from dataclasses import replace

import numpy as np

from tests.generator import InstrumentTruth
from xrdorder.profiles import INSTRUMENT_NAMES, Instrument
from xrdorder.simulation import Described

TRUTH = InstrumentTruth(divergence_deg=0.5, axial_detector_ratio=0.020)
U_VALUES = {"two_theta_offset": 0.003, "lorentz_sec": 0.001, "lorentz_tan": 0.001}


def instrument_of(truth: InstrumentTruth = TRUTH, **changed: object) -> Instrument:
    """The diffractometer of the generator as an exact calibration would give it, without a slit or length told."""
    values = {name: getattr(truth, name) for name in INSTRUMENT_NAMES if name != "alpha2_ratio"}
    variance = np.diag([U_VALUES.get(name, 0.0) ** 2 for name in INSTRUMENT_NAMES])
    plain = Instrument(
        radiation=truth.radiation,
        detector_distance_mm=truth.radius_mm,
        values={**values, "alpha2_ratio": 0.52},
        covariance=variance,
        certificate_shift=np.zeros(9),
        wavelength_shift=np.zeros(9),
        domains_shift=np.zeros(9),
        standard="srm-660c",
        standard_lattice_nm=(0.4156826,),
    )
    return replace(plain, **changed)


COARSE = Described(from_deg=20.0, to_deg=90.0, step_deg=0.05, seconds_per_step=2.0, strongest_line_per_s=5000.0)
"""1401 points."""
