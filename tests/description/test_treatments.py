"""Heat treatments in a study file: blocks, swings, names, logs; all that is wrong at once, each with its place."""

import pytest

from tests.description.test_study import problems, write
from xrdorder.description.study import read_study
from xrdorder.treatments import LoggedTreatment, Repeat, Schedule, Step

HEAD = """
[instrument.calibrate]
pattern = "lab6.xy"
standard = "srm-660c"
detector_distance_mm = 217.5
[treatments.long]
steps = [{ ramp_k_per_h = 25, hold_c = 210, hours = 48 }, { ramp_k_per_h = 50, hold_c = 650, hours = 100 }]
[treatments.furnace-2]
log = "logs/two.csv"
"""
LOG = "# invented\ntime_h,temperature_c\n0,20\n10,640\n11,650\n110,652\n115,30\n"


@pytest.fixture
def study(tmp_path):
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / "two.csv").write_text(LOG)
    return tmp_path


def with_treatments(*treatments, head=HEAD):
    blocks = [
        f'[[samples]]\nname = "s{k}"\npattern = "a.xy"\ntreatment = {one}\n' for k, one in enumerate(treatments, 1)
    ]
    return "\n".join([head, *blocks])


BLOCKS = """[
    { ramp_k_per_h = 25, hold_c = 210, hours = 48 },
    { repeat = 3, steps = [{ hold_c = 650, hours = 10, amplitude_k = 5, period_h = 2 }, { hold_c = 600, hours = 5 }] },
]"""


def test_blocks_and_swings_arrive(study):
    one = read_study(write(study, with_treatments(BLOCKS))).samples[0].treatment
    block = Repeat(3, (Step(650, 10, None, 5, 2), Step(600, 5)))
    assert one == Schedule((Step(210, 48, 25), block))
    assert (one.peak_c, one.highest_c, one.hold_at_peak_h) == (650.0, pytest.approx(655.0), 30.0)
    assert one.short_name == "210/48 + 3×(650±5/10 + 600/5) h"


def test_every_way_to_tell_a_treatment(study):
    ways = ('"long"', '"furnace-2"', '"logs/two.csv"', '{ log = "logs/two.csv" }', '"210/48 + 650/100"', "[]",
            "{ steps = [{ hold_c = 650, hours = 1, ramp_k_per_h = 10 }], start_c = 600 }")  # fmt: skip
    named, by_name, by_path, by_table, line, none, warm = read_study(write(study, with_treatments(*ways))).samples
    assert named.treatment == Schedule((Step(210, 48, 25), Step(650, 100, 50)))
    assert isinstance(by_name.treatment, LoggedTreatment)
    assert by_name.treatment is by_path.treatment is by_table.treatment  # read once
    assert by_name.treatment.file == by_path.treatment.file == study / "logs/two.csv"
    assert by_path.reaction_temperature_c == 651.0
    assert line.treatment == Schedule((Step(210, 48), Step(650, 100)))
    assert none.treatment is None
    assert warm.treatment.total_h == pytest.approx(6.0)


@pytest.mark.parametrize(
    ("told", "complaint"),
    [
        ("[{ hold_c = -300, hours = 1 }]", "treatment no. 1, hold_c: -300 °C is not a furnace temperature; give"),
        ("[{ hold_c = 650, hours = 0 }]", "treatment no. 1, hours: a hold of no hours at 650 °C, and no ramp that"),
        ("[{ hold_c = 650, hours = 9 }, { hold_c = 650, hours = 0, ramp_k_per_h = 5 }]",
         "treatment no. 2: leads nowhere: the furnace is at 650 °C already"),
        ("[{ hold_c = 650, hours = 9, amplitude_k = 5 }]", "treatment no. 1, period_h: is missing, but the hold"),
        ("[{ repeat = 2.5, steps = [{ hold_c = 650, hours = 9 }] }]", "treatment no. 1, repeat: 2.5 is no number of"),
        ("[{ repeat = 2, steps = [{ hold_c = 650, hour = 9 }, { hold_c = 6, hours = 9 }] }]",
         "treatment no. 1, steps no. 1, hour: unknown key; did you mean 'hours'?"),
        ("[5]", "treatment no. 1: 5 is no step; give a table"),
        ("5", "treatment: 5 is no heat treatment; give the steps as [{"),
        ('""', "treatment: is empty; give the steps"),
        ('"lnog"', "treatment: no treatment 'lnog' is described; did you mean 'long'?"),
        ('"logs/tow.csv"', "treatment: there is no file 'logs/tow.csv' in "),
        ('"650/100 + 700"', "treatment: '700' is no hold; give °C over hours"),
        ("{ step = [] }", "treatment.step: unknown key; did you mean 'steps'?"),
        ('{ steps = [{ hold_c = 650, hours = 9 }], log = "logs/two.csv" }', "treatment: has both steps and a log; "),
        ('{ log = "logs/two.csv", start_c = 20 }', "treatment.start_c: a log tells where it starts"),
        ('{ steps = [{ hold_c = 650, hours = 9 }], start_c = "20" }', "treatment.start_c: '20' is not a number; give"),
        ("{ steps = [{ hold_c = 650, hours = 9 }], start_c = -300 }", "treatment.start_c: -300 °C is not a temp"),
        ("{ steps = 5 }", "treatment.steps: 5 is not a list in [ ]; give"),
        ("{ log = 5 }", "treatment.log: 5 is no path; give"),
    ],
)  # fmt: skip
def test_treatments_that_cannot_be(study, told, complaint):
    lines = [line for line in problems(study, with_treatments(told)) if line.startswith(f"sample 's1', {complaint}")]
    assert len(lines) == 1 and ";" in lines[0], problems(study, with_treatments(told))


