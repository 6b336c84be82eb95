"""Conductors and layers of a study, from its collated results."""

import numpy as np
import pytest

from tests.drawn import with_joint
from xrdorder.estimates.anchored_currents import anchored_currents
from xrdorder.estimates.conductors import conductors, grains_over_domains, layers, with_like_sizes
from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.material import PUBLISHED_SCALE
from xrdorder.superconductivity.currents import Conditions, layer_current, relative_current
from xrdorder.uncertainty import Contributions, collate

N = 500
# name, tin, domain size (NaN: not resolved), tail (NaN: none)
SAMPLES = (("fine", 0.235, 80.0, np.nan), ("coarse", 0.240, np.nan, np.nan), ("graded", 0.232, 95.0, 1.2e-4))
MEASURED = (("fine", "grain_size_nm", 120.0, 10.0), ("fine", "grain_size_nm", 130.0, 10.0),
            ("graded", "a15_area_fraction", 0.55, 0.02), ("graded", "Tc_K", 17.0, 0.1))  # fmt: skip


def results(samples=SAMPLES, measured=MEASURED):
    tables = {}
    for name, tin, size, tail in samples:
        table = Contributions.empty()
        if np.isfinite(tin):
            table = table.extend("tin_fraction_lattice", {}, {"scale": (0.005, "published"), "own": (0.001, "")})
        if np.isfinite(size):
            table = table.extend("domain_size_nm", {}, {"counting": (4.0, "")})
        if np.isfinite(tail):
            table = table.extend("tin_spread", {}, {"counting": (0.0005, "")})
        tables[name] = table
    dataset = collate(tables)
    column = {"tin_fraction_lattice": 1, "domain_size_nm": 2}
    value = [
        [tail / PUBLISHED_SCALE.slope_nm if q == "tin_spread" else row[column[q]] for q in dataset["quantity"].values]
        for row in samples
        for tail in (row[3],)
    ]
    dataset["value"] = (("sample", "quantity"), np.array(value))
    dataset["plain_value"] = (("sample", "plain_quantity"), np.array([[row[3]] for row in samples]))
    dataset = dataset.assign_coords(plain_quantity=np.array(["lattice_tail_nm"], dtype=object))
    dataset["lot"] = ("sample", np.array(["A"] * len(samples), dtype=object))
    if measured:
        names, quantities, numbers, u = zip(*measured, strict=True)
        dataset["measured_sample"] = ("measurement", np.array(names, dtype=object))
        dataset["measured_quantity"] = ("measurement", np.array(quantities, dtype=object))
        dataset["measured_value"] = ("measurement", np.array(numbers))
        dataset["u_measured_value"] = ("measurement", np.array(u))
        for condition in ("measured_temperature_k", "measured_field_t"):
            dataset[condition] = ("measurement", np.full(len(names), np.nan))
    return with_joint(dataset, N)


def test_samples_that_can_be_used_are_and_measured_values_go_first():
    found = {one.name: one for one in conductors(results())}
    assert list(found) == ["fine", "graded"]  # no size is known of the coarse one
    assert found["fine"].grain.by == "microscopy"
    assert float(found["fine"].grain.band.median) == pytest.approx(125.0, abs=4 * 1.25 * 7.1 / np.sqrt(N))
    # two of 10 nm each, put together
    assert np.std(found["fine"].grain.draws) == pytest.approx(10.0 / np.sqrt(2.0), rel=4 / np.sqrt(2 * N))
    assert found["graded"].grain.by == "domain size"
    assert found["graded"].a15_area is not None and found["fine"].a15_area is None
    assert layer_current(found["graded"], [12.0]).non_copper is not None
    assert {one.lot for one in found.values()} == {"A"}


