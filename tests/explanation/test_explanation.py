"""Everything behind a stored number, from its file alone."""

import re
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

from tests.explanation import explained
from xrdorder.exceptions import StudyError, UnknownNameError
from xrdorder.explanation.explanation import FITTED, explain, explain_stored, quantities_table
from xrdorder.explanation.families import FAMILIES
from xrdorder.material import TinScale, characterise
from xrdorder.quantities.registry import columns
from xrdorder.relations import LABELS
from xrdorder.relations.tin_from_lattice import DEFAULT
from xrdorder.results.sample_file import failure, read_sample
from xrdorder.uncertainty import Contributions
from xrdorder.xrays import radiation


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return explained.folder(tmp_path_factory.mktemp("study"))


def one(sample, quantity):
    (found,) = explain(sample, quantity).quantities
    return found


def of(found, name):
    (step,) = [step for step in found.steps if step.quantity == name]
    return step


def test_every_quantity_of_the_file_is_there():
    sample = explained.sample()
    names = [q.name for q in explain(sample).quantities]
    assert set(names) == {*sample.values, *(str(t) for t in sample.estimates["target"].values)}
    assert len(names) == len(set(names))


def test_this_version_finds_its_own_values_again():
    """Each step that can be computed from what is stored gives what `characterise` stored."""
    checked = {
        step.quantity: step.reproduced
        for q in explain(explained.sample()).quantities
        for step in q.steps
        if step.reproduced is not None
    }
    assert all(checked.values()), checked
    assert checked.keys() >= {
        "a_nm", "tin_fraction_lattice", "site_order", "tin_lower_bound", "domain_size_nm", "size_breadth_deg",
        "microstrain", "strain_breadth_deg", "tin_spread", "lattice_a_nm_nb", "tin_fraction_order",
    }  # fmt: skip


@pytest.mark.parametrize("dopants", [{}, {"Ti": 0.01}, {"Ta": 0.02, "Ti": 0.005}])
def test_whatever_the_dopants(dopants):
    found = one(explained.sample(dopants=dopants), "tin_fraction_order")
    assert [of(found, name).reproduced for name in ("site_order", "tin_fraction_order")] == [True, True]


def test_a_scale_of_the_laboratory_is_named_and_recomputed():
    scale = TinScale("ours", 0.5287, 0.014, ((1e-10, 0.0), (0.0, 1e-7)), "six bulk samples, this test")
    own = explained.sample(scale=scale)
    step = of(one(own, "tin_fraction_lattice"), "tin_fraction_lattice")
    assert "own line 'ours': six bulk samples" in step.record.source and step.reproduced
    assert "/ 0.014" in step.record.formula
    assert step.value == pytest.approx(scale.tin(own.values["a_nm"]), abs=1e-12)


@pytest.mark.parametrize(
    "more",
    [
        {"lattice_tail_nm": 1e-4},
        {"a_nm_lean": 0.5286, "a_nm_rich": 0.5289, "rich_share": 0.3},
        {"lorentz_sec": 0.001},
        {"lorentz_tan": 1e-4, "gauss_tan2": 1e-6},
    ],
)
def test_whatever_the_lines_tell(more):
    sample = explained.sample(more=more)
    for q in explain(sample).quantities:
        for step in q.steps:
            assert step.reproduced is not False, step


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"strain": -0.0007}, "as given: −0.07 %"),
        ({"strain_gauge": "nb", "reaction_temperature_c": 650.0}, "niobium as gauge: lattice_a_nm_nb against 0.33007"),
        ({"strain_bound": True, "reaction_temperature_c": 650.0}, "from 650 °C (−0.57 %)"),
    ],
)
def test_a_strain_and_what_it_corrects_are_among_the_steps(told, said):
    sample = explained.sample(told=told)
    found = one(sample, "tin_fraction_lattice")
    strain = of(found, "lattice_strain")
    assert strain.reproduced and said in strain.record.remark
    tin = of(found, "tin_fraction_lattice")
    assert tin.reproduced and "a_nm / (1 + lattice_strain)" in tin.record.formula
    assert of(one(sample, "a_strain_free_nm"), "a_strain_free_nm").reproduced


