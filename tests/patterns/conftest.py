"""HDF5 is read in this process, but for the tests of the other one: its start takes longer than most tests."""

import pytest

from xrdorder.patterns.nexus import read_nexus


@pytest.fixture(autouse=True)
def _hdf5_here(request, monkeypatch):
    if request.module.__name__ != "tests.patterns.test_nexus_apart":
        monkeypatch.setattr("xrdorder.patterns.nexus_apart.read_apart", read_nexus)
