"""A phase that is dropped takes no parameter of another with it, however much their names are alike."""

from dataclasses import replace
from itertools import permutations

import pytest
import xarray as xr

from tests.fitting.conftest import INSTRUMENT, SAMPLE, TWO_THETA
from tests.generator import Fibre, simulate
from tests.made import as_pattern
from xrdorder.crystals import phase
from xrdorder.fitting import Calibration, PatternFit, fit_pattern
from xrdorder.fitting.procedure import Procedure
from xrdorder.forward_model.geometry import Geometry
from xrdorder.forward_model.phase_lines import Optics
from xrdorder.forward_model.roles import Kind, Role, add_parameter
from xrdorder.xrays import radiation

OPTICS = Optics(radiation("cu-ka"), Geometry(217.5))


@pytest.mark.parametrize(
    ("gone", "other"),
    [pair for two in (("nb", "nb3sn"), ("cu", "cu-sn"), ("si", "sic"), ("sn", "sno2")) for pair in permutations(two)],
)
def test_a_phase_that_is_dropped_takes_nothing_of_another(
    gone: str, other: str, sample_pattern: xr.DataArray, calibration: Calibration
) -> None:
    job = Procedure(sample_pattern, OPTICS, [phase(gone), phase(other)], gone, calibration.instrument.values, "own")
    of = {lines.phase.name: lines for lines in job.lines}
    job.taken += [name for lines in job.lines for name in (*lines.b_iso_names, *lines.texture_names)]
    job.taken.append("stray_k_beta_share")
    add_parameter(job.parameters, "stray_k_beta_share", Role("", Kind.CONTAMINATION), 0.0)
    job.absent[gone] = 0.0
    decided = set(job.decidable())
    assert {*of[other].b_iso_names, *of[other].texture_names, "stray_k_beta_share"} <= decided
    assert not decided & set(of[gone].names)


@pytest.fixture(scope="module")
def fully_reacted(calibration: Calibration) -> PatternFit:
    """Textured A15 without a trace of niobium, expected counts without noise."""
    truth = replace(SAMPLE, fibre=Fibre((1, 1, 0), 0.75), others=SAMPLE.others[1:])
    return fit_pattern(as_pattern(*simulate(truth, INSTRUMENT, TWO_THETA)), calibration.instrument)


@pytest.mark.slow
def test_niobium_that_is_not_there_leaves_the_a15_its_texture(fully_reacted: PatternFit) -> None:
    fit = fully_reacted
    assert not fit.phases["nb"].present
    assert {"nb3sn_texture_4", "nb3sn_texture_6"} <= set(fit.free_names)
    assert "texture" in [flag.name for flag in fit.flags]
    assert "intensities-at-low-angle" not in [flag.name for flag in fit.flags]
    # no noise: what is left is what the series to eighth order cannot say (0.0015); without texture 0.11 was left
    assert fit.chi2_reduced < 0.01
