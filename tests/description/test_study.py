"""The study file: what it says is what the study is, and what is wrong with it is said all at once."""

from dataclasses import fields

import numpy as np
import pytest

from xrdorder import fitting
from xrdorder.description import measurement, phases_present
from xrdorder.description.study import read_study
from xrdorder.description.values import closest_file
from xrdorder.exceptions import StudyError
from xrdorder.fitting import niobium_tantalum

GOOD = """
title = "Two lots over temperature"
phases = ["nb3sn", "nb", "phases/extra.cif"]

[instrument.calibrate]
pattern = "patterns/lab6.xy"
standard = "srm-660c"
radiation = "cu-ka"
detector_distance_mm = 217.5
divergence_deg = 0.5

[defaults]
mount = "ground-powder"
temperature_c = 23.5
specimen_length_mm = 20

[lots.A]
route = "internal tin"
dopant_at_percent = { Ta = 2.4 }
u_dopant_at_percent = { Ta = 0.2 }

[lots.B]
route = "powder in tube"
dopant_at_percent = { Ti = 1.5 }

[[samples]]
name = "A-650-100"
pattern = ["patterns/a.xy", "patterns/a-again.xy"]
lot = "A"
treatment = [
    { ramp_k_per_h = 25, hold_c = 210, hours = 48 },
    { ramp_k_per_h = 50, hold_c = 650, hours = 100 },
]

[[samples]]
name = "B-700"
pattern = "patterns/b.xy"
lot = "B"
mount = "polished-section"
wire_axis_angle_deg = 0
specimen_length_mm = 12.5
internal_standard = "srm-640c"
axis = "d"
axis_unit = "angstrom"

[[samples]]
name = "plain"
pattern = "/data/plain.xy"
"""

CIF = """data_extra
_symmetry_space_group_name_H-M 'F m -3 m'
_cell_length_a 4.21
_cell_length_b 4.21
_cell_length_c 4.21
_cell_angle_alpha 90
_cell_angle_beta 90
_cell_angle_gamma 90
loop_
_atom_site_label
_atom_site_type_symbol
_atom_site_fract_x
_atom_site_fract_y
_atom_site_fract_z
Mg Mg 0 0 0
O O 0.5 0.5 0.5
"""


@pytest.fixture
def study(tmp_path):
    (tmp_path / "phases").mkdir()
    (tmp_path / "phases" / "extra.cif").write_text(CIF)
    return tmp_path


def write(folder, text):
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return folder


def problems(folder, text):
    """Lines of the complaint about a study file, without the path of the file."""
    with pytest.raises(StudyError) as caught:
        read_study(write(folder, text))
    start = f"{folder / 'study.toml'}: "
    lines = str(caught.value).split("\n")
    assert all(line.startswith(start) for line in lines)
    return [line.removeprefix(start) for line in lines]


def test_a_good_file_says_what_the_study_is(study):
    found = read_study(write(study, GOOD))
    assert found.title == "Two lots over temperature"
    assert found.phases == ("nb3sn", "nb", str(study / "phases/extra.cif"))
    assert found.engine == "own"
    calibration = found.instrument
    assert calibration.pattern == (study / "patterns/lab6.xy",)
    assert (calibration.standard, calibration.radiation) == ("srm-660c", "cu-ka")
    assert (calibration.detector_distance_mm, calibration.divergence_deg) == (217.5, 0.5)
    assert calibration.temperature_c == 22.5  # the temperature of certificates, unless told otherwise
    a, b, plain = found.samples
    assert a.pattern == (study / "patterns/a.xy", study / "patterns/a-again.xy")
    assert (a.lot.name, a.lot.route) == ("A", "internal-tin")
    assert a.lot.dopants == pytest.approx({"Ta": 0.024})  # fractions inside
    assert a.lot.u_dopants == pytest.approx({"Ta": 0.002})
    assert a.treatment.short_name == "210/48 + 650/100 h"
    assert a.treatment.total_h == pytest.approx((210 - 25) / 25 + 48 + 440 / 50 + 100)
    assert (b.mount, b.wire_axis_angle_deg, b.specimen_length_mm) == ("polished-section", 0.0, 12.5)
    assert (b.internal_standard, a.internal_standard) == ("srm-640c", None)
    assert (b.axis, b.axis_unit, b.radiation) == ("d", "angstrom", None)
    assert b.treatment is None
    assert str(plain.pattern[0]) == "/data/plain.xy"
    assert (plain.lot.name, dict(plain.lot.dopants)) == ("", {})


