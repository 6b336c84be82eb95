"""The table of all samples: the columns that were promised, and numbers anybody can recompute."""

import csv
import re
from dataclasses import replace

import numpy as np
import pytest

from tests import descriptions
from tests.descriptions import changed, measured
from tests.drawn import drawn
from tests.results import made
from xrdorder.comparison import grouping
from xrdorder.comparison.variants import fit_to_compare
from xrdorder.description.study import DoseReference
from xrdorder.estimates.relation_columns import with_relations
from xrdorder.exceptions import StudyError
from xrdorder.material import PUBLISHED_SCALE
from xrdorder.quantities.registry import columns
from xrdorder.results.collate import RESULTS_CSV, RESULTS_NC, collate, read_results, write_results
from xrdorder.results.sample_file import StoredSample
from xrdorder.treatments import LoggedTreatment, Schedule, Step
from xrdorder.uncertainty import Contributions

COLUMNS = (
    "sample, status, a_nm, u_a_nm, order_contrast, u_order_contrast, site_order, u_site_order, S_a, u_S_a, "
    "S_b, u_S_b, tin_at_percent, u_tin_at_percent, u_tin_independent_at_percent, tin_lower_bound_at_percent, "
    "domain_size_nm, u_domain_size_nm, microstrain, u_microstrain, tin_spread_at_percent, a15_fraction, "
    "u_a15_fraction, Tc_K, Tc_low_K, Tc_high_K, Bc2_0K_T, Bc2_0K_low_T, Bc2_0K_high_T, "
    "Bc2_4K2_T, Bc2_4K2_low_T, Bc2_4K2_high_T, "
    "Bc2_slope_T_per_K, Bc2_slope_low_T_per_K, Bc2_slope_high_T_per_K, "
    "resistivity_uohm_cm, resistivity_low_uohm_cm, resistivity_high_uohm_cm, r_wp, chi2_reduced, flags, "
    "weight_fraction_nb3sn, u_weight_fraction_nb3sn, weight_fraction_nb, u_weight_fraction_nb, "
    "lot, treatment, peak_c, hold_at_peak_h, dose_h, dose_low_h, dose_high_h, hours_above, "
    "position_m, date, own, weight_fraction_limit_nb3sn, weight_fraction_limit_nb, quality, information_missing"
).split(", ")
"""The columns that programs reading the table rely on: their names and order are a promise."""

PHASES = ("nb3sn", "nb")


@pytest.fixture
def study(tmp_path):
    lot = descriptions.lot(
        "A", route="internal-tin", dopant_at_percent={"Ta": 2.4}, u_dopant_at_percent={"Ta": 0.3}
    )
    schedule = Schedule((Step(210, 48, 25), Step(650, 100, 50)))
    samples = tuple(
        descriptions.sample(name, lot, tmp_path / f"{name}.xy", treatment=schedule if name == "good" else None)
        for name in ("good", "none", "bad")
    )
    return descriptions.study(tmp_path, samples, PHASES, title="A study")


@pytest.fixture
def dataset(study):
    fraction = made.contributions().select(["weight_fraction_nb"])
    none = StoredSample(
        "none",
        "no A15",
        values={"weight_fraction_nb": 1.0, "upper_limit_nb3sn": 0.004},
        contributions=fraction,
        quality={"r_wp": 0.05},
    )
    bad = StoredSample("bad", 'failed: line 7: "x", not a number')
    return estimated(collate(study, [made.sample("good"), none, bad], PHASES))


def estimated(collated):
    """Made draws for the first sample, none for the others."""
    none = [np.nan] * (collated.sizes["sample"] - 1)
    return with_relations(drawn(collated, {"Tc_K": [16.5, *none], "tin_fraction": [0.235, *none]}))


def rows(folder):
    with (folder / RESULTS_CSV).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_columns_are_exactly_those_promised(dataset, tmp_path):
    write_results(dataset, tmp_path)
    header = (tmp_path / RESULTS_CSV).read_text(encoding="utf-8").split("\n")[0]
    assert header.split(",") == COLUMNS


