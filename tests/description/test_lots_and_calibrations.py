"""Lots and named calibrations in a study file: what they may say, and complaints in one line each."""

import pytest

from tests.description.test_study import problems, replaced, write
from tests.description.test_study import study as study
from xrdorder.description.study import read_study

LOT = 'route = "internal tin"\n'


@pytest.mark.parametrize(
    ("told", "route"),
    [("Bronze", "bronze"), ("powder_in tube", "powder-in-tube"), ("jelly-roll", "jelly-roll"), ("In Situ", "in-situ")],
)
def test_routes_in_any_spelling(study, told, route):
    assert read_study(write(study, replaced('"internal tin"', f'"{told}"'))).samples[0].lot.route == route


def test_what_a_wire_is_made_of(study):
    more = 'filament = "Nb-7.5Ta"\nbarrier = "Nb"\na15_area_fraction = 0.55\nu_a15_area_fraction = 0.02\n'
    a, b, _ = read_study(write(study, replaced(LOT, LOT + more))).samples
    assert (a.lot.filament, a.lot.barrier) == ("Nb-7.5Ta", "Nb")
    assert (a.lot.a15_area_fraction, a.lot.u_a15_area_fraction) == (0.55, 0.02)
    assert (b.lot.filament, b.lot.a15_area_fraction) == ("", None)


@pytest.mark.parametrize(
    ("told", "design"),
    [
        ('route = "bronze"', "bronze"),
        ('route = "jelly-roll"', ""),  # no pre-strain is known of these
        ('route = "jelly-roll"\ndesign = "Internal Tin"', "internal-tin"),
        ('route = "bronze"\ndesign = "none"', "none"),
        ('filament = "Nb"', ""),
    ],
)
def test_the_design_is_told_or_follows_from_the_route(study, told, design):
    assert read_study(write(study, replaced(LOT, told + "\n"))).samples[0].lot.design == design


@pytest.mark.parametrize(
    ("told", "complaint"),
    [
        ('design = "jelly-roll"', "design: 'jelly-roll' is unknown; known: bronze, internal-tin, none, powder-in-tube"),
        ('route = "internal tin (old)"', "route: 'internal tin (old)' is unknown; did you mean 'internal-tin'?"),
        ('route = "drawn"', "route: 'drawn' is unknown; known: bronze, in-situ, internal-tin, jelly-roll, powder"),
        ('filament = "niobium"', "filament: 'niobium' names no metal by its symbols; give the metal of the filaments"),
        ('barrier = "Xy"', "barrier: 'Xy' names no metal by its symbols; give the metal of the diffusion barrier"),
        ("a15_area_fraction = 55\nu_a15_area_fraction = 0.02", "a15_area_fraction: 55 is outside 0.01 to 1; give the"),
        ("a15_area_fraction = 0.55", "u_a15_area_fraction: is missing; give the standard uncertainty (k = 1) of"),
        ("u_a15_area_fraction = 0.02", "a15_area_fraction: is missing; give the share that the uncertainty belongs to"),
    ],
)
def test_lots_that_cannot_be(study, told, complaint):
    lines = problems(study, replaced(LOT, told + "\n"))
    assert len(lines) == 1 and lines[0].startswith(f"lots.A.{complaint}"), lines


NAMED = """
[calibrations.mo]
file = "mo.toml"
[calibrations.cu-2]
pattern = "patterns/lab6-2.xy"
standard = "srm-660c"
detector_distance_mm = 240
"""


def named(text=NAMED, **samples):
    """The good study with named calibrations, and what samples or the defaults say of them."""
    for name, told in samples.items():
        old = "[defaults]" if name == "defaults" else f'name = "{name.replace("_", "-")}"'
        text = f"{text}\n" if text else ""
        samples[name] = (old, f'{old}\ncalibration = "{told}"')
    whole = replaced("[lots.A]", f"{text}[lots.A]")
    for old, new in samples.values():
        assert old in whole
        whole = whole.replace(old, new, 1)
    return whole


def test_several_calibrations(study):
    (study / "mo.toml").write_text("")
    found = read_study(write(study, named(plain="mo", B_700="cu-2")))
    assert [one.calibration for one in found.samples] == ["", "cu-2", "mo"]
    assert found.instrument.pattern == (study / "patterns/lab6.xy",)
    assert found.calibrations["mo"] == study / "mo.toml"
    assert found.calibrations["cu-2"].detector_distance_mm == 240.0
    # without [instrument], where all name theirs
    text = named(defaults="mo", B_700="cu-2")
    start, end = text.index("[instrument.calibrate]"), text.index("[defaults]")
    found = read_study(write(study, text[:start] + text[end:]))
    assert (found.instrument, [one.calibration for one in found.samples]) == (None, ["mo", "cu-2", "mo"])


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (named(plain="cu2"), ["sample 'plain', calibration: no calibration 'cu2' is described; did you mean 'cu-2'?"]),
        (named(defaults="x"), ["defaults.calibration: no calibration 'x' is described; known: cu-2, mo"]),
        (named("", plain="mo"), ["sample 'plain', calibration: no calibration 'mo' is described; add a table [calib"]),
        (named(NAMED.replace("240", "-1")), ["calibrations.cu-2.detector_distance_mm: -1 is not above zero; give the"]),
        (named(NAMED.replace("standard =", "standart =")),
         ["calibrations.cu-2.standard: is missing; give", "calibrations.cu-2.standart: unknown key; did you mean"]),
        (named(NAMED.replace("mo.toml", "no.toml")), ["calibrations.mo.file: there is no file 'no.toml' in "]),
        (named(NAMED.replace("[calibrations.cu-2]\n", "")), ["calibrations.mo: both a file and a calibration; g"]),
        (named("[calibrations.mo]\n"), ["calibrations.mo: neither a file nor a calibration; give either file"]),
        (named(NAMED.replace(".mo]", '."m/o"]')), ["calibrations.\"m/o\": 'm/o' is not safe as a file name; take"]),
        (named(NAMED.replace(".mo]", ".CU-2]")), ["calibrations.cu-2: differs from 'CU-2' in the case of letters"]),
    ],
)  # fmt: skip
def test_calibrations_that_cannot_be(study, text, expected):
    (study / "mo.toml").write_text("")
    lines = problems(study, text)
    assert len(lines) == len(expected), lines
    for line, start in zip(lines, expected, strict=True):
        assert line.startswith(start), lines


def test_samples_without_any_calibration_are_told_once(study):
    (study / "mo.toml").write_text("")
    text = named(plain="mo")
    start, end = text.index("[instrument.calibrate]"), text.index("[defaults]")
    assert problems(study, text[:start] + text[end:]) == [
        "sample 'A-650-100', calibration: is missing, as in 1 more; name one of mo, cu-2 here or in [defaults], "
        "or give a table [instrument]"
    ]