def test_a_sample_overrules_the_defaults(study):
    a, b, _ = read_study(write(study, GOOD)).samples
    assert (a.mount, a.specimen_length_mm, a.temperature_c) == ("ground-powder", 20.0, 23.5)
    assert (b.mount, b.specimen_length_mm, b.temperature_c) == ("polished-section", 12.5, 23.5)


CHOICES = """{ lattice_distribution = "tail", texture_axes = { nb3sn = [1, 0, 0], extra = [1, 1, -1] }, \
elastic_shifts = true, depth_gradient = true, mu_t = 0, mu_r = 1.5, roughness = [0.5, 0.05], particle_size_um = 2, \
measured_dispersion = { Nb = [-2.1, 0.6] }, tube_lines = false, identify_phases = false, cross_checks = false }"""


def chosen(text, where="[defaults]\n"):
    return replaced(where, f"{where}fit = {text.replace(chr(92) + chr(10), '')}\n")


def test_every_choice_of_the_fit_may_be_told_and_is_one_the_fit_takes(study):
    a = read_study(write(study, chosen(CHOICES))).samples[0]
    known = set(measurement.Choices.keys())
    assert set(a.choices) == {f.name for f in fields(fitting.FitOptions)} == known
    options = fitting.FitOptions(**a.choices)
    assert options.texture_axes == {"nb3sn": (1, 0, 0), "extra": (1, 1, -1)}
    assert options.measured_dispersion == {"Nb": (-2.1, 0.6)}
    assert (options.roughness, options.mu_t, options.identify_phases) == ((0.5, 0.05), 0.0, False)
    assert measurement.LATTICE_DISTRIBUTIONS == fitting.LATTICE_DISTRIBUTIONS
    assert phases_present.SEPARATE == niobium_tantalum.SEPARATE
    assert phases_present.NIOBIUM_TANTALUM == niobium_tantalum.NIOBIUM_TANTALUM
    assert phases_present.USUAL_PHASES == fitting.DEFAULT_PHASES


def test_choices_of_a_sample_overrule_those_of_the_defaults_one_by_one(study):
    text = chosen("{ elastic_shifts = true, particle_size_um = 2 }")
    text = text.replace('name = "B-700"', 'name = "B-700"\nfit = { elastic_shifts = false, mu_t = 0.5 }')
    a, b, _ = read_study(write(study, text)).samples
    assert a.choices == {"elastic_shifts": True, "particle_size_um": 2.0}
    assert b.choices == {"elastic_shifts": False, "particle_size_um": 2.0, "mu_t": 0.5}
    assert read_study(write(study, GOOD)).samples[0].choices == {}  # what the fit does by itself is left to it


def test_a_calibration_in_another_geometry(study):
    more = 'geometry = "capillary"\nmu_r = 0.8\nfocused = true\npolarisation_ratio = 0.05\n'
    found = read_study(write(study, replaced("divergence_deg = 0.5\n", more))).instrument
    assert (found.geometry, found.mu_r, found.mu_t, found.focused) == ("capillary", 0.8, None, True)
    assert (found.polarisation_ratio, found.illuminated_length_mm) == (0.05, None)
    variable = read_study(write(study, replaced("divergence_deg = 0.5", "illuminated_length_mm = 15"))).instrument
    assert variable.illuminated_length_mm == 15.0


