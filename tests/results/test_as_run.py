"""Old fits are never shown under a new description without a word."""

import re

import pytest

from tests import descriptions
from tests.results import made
from xrdorder.description.measurement import Choices
from xrdorder.description.study import DoseReference
from xrdorder.exceptions import StudyError
from xrdorder.measured.held import hold
from xrdorder.results.collate import collate
from xrdorder.results.described_columns import told_words
from xrdorder.results.open_study import OpenStudy
from xrdorder.treatments import Schedule, Step

LOT = descriptions.lot("A", dopant_at_percent={"Ta": 2.4})
HOTTER = Schedule((Step(725.0, 100.0),))
SAMPLES = (
    descriptions.sample("one", LOT, treatment=HOTTER, temperature_c=25.0),
    descriptions.sample("two", LOT, measured=(descriptions.measured("Tc_K", 17.6, 0.1),)),
)


def described(*samples):
    return descriptions.study("study", samples, ("nb3sn", "nb"))


@pytest.fixture(scope="module")
def results():
    return collate(described(*SAMPLES), [made.sample(one.name) for one in SAMPLES], ("nb3sn", "nb"))


def changed(**what):
    return described(descriptions.changed(SAMPLES[0], **what), SAMPLES[1])


def test_an_unchanged_description_is_not_complained_of(results):
    opened = OpenStudy(described(*SAMPLES), results)
    assert opened.difference == ""
    opened.require_as_run()
    hold(opened)


@pytest.mark.parametrize(
    ("what", "said"),
    [
        ({"treatment": Schedule((Step(640.0, 100.0),))}, "one: treatment is 640 °C/100 h, there 725 °C/100 h"),
        ({"treatment": None}, "one: treatment is not told, there 725 °C/100 h"),
        ({"treatment": Schedule((Step(725.0, 100.0, ramp_k_per_h=10.0),))}, "one: "),
        ({"lot": descriptions.changed(LOT, name="B")}, "one: lot is B, there A"),
        ({"mount": "polished-section"}, "one: mount is polished-section, there not told"),
        ({"date": "2026-03-14"}, "one: date is 2026-03-14, there not told"),
        ({"position_m": 12.0}, "one: position is 12 m, there not told"),
        (
            {"lot": descriptions.lot("A", dopant_at_percent={"Ta": 3.0})},
            'one: lot.dopant_at_percent is {"Ta": 3.0}, there {"Ta": 2.4}',
        ),
        ({"strain": -0.002, "u_strain": 5e-4}, "one: strain is -0.002, there not told"),
        ({"name": "else"}, "one: it is no longer described"),
    ],
)
def test_what_was_changed_is_told(results, what, said):
    opened = OpenStudy(changed(**what), results)
    assert opened.difference.startswith(f"study.toml says otherwise than the results of {said}")
    assert opened.difference.endswith("; run the study again")
    with pytest.raises(StudyError, match=r"study\.toml says otherwise"):
        hold(opened)


def test_numbers_are_told_by_their_noun_rounded_with_their_unit(results):
    def said(hours, reference_c=650.0, ramp=50.0):
        schedule = Schedule((Step(725.0, hours, ramp),))
        samples = (descriptions.changed(SAMPLES[0], treatment=schedule), SAMPLES[1])
        dose = DoseReference.model_construct(reference_c=reference_c)
        return descriptions.study("study", samples, ("nb3sn", "nb"), dose=dose)

    stored = [made.sample(one.name) for one in SAMPLES]

    def difference(now, then):
        return OpenStudy(now, collate(then, stored, ("nb3sn", "nb"))).difference

    doses = difference(said(100.0), said(100.0, 700.0))
    assert re.search(r"one: thermal dose is [0-9]+ h, there [0-9]+ h;", doses), doses
    assert "one: length of the treatment is 114 h, there 135 h;" in difference(said(100.0), said(100.0, ramp=20.0))
    # what rounding would make equal keeps the digits that tell it apart
    near = difference(said(100.0, 650.0), said(100.0, 650.001))
    first, second = re.search(r"thermal dose is ([0-9.]+) h, there ([0-9.]+) h;", near).groups()
    assert first != second


def test_what_no_result_follows_from_may_change(results):
    told = {"measured": (descriptions.measured("Tc_K", 17.5, 0.1),), "lot": descriptions.changed(LOT, design="tube")}
    assert OpenStudy(changed(**told), results).difference == ""
    assert OpenStudy(described(*SAMPLES, descriptions.changed(SAMPLES[0], name="new")), results).difference == ""


def test_what_is_told_about_a_sample_is_all_looked_at():
    """A field that comes to a sample is looked at unless somebody decides otherwise."""
    base = told_words(SAMPLES[0])
    assert told_words(descriptions.changed(SAMPLES[0], fit=Choices(identify_phases=False))) != base
    assert told_words(descriptions.changed(SAMPLES[0], corrections_off=("temperature",))) != base
