"""Results as the fit hands them on, made by hand: small, with numbers one can follow."""

import numpy as np
import xarray as xr

from xrdorder.results.sample_file import Provenance, StoredSample
from xrdorder.uncertainty import Contributions

QUANTITIES = (
    "a_nm",
    "order_contrast",
    "site_order",
    "S_a",
    "S_b",
    "tin_fraction_lattice",
    "domain_size_nm",
    "microstrain",
    "a15_fraction",
    "weight_fraction_nb3sn",
    "weight_fraction_nb",
)
VALUES = dict(
    zip(QUANTITIES, (0.52880, 0.93, 0.92, 0.98, 0.91, 0.2353, 110.0, 4e-4, 0.9, 0.9, 0.1), strict=True)
)


WORDS = "use with care: 2 unindexed lines"


def cross_checks():
    """Two routes; the second has no order to offer."""
    return xr.Dataset(
        {
            "a_nm": ("route", [0.52880, 0.528803], {"units": "nm"}),
            "order_contrast": ("route", [0.93, np.nan], {"units": "1"}),
            "a_difference_nm": ("route", [0.0, 3e-6], {"units": "nm"}),
            "u_a_difference_nm": ("route", [0.0, 2e-6], {"units": "nm"}),
            "order_difference": ("route", [0.0, np.nan], {"units": "1"}),
            "u_order_difference": ("route", [0.0, np.nan], {"units": "1"}),
            "a_reason": ("route", np.array(["", ""], dtype=object)),
            "order_reason": ("route", np.array(["", "lattice only"], dtype=object)),
        },
        coords={"route": np.array(["whole pattern", "free intensities"], dtype=object)},
    )


def contributions():
    """Two private sources and two shared ones; every quantity has u = 5 % of 3, 4 and two small parts."""
    sources = ("counting/0", "counting/1", "certificate", "a(tin) scale")
    groups = ("", "", "srm-660c", "published")
    columns = np.array([3.0, -4.0, 12.0, 84.0]) / 1000.0
    return Contributions(QUANTITIES, sources, np.outer(list(VALUES.values()), columns), groups)


def curves(points=50):
    two_theta = np.concatenate([np.linspace(20.0, 60.0, points), np.linspace(55.0, 90.0, points)])
    two_theta = np.sort(np.append(two_theta, 57.0))  # ranges overlap: an angle may stand twice
    names = ("observed", "calculated", "background", "weighted_residual", "part_nb3sn", "part_nb")
    rng = np.random.default_rng(1)
    return xr.Dataset(
        {name: ("two_theta", rng.random(two_theta.size), {"units": "counts"}) for name in names},
        coords={"two_theta": ("two_theta", two_theta, {"units": "degree"})},
    )


def lines():
    return xr.Dataset(
        {
            "phase": ("line", np.array(["nb3sn", "nb3sn", "nb"], dtype=object)),
            "hkl": ("line", np.array(["1 1 0", "2 0 0", "1 1 0"], dtype=object)),
            "two_theta": ("line", [23.8, 33.9, 38.5]),
        }
    )


def phases():
    return xr.Dataset(
        {"weight_fraction": ("phase", [0.9, 0.1]), "upper_limit": ("phase", [np.nan, np.nan])},
        coords={"phase": np.array(["nb3sn", "nb"], dtype=object)},
    )


def roles(of):
    """Columns of the parameters that say whose each is and what it stands for, from pairs of owner and kind."""
    owners, kinds = zip(*of, strict=True)
    return {
        "owner": ("parameter", np.array(owners, dtype=object)),
        "kind": ("parameter", np.array([kind.value for kind in kinds], dtype=object)),
    }


def parameters():
    free = np.array(["a", "b"], dtype=object)
    return xr.Dataset(
        {
            "value": ("parameter", [1.0, 2.0, 3.0]),
            "min": ("parameter", [-np.inf, 0.0, 0.0]),
            "covariance": (("free", "free_too"), [[1.0, 0.5], [0.5, 2.0]]),
        },
        coords={"parameter": np.array(["a", "b", "held"], dtype=object), "free": free, "free_too": free},
    )


def sample(name="A-650-100", **changed):
    """A sample that went well."""
    content = {
        "status": "ok",
        "values": {**VALUES, "tin_lower_bound": 0.23, "tin_spread": 0.011},
        "contributions": contributions(),
        "flags": (("strain-state", "polished: 0.2 % of strain reads as 8 at.%"), ("texture", "weak")),
        "assumptions": ("the temperature was 22.5 °C",),
        "quality": {"r_wp": 0.061, "chi2_reduced": 1.04},
        "groups": {
            "curves": curves(),
            "lines": lines(),
            "phases": phases(),
            "parameters": parameters(),
            "cross_checks": cross_checks(),
        },
        "quality_words": WORDS,
        "provenance": Provenance(
            fingerprint="f" * 64,
            input_sha256={"a.xy": "0" * 64},
            version="0.1.0",
            options={"mount": "", "lot": {"dopant_at_percent": {"Ta": 2.4}}, "temperature_c": None},
            calibration="abc",
            created="2025-01-01T00:00:00+00:00",
        ),
    }
    return StoredSample(name=name, **{**content, **changed})