def test_a_lattice_parameter_of_two_lengths(study):
    text = replaced("divergence_deg = 0.5\n", "standard_lattice_nm = [0.4759, 1.2992]\nu_standard_lattice_nm = 1e-6\n")
    found = read_study(write(study, text)).instrument
    assert (found.standard_lattice_nm, found.u_standard_lattice_nm) == ((0.4759, 1.2992), (1e-6,))


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ('{ lattice_distribution = "graded" }', "defaults.fit.lattice_distribution: 'graded' is unknown; "),
        ("{ texture_axis = { nb = [1, 0, 0] } }", "defaults.fit.texture_axis: unknown key; did you mean"),
        ("{ texture_axes = { nb3sm = [1, 0, 0] } }", "defaults.fit.texture_axes.nb3sm: "),
        ("{ texture_axes = { nb = [0, 0, 0] } }", "defaults.fit.texture_axes.nb: 0 0 0 is no plane; give phases"),
        ("{ texture_axes = { nb = [1, 0] } }", "defaults.fit.texture_axes.nb: [1, 0] is not 3 whole numbers in [ ]; "),
        ("{ texture_axes = { nb = [1, 0, 0.5] } }", "defaults.fit.texture_axes.nb: [1, 0, 0.5] is not 3 whole"),
        ("{ roughness = 0.5 }", "defaults.fit.roughness: 0.5 is not 2 numbers in [ ]; give share p (0 to 1)"),
        ("{ roughness = [1.5, 0.1] }", "defaults.fit.roughness: 1.5 and 0.1 describe no surface; give share"),
        ("{ roughness = [nan, 0.1] }", "defaults.fit.roughness no. 1: nan is not a finite number; give share"),
        ("{ particle_size_um = 0 }", "defaults.fit.particle_size_um: 0 is outside 0.001 to 999; give the mean size"),
        ("{ mu_t = -1 }", "defaults.fit.mu_t: -1 is outside 0 to "),
        ('{ elastic_shifts = "yes" }', "defaults.fit.elastic_shifts: 'yes' is not true or false; give true"),
        ("{ measured_dispersion = { Nv = [-2, 1] } }", "defaults.fit.measured_dispersion.Nv: "),
        ("{ measured_dispersion = { Nb = [-2, -1] } }", "defaults.fit.measured_dispersion.Nb: "),
        ("{ measured_dispersion = { Nb = -2 } }", "defaults.fit.measured_dispersion.Nb: -2 is not 2 numbers in [ ]"),
        ("true", "defaults.fit: True is not a table; give choices of the fit"),
    ],
)
def test_choices_that_no_fit_can_take(study, text, complaint):
    lines = problems(study, chosen(text))
    assert len(lines) == 1 and lines[0].startswith(complaint), "\n".join(lines)


def test_a_choice_in_the_table_of_the_engine_is_shown_its_place(study):
    assert problems(study, replaced("[defaults]", "[fit]\nelastic_shifts = true\n[defaults]")) == [
        "fit.elastic_shifts: does not stand here; give fit = { elastic_shifts = ... } in [defaults] or a sample"
    ]


def test_an_axis_of_niobium_where_it_is_fitted_with_tantalum(study):
    text = chosen("{ texture_axes = { nb = [1, 1, 0] } }").replace('"nb", ', '"nb", "ta", ')
    assert problems(study, text) == [
        "defaults.fit.texture_axes.nb: niobium and tantalum are fitted together; name 'nb-ta' instead"
    ]
    read_study(write(study, text.replace("{ nb =", "{ nb-ta =")))


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("{ texture_axes = { ta = [1, 1, 0] } }", "texture_axes.ta: is not among the phases looked for (nb3sn, nb, ex"),
        ("{ texture_axes = { si = [1, 1, 1] } }", "texture_axes.si: is not among the phases looked for"),
        ("{ texture_axes = { nb-ta = [1, 1, 0] } }", "texture_axes.nb-ta: niobium and tantalum are not both asked for"),
        ("{ measured_dispersion = { Cu = [-2, 1] } }", "measured_dispersion.Cu: no atom of Cu is in the phases looked"),
        ("{ measured_dispersion = { Ti = [-2, 1] } }", "measured_dispersion.Ti: no atom of Ti is in the phases looked"),
    ],
)
def test_choices_about_what_is_not_in_the_specimen(study, text, complaint):
    """A is doped with tantalum and holds no standard; B with titanium, and silicon is mixed in."""
    own = GOOD.replace('lot = "A"\n', f'lot = "A"\nfit = {text}\n')
    lines = problems(study, own)
    assert len(lines) == 1 and lines[0].startswith(f"sample 'A-650-100', fit.{complaint}"), lines
    assert lines[0].endswith(("or remove this axis", "or remove this", "to the phases"))


@pytest.mark.parametrize(
    "text",
    [
        "{ texture_axes = { si = [1, 1, 1], extra = [1, 1, 1] } }",  # of the standard mixed into B
        "{ measured_dispersion = { Ti = [-2, 1], Si = [0.2, 0.3], Ta = [-2, 1], Mg = [0, 0.1], Sn = [-1, 1] } }",
    ],
)
def test_choices_about_what_one_of_the_samples_holds(study, text):
    read_study(write(study, chosen(text)))