def test_what_dopants_do_to_the_lattice_is_in_the_step():
    sample = explained.sample(told={"lattice_by_dopant_nm": {"Ta": 0.004}})
    tin = of(one(sample, "tin_fraction_lattice"), "tin_fraction_lattice")
    assert tin.reproduced and "- 0.024 * 0.004" in tin.record.formula
    assert "0.004 nm taken off for unit content of Ta" in tin.record.remark


@pytest.mark.parametrize(
    ("off", "quantity", "said"),
    [
        ("temperature", "a_nm", "correction for temperature switched off"),
        ("dopant-contrast", "site_order", "correction for dopants in the contrast switched off"),
        ("strain", "tin_fraction_lattice", ""),
        ("dopant-lattice", "tin_fraction_lattice", ""),
    ],
)
def test_a_correction_that_is_off_is_not_in_the_steps(off, quantity, said):
    told = {"off": frozenset({off}), "lattice_by_dopant_nm": {"Ta": 0.004}}
    sample = explained.sample(told=told)
    step = of(one(sample, quantity), quantity)
    assert said in step.record.remark
    for q in explain(sample).quantities:
        for each in q.steps:
            assert each.reproduced is not False, each


def test_a_tail_that_is_not_determined_gives_no_spread():
    names = [*explained.FITTED, "lattice_tail_nm"]
    table = Contributions(tuple(names), ("counting",), np.array([[1e-6]] * 8 + [[1.0]]), ("",))
    values = {**explained.FITTED, "lattice_tail_nm": 1e-4}
    material = characterise(values, table, radiation=radiation("cu-ka"))
    sample = replace(explained.sample(), values=material.values, records=material.records)
    step = of(one(sample, "tin_spread"), "tin_spread")
    assert "not determined" in step.record.remark and np.isnan(step.value)


def test_a_value_that_this_version_would_not_find_shows_itself():
    sample = explained.sample()
    name = "tin_fraction_lattice"
    older = replace(sample, values={**sample.values, name: sample.values[name] + 0.001})
    step = of(one(older, name), name)
    assert step.reproduced is False
    assert step.recomputed == pytest.approx(sample.values[name])
    found = explain(older)
    assert found.sample.provenance.version == "0.0.7"


def test_steps_begin_with_the_fit_and_end_with_the_quantity():
    found = one(explained.sample(), "tin_fraction_order")
    names = [step.quantity for step in found.steps]
    assert names[-1] == "tin_fraction_order"
    for step in found.steps:
        for given in step.record.inputs:
            assert names.index(given.quantity) < names.index(step.quantity)
    assert {"nb3sn_a_nm", "nb3sn_order_contrast", "a_nm", "tin_fraction_lattice", "site_order"} <= set(names)
    assert all(step.record.formula or step.record.remark for step in found.steps)
    of_fit = [step.quantity for step in found.steps if step.record.remark == FITTED]
    assert of_fit == ["nb3sn_order_contrast", "nb3sn_a_nm"]


def test_sources_of_the_relations_are_cited():
    tin = of(one(explained.sample(), "tin_fraction_lattice"), "tin_fraction_lattice")
    assert DEFAULT.source in tin.record.source and "R68" in tin.record.source
    assert str(DEFAULT.intercept_nm) in tin.record.formula and str(DEFAULT.slope_nm) in tin.record.formula
    assert "Ekin" in of(one(explained.sample(), "a_nm"), "a_nm").record.source
    assert "Heald" in of(one(explained.sample(), "site_order"), "site_order").record.source


def test_tin_held_in_the_fit_follows_from_what_is_stored():
    step = of(one(explained.sample(), "order_contrast"), "order_contrast")
    assert step.record.numbers["tin_held"] == explained.HELD
    assert step.record.numbers["order_contrast_by_tin"] == explained.BY_TIN
    fitted = next(given for given in step.record.inputs if given.quantity == "order_contrast_fitted")
    assert fitted.value == explained.FITTED["order_contrast"]


