"""What a laboratory measured: kept as it was said, and refused where it cannot be what it is called."""

import pytest

from tests.descriptions import measured
from xrdorder.description.locations import place
from xrdorder.description.measured_values import CONDITIONS, MEASURABLE
from xrdorder.description.sample import Sample
from xrdorder.files.checked_table import Refused, checked

GOOD = {
    "Tc_K": {"value": 17.6, "u": 0.1, "criterion": "50 %"},
    "Bc2_T": [
        {"value": 25.3, "u": 0.3, "temperature_k": 4.2, "criterion": "90 %"},
        {"value": 18.1, "u": 0.3, "temperature_k": 8.0, "criterion": "90 %"},
    ],
    "irreversibility_field_T": {"value": 23.0, "u": 0.4, "temperature_k": 4.2, "criterion": "pinning force"},
    "rrr_copper": {"value": 180, "u": 10},
    "resistivity_uohm_cm": {"value": 28.0, "u": 2.0},
    "resistivity_ratio_a15": {"value": 3.1, "u": 0.2},
    "tin_at_percent": {"value": 23.9, "u": 0.4, "remark": "12 points across the layer"},
    "grain_size_nm": {"value": 140, "u": 15},
    "a15_area_fraction": {"value": 0.55, "u": 0.02},
    "non_copper_area_mm2": {"value": 0.25, "u": 0.01},
    "critical_current_a": {"value": 620, "u": 12, "temperature_k": 4.2, "field_t": 12},
}


def changed(quantity, **keys):
    """The good table with one entry changed; None removes a key."""
    entry = GOOD[quantity][0] if isinstance(GOOD[quantity], list) else GOOD[quantity]
    return {**GOOD, quantity: {k: v for k, v in {**entry, **keys}.items() if v is not None}}


def problems(table):
    """Places and complaints about a table of measured values."""
    try:
        checked(Sample, {"name": "a", "pattern": "a.xy", "measured": table})
    except Refused as error:
        return [(place(location[1:]), said) for location, said in error.problems]
    return []


def test_everything_a_laboratory_may_have_measured_passes():
    assert set(GOOD) == set(MEASURABLE)
    assert problems(GOOD) == []
    assert {name for about in MEASURABLE.values() for name in about.limits.needs} == set(CONDITIONS)


def test_a_value_says_what_it_is_and_how_it_was_read_off():
    field = measured("critical_current_a", 620.0, 12.0, temperature_k=4.2, field_t=12.0)
    assert (field.words, field.unit) == ("critical current at 4.2 K, 12 T", "A")
    assert measured("Tc_K", 17.6, 0.1).words == "Tc"


@pytest.mark.parametrize(
    ("table", "place", "complaint"),
    [
        (changed("Tc_K", value=176.0), "Tc_K.value", "176 is outside 1 to 25; give the critical temperature in K"),
        (changed("tin_at_percent", value=0.239, u=0.004), "tin_at_percent.value", "0.239 is outside 15 to 30"),
        (changed("a15_area_fraction", value=55, u=2), "a15_area_fraction.value", "55 is outside 0.01 to 1"),
        (changed("grain_size_nm", value=0.14, u=0.015), "grain_size_nm.value", "0.14 is outside 5 to 100000"),
        (changed("Tc_K", u=None), "Tc_K.u", "is missing; give the standard uncertainty"),
        (changed("Tc_K", u=0.0), "Tc_K.u", "0 is not above zero"),
        (changed("grain_size_nm", u=150), "grain_size_nm.u", "150 is more than the value itself"),
        (changed("Tc_K", criterion="half"), "Tc_K.criterion", "'half' is unknown; known: onset"),
        (changed("rrr_copper", criterion="50 %"), "rrr_copper.criterion", "a copper ratio is not read off"),
        (changed("Bc2_T", temperature_k=None), "Bc2_T.temperature_k", "is missing; give the temperature"),
        (changed("critical_current_a", field_t=None), "critical_current_a.field_t", "is missing; give the field"),
        (changed("Tc_K", field_t=0.0), "Tc_K.field_t", "does not belong to a Tc; remove it"),
        (changed("Bc2_T", temperature_k=42.0), "Bc2_T.temperature_k", "42 is outside 0.01 to 30"),
        # 17.6 + 3 x 0.1 K is the most that Tc can be
        (changed("Bc2_T", temperature_k=18.0), "Bc2_T.temperature_k", "18 K is above the Tc measured on this sample"),
        # 26.9 - 25.3 T is 1.6 T, three standard uncertainties of the difference are 1.5 T
        (
            changed("irreversibility_field_T", value=26.9),
            "irreversibility_field_T",
            "26.9 T is above the Bc2 of 25.3 T measured at 4.2 K by 1.6 T, more than 3 standard uncertainties (1.5 T)",
        ),
        ({"Tc_K": [GOOD["Tc_K"], GOOD["Tc_K"]]}, "Tc_K no. 2", "is measured under the conditions of Tc_K no. 1"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place_and_a_remedy(table, place, complaint):
    found = problems(table)
    assert len(found) == 1 and found[0][0] == place and found[0][1].startswith(complaint), found


def test_an_irreversibility_field_may_exceed_bc2_by_what_both_are_uncertain_by():
    # 1.4 T above, of 1.5 T allowed
    assert problems(changed("irreversibility_field_T", value=26.7)) == []


def test_two_criteria_of_one_transition_are_two_values():
    assert problems({"Tc_K": [GOOD["Tc_K"], {**GOOD["Tc_K"], "criterion": "onset", "value": 17.9}]}) == []


def test_values_made_in_python_are_held_to_the_same():
    with pytest.raises(ValueError, match=r"temperature_k\s+is missing; give the temperature"):
        measured("Bc2_T", 25.0, 0.3)
    with pytest.raises(ValueError, match="measured quantity 'Tc' is unknown; known: tin_at_percent, Tc_K, resistivity"):
        measured("Tc", 17.0, 0.1)