def test_choices_without_named_phases_are_about_the_usual_ones(study):
    text = chosen("{ measured_dispersion = { Cu = [-2, 1] }, texture_axes = { cu-sn = [1, 1, 1] } }")
    read_study(write(study, text.replace('phases = ["nb3sn", "nb", "phases/extra.cif"]', "")))


def test_a_unit_that_does_not_go_with_the_axis(study):
    assert problems(study, replaced('"angstrom"', '"1/nm"')) == [
        "sample 'B-700', axis_unit: '1/nm' is no unit of d; give nm or angstrom, or another axis"
    ]


MEASURED = """[samples.measured]
Tc_K = { value = 17.6, u = 0.1, criterion = "50 %", remark = "four probes" }
Bc2_T = [{ value = 25, u = 0.3, temperature_k = 4.2 }, { value = 18.1, u = 0.3, temperature_k = 8 }]
[[samples]]
name = "B-700"
"""


def test_what_was_measured_stands_with_its_sample(study):
    text = replaced('[[samples]]\nname = "B-700"\n', MEASURED)
    a, b, _ = read_study(write(study, text)).samples
    assert [(one.words, one.value, one.u) for one in a.measured] == [
        ("Tc (50 %)", 17.6, 0.1),
        ("Bc2 at 4.2 K", 25.0, 0.3),
        ("Bc2 at 8 K", 18.1, 0.3),
    ]
    assert a.measured[0].remark == "four probes" and b.measured == ()


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ("u = 0.1", "u = -0.1", "Tc_K.u: -0.1 is not above zero; give the standard uncertainty"),
        ("u = 0.1, ", "", "Tc_K.u: is missing; give the standard uncertainty (k = 1), without which"),
        ("value = 17.6", 'value = "17.6 K"', "Tc_K.value: '17.6 K' is not a number; give the measured"),
        ("value = 17.6, ", "", "Tc_K.value: is missing; give the measured value as a number"),
        ("Tc_K =", "Tc =", "Tc: unknown key; did you mean 'Tc_K'?"),
        ("{ value = 17.6, u = 0.1", "{ value = 17.6, T = 4, u = 0.1", "Tc_K.T: unknown key; "),
        ('criterion = "50 %"', 'criterion = "half"', "Tc_K.criterion: 'half' is unknown; known: onset"),
        ("temperature_k = 4.2", "field_t = 4.2", "Bc2_T no. 1, temperature_k: is missing; give the temperature"),
        ('Tc_K = { value = 17.6, u = 0.1, criterion = "50 %", remark = "four probes" }', "Tc_K = 17.6",
         "Tc_K: 17.6 is not a table; give the critical temperature in K, as { value = ..., u = ..., criterion = ... }"),
        ("temperature_k = 8", "temperature_k = 4.2", "Bc2_T no. 2: is measured under the conditions of Bc2_T no. 1"),
    ],
)  # fmt: skip
def test_measured_values_that_cannot_be(study, old, new, complaint):
    text = replaced('[[samples]]\nname = "B-700"\n', MEASURED)
    assert old in text
    lines = problems(study, text.replace(old, new, 1))
    assert any(line.startswith(f"sample 'A-650-100', measured.{complaint}") for line in lines), "\n".join(lines)