def test_the_area_of_the_lot_stands_in_for_samples_without_their_own():
    dataset = results()
    for name, number in (("lot_a15_area_fraction", 0.6), ("u_lot_a15_area_fraction", 0.03)):
        dataset[name] = ("sample", np.full(len(SAMPLES), number))
    fine, graded = conductors(dataset)
    assert np.mean(fine.a15_area) == pytest.approx(0.6, abs=4 * 0.03 / np.sqrt(N))
    assert np.std(fine.a15_area) == pytest.approx(0.03, rel=4 / np.sqrt(2 * N))
    assert np.mean(graded.a15_area) == pytest.approx(0.55, abs=4 * 0.02 / np.sqrt(N))  # its own goes first
    assert layer_current(fine, [12.0]).non_copper is not None
    # it is one doubt for all samples of the lot
    fine, graded = conductors(dataset.drop_vars("measured_sample"))
    assert np.array_equal(fine.a15_area, graded.a15_area)
    dataset["lot_a15_area_fraction"][:] = np.nan
    assert conductors(dataset, ["fine"])[0].a15_area is None


def test_grains_of_one_wire_tell_of_domains_of_its_lot():
    """Posterior of the logarithm of grains over domains by hand: usual 0 ± 0.246, one wire 125 ± 7.1 over 80 ± 4."""
    weights = np.log1p(0.25**2) ** -1, 1.0 / ((7.07 / 125.0) ** 2 + (4.0 / 80.0) ** 2 + 0.1**2)
    middle, u = weights[1] * np.log(125.0 / 80.0) / sum(weights), sum(weights) ** -0.5
    assert grains_over_domains(results(), "A") == pytest.approx((middle, u), rel=1e-3)
    (_, graded), (_, plain) = conductors(results()), conductors(results(measured=()))
    ratio = float(graded.grain.band.median) / float(plain.grain.band.median)
    assert np.log(ratio) == pytest.approx(middle, abs=4 * 0.35 / np.sqrt(N))
    assert np.std(np.log(graded.grain.draws)) < 0.75 * np.std(np.log(plain.grain.draws))
    assert "anchored to grain sizes measured in the lot" in dict(graded.flags)["domain-size-for-grain-size"]
    assert grains_over_domains(results(), "another") == grains_over_domains(results(measured=()), "A")


def test_ratios_take_sizes_of_one_kind():
    """What microscopy says of one sample alone must not tilt its ratio to others: domains of both are compared.

    Grains of both are larger by one factor then; forces are no power of their size, so the ratio moves by 3 %.
    """
    mixed, plain = results(), results(measured=())
    alike = with_like_sizes(conductors(mixed), mixed)
    assert [one.grain.by for one in alike] == ["domain size", "domain size"]
    found, expected = (
        relative_current(graded, fine, [8.0, 12.0]).ratio
        for fine, graded in (alike, conductors(plain))
    )
    for one, two in zip(found, expected, strict=True):
        np.testing.assert_allclose(one, two, rtol=0.05)
    assert any(flag.name == "domain-size-for-grain-size" for flag in alike[0].flags)
    assert alike[1].a15_area is not None
    # where all have been under the microscope, its sizes stay
    both = results(measured=(*MEASURED, ("graded", "grain_size_nm", 150.0, 10.0)))
    seen = conductors(both)
    assert with_like_sizes(seen, both) == seen
    assert {one.grain.by for one in seen} == {"microscopy"}


def test_a_size_by_microscopy_alone_does_not_compare_with_domains():
    only = results(measured=(("coarse", "grain_size_nm", 200.0, 10.0),))
    samples = conductors(only)
    assert [one.name for one in samples] == ["fine", "coarse", "graded"]
    assert [one.name for one in with_like_sizes(samples, only)] == ["fine", "graded"]


def test_without_measurements_domain_sizes_serve():
    (fine, _) = conductors(results(measured=()))
    assert fine.grain.by == "domain size"


def test_the_design_of_each_wire_goes_along():
    designs = {"fine": "bronze", "somebody else": "none"}
    assert [one.design for one in conductors(results(), designs=designs)] == ["bronze", ""]
    assert [one.design for one in layers(results(), designs=designs).values()] == ["bronze", "", ""]


