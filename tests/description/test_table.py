"""What holds for every table of a study file, and the way back from a study to its file."""

import inspect
import tomllib
from pathlib import Path

import pytest

from tests.description import keys
from tests.description.test_study import CHOICES as ALL_CHOICES
from tests.description.test_study import GOOD, MEASURED, chosen, problems, replaced, write
from tests.description.test_study import study as study
from xrdorder.description.calibration import Calibration
from xrdorder.description.study import Study, read_study, study_of
from xrdorder.files.checked_table import TOP, CheckedTable, Refused, checked
from xrdorder.fitting import calibrate
from xrdorder.treatments import LoggedTreatment


def tables(table: type[CheckedTable] = CheckedTable) -> list[type[CheckedTable]]:
    return [one for inner in table.__subclasses__() for one in (inner, *tables(inner))]


def test_the_docs_tell_every_key_in_the_words_of_the_messages():
    """``tests/docs`` compares the words with the page."""
    told = {name for table in keys.TABLES.values() for name in table.keys()}
    assert told == {name for table in tables() for name in table.keys()}


def test_keys_of_the_file_itself_are_known_where_a_table_swallows_them():
    assert set(TOP) <= set(Study.keys())


def test_a_calibration_holds_what_the_fit_of_the_instrument_asks_for():
    asked = set(inspect.signature(calibrate).parameters) - {"pattern", "standard", "engine"}
    given = checked(Calibration, {"pattern": "a.xy", "standard": "srm-660c", "detector_distance_mm": 200.0})
    assert set(given.of_fit()) == asked


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ('title = "Two', 'folder = "x"\ntitle = "Two', "folder: unknown key; "),
        ("[lots.A]\n", '[lots.A]\nname = "x"\n', "lots.A.name: unknown key; "),
        ('name = "B-700"\n', 'name = "B-700"\nmeasured = { Tc_K = { value = 17, u = 1, quantity = "Bc2_T" } }\n',
         "sample 'B-700', measured.Tc_K.quantity: unknown key; "),
    ],
)  # fmt: skip
def test_what_is_made_in_reading_is_no_key(study, old, new, complaint):
    lines = problems(study, replaced(old, new))
    assert len(lines) == 1 and lines[0].startswith(complaint), lines


def test_an_error_knows_its_place():
    table = tomllib.loads(GOOD.replace("hold_c = 650", "hold_c = -280").replace("Ti = 1.5", "Ti = 150"))
    with pytest.raises(Refused) as caught:
        study_of(table, Path(__file__).parent)
    assert {location for location, _ in caught.value.problems} == {
        ("phases", 2),  # there is no such file
        ("lots", "B", "dopant_at_percent", "Ti"),
        ("samples", 0, "treatment", 1, "hold_c"),
    }


LOG = "time_h,temperature_c\n0,25\n12,650\n112,650\n"
MORE = """
[calibrations.other]
pattern = ["patterns/lab6-1.xy", "patterns/lab6-2.xy"]
standard = "srm-660c"
detector_distance_mm = 217.5
standard_lattice_nm = 0.41569
[calibrations.file]
file = "instrument.toml"
[dose]
q_kj_per_mol = 220
u_q_kj_per_mol = 30
[[samples]]
name = "blocks"
pattern = "patterns/c.xy"
date = 2026-03-14
position_m = 12.5
calibration = "other"
corrections_off = ["dopant-lattice"]
fit = { elastic_shifts = false, mu_t = 1 }
treatment = [{ repeat = 3, steps = [{ hold_c = 650, hours = 10, amplitude_k = 5, period_h = 2 }] }]
[[samples]]
name = "warm"
pattern = "patterns/d.xy"
treatment = { steps = [{ hold_c = 650, hours = 1, ramp_k_per_h = 10 }], start_c = 600 }
[[samples]]
name = "logged"
pattern = "patterns/e.xy"
treatment = "furnace.csv"
"""


def test_a_study_that_is_written_reads_back_as_it_was(study):
    (study / "furnace.csv").write_text(LOG)
    (study / "instrument.toml").write_text("")
    text = chosen(ALL_CHOICES).replace('[[samples]]\nname = "B-700"\n', MEASURED).replace("/data/", "patterns/") + MORE
    found = read_study(write(study, text))
    again = study_of(tomllib.loads(found.to_toml()), study)
    assert again == found
    assert isinstance(again.sample("logged").treatment, LoggedTreatment)
    assert again.sample("logged").treatment.file == study / "furnace.csv"
    assert found.to_toml() == again.to_toml()
    assert str(study) not in found.to_toml()  # folder and patterns can be moved together