def test_strain_corrections_and_files_of_the_laboratory(study):
    text = replaced("wire_axis_angle_deg = 0\n", "strain = -0.001\nu_strain = 0.0003\n")
    text = text.replace("[defaults]\n", '[defaults]\ncorrections_off = ["dopant-lattice"]\n')
    text = text.replace("{ Ta = 0.2 }", "{ Ta = 0.2 }\nlattice_pm_per_at_percent = { Ta = -0.02 }")
    (study / "scale.toml").write_text("")
    found = read_study(write(study, 'tin_scale = "scale.toml"\n' + text))
    a, b, _ = found.samples
    assert (b.strain, b.u_strain, a.strain) == (-0.001, 0.0003, None)
    assert a.corrections_off == b.corrections_off == ("dopant-lattice",)
    assert a.lot.lattice_by_dopant_nm == pytest.approx({"Ta": -0.002})  # nm by unit fraction
    assert (found.tin_scale, found.relations) == (study / "scale.toml", None)


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ("[defaults]", "[defaults]\ncorrections_off = ['strian']", "defaults.corrections_off no. 1: 'strian' is"),
        ("wire_axis_angle_deg = 0", "strain = -0.1", "sample 'B-700', strain: -0.1 is outside -0.02 to 0.02; give the"),
        ("wire_axis_angle_deg = 0", "u_strain = 0.001", "sample 'B-700': an uncertainty of the strain is given, but"),
        ('lot = "A"', 'lot = "A"\nstrain = -0.001', "sample 'A-650-100': a strain is given for the mount ground"),
        ("[defaults]", 'relations = "own.toml"\n[defaults]', "instrument.calibrate.relations: unknown key"),
        ('title = "Two', 'relations = "own.toml"\ntitle = "Two', "relations: there is no file 'own.toml' in "),
        ("{ Ta = 0.2 }", "{ Ta = 0.2 }\nlattice_pm_per_at_percent = { Ti = 0.1 }",
         "lots.A.lattice_pm_per_at_percent.Ti: dopant_at_percent has no Ti"),
    ],
)  # fmt: skip
def test_contradictions_about_strain_and_files_that_are_not_there(study, old, new, complaint):
    lines = problems(study, replaced(old, new))
    assert len(lines) == 1 and lines[0].startswith(complaint), "\n".join(lines)


def test_what_was_not_said_about_dopants_is_left_open(study):
    a, b, _ = read_study(write(study, GOOD)).samples
    assert b.lot.u_dopants == {}
    assert (a.lot.on_tin_site, a.lot.u_on_tin_site) == (None, None)
    measured = GOOD.replace(
        "{ Ta = 0.2 }", "{ Ta = 0.2 }\non_tin_site = { Ta = 0.1 }\nu_on_tin_site = { Ta = 0.05 }"
    )
    a, _, _ = read_study(write(study, measured)).samples
    assert (a.lot.on_tin_site, a.lot.u_on_tin_site) == ({"Ta": 0.1}, {"Ta": 0.05})


def test_the_path_of_the_folder_may_be_relative(study, monkeypatch):
    write(study, GOOD)
    monkeypatch.chdir(study)
    assert read_study(".").samples[0].pattern[0] == study / "patterns/a.xy"


def test_a_file_of_another_number_is_no_suggestion(tmp_path):
    """`W17-685c.xy` is the pattern of another treatment, not a slip for `W17-625c.xy`; other slips are told."""
    (tmp_path / "W17-685c.xy").write_text("20 100\n", encoding="utf-8")
    assert closest_file(tmp_path / "W17-625c.xy") == "correct the path, or put the file there"
    assert closest_file(tmp_path / "w17_685c.xy") == "did you mean 'W17-685c.xy'?"
    assert closest_file(tmp_path / "W17-685c.dat") == "did you mean 'W17-685c.xy'?"


def test_a_sample_is_found_by_name(study):
    found = read_study(write(study, GOOD))
    assert found.sample("B-700").lot.name == "B"
    with pytest.raises(StudyError, match=r"has no sample 'A-650-10'; did you mean 'A-650-100'\?"):
        found.sample("A-650-10")


MANY_ERRORS = """
titel = "a slip"
phases = ["nb3sn", "niobium"]

[instrument]
file = "nowhere.toml"

[defaults]
mount = "powder"

[lots.A]
dopant_at_percent = { Ta = "2.4 at.%" }

[[samples]]
name = "A/1"
pattern = "a.xy"
lot = "A"
treatment = [{ holdc = 650, hours = -100 }]

[[samples]]
name = "second"
lot = "C"
temperature_c = -300

[[samples]]
name = "Second"
pattern = 5
treatment = [{ hold_c = "650 C", hours = 10 }, { hold_c = 650, hours = 1, ramp_k_per_h = 0 }]
"""