@pytest.mark.slow
def test_measured_values_stand_beside_what_patterns_gave(dataset, study, tmp_path):
    own = (
        measured("Tc_K", 17.2, 0.1, "50 %"),
        measured("Bc2_T", 25.1, 0.3, "90 %", temperature_k=4.2, remark="pulsed field"),
    )
    with_own = changed(study, samples=(changed(study.samples[0], measured=own), *study.samples[1:]))
    samples = [made.sample("good"), StoredSample("none", "no A15"), StoredSample("bad", "failed: x")]
    plain, found = (collate(one, samples, PHASES) for one in (study, with_own))
    write_results(found, tmp_path)
    read = read_results(tmp_path)
    assert read["measured_quantity"].values.tolist() == ["Tc_K", "Bc2_T"]
    assert read["measured_value"].values.tolist() == [17.2, 25.1]
    assert read["u_measured_value"].values.tolist() == [0.1, 0.3]
    assert np.isnan(read["measured_temperature_k"].values[0]) and read["measured_temperature_k"].values[1] == 4.2
    assert read["measured_remark"].values.tolist() == ["", "pulsed field"]
    added = [name for name in found.variables if found[name].dims == ("measurement",)]
    assert found.drop_vars(added).drop_attrs().identical(plain.drop_vars(added).drop_attrs())


def test_doses_places_and_dates_follow_the_description(dataset, study, tmp_path):
    samples = [made.sample("good"), StoredSample("none", "no A15"), StoredSample("bad", "failed: x")]
    # what no sample tells is in no variable, and an empty column
    assert not {"position", "date"} & set(dataset.variables)
    assert np.isfinite(dataset["dose_h"].values).tolist() == [True, False, False]
    assert "from memory" in dataset["dose_h"].attrs["source"]
    good, none, bad = study.samples
    log = LoggedTreatment(np.array([0.0, 10.0, 110.0]), np.array([20.0, 690.0, 690.0]))
    placed = changed(good, position_m=12.5, date="2026-03-14")
    told = (placed, changed(none, treatment=log), changed(bad, position_m=0.0))
    dose = DoseReference(q_kj_per_mol=250.0, u_q_kj_per_mol=25.0, reference_c=680.0)
    found = collate(changed(study, samples=told, dose=dose), samples, PHASES)
    write_results(found, tmp_path)
    one, two, three = rows(tmp_path)
    assert (one["position_m"], one["date"], two["position_m"], two["date"]) == ("12.5", "2026-03-14", "", "")
    assert (three["position_m"], three["dose_h"], three["treatment"]) == ("0", "", "")
    assert (one["treatment"], one["peak_c"], one["hold_at_peak_h"]) == ("210/48 + 650/100 h", "650", "100")
    for row, treatment in ((one, good.treatment), (two, log)):
        dose = treatment.dose(250.0, 25.0, 680.0)
        assert [float(row[name]) for name in ("dose_h", "dose_low_h", "dose_high_h")] == pytest.approx(
            [dose.hours, dose.low, dose.high], rel=1e-9
        )  # ten digits are written
    assert (two["treatment"], two["lot"]) == (log.short_name, "A")
    # what comparisons are ordered by
    read = read_results(tmp_path)
    labels, numbers = grouping(read, "dose")
    assert labels[2] == "" and numbers[1] == pytest.approx(log.dose_h(250.0, 680.0))
    assert grouping(read, "position")[0] == ["12.5 m", "", "0 m"]
    assert grouping(read, "date")[0] == ["2026-03-14", "", ""]


