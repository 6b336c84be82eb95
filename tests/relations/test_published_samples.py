"""The table of published samples is what it says, and refuses what cannot be."""

import copy
import math

import pytest

from xrdorder.exceptions import UnknownNameError, ValidityError
from xrdorder.relations.published_samples import KNOWN, PAIRS, parse, points, published_samples, select

SERIES = {
    "source": "A. Author, Journal 1 (2000) 1", "known": "read", "laboratory": "Town", "form": "wire",
    "samples": [
        {"name": "wire with Ta, 650 °C", "dopants": ["Ta"], "Tc_K": 17.5, "u_Tc_K": 0.1, "Bc2_T": 29, "Bc2_at_k": 0}
    ],
}  # fmt: skip


def changed(**own: object) -> dict:
    series = copy.deepcopy(SERIES)
    series["samples"][0] |= own
    return {"series": [series]}


def test_the_file_is_read_whole() -> None:
    samples = published_samples()
    assert len({s.name for s in samples}) == len(samples) > 100
    assert {s.known for s in samples} == set(KNOWN)
    assert all(s.source and s.laboratory for s in samples)
    # names are by route and dopant: no number of a specimen, no code of a wire
    assert all(s.name[0].isalpha() and "_" not in s.name and "#" not in s.name for s in samples)


def test_a_series_hands_its_keys_to_its_samples() -> None:
    (sample,) = parse(changed())
    assert sample.form == "wire" and sample.dopants == ("Ta",) and not sample.undoped
    assert sample.Bc2_T == 29.0 and math.isnan(sample.a_nm) and sample.given("Tc_K", "Bc2_T")


@pytest.mark.parametrize(
    ("own", "words"),
    [
        ({"a_nm": 0.0529}, "a_nm is 0.0529"),
        ({"Tc_K": 40.0}, "Tc_K is 40"),
        ({"u_a_nm": 1e-5}, "u_a_nm is 1e-05 without a value"),
        ({"Bc2_at_k": math.nan}, "Bc2 without its temperature"),
        ({"known": "heard"}, "known is 'heard'"),
        ({"form": "tape"}, "form is 'tape'"),
        ({"judges": ["everything"]}, "judges 'everything'"),
        ({"tin_at_percent": 24.0}, "tin without how it was found"),
        ({"dopant_at_percent": {"Ti": 1.0}}, "content of Ti, which is none of its dopants"),
        ({"tin": 24.0}, "unknown tin"),
        ({"source": ""}, "no source"),
    ],
)
def test_what_cannot_be_is_refused_by_name(own: dict, words: str) -> None:
    with pytest.raises(ValidityError, match="published sample 'wire with Ta, 650 °C'") as caught:
        parse(changed(**own))
    assert words in str(caught.value)


def test_a_name_twice_and_a_missing_one() -> None:
    twice = changed()
    twice["series"].append(copy.deepcopy(SERIES))
    with pytest.raises(ValidityError, match="occurs twice"):
        parse(twice)
    nameless = changed()
    del nameless["series"][0]["samples"][0]["name"]
    with pytest.raises(ValidityError, match="without a name"):
        parse(nameless)


def test_filters() -> None:
    everything = published_samples()
    doped, undoped = select("Tc_K", doped=True), select("Tc_K", doped=False)
    assert len(doped) + len(undoped) == len(select("Tc_K")) < len(everything)
    assert {s.form for s in select(form=("bulk", "film"))} == {"bulk", "film"}
    assert {s.form for s in select(form="wire")} == {"wire"}
    geneva = select(laboratory="Geneva")
    assert geneva and len(select(without="Geneva")) == len(everything) - len(geneva)
    assert select(where=lambda s: s.irradiated) == tuple(s for s in everything if s.irradiated)
    for wrong in ({"form": "tape"}, {"judges": "all"}):
        with pytest.raises(UnknownNameError, match="of published samples; there are"):
            select(**wrong)
    with pytest.raises(UnknownNameError, match="no quantity 'tc'"):
        select("tc")


@pytest.mark.parametrize("pair", PAIRS)
def test_points_are_what_the_table_says_of_samples_nothing_speaks_against(pair: tuple[str, str]) -> None:
    shown = points(*pair)
    assert len(shown.samples) >= 10
    for k, sample in enumerate(shown.samples):
        assert (shown.x[k], shown.y[k]) == tuple(getattr(sample, name) for name in pair)
        assert not sample.irradiated and sample.judges
        assert "Bc2_T" not in pair or sample.Bc2_at_k <= 0.5
    assert shown.u_x.shape == shown.y.shape and not (shown.u_y <= 0.0).any()
    doped, undoped = points(*pair, doped=True), points(*pair, doped=False)
    assert len(doped.samples) + len(undoped.samples) == len(shown.samples)


def test_points_leave_out_what_is_on_no_line() -> None:
    """R. Escudero et al., arXiv:0907.0411: crystals of 0.5253 and 0.5270 nm with the Tc of full tin."""
    every = [s.a_nm for s in select("a_nm", "Tc_K")]
    assert min(every) < 0.526 and points("a_nm", "Tc_K").x.min() > 0.5285
    # a film that lost its tin: on the way to niobium, 10.95 K at 4.1 at.%
    assert points("tin_at_percent", "Tc_K").x.min() > 18.0