def test_all_errors_come_at_once_each_with_its_place_and_a_remedy(study):
    lines = problems(study, MANY_ERRORS)
    expected = {
        "titel: unknown key; did you mean 'title'?",
        "phases no. 2: ",
        "instrument.file: there is no file 'nowhere.toml'",
        "defaults.mount: 'powder' is unknown; ",
        "lots.A.dopant_at_percent.Ta: '2.4 at.%' is not a number; give the dopant content",
        "sample 'A/1', name: 'A/1' is not safe as a file name; take 'A-1'",
        "sample 'A/1', treatment no. 1, hold_c: is missing; give the temperature of the hold in °C",
        "sample 'A/1', treatment no. 1, holdc: unknown key; did you mean 'hold_c'?",
        "sample 'A/1', treatment no. 1, hours: -100 h is not a time; ",
        "sample 'second', pattern: is missing; give the path of the pattern",
        "sample 'second', lot: no lot 'C' is described; known: A",
        "sample 'second', temperature_c: -300 is outside -273.15 to 1500; give the temperature",
        "sample 'Second', name: 'Second' is already the name of sample no. 2 in other letters (second); ",
        "sample 'Second', pattern: 5 is not a list in [ ]; give the path of the pattern",
        "sample 'Second', treatment no. 1, hold_c: '650 C' is not a number; give the temperature of the hold in °C",
        "sample 'Second', treatment no. 2, ramp_k_per_h: a ramp of 0 K/h leads nowhere; ",
    }
    for start in expected:
        assert any(line.startswith(start) for line in lines), f"{start} not in:\n" + "\n".join(lines)
    assert len(lines) == len(expected), "\n".join(lines)


def replaced(old, new):
    assert old in GOOD
    return GOOD.replace(old, new, 1)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        (
            "",
            "instrument: is missing; give the table [instrument] with a file, or [instrument.calibrate]",
        ),
        (replaced('lot = "B"', "lot = 5"), "sample 'B-700', lot: 5 is not text in quotes; give the name of a lot"),
        (replaced('"A-650-100"', '"nul"'), "sample 'nul', name: 'nul' is not safe as a file name; take "),
        (replaced('"A-650-100"', '" "'), "sample no. 1, name: ' ' is not safe as a file name; take "),
        (replaced('"A-650-100"', '"plain"'), "sample no. 3, name: 'plain' is already the name of sample no. 1; "),
        (replaced('"srm-660c"', '"srm-666"'), "instrument.calibrate.standard: "),
        (replaced('"cu-ka"', '"copper"'), "instrument.calibrate.radiation: "),
        (
            replaced("217.5", "-1"),
            "instrument.calibrate.detector_distance_mm: -1 is not above zero; give the",
        ),
        (replaced("217.5", "nan"), "instrument.calibrate.detector_distance_mm: nan is not a finite number; "),
        (replaced("217.5", "true"), "instrument.calibrate.detector_distance_mm: True is not a number; "),
        (replaced("Ta = 2.4", "Ta = 40"), "lots.A.dopant_at_percent.Ta: 40 is outside 0 to 20; give the"),
        (replaced("Ta = 2.4", "Mo = 2.4"), "lots.A.dopant_at_percent.Mo: "),
        (
            replaced("{ Ta = 0.2 }", "{ Ti = 0.2 }"),
            "lots.A.u_dopant_at_percent.Ti: dopant_at_percent has no Ti",
        ),
        (replaced('"phases/extra.cif"', '"phases/no.cif"'), "phases no. 3: "),
        (replaced('"phases/extra.cif"', '"nb"'), "phases no. 3: 'nb' is already phases no. 2; "),
        (
            replaced('["patterns/a.xy", "patterns/a-again.xy"]', "[]"),
            "sample 'A-650-100', pattern: is empty; give the",
        ),
        (
            replaced('["patterns/a.xy", "patterns/a-again.xy"]', '""'),
            "sample 'A-650-100', pattern: is empty; give the",
        ),
        (
            replaced("hold_c = 650", "hold_c = -280"),
            "sample 'A-650-100', treatment no. 2, hold_c: -280 °C is not a furnace",
        ),
        (
            GOOD.replace('u_dopant_at_percent = { Ta = 0.2 }', "undoped = true"),
            "lots.A.undoped: true says that the wire holds no dopant, but dopant_at_percent names Ta; remove",
        ),
        (
            replaced("[instrument.calibrate]", "[instrument]\n[x]"),
            "instrument: neither a file nor a calibration",
        ),
        (
            replaced("[instrument.calibrate]", '[instrument]\nfile = "study.toml"\n[instrument.calibrate]'),
            "instrument: both a file and a calibration; ",
        ),
    ],
)
def test_single_errors(study, text, complaint):
    lines = problems(study, text)
    assert any(line.startswith(complaint) for line in lines), "\n".join(lines)


def test_a_sample_without_a_name_is_counted_from_one(study):
    assert "sample no. 2, name: is missing; give a name of its own, safe as a file name" in problems(
        study, replaced('name = "B-700"\n', "")
    )


