"""What the reader of a fit is told."""

import numpy as np
import pytest
import xarray as xr

from tests.fitting.conftest import SAMPLE
from xrdorder.crystals import phase
from xrdorder.fitting import Calibration, fit_pattern
from xrdorder.fitting.fit_flags import _brass, _clipped
from xrdorder.forward_model.geometry import Geometry
from xrdorder.forward_model.phase_lines import Optics, PhaseLines
from xrdorder.material import Specimen, characterise
from xrdorder.xrays import radiation


def test_points_at_one_height_are_a_saturated_detector() -> None:
    counts = np.array([10.0, 420.0, 700.0, 700.0, 700.0, 30.0, 700.0])
    (flag,) = _clipped(counts, counts=True)
    assert flag.name == "clipped-lines" and flag.message.startswith("4 points stand at 700 counts")
    assert not _clipped(np.array([10.0, 700.0, 700.0, 30.0, 700.0]), counts=True)  # never three in a row
    assert not _clipped(counts / 2.0, counts=True)  # 350 counts: by chance once in seventy pairs
    assert not _clipped(counts, counts=False)  # rates may be rounded
    assert _clipped(np.repeat(counts, 2), counts=False)


@pytest.mark.parametrize(
    ("a_nm", "said"),
    [
        (0.36149, ""),  # copper
        (0.3644, ""),  # what a reaction leaves of bronze, 3 at.% tin
        # alpha brass of the usual kinds, handbook values from memory: Cu0.70Zn0.30 and Cu0.64Zn0.36
        (0.36850, "7.2 at.% tin, or as well brass with 30 at.% zinc"),
        (0.36960, "8.3 at.% tin, or as well brass with 35 at.% zinc"),
        (0.37070, ""),  # more than the alpha phase holds
    ],
)
def test_bronze_that_could_be_brass_is_told(a_nm: float, said: str) -> None:
    optics = Optics(radiation("cu-ka"), Geometry(217.5))
    flags = _brass(PhaseLines(phase("cu-sn"), optics, (20.0, 100.0)), {"cu_sn_a_nm": a_nm})
    assert [flag.name for flag in flags] == ["bronze-or-brass"] * bool(said)
    assert all(said in flag.message for flag in flags)
    assert not _brass(PhaseLines(phase("nb"), optics, (20.0, 100.0)), {"nb_a_nm": a_nm})


@pytest.mark.slow
def test_a_clipped_pattern_is_told_in_words(sample_pattern: xr.DataArray, calibration: Calibration) -> None:
    assert not _clipped(sample_pattern.values, counts=True)
    cut = sample_pattern.copy(data=np.minimum(sample_pattern.values, round(0.1 * float(sample_pattern.max()))))
    result = fit_pattern(cut, calibration.instrument)
    flags = {flag.name: flag.message for flag in result.flags}
    assert "detector was saturated" in flags["clipped-lines"]
    # all lines that are strong lie at low angle
    assert "are strong lines cut off" in flags["intensities-at-low-angle"]
    assert result.quality_words.startswith("do not use: ")
    assert "the strongest lines are clipped" in result.quality_words
    assert "few counts" not in result.quality_words and "measured range" not in result.quality_words
    material = characterise(
        result.values, result.contributions, Specimen(mount="ground-powder"), radiation=radiation("cu-ka")
    )
    for flag in material.flags:  # no limit of nothing, no doubt larger than the whole field of the A15
        assert not any(silly in flag.message for silly in ("0.0e+00", "inf", "nan")), flag.message
    for name in ("microstrain", "tin_spread"):
        assert np.isnan(material.values[name]) or material.u(name) < 0.1
    tin = "tin_fraction_lattice"
    assert SAMPLE.tin_fraction == pytest.approx(material.values[tin], abs=3.0 * material.u(tin))
