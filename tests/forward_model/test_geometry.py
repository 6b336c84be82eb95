"""Shifts and illumination of every kind of specimen."""

from dataclasses import replace

import numpy as np
import pytest

from xrdorder.exceptions import InstrumentError
from xrdorder.forward_model.absorption import cylinder_absorption, plate_absorption, roughness_factor
from xrdorder.forward_model.geometry import Geometry

DISTANCE = 200.0
THETA = np.radians(np.array([8.0, 20.0, 35.0, 50.0, 70.0]))
PLATE = Geometry(DISTANCE, kind="transmission", mu_t=0.7)
CAPILLARY = Geometry(DISTANCE, kind="capillary", mu_r=1.2)
ALL_KINDS = {
    "reflection": Geometry(DISTANCE, 1.0, 10.0),
    "variable slit": Geometry(DISTANCE, specimen_length_mm=15.0, illuminated_length_mm=20.0),
    "transmission": PLATE,
    "capillary": CAPILLARY,
    "focused capillary": replace(CAPILLARY, focused=True),
}


def seen_at(point: np.ndarray, incoming_rad: float, theta: float) -> float:
    """Degrees by which a ray scattered at this point meets the detector circle beyond 2 theta."""
    direction = np.array([np.cos(incoming_rad + 2 * theta), np.sin(incoming_rad + 2 * theta)])
    along = point @ direction
    met = point + (-along + np.sqrt(along**2 - point @ point + DISTANCE**2)) * direction
    return float(np.degrees(np.arctan2(met[1], met[0]) - 2 * theta))


@pytest.mark.parametrize("theta", THETA)
def test_surface_out_of_the_axis(theta: float) -> None:
    e = 1e-3
    outward = np.array([np.sin(theta), -np.cos(theta)])  # away from source and detector
    point = np.array([e / (outward @ [1.0, 0.0]), 0.0])  # where the central ray meets the plane
    slope = ALL_KINDS["reflection"].shift_slopes(np.array([theta]))["specimen_displacement_mm"][0]
    # second order: e / (R sin theta) of the shift, 4e-5 at 8 degrees
    assert seen_at(point, 0.0, theta) / e == pytest.approx(slope, rel=1e-4)


@pytest.mark.parametrize("theta", THETA)
@pytest.mark.parametrize("beside_mm", [-3.0, 0.0, 3.0])
def test_plate_out_of_the_axis_in_a_beam_that_converges_on_the_detector_circle(
    theta: float, beside_mm: float
) -> None:
    e = 0.01
    normal, in_plane = np.array([np.cos(theta), np.sin(theta)]), np.array([-np.sin(theta), np.cos(theta)])
    shifts = []
    for offset in (0.0, e):
        point = offset * normal + beside_mm * in_plane
        towards = np.array([DISTANCE, 0.0]) - point
        shifts.append(seen_at(point, float(np.arctan2(towards[1], towards[0])), theta))
    slope = PLATE.shift_slopes(np.array([theta]))["specimen_displacement_mm"][0]
    # rays beside the central one differ by beside / R = 1.5 % of the shift, times trigonometric factors of up to 3
    assert (shifts[1] - shifts[0]) / e == pytest.approx(slope, rel=0.05 if beside_mm else 1e-3)


@pytest.mark.parametrize("theta", THETA)
def test_plate_out_of_the_axis_in_a_narrow_parallel_beam(theta: float) -> None:
    e = 1e-3
    point = np.array([e / np.cos(theta), 0.0])
    slope = PLATE.shift_slopes(np.array([theta]))["specimen_displacement_mm"][0]
    assert seen_at(point, 0.0, theta) / e == pytest.approx(slope, rel=1e-4)  # second order: e / R


@pytest.mark.parametrize("theta", THETA)
@pytest.mark.parametrize("focused", [False, True])
def test_capillary_out_of_the_axis(theta: float, focused: bool) -> None:
    e = 1e-3
    slopes = replace(CAPILLARY, focused=focused).shift_slopes(np.array([theta]))
    for name, point in (
        ("specimen_displacement_mm", np.array([0.0, e])),
        ("beam_displacement_mm", np.array([e, 0.0])),
    ):
        incoming = float(np.arctan2(-point[1], DISTANCE - point[0])) if focused else 0.0
        # degrees per mm; second order is e / R of the largest slope 0.57
        assert seen_at(point, incoming, theta) / e == pytest.approx(slopes[name][0], abs=1e-5)


@pytest.mark.parametrize("name", ALL_KINDS)
def test_slopes_by_theta(name: str) -> None:
    geometry, step = ALL_KINDS[name], 1e-5
    low, high = geometry.shift_slopes(THETA - step), geometry.shift_slopes(THETA + step)
    found = geometry.shift_slopes_by_theta(THETA)
    assert list(found) == list(low)
    for key, slope in found.items():
        # central difference: step squared and rounding, both about 1e-10
        np.testing.assert_allclose(slope, (high[key] - low[key]) / (2 * step), atol=1e-8)


