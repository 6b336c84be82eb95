"""A sample with every kind of step, made by `characterise` from invented fit results, and a folder that holds it."""

import numpy as np
import xarray as xr

from tests.drawn import drawn, with_tables
from tests.results import made
from xrdorder import uncertainty
from xrdorder.files.sealed import write_sealed
from xrdorder.forward_model.roles import Kind
from xrdorder.material import PUBLISHED_SCALE, Specimen, characterise
from xrdorder.quantities.records import Record, record_of
from xrdorder.quantities.registry import ESTIMATED
from xrdorder.relations import LABELS
from xrdorder.results.netcdf import netcdf
from xrdorder.results.sample_file import Provenance, StoredSample, write_sample
from xrdorder.uncertainty import Contributions
from xrdorder.xrays import radiation

FITTED = {
    "a_nm": 0.528790,
    "order_contrast": 0.930,
    "lorentz_sec": 0.080,
    "lorentz_tan": 0.050,
    "gauss_tan2": 2e-4,
    "lattice_a_nm_nb": 0.33012,
    "weight_fraction_nb3sn": 0.9,
    "weight_fraction_nb": 0.1,
}
U = (3e-6, 0.007, 0.003, 0.002, 1e-4, 2e-6, 0.003, 0.003)
FREE = (
    "nb3sn_a_nm",
    "nb3sn_order_contrast",
    "nb3sn_b_iso_2a_nm2",
    "nb3sn_b_iso_6c_nm2",
    "specimen_displacement_mm",
    "background_0",
)
OWNERS = {**{f"nb3sn_{name}": "nb3sn" for name in list(FITTED)[:5]}, "nb_a_nm": "nb"}
OWNERS |= {name: "nb3sn" for name in FREE[2:4]}
KINDS = {
    "background_0": Kind.BACKGROUND,
    "specimen_displacement_mm": Kind.PLACE,
    "nb3sn_a_nm": Kind.LENGTH,
    "nb3sn_order_contrast": Kind.CONTRAST,
    "nb3sn_lorentz_sec": Kind.WIDTH,
    "nb3sn_lorentz_tan": Kind.WIDTH,
    "nb3sn_gauss_tan2": Kind.WIDTH,
    "nb3sn_b_iso_2a_nm2": Kind.B_ISO,
    "nb3sn_b_iso_6c_nm2": Kind.B_ISO,
    "nb_a_nm": Kind.LENGTH,
}
CORRELATION = np.array(
    [
        [1.0, 0.0, 0.0, 0.0, -0.8, 0.0],
        [0.0, 1.0, 0.6, -0.5, 0.0, 0.01],
        [0.0, 0.6, 1.0, -0.2, 0.0, 0.0],
        [0.0, -0.5, -0.2, 1.0, 0.0, 0.0],
        [-0.8, 0.0, 0.0, 0.0, 1.0, 0.0],
        [0.0, 0.01, 0.0, 0.0, 0.0, 1.0],
    ]
)
U_FREE = np.array([3e-6, 0.007, 2e-4, 1e-4, 0.01, 5.0])
OF_FIT = {"lattice_a_nm_nb": "nb_a_nm", **{name: f"nb3sn_{name}" for name in list(FITTED)[:5]}}
"""Quantities of the fit that are parameters of it."""
HELD = 0.24
BY_TIN = 0.2
WEIGHT_BY_TIN = 0.02


