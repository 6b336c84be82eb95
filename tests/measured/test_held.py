"""A study held against its measured values: each beside what the pattern says of it, and what may be adopted."""

import csv
import math
import re
import tomllib
from dataclasses import replace

import numpy as np
import pytest

from tests import descriptions
from tests.descriptions import changed
from tests.drawn import drawn
from tests.results import made
from xrdorder.description.own_files import OwnFiles
from xrdorder.exceptions import StudyError, XrdorderError
from xrdorder.measured import held as measured_study
from xrdorder.measured.agreement import Agreement, Line, agreements, routes, straight_line
from xrdorder.measured.held import COLUMNS, Held, chosen_adjustments, hold, verdict, write_rows
from xrdorder.measured.relation_adjustment import adjustment_text, write_adjustments
from xrdorder.measured.rows import Row, rows, subjects
from xrdorder.relations import PUBLISHED
from xrdorder.results.collate import collate
from xrdorder.results.open_study import OpenStudy

TC = descriptions.measured("Tc_K", 16.9, 0.1, "50 %")
MEASURED = (
    TC,
    descriptions.measured("Bc2_T", 24.0, 0.3, "90 %", temperature_k=4.2),
    descriptions.measured("Bc2_T", 16.0, 0.3, "90 %", temperature_k=8.0),
    descriptions.measured("irreversibility_field_T", 21.0, 0.4, temperature_k=4.2),
    descriptions.measured("tin_at_percent", 23.9, 0.4, remark="12 points"),
    descriptions.measured("grain_size_nm", 140.0, 15.0),
    descriptions.measured("rrr_copper", 150.0, 10.0),
    descriptions.measured("resistivity_ratio_a15", 3.0, 0.2),
    descriptions.measured("a15_area_fraction", 0.5, 0.02),
)


def published(wire):
    return PUBLISHED


def opened(tmp_path, measured=MEASURED, lots=("A", "B")):
    """Three samples with results and one without; the first of each lot has measured values."""
    described = tuple(
        descriptions.sample(name, descriptions.lot(lot, undoped=True), measured=measured if first else ())
        for name, lot, first in (
            ("a1", lots[0], True), ("a2", lots[0], False), ("b1", lots[1], bool(lots[1] == "B")),
        )
    )  # fmt: skip
    study = descriptions.study(tmp_path, described, ("nb3sn", "nb"), title="A study")
    found = collate(study, [made.sample(one.name) for one in described], study.phases)
    return OpenStudy(study, drawn(found, {"Tc_K": [16.5] * 3, "tin_fraction": [0.2353] * 3}))


def by(found, quantity, condition=""):
    return [row for row in found if row.measured.quantity == quantity and condition in row.measured.words]


def test_every_value_stands_beside_what_the_pattern_says_of_the_same_thing(tmp_path):
    held = opened(tmp_path)
    chosen = [one for one in subjects(held) if one.name == "a1"]
    assert chosen[0].wire == "binary" and chosen[0].values["tin_lower_bound"] == 0.23
    found = rows(chosen, held.results, PUBLISHED)
    assert {row.measured.quantity for row in found} == {one.quantity for one in MEASURED}
    (tc,) = by(found, "Tc_K")
    assert tc.comparable and 10.0 < tc.low < tc.value < tc.high < 18.6
    assert tc.difference == pytest.approx(16.9 - tc.value)
    side = tc.high - tc.value if tc.difference > 0 else tc.value - tc.low
    assert tc.u == pytest.approx(math.hypot(0.1, side))
    (cold,), (warm,) = by(found, "Bc2_T", "4.2 K"), by(found, "Bc2_T", "8 K")
    assert cold.value > warm.value + 3.0  # (1 - t^1.52) falls by a quarter
    (irreversible,) = by(found, "irreversibility_field_T")
    assert "within their" not in irreversible.note
    higher = replace(chosen[0], measured=(*MEASURED[:3], changed(MEASURED[3], value=24.5)))
    (above,) = by(rows([higher], held.results, PUBLISHED), "irreversibility_field_T")
    assert "measured above the Bc2 of 24 T" in above.note
    assert irreversible.value == cold.value and not irreversible.comparable and "below which" in irreversible.note
    (tin,) = by(found, "tin_at_percent")
    assert (tin.by, tin.value) == ("X-rays alone", pytest.approx(23.53))
    (grain,) = by(found, "grain_size_nm")
    assert grain.value == 110.0 and not grain.comparable and "used for pinning" in grain.note
    for quantity in ("rrr_copper", "resistivity_ratio_a15", "a15_area_fraction"):
        (row,) = by(found, quantity)
        assert math.isnan(row.value) and row.note.startswith("not estimated")