def test_a_study_without_samples_is_told_so(study):
    text = GOOD.split("[[samples]]")[0]
    assert problems(study, text) == ["samples: is missing; give a table [[samples]] for every sample, or samples_table"]
    empty = text.replace("[instrument.calibrate]", "samples = []\n[instrument.calibrate]", 1)
    assert problems(study, empty) == ["samples: is empty; give a table [[samples]] for every sample, or samples_table"]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"title = ", "is not valid TOML"),
        (b"a = 1\na = 2\n", "is not valid TOML: Cannot overwrite a value"),
        (b'title = "ok"\n# \xff\n', "line 2 is not UTF-8 text; save the file as UTF-8"),
    ],
)
def test_what_is_no_study_file_is_refused_in_one_line(tmp_path, content, message):
    (tmp_path / "study.toml").write_bytes(content)
    with pytest.raises(StudyError) as caught:
        read_study(tmp_path)
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_byte_order_mark_does_no_harm(study):
    (study / "study.toml").write_text(GOOD, encoding="utf-8-sig")
    assert read_study(study).title == "Two lots over temperature"


def test_folders_that_are_none(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(StudyError, match="no such study folder"):
        read_study(tmp_path / "nowhere")
    with pytest.raises(StudyError, match=r"holds no study\.toml"):
        read_study(tmp_path)
    with pytest.raises(StudyError, match="is a file; name the study folder"):
        read_study(tmp_path / "file")


def test_hundreds_of_samples_are_read(study):
    block = GOOD.split("[[samples]]")[3]
    text = GOOD + "".join(f"[[samples]]{block.replace('plain', f's{k}')}" for k in range(500))
    write(study, text)
    assert len(read_study(study).samples) == 503


def test_schedules_hold_numbers_fit_for_formulas(study):
    schedule = read_study(write(study, GOOD)).samples[0].treatment
    assert isinstance(schedule.temperatures_k, np.ndarray)
    assert schedule.temperatures_k[0] == pytest.approx(298.15)


@pytest.mark.parametrize(
    ("key", "value", "hint"),
    [
        ("hold_c", "650", "it belongs to the heat treatment: treatment = [{ ramp_k_per_h"),
        ("hours", "100", "it belongs to the heat treatment"),
        ("tin_scale", '"scale.toml"', "tin_scale belongs at the top of the file, before the first table in [ ]"),
        ("mout", '"ground-powder"', "did you mean 'mount'?"),
    ],
)
def test_a_key_of_a_sample_that_belongs_elsewhere(study, key, value, hint):
    lines = problems(study, replaced('name = "B-700"\n', f'name = "B-700"\n{key} = {value}\n'))
    assert lines[0].startswith(f"sample 'B-700', {key}: unknown key; {hint}")


@pytest.mark.parametrize(
    ("line", "hint"),
    [
        ("dopants = { Ta = 2.4 }", "did you mean 'dopant_at_percent'?"),
        ('tin_scale = "scale.toml"', "tin_scale belongs at the top of the file"),
    ],
)
def test_a_key_of_a_lot_that_belongs_elsewhere(study, line, hint):
    lines = problems(study, replaced("[lots.A]\n", f"[lots.A]\n{line}\n"))
    assert any(one.startswith(f"lots.A.{line.split()[0]}: unknown key; {hint}") for one in lines)


def test_slips_of_steps(study):
    steps = 'treatment = [{ ramp = 50, hold_c = 650, time_h = 100, hours = 1 }]\n'
    lines = problems(study, replaced('name = "B-700"\n', f'name = "B-700"\n{steps}'))
    assert any("ramp: unknown key; did you mean 'ramp_k_per_h'?" in line for line in lines)
    assert any("time_h: unknown key; did you mean 'hours'?" in line for line in lines)


def test_lines_of_one_sample_stand_together(study):
    wrong = 'name = "B-700"\ntreatment = [{ hold_c = 650, hours = -1 }]\nmout = 1\n'
    text = replaced('name = "B-700"\n', wrong).replace('lot = "B"', 'lot = "C"')
    places = [line.split(",")[0] for line in problems(study, text.replace('lot = "A"', 'lot = "D"\nmout = 1'))]
    assert places == sorted(places) and places.count("sample 'A-650-100'") == 2
    assert places.count("sample 'B-700'") == 3