def test_what_was_asked_for_and_cannot_be_had_is_said():
    with pytest.raises(ValidityError, match="sample 'coarse': no grain size"):
        conductors(results(), ["coarse"])
    with pytest.raises(UnknownNameError, match=r"'other'.*fine, coarse, graded"):
        conductors(results(), ["other"])
    with pytest.raises(ValidityError, match="no grain size"):
        conductors(results(SAMPLES[1:2]))


def test_layers_are_spread_as_each_pattern_tells():
    found = layers(results())
    assert {name: one.kind for name, one in found.items()} == {
        "fine": "uniform", "coarse": "uniform", "graded": "graded",
    }  # fmt: skip
    with pytest.raises(ValidityError, match="sample 'none': no tin content"):
        layers(results((("none", np.nan, 80.0, np.nan),)), ["none"])
    with pytest.raises(ValidityError, match="no sample of the study"):
        layers(results((("none", np.nan, 80.0, np.nan),)))


def test_a_dataset_without_plain_values_is_enough():
    bare = results(measured=()).drop_vars("plain_value")
    assert layers(bare, ["graded"])["graded"].kind == "uniform"


CURRENT = ("fine", "critical_current_a", 210.0, 4.2)
CONDITIONS = {"measured_temperature_k": 4.2, "measured_field_t": 12.0}


def with_currents(*measured, samples=SAMPLES):
    dataset = results(samples, measured=measured)
    for name, number in CONDITIONS.items():
        dataset[name] = ("measurement", np.full(len(measured), number))
    return dataset


def test_one_measured_current_gives_those_of_its_lot_in_ampere():
    dataset = with_currents(CURRENT, ("fine", "non_copper_area_mm2", 0.25, 0.005))
    samples = conductors(dataset)
    (found,) = anchored_currents(samples, dataset, [12.0, 8.0], Conditions())
    assert list(found.current) == ["fine", "graded"] and found.anchors[0].words in found.words
    # by hand: the measured one times the ratio of the layers, which what is common to the lot cancels in
    graded, fine = samples[1], samples[0]
    ratio = float(relative_current(graded, fine, [12.0]).ratio.median[0])
    # medians of 500 draws of a ratio whose logarithm scatters by 0.14: 0.1 a wire
    assert float(found.current["graded"].median[0]) == pytest.approx(210.0 * ratio, rel=4 * 1.25 * 0.14 / np.sqrt(N))
    assert float(found.current["fine"].median[0]) == pytest.approx(210.0, rel=4 * 1.25 * 0.14 / np.sqrt(N))
    low, high = (float(end[0]) for end in found.current["fine"][1:])
    assert 0.5 * np.log(high / low) == pytest.approx(np.hypot(0.02, 0.1 * np.sqrt(2.0)), rel=0.2)
    density = float(found.non_copper["graded"].median[0])
    assert density == pytest.approx(float(found.current["graded"].median[0]) / 0.25)
    assert any("taken as equal" in text for text in found.remarks)


def test_currents_that_contradict_each_other_are_both_named_and_kept():
    dataset = with_currents(CURRENT, ("graded", "critical_current_a", 900.0, 9.0))
    (found,) = anchored_currents(conductors(dataset), dataset, [12.0], Conditions())
    (said,) = [text for text in found.remarks if "contradict" in text]
    assert "210" in said and "900" in said and "both are kept" in said
    assert {one.sample for one in found.anchors} == {"fine", "graded"}
    assert 210.0 < float(found.current["fine"].median[0]) < 900.0


def test_no_measured_current_no_ampere_and_a_normal_layer_anchors_nothing():
    assert anchored_currents(conductors(results()), results(), [12.0], Conditions()) == ()
    dataset = with_currents(CURRENT)
    dataset["measured_field_t"] = ("measurement", [40.0])  # far above Bc2
    assert anchored_currents(conductors(dataset), dataset, [12.0], Conditions()) == ()
