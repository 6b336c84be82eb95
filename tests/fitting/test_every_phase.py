"""Every phase of the catalogue can be asked for beside the A15, and is found where it is."""

import numpy as np
import pytest
import xarray as xr

from tests.made import as_pattern
from xrdorder.crystals import doped, phase, phase_names
from xrdorder.fitting import DEFAULT_COMPOSITION, Calibration, FitOptions, fit_pattern
from xrdorder.fitting.whole_pattern import sample_geometry
from xrdorder.forward_model.amounts import masses
from xrdorder.forward_model.free_lines import FreeLines
from xrdorder.forward_model.initial_parameters import PACKING, initial_parameters
from xrdorder.forward_model.pattern_model import PatternModel
from xrdorder.forward_model.phase_lines import Optics, PhaseLines
from xrdorder.profiles import Instrument
from xrdorder.xrays import radiation

TWO_THETA = np.arange(20.0, 100.0, 0.05)
A15_COUNTS, OTHER_COUNTS, AREA_COUNTS, BACKGROUND = 5000.0, 2000.0, 300.0, 200.0  # areas in counts times degree


def pattern_with(name: str, instrument: Instrument) -> xr.DataArray:
    """Expected counts, without noise, of the A15 and one phase at the lattices of the catalogue."""
    optics = Optics(radiation(instrument.radiation), sample_geometry(instrument, None, None, FitOptions()))
    ends = float(TWO_THETA[0]), float(TWO_THETA[-1])
    a15, other = doped(phase("nb3sn"), DEFAULT_COMPOSITION), phase(name)
    lines = [PhaseLines(a15, optics, ends)]
    lines.append((FreeLines if other.free_intensities else PhaseLines)(other, optics, ends))
    model = PatternModel(TWO_THETA, np.ones_like(TWO_THETA), lines, 5)
    values = {n: float(p.value) for n, p in initial_parameters(model, instrument.values, optics.radiation).items()}
    values |= {"background_0": BACKGROUND, lines[0].scale_name: A15_COUNTS, lines[1].scale_name: OTHER_COUNTS}
    if isinstance(lines[1], FreeLines):
        values |= {lines[1].scale_name: 1.0, **dict.fromkeys(lines[1].area_names, AREA_COUNTS)}
    else:  # the beam goes as deep as the mixture lets it
        mass = masses(lines, None, values)
        volume = [mass[x.phase.name] / x.phase.density_g_cm3(x.phase.lengths_nm) for x in lines]
        attenuation = np.average([x.attenuation_per_nm for x in lines], weights=volume)
        values["transparency_deg"] = optics.geometry.transparency_deg(attenuation, PACKING)
    return as_pattern(TWO_THETA, model.counts(values))


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in phase_names() if name != "nb3sn"])
def test_a_phase_beside_the_a15_is_found(name: str, calibration: Calibration) -> None:
    options = FitOptions(cross_checks=False, identify_phases=False, tube_lines=False)
    pattern = pattern_with(name, calibration.instrument)
    fit = fit_pattern(pattern, calibration.instrument, phases=["nb3sn", name], options=options)
    assert fit.status == "ok"
    found = fit.phases[name]
    assert found.present
    # no noise and one model for both: what is left are the tolerances of the fit
    assert found.lengths_nm == pytest.approx(phase(name).lengths_nm, rel=2e-5)
    assert fit.values["a_nm"] == pytest.approx(phase("nb3sn").lengths_nm[0], rel=2e-5)
    assert not [flag for flag in fit.flags if flag.name in ("not-converged", "poor-fit")]
