"""Simulated scans are files as an instrument writes them, with the truth beside them."""

import json
import tomllib
from dataclasses import replace

import numpy as np
import pytest

from tests.simulation.made import COARSE, instrument_of
from xrdorder.exceptions import PatternError
from xrdorder.patterns import read_pattern
from xrdorder.simulation import simulate_scan, write_scan


@pytest.mark.parametrize("ending", ["xy", "csv", "cif", pytest.param("nxs", marks=pytest.mark.slow)])
def test_every_format_reads_back(tmp_path, ending):
    path, truth = write_scan(COARSE, instrument_of(), tmp_path / f"scan.{ending}", seed=3)
    read, made = read_pattern(path), simulate_scan(COARSE, instrument_of(), seed=3)
    np.testing.assert_array_equal(read.values, made.values)
    np.testing.assert_allclose(read["two_theta"].values, made["two_theta"].values, atol=1e-9)
    assert np.all(read["counting_time"].values == COARSE.seconds_per_step)
    assert read.attrs["radiation"] == "cu-ka"
    assert truth.name == "scan.truth.toml"


def test_the_truth_beside_it_is_complete(tmp_path):
    specimen = replace(COARSE, dopants_at_percent={"Ta": 2.4}, texture={"nb": 0.1})
    _, toml = write_scan(specimen, instrument_of(), tmp_path / "a.xy", seed=1)
    _, text = write_scan(specimen, instrument_of(), tmp_path / "b.xy", seed=1, truth_format="json")
    told, same = tomllib.loads(toml.read_text()), json.loads(text.read_text())
    assert told == same
    assert told["tin_at_percent"] == 24.0 and told["dopants_at_percent"] == {"Ta": 2.4}
    assert told["lattice_nm"] == specimen.a_nm and told["weight_fraction_a15"] == pytest.approx(0.9)
    assert "no measurement" in told["notice"] and told["noise"] == "Poisson, seed 1"


def test_noise_is_that_of_counting():
    """Sum of squares over variance: chi squared of 1401 points has a standard deviation of sqrt(2 * 1401) = 53."""
    expected = simulate_scan(COARSE, instrument_of(), None).values
    drawn = simulate_scan(COARSE, instrument_of(), 7).values
    assert np.all(drawn == np.round(drawn))
    assert np.sum((drawn - expected) ** 2 / expected) == pytest.approx(len(expected), abs=4 * 53)


def test_a_seed_gives_the_same_counts_again_and_another_others():
    one, same, other = (simulate_scan(COARSE, instrument_of(), seed).values for seed in (1, 1, 2))
    assert np.array_equal(one, same) and not np.array_equal(one, other)


def test_an_unknown_format_is_refused(tmp_path):
    with pytest.raises(PatternError, match="no format for the suffix"):
        write_scan(COARSE, instrument_of(), tmp_path / "scan.bin")
    assert list(tmp_path.iterdir()) == []
