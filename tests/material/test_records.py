"""Every derived value carries a record that gives it again, whatever the specimen and whatever the lines tell."""

import math

import numpy as np
import pytest

from tests.material.conftest import VALUES, U, table
from xrdorder.material import Material, TinScale, characterise
from xrdorder.material.formulas import recomputed
from xrdorder.material.specimen import CORRECTIONS, GAUGES, Specimen
from xrdorder.quantities.records import Input, Record, formula_names
from xrdorder.uncertainty import Contributions
from xrdorder.xrays import radiation

WIRE = {"mount": "wires-laid-flat", "temperature_c": 25.0, "reaction_temperature_c": 650.0}
METALS = {f"lattice_a_nm_{metal}": a for metal, a in (("nb", 0.33012), ("ta", 0.3304), ("cu", 0.3616))}
AMOUNTS = {"weight_fraction_nb3sn": 0.6, "weight_fraction_nb": 0.2, "weight_fraction_cu": 0.2}
BY_TIN = {"order_contrast": 0.2, "weight_fraction_nb3sn": -0.03, "weight_fraction_cu": 0.01}
OWN = TinScale("ours", 0.5287, 0.0141, ((1e-10, 0.0), (0.0, 1e-7)), "this test")
PAIR = {"a_nm_lean": 0.5286, "a_nm_rich": 0.5289, "rich_share": 0.3, "lorentz_sec_lean": 0.1, "lorentz_sec_rich": 0.04}

SPECIMENS = {
    "nothing said": Specimen(),
    "undoped": Specimen(undoped=True, mount="ground-powder", temperature_c=22.5),
    "doped": Specimen(dopants={"Ta": 0.024, "Ti": 0.01, "Hf": 0.01}, **WIRE),
    "shares given": Specimen(dopants={"Ta": 0.024}, on_tin_site={"Ta": 0.5}, **WIRE),
    "lattice by dopants": Specimen(dopants={"Ta": 0.024}, lattice_by_dopant_nm={"Ta": 0.004}, **WIRE),
    "strain given": Specimen(strain=-0.0007, **WIRE),
    "strain within a bound": Specimen(strain_bound=True, **WIRE),
    **{f"{metal} as gauge": Specimen(strain_gauge=metal, **WIRE) for metal in GAUGES},
    **{f"without {one}": Specimen(dopants={"Ta": 0.02}, off=frozenset({one}), **WIRE) for one in CORRECTIONS},
}
LINES = {
    "plain": {},
    "tail": {"lattice_tail_nm": 1e-4},
    "tail to the other side": {"lattice_tail_nm": -1e-4},
    "two populations": PAIR,
    "coarse": {"lorentz_sec": 0.001},
    "no strain": {"lorentz_tan": 1e-4, "gauss_tan2": 1e-6},
    "no lattice": {"a_nm": math.nan},
    "no contrast": {"order_contrast": math.nan},
    "contradiction": {"order_contrast": 0.99, "a_nm": 0.5283},
}


def material(specimen, more, **changed):
    values = {**VALUES, **METALS, **AMOUNTS, **more}
    return values, characterise(
        values,
        table({name: U.get(name, 1e-5 * abs(value)) for name, value in values.items() if math.isfinite(value)}),
        specimen,
        radiation=radiation("cu-ka"),
        tin_held=0.24,
        by_tin=BY_TIN,
        **changed,
    )


def check(values, found):
    """Each value that is not simply handed on has a formula that gives it, and each that is absent a reason."""
    for name, value in found.values.items():
        if name not in found.records:
            assert name in values and (value == values[name] or math.isnan(value)), name
        elif math.isnan(value):
            assert found.records[name].remark, name
        else:
            assert found.records[name].value == value, name
            assert recomputed(found.records[name]) == pytest.approx(value, rel=1e-9, abs=1e-15), found.records[name]
            assert found.records[name].source or found.records[name].remark, name
    for record in found.records.values():
        assert Record.from_json(record.to_json()) == record
        for given in record.inputs:
            known = found.records[given.quantity].value if given.quantity in found.records else None
            if known is None:
                known = values[given.quantity.removesuffix("_fitted")]
            assert given.value == known, (record, given)


@pytest.mark.parametrize("lines", LINES)
@pytest.mark.parametrize("specimen", SPECIMENS)
def test_every_derived_value_has_a_record_that_gives_it_again(specimen, lines):
    values, found = material(SPECIMENS[specimen], LINES[lines])
    check(values, found)
    assert {"tin_fraction_lattice", "site_order", "tin_fraction_order", "tin_lower_bound", "a15_fraction"} <= set(
        found.records
    )


@pytest.mark.parametrize("lines", LINES)
def test_on_a_line_of_ones_own(lines):
    check(*material(SPECIMENS["doped"], LINES[lines], scale=OWN))


def test_what_was_corrected_is_kept_under_another_name():
    values, found = material(Specimen(strain_gauge="cu", **WIRE), {})
    for name in ("a_nm", "order_contrast", "weight_fraction_cu"):
        (before,) = [given for given in found.records[name].inputs if given.quantity == f"{name}_fitted"]
        assert before.value == values[name] != found.values[name]
    # the gauge was read with the weights as they were fitted, before tin was known
    of_gauge = {given.quantity: given.value for given in found.records["lattice_strain"].inputs}
    assert of_gauge["weight_fraction_cu_fitted"] == values["weight_fraction_cu"]


def test_a_formula_that_names_what_nobody_gave_is_refused():
    derived = Material({"a_nm": 0.5288}, Contributions(("a_nm",), ("x",), np.array([[1e-6]]), ("",)))
    with pytest.raises(KeyError, match="b_nm"):
        derived.add("c", 1.0, {}, formula="a_nm * b_nm", source="none")


@pytest.mark.parametrize("formula", ["__import__('os')", "x.real", "x if x else 1", "open(x)", "x / 0 * nobody", "(x"])
def test_what_is_no_arithmetic_is_not_evaluated(formula):
    assert math.isnan(recomputed(Record("q", "q", 1.0, formula, (Input("x", "x", 1.0),))))


def test_names_of_a_formula_are_neither_functions_nor_constants_nor_exponents():
    assert formula_names("1e-06 * pi * max(a, 0) + b2 / 7.6e-6 - a") == ("a", "b2")
