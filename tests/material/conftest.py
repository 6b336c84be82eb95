"""A fitted sample to start from."""

import numpy as np
import pytest

from xrdorder.material import Specimen, characterise
from xrdorder.uncertainty import Contributions
from xrdorder.xrays import radiation

VALUES = {
    "a_nm": 0.52880,
    "order_contrast": 0.93,
    "lorentz_sec": 0.080,
    "lorentz_tan": 0.050,
    "gauss_tan2": 2e-4,
    "weight_fraction_nb3sn": 0.9,
}
U = {
    "a_nm": 3e-6,
    "order_contrast": 0.007,
    "lorentz_sec": 0.003,
    "lorentz_tan": 0.002,
    "gauss_tan2": 1e-4,
    "weight_fraction_nb3sn": 0.003,
}


def table(u=U, **more):
    u = {**u, **more}
    return Contributions(
        tuple(u), tuple(f"counting/{k}" for k in range(len(u))), np.diag(list(u.values())), ("",) * len(u)
    )


@pytest.fixture
def fitted():
    """Characterise a sample: values and specimen as given, the rest as usual."""

    def run(specimen=None, u=None, **values):
        specimen = Specimen(mount="ground-powder", temperature_c=22.5, undoped=True) if specimen is None else specimen
        all_values = {**VALUES, **values}
        return characterise(all_values, table(**(u or {})), specimen, radiation=radiation("cu-ka"))

    return run


def names(material):
    return [flag.name for flag in material.flags]