def test_domains_larger_than_grains_cannot_be(tmp_path):
    small = (descriptions.measured("grain_size_nm", 60.0, 5.0),)
    held = opened(tmp_path, small)
    (row,) = rows(subjects(held)[:1], held.results, PUBLISHED)
    assert "which cannot be" in row.note


def test_a_sample_without_result_has_rows_without_estimate(tmp_path):
    held = opened(tmp_path)
    none = held.results.assign(estimate_draws=held.results["estimate_draws"] * np.nan)
    one = subjects(held)[0]
    found = rows([replace(one, values={}, contributions=made.contributions().select([]))], none, PUBLISHED)
    assert all(math.isnan(row.value) for row in found) and all(row.note for row in found)


def test_currents_are_compared_with_the_first_of_their_lot(tmp_path):
    held = opened(tmp_path, lots=("A", "A"))
    ones = subjects(held)
    current = descriptions.measured("critical_current_a", 500.0, 5.0, temperature_k=4.2, field_t=5.0)
    grain = (descriptions.measured("grain_size_nm", 120.0, 10.0), descriptions.measured("a15_area_fraction", 0.5, 0.01))
    first = replace(ones[0], measured=(current, *grain))
    # the same material in half of the area: half of the current
    half = descriptions.measured("a15_area_fraction", 0.25, 0.005)
    second = replace(ones[1], measured=(changed(current, value=250.0), grain[0], half))
    base, other = by(rows([first, second], held.results, PUBLISHED), "critical_current_a")
    # near its Bc2 a sample may be normal, and no ratio is given
    high = [replace(one, measured=(changed(current, field_t=25.0), *one.measured[1:])) for one in (first, second)]
    assert "may be normal" in by(rows(high, held.results, PUBLISHED), "critical_current_a")[1].note
    assert math.isnan(base.value) and "compared with it" in base.note
    assert other.by == "ratio to a1" and other.note.endswith("and of the A15 areas")
    # what is private to each sample moves the median of the ratio by some per cent
    assert other.value == pytest.approx(250.0, rel=0.1)
    assert other.low < 250.0 < other.high
    # sizes of two kinds do not compare: one that only the reference has does not tilt the ratio
    plain = [replace(one, measured=(current,)) for one in ones[:2]]
    seen = replace(plain[0], measured=(current, changed(grain[0], value=240.0)))
    without, with_one = (
        by(rows([one, plain[1]], held.results, PUBLISHED), "critical_current_a")[1].value for one in (plain[0], seen)
    )
    assert with_one == without


def test_a_study_is_held_lot_by_lot_and_the_table_says_it(tmp_path):
    study = opened(tmp_path)
    held = hold(study)
    assert list(held.agreements) == [("A", "Tc_K"), ("A", "Bc2_T"), ("B", "Tc_K"), ("B", "Bc2_T")]
    assert list(hold(study, "B").agreements) == [("B", "Tc_K"), ("B", "Bc2_T")]
    for found in held.agreements.values():
        assert sum(one.probability for one in found if not one.reason) == pytest.approx(1.0)
    path = tmp_path / "measured.csv"
    write_rows(held.rows, path)
    table = list(csv.DictReader(path.open(encoding="utf-8")))
    assert tuple(table[0]) == COLUMNS and len(table) == len(held.rows)
    tc = next(row for row in table if row["sample"] == "a1" and row["quantity"] == "Tc_K")
    assert (tc["measured"], tc["u_measured"], tc["criterion"], tc["lot"]) == ("16.9", "0.1", "50 %", "A")
    assert float(tc["difference"]) == pytest.approx(16.9 - float(tc["estimate"]), abs=2e-4)  # six digits each
    assert next(row for row in table if row["quantity"] == "rrr_copper")["estimate"] == ""
    assert next(row for row in table if row["quantity"] == "tin_at_percent")["remark"] == "12 points"


