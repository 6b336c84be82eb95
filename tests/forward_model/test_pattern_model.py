"""The forward model: its Jacobian, parameter by parameter."""


import numpy as np
import pytest

from xrdorder.crystals import phase
from xrdorder.forward_model.geometry import Geometry
from xrdorder.forward_model.initial_parameters import initial_parameters
from xrdorder.forward_model.pattern_model import PatternModel
from xrdorder.forward_model.phase_lines import Optics, PhaseLines
from xrdorder.profiles import INSTRUMENT_NAMES
from xrdorder.xrays import radiation

TWO_THETA = np.arange(30.0, 70.0, 0.1)
INSTRUMENT = dict(
    zip(INSTRUMENT_NAMES, [0.01, 0.002, -0.001, 0.003, 0.01, 0.02, 0.021, 0.017, 0.51], strict=True)
)


def make_model() -> tuple[PatternModel, dict[str, float]]:
    optics = Optics(radiation("cu-ka"), Geometry(217.5, 0.5, 10.0))
    axes = {"corundum": (0, 0, 6)}
    lines = [
        PhaseLines(phase(name), optics, (30.0, 70.0), march_axis=axes.get(name)) for name in ("nb3sn", "nb", "corundum")
    ]
    lines.append(PhaseLines(phase("nb3sn"), optics, (30.0, 70.0), twin=lines[0]))
    lines.append(lines[1].in_contamination(radiation("0.1392 nm"), "stray_share", lines[1].phase.lengths_nm))
    time_factor = np.where(TWO_THETA < 50.0, 1.0, 2.5)
    model = PatternModel(TWO_THETA, time_factor, lines, 5)
    parameters = initial_parameters(model, INSTRUMENT, optics.radiation)
    values = {name: float(p.value) for name, p in parameters.items()}
    for k, name in enumerate(n for n in values if n.endswith("_scale")):
        values[name] = 300.0 + 100.0 * k
    values |= {"background_0": 50.0, "nb3sn_order_contrast": 0.8, "specimen_displacement_mm": 0.05}
    values |= {
        n: 0.001 for n in values if n.endswith(("_gauss_tan2", "_lorentz_tan")) and n not in INSTRUMENT
    }
    values |= {"nb3sn_lattice_tail_nm": 2e-4, "nb3sn_strain_anisotropy": 0.3, "nb3sn_depth_slope": 1e-7}
    return model, values


MODEL, VALUES = make_model()


@pytest.fixture(scope="module")
def jacobian() -> np.ndarray:
    """Derivatives by all parameters, shape (n, parameters)."""
    return MODEL.counts_with_jacobian(VALUES, MODEL.names)[1]


@pytest.mark.parametrize("name", MODEL.names)
def test_derivative(name: str, jacobian: np.ndarray) -> None:
    step = 1e-6 * max(abs(VALUES[name]), 1e-7 if name.endswith("depth_slope") else 0.1)
    numeric = (
        MODEL.counts(VALUES | {name: VALUES[name] + step})
        - MODEL.counts(VALUES | {name: VALUES[name] - step})
    ) / (2 * step)
    largest = np.abs(numeric).max()
    assert largest > 0.0, "a parameter that moves nothing is no parameter"
    # the windows of the sum move with the lines, which the derivatives leave out: 1e-4 of the largest at worst
    assert np.abs(jacobian[:, MODEL.names.index(name)] - numeric).max() < 1e-4 * largest


def test_counts_follow_the_counting_time() -> None:
    counts = MODEL.counts(VALUES)
    k = int(np.argmin(np.abs(TWO_THETA - 50.0)))
    assert counts[k] / counts[k - 1] == pytest.approx(2.5, rel=0.02)  # smooth background but for the time


def test_short_specimen_weakens_low_angles_only() -> None:
    geometry = Geometry(217.5, 1.0, 10.0)
    theta = np.radians(np.array([23.8, 41.8, 60.0]) / 2.0)
    # figures computed by hand from R delta / sin(theta): (110) loses 46 % and (211) 6 %
    np.testing.assert_allclose(geometry.lit_fraction(theta), [0.543, 0.940, 1.0], atol=0.001)


def test_displacement_of_ten_micrometres() -> None:
    # Cullity's formula: 10 um at R = 200 mm and theta = 21 degrees is a relative error of the spacing of 1.2e-4
    theta = np.radians(21.0)
    shift = np.radians(Geometry(200.0).shift_slopes(np.array([theta]))["specimen_displacement_mm"][0] * 0.01)
    assert -0.5 * shift / np.tan(theta) == pytest.approx(1.2e-4, rel=0.03)
