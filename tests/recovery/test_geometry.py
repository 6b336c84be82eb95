"""Do two derivations of the same geometry agree? The generator's against the package's, without any fit."""

import numpy as np
import pytest

from tests.generator import InstrumentTruth, Mount, Roughness
from tests.generator.absorption import capillary_factor, capillary_points, plate_factor
from tests.generator.optics import caught_by_specimen
from xrdorder.forward_model.geometry import Geometry

RADIUS_MM = 217.5
THETA = np.radians([8.0, 20.0, 35.0, 50.0, 70.0])


def same_shape(one: np.ndarray, other: np.ndarray, rel: float) -> None:
    assert one / one[-1] == pytest.approx(other / other[-1], rel=rel)


def degrees(mount: Mount, geometry: str) -> np.ndarray:
    return np.degrees(mount.shift(THETA, InstrumentTruth(geometry=geometry, radius_mm=RADIUS_MM)))


def test_plate_in_transmission():
    geometry = Geometry(RADIUS_MM, kind="transmission", mu_t=1.2)
    same_shape(geometry.intensity_factor(THETA), plate_factor(THETA, 1.2), 1e-12)
    slope = geometry.shift_slopes(THETA)["specimen_displacement_mm"]
    assert slope == pytest.approx(degrees(Mount(displacement_mm=1.0), "transmission"))


@pytest.mark.parametrize("mu_r", [0.3, 1.2, 2.0])
def test_capillary(mu_r):
    geometry = Geometry(RADIUS_MM, kind="capillary", mu_r=mu_r, capillary_radius_mm=0.3)
    # the generator's nodes leave 1e-5 at a µR of 2
    same_shape(geometry.intensity_factor(THETA), capillary_factor(THETA, mu_r), 2e-5)
    slopes = geometry.shift_slopes(THETA)
    assert slopes["specimen_displacement_mm"] == pytest.approx(degrees(Mount(across_mm=1.0), "capillary"))
    assert slopes["beam_displacement_mm"] == pytest.approx(degrees(Mount(along_mm=1.0), "capillary"))
    rays = (capillary_points(float(theta), mu_r) for theta in THETA)
    shift = np.degrees(0.3 / RADIUS_MM) * np.array([offset @ weight / weight.sum() for offset, weight in rays])
    assert geometry.absorption_shift(THETA) == pytest.approx(shift, rel=1e-4)


def test_variable_slit_and_roughness():
    geometry = Geometry(RADIUS_MM, illuminated_length_mm=10.0, roughness=(0.4, 0.3))
    instrument = InstrumentTruth(radius_mm=RADIUS_MM, lit_length_mm=10.0)
    caught = caught_by_specimen(np.degrees(2.0 * THETA), instrument, None) * Roughness(0.4, 0.3).factor(THETA)
    # The package takes the opening L sinθ / R. Seen from the source, with x = L/2, both ends open
    # 2 (x sinθ / R) (1 + (x/R)² (cos²θ - sin²θ / 3)): between grazing and 90 degrees that differs by 4/3 (x/R)².
    same_shape(geometry.intensity_factor(THETA), caught, 4.0 / 3.0 * (10.0 / 2.0 / RADIUS_MM) ** 2)