def test_what_lots_are_made_of(dataset, study):
    assert dataset["filament"].values.tolist() == ["", "", ""] and "lot_a15_area_fraction" not in dataset
    wire = changed(study.samples[0].lot, filament="Nb", barrier="Ta", a15_area_fraction=0.5, u_a15_area_fraction=0.02)
    told = changed(study, samples=(changed(study.samples[0], lot=wire), *study.samples[1:]))
    found = collate(told, [made.sample("good"), StoredSample("none", "no A15")], PHASES)
    assert (found["filament"].values[0], found["barrier"].values[0]) == ("Nb", "Ta")
    np.testing.assert_array_equal(found["lot_a15_area_fraction"].values, [0.5, np.nan])
    np.testing.assert_array_equal(found["u_lot_a15_area_fraction"].values, [0.02, np.nan])


def test_a_scale_of_the_laboratory_is_quoted(study):
    samples = [made.sample("good"), StoredSample("none", "no A15"), StoredSample("bad", "failed: x")]
    ours = replace(PUBLISHED_SCALE, name="ours", source="seven cast buttons, electron probe")
    found = collate(study, samples, PHASES, ours, ["our-tc", "our-field"])
    assert found.attrs["own_relations"] == "our-tc, our-field"
    assert set(found["own"].values) == {"tin scale 'ours'; relations our-tc, our-field (beside the estimates)"}
    assert "own" not in collate(study, samples, PHASES)
    source = estimated(found)["tin_at_percent"].attrs["source"]
    assert source == "the laboratory's own: seven cast buttons, electron probe"
    assert (found.attrs["tin_scale"], found.attrs["tin_scale_source"]) == ("ours", ours.source)
    assert "Godeke" in estimated(collate(study, samples, PHASES))["tin_at_percent"].attrs["source"]


def test_the_table_says_what_was_found(dataset, tmp_path):
    write_results(dataset, tmp_path)
    good, none, bad = rows(tmp_path)
    assert good["status"] == "ok"
    assert float(good["a_nm"]) == 0.52880
    assert float(good["tin_at_percent"]) == pytest.approx(23.5)  # a fraction inside
    assert float(good["tin_lower_bound_at_percent"]) == pytest.approx(23.0)
    # alone in its study, nothing of its doubt is shared
    assert float(good["u_tin_at_percent"]) == pytest.approx(1.5, abs=0.03)
    assert float(good["u_tin_independent_at_percent"]) == pytest.approx(float(good["u_tin_at_percent"]), rel=1e-3)
    limits = [float(good[f"Tc{part}_K"]) for part in ("_low", "", "_high")]
    assert limits == pytest.approx([14.5, 16.5, 17.5], abs=0.05)
    assert float(good["Bc2_4K2_low_T"]) == pytest.approx(20.5, abs=0.05)
    assert good["flags"] == "strain-state; texture"
    assert float(good["weight_fraction_nb"]) == 0.1
    assert none["status"] == "no A15"
    assert float(none["weight_fraction_nb"]) == 1.0
    assert none["a_nm"] == none["Tc_K"] == none["weight_fraction_nb3sn"] == ""
    assert none["weight_fraction_limit_nb3sn"] == "0.004" and none["weight_fraction_limit_nb"] == ""
    assert bad["status"] == 'failed: line 7: "x", not a number'
    assert all(bad[name] == "" for name in COLUMNS if name not in ("sample", "status", "lot"))


# names that the database of UDUNITS-2 holds (udunits2-base.xml, -derived.xml, -accepted.xml, -common.xml)
UDUNITS = {"1", "nm", "K", "T", "A", "m", "microohm", "cm", "percent", "degree_Celsius", "hour", "degree", "degree2",
           "nm2", "mm", "count", "s"}  # fmt: skip
IN_OTHER_UNITS = {
    "value": "quantity_units", "contribution": "quantity_units", "plain_value": "plain_quantity_units",
    "relation_median": "relation_units", "relation_low": "relation_units", "relation_high": "relation_units",
    "measured_value": "measured_units", "u_measured_value": "measured_units", "estimate_draws": "target_units",
}  # fmt: skip


def parsed(units):
    return bool(units) and set(re.split("[ /]", units)) <= UDUNITS