def test_the_budget_adds_up_and_tells_shared_from_private():
    for name in ("a_nm", "tin_fraction_lattice", "site_order", "tin_fraction_order"):
        found = one(explained.sample(), name)
        assert sum(share.u**2 for share in found.budget) == pytest.approx(found.u**2)
        own = sum(share.u**2 for share in found.budget if not share.group)
        assert own == pytest.approx(found.private**2)
        assert found.private**2 + found.common**2 == pytest.approx(found.u**2)
        assert [share.u for share in found.budget] == sorted((s.u for s in found.budget), reverse=True)
    tin = one(explained.sample(), "tin_fraction_lattice")
    groups = {share.group for share in tin.budget if share.family == "strain state"}
    assert groups == {"", "A"}


def test_every_family_of_material_is_told_in_words():
    for q in explain(explained.sample()).quantities:
        for share in q.budget:
            assert share.meaning == FAMILIES[share.family]


def test_no_two_rows_of_a_budget_are_called_alike():
    sample = explained.sample()
    table = sample.contributions
    zero = np.zeros(len(table.quantities))
    more = Contributions(
        table.quantities,
        (*table.sources, "displacement parameters", "displacement parameters/nb_b_iso_2a_nm2", "texture"),
        np.column_stack([table.values, zero + 1e-3, zero + 2e-3, zero + 1e-3]),
        (*table.groups, "", "catalogue", ""),
    )
    for q in explain(replace(sample, contributions=more)).quantities:
        titles = [share.title for share in q.budget]
        assert len(set(titles)) == len(titles), titles
    shares = {share.title: share for share in q_of(replace(sample, contributions=more), "tin_fraction_lattice").budget}
    assert "fitted to this pattern" in shares["displacement parameters, fitted"].meaning
    assert "held at the values of the catalogue" in shares["displacement parameters, held"].meaning
    assert {"strain state, own", "strain state, shared", "texture"} <= shares.keys()


def q_of(sample, name):
    return next(q for q in explain(sample).quantities if q.name == name)


@pytest.mark.parametrize(
    ("word", "name", "remark"),
    [
        ("tin_at_percent", "tin_fraction", "100 times tin_fraction"),
        ("u_tin_at_percent", "tin_fraction", "100 times the standard uncertainty u of tin_fraction"),
        ("u_tin_independent_at_percent", "tin_fraction", "that would be left if all other samples were known"),
        ("tin_lower_bound_at_percent", "tin_lower_bound", "100 times"),
        ("tin_spread_at_percent", "tin_spread", "100 times"),
        ("u_site_order", "site_order", "standard uncertainty"),
        ("Tc_low_K", "Tc_K", "lower end"),
        ("u_weight_fraction_nb", "weight_fraction_nb", "standard uncertainty"),
        ("tin", "tin_fraction", ""),
        ("domains", "domain_size_nm", ""),
        ("S_a", "S_a", ""),
    ],
)
def test_columns_and_headings_are_names_of_their_quantities(word, name, remark):
    found = one(explained.sample(), word)
    assert found.name == name and remark in found.remark and bool(remark) == bool(found.remark)


def test_every_column_of_the_table_has_an_answer():
    """Each column leads to its quantity, or to a line that says why it cannot."""
    sample = explained.sample()
    for column in columns():
        try:
            assert one(sample, column.name).name == column.quantity
        except UnknownNameError as error:
            assert "which this sample has not" in str(error) or "fit as a whole" in str(error)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (
            {"lot": {"dopant_at_percent": {"Ta": 2.4, "Ti": 1.0}, "u_dopant_at_percent": {"Ta": 0.2}}},
            "2.4 ± 0.2 at.% Ta, 1 at.% Ti",
        ),
        ({"lot": {"dopant_at_percent": {}, "undoped": True}}, "said to hold none"),
        ({"lot": {"undoped": False}}, "nothing was said; taken as an undoped wire, and flagged"),
        ({}, ""),
    ],
)
def test_what_was_said_about_dopants_is_told_in_words(options, said):
    sample = explained.sample()
    assert explain(replace(sample, provenance=replace(sample.provenance, options=options))).dopants == said


