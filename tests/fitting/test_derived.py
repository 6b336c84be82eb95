"""Quantities of a fit and the records of how they follow from its parameters."""

from types import SimpleNamespace

import pytest

from xrdorder.crystals import phase
from xrdorder.fitting.derived import functions
from xrdorder.material.formulas import recomputed


def lines(name, prefix, size_gauss=""):
    """What `functions` asks of the lines of a phase; `prefix` tells a second population from the first."""
    return SimpleNamespace(
        phase=phase(name),
        norm=1e4,
        scale_name=f"{prefix}_scale",
        length_names=(f"{prefix}_a_nm",),
        width_names=tuple(f"{prefix}_{kind}" for kind in ("lorentz_sec", "lorentz_tan", "gauss_tan2")),
        size_gauss_name=size_gauss,
        contrast_name=f"{prefix}_order_contrast",
        tail_name=f"{prefix}_lattice_tail_nm",
        elastic_name="",
        depth_name="",
        anisotropy_name=f"{prefix}_strain_anisotropy",
    )


VALUES = {
    "nb3sn_scale": 2.0, "nb3sn_a_nm": 0.5288, "nb3sn_lorentz_sec": 0.08, "nb3sn_lorentz_tan": 0.05,
    "nb3sn_gauss_tan2": 2e-4, "nb3sn_size_gauss": 1e-3, "nb3sn_order_contrast": 0.93, "nb3sn_lattice_tail_nm": 1e-4,
    "second_scale": 0.7, "second_a_nm": 0.5284, "second_lorentz_sec": 0.2, "second_lorentz_tan": 0.05,
    "second_gauss_tan2": 0.0, "second_order_contrast": 0.93, "nb_scale": 0.4, "nb_a_nm": 0.3301, "nb_lorentz_sec": 0.01,
    "nb_lorentz_tan": 0.0, "nb_gauss_tan2": 0.0, "nb_strain_anisotropy": 0.1,
}  # fmt: skip
TAKEN = ("nb3sn_lattice_tail_nm", "nb_strain_anisotropy")


@pytest.mark.parametrize("size_gauss", ["", "nb3sn_size_gauss"])
@pytest.mark.parametrize(
    "changed",
    [None, {}, {"second_a_nm": 0.5291}, {"second_lorentz_sec": 0.0}],
    ids=["one population", "leaner second", "richer second", "second too coarse for a width"],
)
def test_each_quantity_has_a_record_that_gives_it_again(size_gauss, changed):
    a15, niobium = lines("nb3sn", "nb3sn", size_gauss), lines("nb", "nb")
    second = None if changed is None else lines("nb3sn", "second")
    values = {**VALUES, **(changed or {})}
    derived = functions([a15, niobium], [], a15, second, TAKEN)
    assert {"a_nm", "lorentz_sec", "lattice_a_nm_nb", "weight_fraction_nb3sn", "strain_anisotropy_nb"} <= derived.keys()
    for name, function in derived.items():
        record = function.record(name, values)
        assert record.value == function(values)
        assert recomputed(record) == pytest.approx(function(values), rel=1e-12), record
        assert record.source
        assert all(values[given.quantity] == given.value for given in record.inputs)