def test_every_variable_has_a_unit_that_others_can_read_and_a_meaning(dataset):
    for name, variable in dataset.variables.items():
        assert variable.attrs.get("long_name"), name
        if variable.dtype.kind == "O":
            assert "units" not in variable.attrs, name
        elif name in IN_OTHER_UNITS:
            beside = dataset[IN_OTHER_UNITS[name]]
            assert set(beside.dims) <= set(variable.dims), name
            assert all(parsed(units) for units in beside.values), name
        else:
            assert parsed(variable.attrs["units"]), (name, variable.attrs["units"])


def test_the_file_says_what_it_is_and_what_made_it(dataset):
    assert dataset.attrs["Conventions"] == "CF-1.8"
    assert dataset.attrs["title"]
    assert dataset.attrs["history"].startswith("2025-01-01T00:00:00+00:00: collated by xrdorder ")


def test_dimensions_and_columns(dataset):
    assert {"sample", "phase", "quantity", "source", "relation"} <= set(dataset.sizes)
    for column in columns():
        assert dataset[column.name].dims == ("sample",)


def test_published_scales_are_named(dataset):
    assert "Godeke" in dataset["tin_at_percent"].attrs["source"]
    assert "eq. 1" in dataset["S_a"].attrs["source"]
    assert "source" not in dataset["r_wp"].attrs


def test_estimates_name_their_publications_and_what_each_relation_says_stands_beside(dataset):
    assert "Godeke" in dataset["Tc_K"].attrs["source"]
    good, bad = (dataset.sel(relation="Tc_K: baumgartner-2017-tantalum", sample=name) for name in ("good", "bad"))
    assert "Baumgartner" in good["relation_source"].item() and good["relation_reason"].item() == ""
    assert good["relation_low"].item() < good["relation_median"].item() < good["relation_high"].item()
    assert bad["relation_reason"].item() == "no result" and np.isnan(bad["relation_median"].item())


def test_what_was_done_to_the_wire_stands_beside_the_numbers(dataset):
    good = dataset.sel(sample="good")
    assert good["treatment"].item() == "210/48 + 650/100 h"
    assert (good["peak_c"].item(), good["hold_at_peak_h"].item()) == (650.0, 100.0)
    assert (good["lot"].item(), good["route"].item()) == ("A", "internal-tin")
    assert np.isnan(dataset["peak_c"].sel(sample="bad").item())


def test_limits_of_phases_that_were_not_found(dataset):
    assert dataset["weight_fraction_limit"].sel(sample="none", phase="nb3sn").item() == 0.004


def test_the_verdict_stands_last(dataset, tmp_path):
    write_results(dataset, tmp_path)
    assert [row["quality"] for row in rows(tmp_path)] == [made.WORDS, "", ""]
    assert dataset["quality"].sel(sample="good").item() == made.WORDS


def test_phases_that_fits_took_in_or_put_together_follow_those_asked_for(study, tmp_path):
    table = made.contributions().select(["weight_fraction_nb"])
    renamed = Contributions(("weight_fraction_nb-ta",), table.sources, table.values, table.groups)
    merged = StoredSample(
        "none", "ok", values={"weight_fraction_nb-ta": 0.2, "upper_limit_nbo": 0.01}, contributions=renamed
    )
    found = collate(study, [made.sample("good"), merged], PHASES)
    assert found["phase"].values.tolist() == ["nb3sn", "nb", "nb-ta", "nbo"]
    assert found["weight_fraction"].sel(phase="nb-ta").values == pytest.approx([np.nan, 0.2], nan_ok=True)
    assert found["weight_fraction_limit"].sel(sample="none", phase="nbo").item() == 0.01
    write_results(found, tmp_path)
    good, other = rows(tmp_path)
    k = list(good).index("weight_fraction_nb")
    assert list(good)[k : k + 3] == ["weight_fraction_nb", "u_weight_fraction_nb", "weight_fraction_nb-ta"]
    assert good["weight_fraction_nb-ta"] == other["weight_fraction_nb"] == ""
    # the contributions of weight_fraction_nb are those of 10 %, each in per mille: 3, -4, 12, 84
    u = 0.1 * np.sqrt(9 + 16 + 144 + 84**2) / 1000
    assert float(other["u_weight_fraction_nb-ta"]) == pytest.approx(u, rel=1e-9)