def test_nothing_to_hold_against_is_said(tmp_path):
    with pytest.raises(StudyError, match=r"no sample has measured values; give them in study.toml under \[samples"):
        hold(opened(tmp_path, ()))
    with pytest.raises(StudyError, match="no sample is of lot 'C'; known: A, B"):
        hold(opened(tmp_path), "C")


def agreed(name="godeke-2006-boltzmann", **numbers):
    entry = PUBLISHED.relation(name)
    usual = {"probability": 0.95, "difference": 0.6, "u_own": 0.1, "u_common": 0.8, "samples": ("a1", "a2")}
    return Agreement((entry,), **{**usual, **numbers})


def test_verdicts_say_how_sure_they_are():
    other = agreed("devantay-1981-line", probability=0.05)
    assert verdict([agreed(), other]) == (
        "godeke-2006-boltzmann fits best of 2, probability 0.95 (2 samples); measured less predicted +0.60 ± 0.10 K, "
        "significant for this wire (alpha = 0.05), not beyond the uncertainty that all samples share, 0.80 K"
    )
    close = [agreed(probability=0.6, difference=0.1), agreed("devantay-1981-line", probability=0.4)]
    assert verdict(close) == (
        "not decided: godeke-2006-boltzmann 0.60, devantay-1981-line 0.40 of 2 (2 samples); measured less predicted "
        "+0.10 ± 0.10 K, not significant (alpha = 0.05)"
    )
    assert verdict([agreed(difference=2.0)]).endswith("also beyond the uncertainty that all samples share, 0.80 K")
    # two standard uncertainties are beyond 1.96 of them
    at_two = [agreed(probability=0.6, difference=0.31, u_own=0.155), agreed("devantay-1981-line", probability=0.4)]
    assert "+0.31 ± 0.16 K, significant for this wire" in verdict(at_two)
    assert verdict([agreed(reason="a1 has no site_order")]) == "no relation could be compared: a1 has no site_order"


def test_an_offset_is_written_as_an_entry_that_names_it_as_the_laboratorys_own(tmp_path):
    lines = {"shifted": Line(0.6, 1.0, 0.0, 0.1), "tilted": Line(4.0, 0.8, 0.1, 0.2, -0.99)}
    one = agreed(criteria=("50 %", "50 %"), **lines)
    path = tmp_path / "own.toml"
    write_adjustments([adjustment_text(one, "A 7", 'the "first"', "Ta")], path)
    (entry,) = tomllib.loads(path.read_text(encoding="utf-8"))["adjustment"]
    assert entry == {
        "of": "godeke-2006-boltzmann",
        "name": "godeke-2006-boltzmann-a-7",
        "offset": 0.6,
        "u_offset": 0.1,
        "wire": "Ta",
        "criterion": "50 %",
        "source": "measured values of 2 samples of lot A 7, study 'the \"first\"'",
        "samples": ["a1", "a2"],
    }
    tilted = tomllib.loads(adjustment_text(one, "A", "t", slope=True))["adjustment"][0]
    assert (tilted["offset"], tilted["slope"], tilted["u_offset"]) == (4.0, 0.8, 0.2)
    assert (tilted["u_slope"], tilted["correlation"]) == (0.1, -0.99)
    mixed = adjustment_text(replace(one, criteria=("50 %", "onset")), "A", "t")
    assert "criterion" not in tomllib.loads(mixed)["adjustment"][0]
    with pytest.raises(StudyError, match="is there already; name another file"):
        write_adjustments([], path)
    with pytest.raises(StudyError, match="there is no folder"):
        write_adjustments([], tmp_path / "none" / "own.toml")


@pytest.mark.parametrize(
    ("one", "slope", "complaint"),
    [
        (agreed(reason="a1 has no site_order"), False, "was not compared, a1 has no site_order; take another"),
        (agreed(), False, "a sample lies outside its validity at its central value; take another"),
        (agreed(shifted=Line(0.6, 1.0, 0.0, 0.1)), True, "2 measured samples are too few for a slope"),
    ],
)
def test_what_cannot_be_adopted_says_why(one, slope, complaint):
    with pytest.raises(StudyError, match=f"relation 'godeke-2006-boltzmann': {complaint}"):
        adjustment_text(one, "A", "t", slope=slope)


