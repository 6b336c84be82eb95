"""Absorption contrast of grains: closed forms, small contrast, and a powder put together and taken apart."""

import numpy as np
import pytest

from xrdorder.exceptions import ValidityError
from xrdorder.forward_model.microabsorption import particle_factor, weight_factors


def forward(contrast: float) -> float:
    """Tau at theta = 0: path c, chords in a sphere of diameter one weighed with their volume, 3 c^2 dc."""
    k = contrast
    return float(3.0 / k**3 * (2.0 - np.exp(-k) * (k * k + 2.0 * k + 2.0)))


def backward(contrast: float) -> float:
    """Tau at theta = 90 degrees: from x = 0 to c along a chord the path is 2 x."""
    k, twice = contrast, 2.0 * contrast
    return float(3.0 / (2.0 * k) * (0.5 - (1.0 - np.exp(-twice) * (1.0 + twice)) / twice**2))


@pytest.mark.parametrize("contrast", [-1.0, -0.3, 0.3, 1.0])
def test_closed_forms(contrast: float) -> None:
    # accuracy promised for the quadrature
    assert particle_factor(contrast, 0.0) == pytest.approx(forward(contrast), rel=1e-6)
    assert particle_factor(contrast, 0.5 * np.pi) == pytest.approx(backward(contrast), rel=1e-6)
    low, middle, high = (float(particle_factor(contrast, t)) for t in (0.0, 0.25 * np.pi, 0.5 * np.pi))
    assert low < middle < high


def test_by_throwing_points() -> None:
    rng = np.random.default_rng(5)
    points = rng.uniform(-0.5, 0.5, (400_000, 3))
    points = points[(points**2).sum(axis=1) < 0.25]
    theta, contrast = np.radians(30.0), 0.8
    path = np.zeros(len(points))
    for direction in (np.array([-1.0, 0.0, 0.0]), np.array([np.cos(2 * theta), np.sin(2 * theta), 0.0])):
        along = points @ direction
        path += -along + np.sqrt(along**2 + 0.25 - (points**2).sum(axis=1))
    thrown = np.exp(-contrast * path)
    expected = float(particle_factor(contrast, theta))
    assert abs(thrown.mean() - expected) < 4.0 * thrown.std() / np.sqrt(len(points))


@pytest.mark.parametrize("theta", [0.0, 0.3, 0.8, 1.5])
def test_small_contrast(theta: float) -> None:
    # mean path 3/4 of the diameter at every angle; second order is about contrast squared over three
    step = 1e-4
    slope = (particle_factor(step, theta) - particle_factor(-step, theta)) / (2.0 * step)
    assert slope == pytest.approx(-0.75, abs=1e-6)


def test_powder_put_together_and_taken_apart() -> None:
    mu = {"nb3sn": 1.52e-4, "nb": 1.20e-4, "cu": 0.46e-4}
    density = {"nb3sn": 8.9, "nb": 8.57, "cu": 8.93}
    true = {"nb3sn": 0.55, "nb": 0.10, "cu": 0.25}  # a tenth is not seen
    diameter = {"nb3sn": 3000.0, "nb": 8000.0, "cu": 5000.0}
    volume = {name: true[name] / density[name] for name in true}
    mean = sum(volume[name] * mu[name] for name in true) / sum(volume.values())
    looks = {n: true[n] * float(particle_factor((mu[n] - mean) * diameter[n])) for n in true}
    whole = sum(true.values()) / sum(looks.values())
    apparent = {name: share * whole for name, share in looks.items()}
    factors = weight_factors(mu, apparent, diameter, density)
    assert abs(apparent["nb3sn"] - true["nb3sn"]) > 0.02  # there was something to correct
    for name, factor in factors.items():
        assert apparent[name] * factor == pytest.approx(true[name], rel=1e-9)  # iterated to 1e-12


def test_nothing_to_correct() -> None:
    assert weight_factors({"a": 1e-4, "b": 1e-4}, {"a": 0.3, "b": 0.7}, 5000.0) == pytest.approx(
        {"a": 1.0, "b": 1.0}, rel=1e-12
    )
    assert weight_factors({"a": 1e-4}, {"a": 0.3}, 5000.0) == pytest.approx({"a": 1.0}, rel=1e-12)
    fine = weight_factors({"a": 1e-4, "b": 3e-4}, {"a": 0.3, "b": 0.7}, 1.0)
    assert fine == pytest.approx({"a": 1.0, "b": 1.0}, abs=2e-4)  # contrast 2e-4 times 0.75
    assert weight_factors({}, {}, 100.0) == {}


def test_strong_absorber_looks_too_weak() -> None:
    factors = weight_factors({"light": 0.5e-4, "heavy": 3e-4}, {"light": 0.5, "heavy": 0.5}, 1000.0)
    assert factors["heavy"] > 1.05 and factors["light"] < 0.95


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (({"a": 1e-4}, {"a": 0.5, "b": 0.5}, 100.0), "no attenuation for b"),
        (({"a": 1e-4, "b": 1e-4}, {"a": 0.5, "b": 0.5}, {"a": 100.0}), "no diameter for b"),
        (({"a": 1e-4, "b": 0.0}, {"a": 0.5, "b": 0.5}, 100.0), "attenuation must be positive"),
        (({"a": 1e-4}, {"a": 1.0}, -1.0), "diameter must be positive"),
        (({"a": 1e-4, "b": 1e-4}, {"a": -0.5, "b": 0.5}, 100.0), "weights must not be negative"),
        (({"a": 1e-4, "b": 9e-4}, {"a": 0.5, "b": 0.5}, 9000.0), "too coarse"),
    ],
)
def test_refusals(arguments: tuple, words: str) -> None:
    with pytest.raises(ValidityError, match=words):
        weight_factors(*arguments)