def test_fixed_slit_in_reflection_keeps_to_the_lit_fraction() -> None:
    geometry = ALL_KINDS["reflection"]
    assert np.all(geometry.intensity_factor(THETA) == geometry.lit_fraction(THETA))
    assert geometry.lit_fraction(THETA)[0] < 0.5 < geometry.lit_fraction(THETA)[-1] == 1.0


def test_variable_slit_by_rays() -> None:
    # even illumination of 15 mm of a beam that would light 20 mm: the angles are psi = x sin(theta) / R
    geometry = ALL_KINDS["variable slit"]
    x = np.linspace(-7.5, 7.5, 20001)
    psi = x[None, :] * np.sin(THETA)[:, None] / DISTANCE
    rays = np.degrees(-2.0 * psi**2 / np.tan(THETA)[:, None]).mean(axis=1)
    # the mean over points that include both ends is too large by 1.5 spacings of 1 / 10000
    np.testing.assert_allclose(geometry.flat_specimen_shift(THETA), rays, rtol=3e-4)
    np.testing.assert_allclose(geometry.intensity_factor(THETA), 0.75 * np.sin(THETA), rtol=1e-14)


def test_variable_and_fixed_slit_agree_where_they_open_alike() -> None:
    theta = THETA[1:2]
    opening = np.degrees(12.0 * np.sin(theta[0]) / DISTANCE)
    fixed, variable = Geometry(DISTANCE, opening, 8.0), Geometry(DISTANCE, None, 8.0, 12.0)
    np.testing.assert_allclose(fixed.flat_specimen_shift(theta), variable.flat_specimen_shift(theta), rtol=1e-12)
    np.testing.assert_allclose(fixed.lit_fraction(theta), variable.lit_fraction(theta), rtol=1e-12)


def test_plate_is_lit_less_the_more_upright_the_beam() -> None:
    geometry = Geometry(DISTANCE, 2.0, 8.0, kind="transmission", mu_t=0.0)
    # the foot is 200 mm * 0.0349 / cos(theta): 6.98 mm at 0 degrees, and 8 mm long at 29.2 degrees
    lit = geometry.lit_fraction(np.radians([0.0, 29.0, 60.0]))
    np.testing.assert_allclose(lit, [1.0, 1.0, 8.0 * 0.5 / 6.981], rtol=1e-4)


def test_intensity_factors_are_those_of_the_absorption_module() -> None:
    assert np.all(PLATE.intensity_factor(THETA) == plate_absorption(THETA, 0.7))
    assert np.all(CAPILLARY.intensity_factor(THETA) == cylinder_absorption(THETA, 1.2))
    rough = replace(ALL_KINDS["reflection"], roughness=(0.4, 0.3))
    ratio = rough.intensity_factor(THETA) / ALL_KINDS["reflection"].intensity_factor(THETA)
    np.testing.assert_allclose(ratio, roughness_factor(THETA, 0.4, 0.3), rtol=1e-14)


@pytest.mark.parametrize("geometry", [PLATE, CAPILLARY])
def test_no_reflection_no_transparency_and_no_flat_specimen(geometry: Geometry) -> None:
    assert geometry.transparency_deg(1e-4, 0.5) == 0.0
    assert not geometry.flat_specimen_shift(THETA).any()
    assert not geometry.absorption_shift(THETA).any()  # radius not given


def test_absorption_shift_scales_with_the_radius() -> None:
    thin, thick = (replace(CAPILLARY, capillary_radius_mm=r).absorption_shift(THETA) for r in (0.15, 0.3))
    np.testing.assert_allclose(thick, 2.0 * thin, rtol=1e-14)
    # at most from the rim, r / R
    assert np.all(thin > 0.0) and np.all(thin < np.degrees(0.15 / DISTANCE))


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"kind": "refletion"}, "refletion"),
        ({"divergence_deg": 1.0, "illuminated_length_mm": 10.0}, "fixed slit"),
        ({"specimen_length_mm": -1.0}, "specimen_length_mm"),
        ({"detector_distance_mm": float("nan")}, "detector_distance_mm"),
        ({"illuminated_length_mm": float("inf")}, "illuminated_length_mm"),
        ({"kind": "transmission"}, "transmission needs mu_t"),
        ({"kind": "capillary"}, "capillary needs mu_r"),
        ({"kind": "capillary", "mu_r": -0.1}, "capillary needs mu_r"),
        ({"kind": "capillary", "mu_r": 1.0, "mu_t": 1.0}, "mu_t belongs to transmission"),
        ({"kind": "transmission", "mu_t": 1.0, "roughness": (0.5, 0.1)}, "roughness belongs to reflection"),
        ({"mu_r": 1.0}, "mu_r belongs to capillary"),
        ({"focused": True}, "focused belongs to capillary"),
        ({"roughness": (1.2, 0.1)}, "p = 1.2"),
        ({"roughness": (0.5, -0.1)}, "q = -0.1"),
    ],
)
def test_refusals(options: dict[str, object], words: str) -> None:
    with pytest.raises(InstrumentError, match=words) as caught:
        Geometry(**({"detector_distance_mm": DISTANCE} | options))  # type: ignore[arg-type]
    assert "\n" not in str(caught.value)