def test_adopting_needs_one_lot_and_a_relation_that_was_compared():
    one = agreed(shifted=Line(0.6, 1.0, 0.0, 0.1))
    two_lots = Held("t", (), {("A", "Tc_K"): (one,), ("B", "Tc_K"): (one,)}, {"A": "any", "B": "any"})
    with pytest.raises(StudyError, match="of several lots; say whose with --lot: A, B"):
        chosen_adjustments(two_lots)
    single = Held("t", (), {("A", "Tc_K"): (one,)}, {"A": "any"})
    assert len(chosen_adjustments(single).entries) == 1
    assert len(chosen_adjustments(single, ["godeke-2006-boltzmann"]).entries) == 1
    with pytest.raises(StudyError, match="relation 'godeke': was not compared; did you mean 'godeke-2006-boltzmann'"):
        chosen_adjustments(single, ["godeke"])
    with pytest.raises(StudyError, match="neither Tc nor Bc2 was measured"):
        chosen_adjustments(Held("t", (), {}, {}))


LINES = {"shifted": Line(0.6, 1.0, 0.0, 0.1), "tilted": Line(4.0, 0.5, 0.1, 0.2, -0.99)}
OTHER = agreed("devantay-1981-line", probability=0.05)


@pytest.mark.parametrize(
    ("best", "slope", "why"),
    [
        (agreed(probability=0.6, **LINES), False, "not decided, godeke-2006-boltzmann 0.60, devantay-1981-line 0.05"),
        (agreed(difference=0.19, **LINES), False, "no significant offset of godeke-2006-boltzmann, +0.19 ± 0.10 K"),
        (agreed(), False, "a sample lies outside the validity of godeke-2006-boltzmann at its central value"),
        (agreed(shifted=LINES["shifted"]), True, "2 samples are too few for a slope of godeke-2006-boltzmann"),
        (
            agreed(shifted=LINES["shifted"], tilted=Line(4.0, 0.85, 0.1, 0.2)), True,
            "no significant slope of godeke-2006-boltzmann, 0.85 ± 0.10",
        ),
    ],
)  # fmt: skip
def test_what_is_not_clear_is_left_out_unless_it_is_named(best, slope, why):
    clear = agreed("senatore-2013-slope", **LINES)
    held = Held("t", (), {("A", "Tc_K"): (best, OTHER), ("A", "Bc2_T"): (clear,)}, {"A": "any"})
    entries, left_out = chosen_adjustments(held, slope=slope)
    assert len(entries) == 1 and "senatore-2013-slope-a" in entries[0]
    assert left_out[0].startswith(f"Tc: {why}") and len(left_out) == 1
    alone = Held("t", (), {("A", "Tc_K"): (best, OTHER)}, {"A": "any"})
    with pytest.raises(StudyError, match=f"nothing is clear enough to adopt: Tc: {re.escape(why)}"):
        chosen_adjustments(alone, slope=slope)
    named = replace(best, **LINES)
    held = Held("t", (), {("A", "Tc_K"): (named, OTHER)}, {"A": "any"})
    entries, left_out = chosen_adjustments(held, ["godeke-2006-boltzmann"], slope=slope)
    assert len(entries) == 1 and not left_out


def adopted(**changes):
    """The relation as it is after adoption on the samples a1 and a2."""
    entry = replace(
        PUBLISHED.relation("godeke-2006-boltzmann"), name="ours", checks=(), samples=("a1", "a2"),
        replaces="godeke-2006-boltzmann",
    )  # fmt: skip
    return replace(agreed(**LINES), route=(replace(entry, **changes),))


def test_an_adopted_relation_held_against_its_own_samples_is_warned_of():
    assert verdict([adopted(), OTHER]).endswith("; ours was adopted on these samples: that it fits them proves nothing")
    assert "ours was adopted on 1 of these 2 samples" in verdict([OTHER, adopted(samples=("a2", "z"))])
    assert "adopted" not in verdict([adopted(samples=("y", "z")), OTHER])
    assert "on which samples ours was adopted is not told" in verdict([adopted(samples=()), OTHER])