def test_a_broken_table_or_log_is_told_once_however_many_samples_name_it(study):
    (study / "logs" / "two.csv").write_text(LOG.replace("650", "cold"))
    head = HEAD.replace("hours = 100", "hours = -100")
    lines = problems(study, with_treatments('"long"', '"long"', '"furnace-2"', '"logs/two.csv"', head=head))
    assert [line.split(";")[0] for line in lines] == [
        "treatments.long.steps no. 2, hours: -100 h is not a time",
        "treatments.furnace-2.log: logs/two.csv: line 5: 'cold' under 'temperature_c' is no number",
    ]


def test_problems_of_all_samples_and_names_come_at_once(study):
    head = HEAD + "[treatments.none]\n[treatments.x]\nlog = 'logs/nowhere.csv'\nsteps = []\n"
    lines = problems(study, with_treatments("[{ hold_c = -300, hours = -1 }]", "7", head=head))
    assert len(lines) == 5, lines


def test_the_reference_of_doses_place_and_date(study):
    text = with_treatments('"long"', '"long"')
    usual = read_study(write(study, text)).dose
    assert (usual.q_kj_per_mol, usual.u_q_kj_per_mol, usual.reference_c) == (300.0, 58.0, 650.0)
    assert "from memory" in usual.source
    dose = "[dose]\nq_kj_per_mol = 220\nu_q_kj_per_mol = 30\nreference_c = 665\n"
    text = text.replace('name = "s1"', 'name = "s1"\nposition_m = 12\ndate = 2026-03-14')
    text = text.replace('name = "s2"', 'name = "s2"\ndate = "2026-03-15 09:30"')
    found = read_study(write(study, dose + text))
    assert (found.dose.q_kj_per_mol, found.dose.u_q_kj_per_mol, found.dose.reference_c) == (220.0, 30.0, 665.0)
    assert found.dose.source == "told in study.toml, without a source"
    assert [(one.position_m, one.date) for one in found.samples] == [(12.0, "2026-03-14"), (None, "2026-03-15")]


@pytest.mark.parametrize(
    ("added", "complaint"),
    [
        ("[dose]\nq_kj_per_mol = 220\n", "dose.u_q_kj_per_mol: is missing; give the standard uncertainty"),
        ("[dose]\nq = 220\n", "dose.q: unknown key; did you mean 'q_kj_per_mol'?"),
        ("[dose]\nreference_c = 20\n", "dose.reference_c: 20 is outside 300 to 2200; give the temperature"),
        ("date = 14\n", "sample 's1', date: 14 is no date; give the day of the measurement, as 2026-03-14"),
        ("date = '14.03.2026'\n", "sample 's1', date: '14.03.2026' is no date; give the day"),
        ("date = '2026-02-30'\n", "sample 's1', date: '2026-02-30' is no date (day is out of range for month); give"),
        ("position_m = -1\n", "sample 's1', position_m: -1 is outside 0 to "),
    ],
)
def test_doses_places_and_dates_that_cannot_be(study, added, complaint):
    text = with_treatments('"long"')
    text = added + text if added.startswith("[") else text + added
    lines = problems(study, text)
    assert len(lines) == 1 and lines[0].startswith(complaint), lines
