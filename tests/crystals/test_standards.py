"""Certified powders: complete, converted to one sigma, honest about how they are known."""

import pytest

from xrdorder.crystals import free_lengths, phase, standard, standard_names
from xrdorder.exceptions import UnknownNameError, ValidityError


@pytest.mark.parametrize("name", standard_names())
def test_entry_fits_its_phase(name: str) -> None:
    s = standard(name)
    p = phase(s.phase)
    assert len(s.lengths_nm) == len(s.u_lengths_nm) == len(free_lengths(p.system))
    for length, u, low, high in zip(
        s.lengths_nm, s.u_lengths_nm, p.lengths_low_nm, p.lengths_high_nm, strict=True
    ):
        assert low < length < high
        assert 1e-7 < u / length < 1e-4
    assert s.source


def test_there_are_silicon_lab6_and_alumina() -> None:
    assert {standard(name).phase for name in standard_names()} == {"si", "lab6", "corundum"}


def test_uncertainty_is_one_sigma() -> None:
    # The certificate of 660c states 0.000008 nm with k = 2.
    assert standard("srm-660c").u_lengths_nm == pytest.approx((4e-6,))


def test_lots_of_one_family_agree_within_their_texts() -> None:
    lots = {name: standard(name) for name in standard_names() if standard(name).phase in ("si", "lab6")}
    for family, spread in (("si", 5e-5), ("lab6", 2e-5)):
        values = [s.lengths_at(22.5)[0] for s in lots.values() if s.phase == family]
        # Lots differ by oxide strain and re-measurement: 32 ppm between feedstock and powder of 640c is
        # documented.
        assert max(values) - min(values) < spread


def test_expansion() -> None:
    s = standard("srm-640c")
    assert s.lengths_at(s.temperature_c) == s.lengths_nm
    assert s.lengths_at(122.5)[0] / s.lengths_nm[0] - 1 == pytest.approx(2.56e-4)


def test_advice_where_no_certificate_was_read() -> None:
    assert standard("srm-660c").advice == ""
    for name in standard_names():
        advice = standard(name).advice
        assert (advice == "") == (standard(name).known == "certificate read")
        assert "\n" not in advice
        assert not advice or ("not read on a certificate" in advice and name in advice)
    assert "0.26 at.% Sn" in standard("srm-640d").advice


def test_name_is_forgiving_and_unknown_is_told() -> None:
    assert standard(" SRM 640c").name == "srm-640c"
    with pytest.raises(UnknownNameError, match="standard 'srm-999' is not known; known are srm-1976a"):
        standard("srm-999")


def test_the_laboratorys_own_value_takes_the_place_of_the_table():
    certified = standard("srm-660c")
    own = certified.with_value((0.415690,), (1e-6,))
    assert (own.lengths_nm, own.u_lengths_nm) == ((0.415690,), (1e-6,))
    assert own.name != certified.name  # samples calibrated with the table's value do not share its doubt
    assert own.advice == ""
    assert certified.with_value((0.415690,)).u_lengths_nm == certified.u_lengths_nm
    assert certified.with_value() is certified


@pytest.mark.parametrize(
    ("lengths", "u", "said"),
    [((4.1569,), None, "give nm"), ((0.4157, 0.5), None, "1 free length"), (None, (0.01,), "give nm")],
)
def test_slips_in_the_own_value(lengths, u, said):
    with pytest.raises(ValidityError, match=said):
        standard("srm-660c").with_value(lengths, u)


def test_alumina_676a_has_the_digits_that_are_printed() -> None:
    # SRM 676a: a = 0.4759091 nm, c = 1.2991779 nm, as quoted in secondary texts
    assert standard("srm-676a").lengths_nm == (0.4759091, 1.2991779)