@pytest.mark.parametrize(("undoped", "words"), [(True, "is said to hold no dopant"), (False, "nothing was said")])
def test_an_order_without_dopants_says_whether_that_was_said(undoped, words):
    told = explained.sample(dopants={}, told={"undoped": undoped})
    assert words in of(one(told, "site_order"), "site_order").record.remark


def test_who_shares_a_source(folder):
    found = explain_stored(folder, "A-650-100", "tin_fraction_lattice").quantities[0]
    samples = {(share.family, share.group): share.samples for share in found.budget}
    assert samples[("a(tin) scale", "published")] == ("A-700-50", "B-650-100")
    assert samples[("strain state", "A")] == ("A-700-50",)  # the other is ground
    assert samples[("counting", "")] == ()


def test_the_description_and_the_table_are_not_needed(folder, tmp_path):
    target = tmp_path / "old/results/samples"
    target.mkdir(parents=True)
    name = "A-650-100.nc"
    (target / name).write_bytes((folder / "results/samples" / name).read_bytes())
    old, new = (explain_stored(where, "A-650-100", "tin_fraction_order") for where in (tmp_path / "old", folder))
    assert old.quantities[0].steps == new.quantities[0].steps
    assert old.quantities[0].u == new.quantities[0].u
    shared = [share for share in old.quantities[0].budget if share.group]
    assert shared and all(share.samples is None for share in shared)


def test_what_is_read_back_is_explained_alike(folder):
    """The file loses nothing that an explanation needs."""
    stored = replace(explained.sample(), estimates=xr.Dataset())
    read, made = (
        {q.name: (q.value, q.u, q.steps, q.budget, q.fitted) for q in explain(sample).quantities}
        for sample in (read_sample(folder / "results/samples/A-650-100.nc"), stored)
    )
    np.testing.assert_equal(read, made)


def test_correlation_of_order_with_displacement_parameters():
    found = dict(explain(explained.sample()).order_correlations)
    assert found == pytest.approx({"nb3sn_b_iso_2a_nm2": 0.6, "nb3sn_b_iso_6c_nm2": -0.5})


def test_what_not_knowing_a_group_costs():
    by_name = {
        fitted.name: {item.name: item for item in fitted.nuisances}
        for fitted in one(explained.sample(), "order_contrast").fitted
    }
    # One other parameter: the share of the variance is the squared correlation.
    displacement = by_name["nb3sn_a_nm"]["specimen displacement"]
    assert displacement.u == pytest.approx(0.8 * 3e-6)
    assert displacement.strongest == ("specimen_displacement_mm", pytest.approx(-0.8))
    # Two: what knowing both leaves is the inverse of the element of the inverse (information) matrix.
    rows = [1, 2, 3]
    left = 1.0 / np.linalg.inv(explained.CORRELATION[np.ix_(rows, rows)])[0, 0]
    item = by_name["nb3sn_order_contrast"]["displacement parameters"]
    assert item.u == pytest.approx(0.007 * np.sqrt(1.0 - left))
    assert item.strongest[0] == "nb3sn_b_iso_2a_nm2"
    # A correlation of a hundredth is not worth a line.
    assert "background" not in by_name["nb3sn_order_contrast"]


def test_a_prediction_shows_its_relations():
    found = one(explained.sample(), "Tc_K")
    assert (found.value, found.low, found.high, found.unit) == (16.5, 15.0, 17.5, "K")
    first, second = found.relations
    assert (first.source, first.reason) == (f"A. First (2001) ({LABELS['read']})", "")
    assert first.formula == "16 + beta"
    assert second.reason == "too little tin"


def test_a_prediction_begins_with_how_tin_and_order_came_about():
    names = [step.quantity for step in one(explained.sample(), "Tc_K").steps]
    assert {"nb3sn_a_nm", "a_nm", "tin_fraction_lattice", "site_order"} <= set(names)
    assert len(set(names)) == len(names)