def test_quantities_of_some_samples_only(study):
    """A tail in one, two populations in another: each has its own, and nothing of the other."""
    table = made.contributions()
    with_tail = np.vstack([table.values, 1e-5 * np.ones(4)])
    tail = Contributions((*table.quantities, "lattice_tail_nm"), table.sources, with_tail, table.groups)
    one = made.sample("good", contributions=tail, values={**made.VALUES, "lattice_tail_nm": 2e-4})
    two = made.sample("none", values={**made.VALUES, "order_contrast_second_table": 0.94})
    found = collate(study, [one, two], PHASES)
    tails = found["value"].sel(quantity="lattice_tail_nm")
    assert tails.values == pytest.approx([2e-4, np.nan], nan_ok=True)
    assert found["contribution"].sel(quantity="lattice_tail_nm", sample="none").isnull().all()
    plain = found["plain_value"].sel(plain_quantity="order_contrast_second_table")
    assert plain.values == pytest.approx([np.nan, 0.94], nan_ok=True)
    assert found["a_nm"].values.tolist() == [made.VALUES["a_nm"]] * 2


def test_failures_are_counted(dataset):
    assert (dataset.attrs["samples"], dataset.attrs["failed"], dataset.attrs["no_a15"]) == (3, 1, 1)


def test_results_come_back(dataset, tmp_path):
    write_results(dataset, tmp_path)
    found = read_results(tmp_path)
    assert found.identical(dataset)


@pytest.mark.slow
def test_a_study_of_failures_only_is_still_a_table(study, tmp_path):
    dataset = collate(study, [StoredSample(s.name, "failed: x") for s in study.samples], PHASES)
    write_results(dataset, tmp_path)
    assert [row["status"] for row in rows(tmp_path)] == ["failed: x"] * 3
    assert read_results(tmp_path)["a_nm"].isnull().all()


def test_missing_and_damaged_results_are_told_so(tmp_path):
    with pytest.raises(StudyError, match="no such results; run the study first"):
        read_results(tmp_path)
    (tmp_path / RESULTS_NC).write_bytes(b"not netCDF")
    with pytest.raises(StudyError, match="cannot be read") as caught:
        read_results(tmp_path)
    assert "\n" not in str(caught.value)


@pytest.mark.slow
def test_results_that_are_there_already_keep_their_date(dataset, tmp_path):
    write_results(dataset, tmp_path)
    dates = {path: path.stat().st_mtime_ns for path in tmp_path.iterdir()}
    assert len(dates) == 2
    write_results(dataset, tmp_path)
    assert {path: path.stat().st_mtime_ns for path in tmp_path.iterdir()} == dates
    write_results(dataset.assign(a_nm=dataset["a_nm"] + 1e-4), tmp_path)
    assert all(path.stat().st_mtime_ns > date for path, date in dates.items())


def test_a_pattern_under_two_names_is_one_wire_to_compare(study):
    ones = [replace(made.sample("good"), name=name) for name in ("good", "none", "bad")]
    assert len({digest for one in ones for digest in one.provenance.input_sha256.values()}) == 1
    own = replace(ones[2], provenance=replace(ones[2].provenance, input_sha256={"bad.xy": "another"}))
    results = collate(study, [*ones[:2], own], PHASES)
    assert results["same_pattern_as"].values.tolist() == ["", "good", ""]
    kept, left_out = fit_to_compare(results)
    assert kept["sample"].values.tolist() == ["good", "bad"]
    assert left_out == {"none": "the pattern of good once more"}