def test_nothing_is_adopted_on_top_of_what_was_adopted():
    held = Held("t", (), {("A", "Tc_K"): (adopted(), OTHER)}, {"A": "any"})
    with pytest.raises(StudyError, match="Tc: ours is adopted already"):
        chosen_adjustments(held)
    for slope in (False, True):
        with pytest.raises(StudyError, match=r"'ours': is adopted itself.*take 'godeke-2006-boltzmann'"):
            chosen_adjustments(held, ["ours"], slope=slope)


def test_the_doubt_of_an_adopted_line_is_that_of_the_fit(tmp_path):
    """Round: fit a line, write it, read it: its doubt at the predictions is that of least squares."""
    from xrdorder.relations import read_relations

    x, sigma = np.array([15.0, 16.0, 16.5, 17.5]), np.full(4, 0.2)
    y = np.array([15.5, 16.2, 17.0, 17.6])
    one = agreed(shifted=LINES["shifted"], tilted=straight_line(x, y, sigma, slope=True))
    path = tmp_path / "own.toml"
    write_adjustments([adjustment_text(one, "A", "t", slope=True)], path)
    (own,) = read_relations(path)
    design = np.column_stack([np.ones(4), x])
    covariance = np.linalg.inv(design.T @ design) * 0.2**2
    chi2 = np.sum((y - own.scatter.offset - own.scatter.slope * x) ** 2) / 0.2**2 / 2.0
    line = np.einsum("ij,jk,ik->i", design, covariance * max(1.0, chi2), design)
    old = PUBLISHED.relation("godeke-2006-boltzmann").scatter.at(0.22, x)
    found = own.scatter.at(0.22, own.scatter.offset + own.scatter.slope * x)
    # nine digits of offset and slope, which are known a hundred times worse than the line
    np.testing.assert_allclose(found**2 - (own.scatter.slope * old) ** 2, line, rtol=1e-4)


def test_an_adopted_offset_makes_the_relation_meet_what_was_measured(tmp_path):
    """Round: fit an offset, write it, read it as a library, estimate again."""
    from xrdorder.relations import read_relations

    one = subjects(opened(tmp_path, (TC,)))[0]
    found = next(
        a for a in agreements([one], "Tc_K", routes("Tc_K", PUBLISHED, one.wire)) if a.shifted is not None
    )
    path = tmp_path / "own.toml"
    write_adjustments([adjustment_text(found, "A", "t")], path)
    own = next(entry for entry in read_relations(path) if entry.name == f"{found.route[0].name}-a")
    (after,) = agreements([one], "Tc_K", [(own,)])
    assert after.difference == pytest.approx(0.0, abs=1e-4)  # the file holds six digits
    study = opened(tmp_path, (TC,))
    with_own = replace(study, study=changed(study.study, relations=path))
    names = {a.route[0].name for a in hold(with_own).agreements["A", "Tc_K"]}
    assert {own.name, found.route[0].name} <= names  # both are compared


def test_an_adjustment_takes_the_place_of_its_relation_for_its_kind_of_wire_alone(tmp_path):
    path = tmp_path / "own.toml"
    one = agreed(shifted=Line(0.6, 1.0, 0.0, 0.1))
    write_adjustments([adjustment_text(one, "A", "t", "binary")], path)
    files = OwnFiles(relations=path)
    old, new = "godeke-2006-boltzmann", "godeke-2006-boltzmann-a"

    def names(wire):
        return {entry.name for entry in files.library().relations("tc-from-tin", wire)} & {old, new}

    assert names("binary") == {new} and names(None) == {new} and names("Ta") == set()
    assert {old, new} <= {entry.name for entry in files.library().relations(replaced=True)}
    path.write_text(path.read_text(encoding="utf-8").replace(f'"{new}"', '"devantay-1981-line"'), encoding="utf-8")
    with pytest.raises(XrdorderError, match="devantay-1981-line"):
        files.library()


def test_rows_hold_no_difference_between_unlike_things():
    size = descriptions.measured("grain_size_nm", 140.0, 15.0)
    row = Row("s", "A", size, "domain size", 110.0, 108.0, 112.0, comparable=False)
    cells = dict(zip(COLUMNS, measured_study._cells(row), strict=True))
    assert (cells["estimate"], cells["difference"], cells["u_difference"]) == ("110", "", "")