def test_a_scale_of_ones_own_is_not_called_a_published_one():
    sample = explained.sample()
    table = sample.contributions
    own = tuple("ours" if s == "a(tin) scale" else g for s, g in zip(table.sources, table.groups, strict=True))
    shares = one(replace(sample, contributions=replace(table, groups=own)), "tin_fraction_lattice").budget
    (said,) = [share.meaning for share in shares if share.family == "a(tin) scale"]
    assert "laboratory's own line" in said and "'ours'" in said


def test_a_prediction_says_with_what_it_was_asked():
    sample = explained.sample()
    inputs, wire = one(sample, "Tc_K").asked
    assert inputs.startswith("the joint estimates of this sample")
    assert wire == "relations found on wire with Ta or on any"
    options = {**sample.provenance.options, "own_files": {"relations": "ab12"}}
    own = replace(sample, provenance=replace(sample.provenance, options=options))
    assert "ab12" in one(own, "Tc_K").asked[-1]


def test_a_quantity_that_cannot_be_given_is_explained_without_numbers():
    found = one(explained.sample(more={"order_contrast": float("nan")}), "tin_fraction_order")
    assert np.isnan(found.value) and np.isnan(found.u)
    assert found.budget == ()


def test_a_sample_without_its_fit_still_has_a_budget():
    bare = replace(explained.sample(), groups={})
    found = one(bare, "tin_fraction_lattice")
    assert found.fitted == () and found.budget
    assert explain(bare).order_correlations == ()


def test_a_failure_has_its_reason_and_no_quantities(folder):
    found = explain_stored(folder, "letters", "a_nm")
    assert found.sample.failed and found.quantities == ()
    assert "no number" in found.sample.status
    assert explain(failure("x", "why", explained.sample().provenance)).sample.failed


@pytest.mark.parametrize(
    ("words", "error", "said"),
    [
        (("studi", "A-650-100"), StudyError, "did you mean 'study'"),
        (("study", "A-650-10"), StudyError, "did you mean 'A-650-100'"),
        (("study", "A-650-100", "tin_fracton"), UnknownNameError, "did you mean 'tin_fraction'"),
        (("empty", "A-650-100"), StudyError, "run the study first"),
    ],
)
def test_names_that_do_not_exist(folder, tmp_path, words, error, said):
    (tmp_path / "study").symlink_to(folder)
    (tmp_path / "empty").mkdir()
    with pytest.raises(error, match=said) as caught:
        explain_stored(tmp_path / words[0], *words[1:])
    assert "\n" not in str(caught.value)


def test_the_order_says_how_it_follows_the_temperature_that_was_told():
    """Against the order that `characterise` gives for the same fit and another temperature of the reaction."""
    orders = {}
    for told in (650.0, 625.0, 675.0):
        one = explained.sample(told={"reaction_temperature_c": told})
        (found,) = explain(one, "site_order").quantities
        orders[told] = found.value, of(found, "site_order").record.remark
    value, remark = orders[650.0]
    shifts = [float(x.replace("−", "-")) for x in re.findall(r"[+−]\d\.\d{3}", remark)]
    # the order is linear in the share; three decimals are printed
    assert shifts == pytest.approx([orders[625.0][0] - value, orders[675.0][0] - value], abs=5.1e-4)
    assert "27 ± 8 % of the tantalum" in remark and "a reaction at 650 °C" in remark
    (plain,) = explain(explained.sample(), "site_order").quantities
    assert "tantalum" not in of(plain, "site_order").record.remark


def test_all_show_the_quantities_of_a_sample_in_one_table():
    sample = explained.sample()
    told = explain(sample)
    brief, every = quantities_table(told), quantities_table(told, every=True)
    assert told.table() == brief and brief in told.parts() and every in told.parts(details=True)
    rows = {row[-1]: row for row in every.texts()}
    assert set(row[-1] for row in brief.texts()) < set(rows) == {one.about.column for one in told.quantities}
    order = next(one for one in told.quantities if one.name == "site_order")
    title, value, unit, independent, sources, _ = rows["site_order"]
    assert (title, unit) == ("site order", "") and value == order.about.value_text(order.value, order.u)
    assert independent == order.about.u_text(order.private)
    assert sources == f"{order.budget[0].title} {100 * (order.budget[0].u / order.u) ** 2:.0f} %"