def table():
    """Counting apart for each quantity, and two sources that others share."""
    names = tuple(FITTED)
    n = len(names)
    certificate = np.array([4e-6, 0.0, 0.0, 0.0, 0.0, 2.5e-6, 0.0, 0.0])
    scattering = np.array([0.0, 0.009, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    return Contributions(
        names,
        (*(f"counting/{k}" for k in range(n)), "certificate", "scattering table/order"),
        np.column_stack([np.diag(U), certificate, scattering]),
        (*("" for _ in range(n)), "srm-660c", "cu-ka"),
    )


def records(values):
    """How the fit computed its quantities, as `xrdorder.fitting.derived` tells it."""
    known = {name: (name, values[quantity]) for quantity, name in OF_FIT.items()}
    made = {
        quantity: record_of(quantity, values[quantity], known, formula=name, source="parameter of the fit")
        for quantity, name in OF_FIT.items()
    }
    slope = "order_contrast_by_tin"
    return made | {slope: Record(slope, slope, BY_TIN, remark="change of the fitted contrast by unit tin fraction")}


def parameters():
    values = {
        "background_0": 100.0,
        "specimen_displacement_mm": 0.03,
        **{f"nb3sn_{name}": FITTED[name] for name in list(FITTED)[:5]},
        "nb3sn_b_iso_2a_nm2": 0.0045,
        "nb3sn_b_iso_6c_nm2": 0.005,
        "nb_a_nm": FITTED["lattice_a_nm_nb"],
    }
    free = np.array(FREE, dtype=object)
    roles = [(OWNERS.get(name, ""), KINDS[name]) for name in values]
    return xr.Dataset(
        {
            "value": ("parameter", list(values.values())),
            **made.roles(roles),
            "covariance": (("free", "free_too"), CORRELATION * np.outer(U_FREE, U_FREE)),
        },
        coords={"parameter": np.array(list(values), dtype=object), "free": free, "free_too": free},
    )


def tables():
    """Two relations for every target; the second does not apply."""
    n = len(ESTIMATED)
    names = [f"{word} {target}" for target in ESTIMATED for word in ("first", "second")]
    return xr.Dataset(
        {
            "target_median": ("target", [0.97, 0.91, 0.236, 16.5, 27.0, 23.0, 2.1, 25.0]),
            "target_low": ("target", [0.96, 0.90, 0.233, 15.0, 25.0, 20.0, 1.9, 15.0]),
            "target_high": ("target", [0.98, 0.92, 0.239, 17.5, 30.0, 26.0, 2.4, 40.0]),
            "relation_target": ("relation", np.repeat(np.array(ESTIMATED, dtype=object), 2)),
            "relation_source": (
                "relation",
                np.array(["A. First (2001)", "B. Second (2002)"] * n, dtype=object),
            ),
            "relation_formula": ("relation", np.array(["16 + beta", "17 + beta"] * n, dtype=object)),
            "relation_known": ("relation", np.array([LABELS["read"]] * 2 * n, dtype=object)),
            "relation_median": ("relation", [16.5, np.nan] * n),
            "relation_low": ("relation", [15.0, np.nan] * n),
            "relation_high": ("relation", [17.5, np.nan] * n),
            "relation_reason": ("relation", np.array(["", "too little tin"] * n, dtype=object)),
        },
        coords={
            "target": np.array(ESTIMATED, dtype=object),
            "relation": np.array(names, dtype=object),
        },
        attrs={"wire": "Ta", "bc2_branches": ""},
    )


def sample(
    name="A-650-100",
    mount="wires-laid-flat",
    lot="A",
    dopants=None,
    more=None,
    told=None,
    scale=PUBLISHED_SCALE,
    **changed,
):
    """A sample of a tantalum-doped lot, measured at 25 °C as wires laid flat; `told` is more of its specimen."""
    dopants = {"Ta": 0.024} if dopants is None else dopants
    told = told or {}
    specimen = Specimen(dopants=dopants, mount=mount, temperature_c=25.0, u_temperature_k=0.5, lot=lot, **told)
    fitted = {**FITTED, **(more or {})}
    material = characterise(
        fitted,
        table(),
        specimen,
        radiation=radiation("cu-ka"),
        tin_held=HELD,
        by_tin={"order_contrast": BY_TIN, "weight_fraction_nb3sn": -WEIGHT_BY_TIN, "weight_fraction_nb": WEIGHT_BY_TIN},
        scale=scale,
        records=records(fitted),
    )
    return made.sample(
        name,
        values={"order_contrast_by_tin": BY_TIN, **material.values},
        contributions=material.contributions,
        records=material.records,
        flags=tuple(tuple(flag) for flag in material.flags),
        assumptions=material.assumptions,
        estimates=tables(),
        groups={**made.sample().groups, "parameters": parameters()},
        provenance=Provenance(
            fingerprint="f" * 64,
            input_sha256={"a.xy": "12ab" * 16},
            version="0.0.7",
            options={
                "mount": mount,
                "temperature_c": 25.0,
                "lot": {"name": lot, "dopant_at_percent": {e: 100.0 * x for e, x in dopants.items()}},
                **{"corrections_off" if key == "off" else key: value for key, value in told.items()},
            },
            calibration="abc123",
            created="2025-01-01T00:00:00+00:00",
        ),
        **changed,
    )


def folder(path):
    """Results of three samples, the last of another lot and another mount, and one that failed; no description."""
    samples = [
        sample(),
        sample("A-700-50"),
        sample("B-650-100", mount="ground-powder", lot="B", dopants={}),
        StoredSample("letters", "failed: a.xy: line 1 is no number"),
    ]
    target = path / "results/samples"
    target.mkdir(parents=True)
    for item in samples:
        write_sample(item, target / f"{item.name}.nc")
    results = uncertainty.collate({item.name: item.contributions for item in samples})
    results["status"] = ("sample", np.array([item.status for item in samples], dtype=object))
    results["wire"] = ("sample", np.array(["Ta", "Ta", "binary", ""], dtype=object))
    results = drawn(results, {"Tc_K": [16.5, 16.5, 16.5, np.nan]}, below=1.5)
    write_sealed(path / "results/results.nc", netcdf(with_tables(results, [tables()] * 3 + [None])))
    return path
