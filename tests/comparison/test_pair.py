"""One pair: what is measured best first, then what follows."""

import re

import numpy as np
import pytest

from tests.figures import made
from xrdorder.comparison import Values
from xrdorder.comparison.pair import FOLLOWS, MEASURED, PairLine, compare_pair
from xrdorder.comparison.published_scatter import ONCE, SCATTER, prior_of
from xrdorder.estimates.study_draws import estimated
from xrdorder.exceptions import StudyError
from xrdorder.quantities.caveats import NOT_WIDENED
from xrdorder.quantities.formatting import with_interval
from xrdorder.relations import PUBLISHED
from xrdorder.relations.tin_from_lattice import DEFAULT


@pytest.fixture(scope="module")
def results():
    return estimated(made.collated(sizes=(70.0, 90.0, 92.0, 120.0, 85.0, 95.0)), n=300)


def test_measured_quantities_come_before_what_follows(results):
    found = compare_pair(results, "A-700", "A-625", PUBLISHED)
    assert [one.follows for one in found.lines] == sorted(one.follows for one in found.lines)
    assert {one.noun for one in found.lines} >= {"domain size", "Tc", "Bc2 at 4.2 K", "layer current density at 12 T"}
    size = next(one for one in found.lines if one.noun == "domain size")
    assert size.larger == "larger" and size.significant
    for one in found.lines:
        assert 0.5 <= one.probability <= 1.0
        assert bool(one.remedy) != one.significant


def test_at_different_order_it_is_said_what_the_widening_of_the_lattice_does():
    """Draws in which each pm of widening takes 0.1 at.% from the wire of low order: without its 5 pm, 0.5 more."""
    pieces = [(*piece[:4], 0.70 if piece[0] == "A-625" else piece[4], *piece[5:]) for piece in made.PIECES]
    told = estimated(made.collated(pieces), n=300)
    widening = 5.0 + np.random.default_rng(2).standard_normal(300)
    told["shared_draws"].values[told["shared_name"].values == "widening by disorder"] = widening
    tin = told["estimate_draws"].sel(target="tin_fraction")
    tin.values[...] = 0.24
    tin.loc["A-625"] = 0.24 - 0.001 * (widening - 5.0)
    pair = compare_pair(told, "A-625", "A-700")
    (line,) = [line for line in pair.lines if line.noun == "tin content"]
    words = re.fullmatch(
        r"Tin of (.+) less that of (.+): ([+−][\d.]+) (± [\d.]+ at\.%) .*\(used\), ([+−][\d.]+) (.+)\.", pair.widening
    )
    assert (words[1], words[2], words[6]) == (pair.first, pair.second, NOT_WIDENED)
    assert line.amount == f"{words[3][1:]} {words[4]}"
    used, without = (float(words[k].replace("−", "-")) for k in (3, 5))
    assert without - used == pytest.approx(0.5, abs=0.011)  # both are printed to two places
    assert compare_pair(told, "A-650-a", "A-700").widening == ""  # alike in order


def test_interval_and_probability_of_a_current_are_those_of_the_same_draws(results, monkeypatch):
    """A ratio is lopsided: an interval made of a standard deviation contradicts the probability of its sign."""
    draws = np.exp(np.random.default_rng(5).standard_t(3, (2, 4000)) * 0.13)
    draws[0] *= 1.5
    monkeypatch.setattr("xrdorder.comparison.pair.current_draws", lambda *args: draws)
    more, less = 100.0 * (draws[0] / draws[1] - 1.0), 100.0 * (1.0 - draws[1] / draws[0])
    for names, word, percent in ((("A-625", "A-700"), "higher", more), (("A-700", "A-625"), "lower", less)):
        one = compare_pair(results, *names, PUBLISHED).lines[-1]
        assert one.larger == word and one.follows
        assert one.amount == f"{with_interval(*np.quantile(percent, [0.5, 0.16, 0.84]))} %"
        assert one.probability == pytest.approx(np.mean(percent > 0.0))
        assert one.significant == (np.quantile(percent, 0.025) > 0.0)


def test_turning_a_pair_round_turns_the_words_only(results):
    forward, back = (compare_pair(results, *names) for names in (("A-700", "A-625"), ("A-625", "A-700")))
    for one, other in zip(forward.lines, back.lines, strict=True):
        assert one.amount == other.amount and one.visible == other.visible
        assert one.probability == pytest.approx(other.probability, abs=1e-6)


def test_wrong_pairs_are_one_line(results):
    with pytest.raises(StudyError, match="no sample or variant 'A-70'; did you mean"):
        compare_pair(results, "A-70", "A-625")
    with pytest.raises(StudyError, match="one and the same"):
        compare_pair(results, "A-625", "A-625")


@pytest.mark.parametrize(
    ("probability", "significant", "said"),
    [(0.999, True, "certain"), (0.98, True, "very likely (P 0.98)"), (0.85, False, "likely (P 0.85)"),
     (0.6, False, "not distinguishable")],
)  # fmt: skip
def test_words_say_how_sure_it_is(probability, significant, said):
    assert PairLine("Tc", "0.4 ± 0.4 K", "higher", probability, significant, "1 K", "", True, "").sure == said


def test_the_published_scatter_has_units_and_doubt():
    values = Values("tin_at_percent", ("a", "b"), np.array([24.0, 24.1]), np.zeros((2, 0)), np.full((2, 1), 0.1))
    prior = prior_of(values)
    by_line = 0.02 / (10.0 * DEFAULT.slope_nm)  # 0.02 pm over the slope of the line in pm per at.%
    assert prior.u == pytest.approx(by_line) and prior.held == prior.u
    lattice = prior_of(Values("a_nm", ("a", "b"), np.full(2, 0.5288), np.zeros((2, 0)), np.full((2, 1), 1e-6)))
    assert lattice.u == pytest.approx(2e-5) and lattice.held == 0.0
    for freedom in range(3):
        nodes, weights = lattice.nodes(freedom)
        assert weights.sum() == pytest.approx(1.0)
        assert 0.3 < weights[nodes < 3.0 * ONCE * lattice.u].sum() < 0.7  # any from one to three, and beyond
    # what is not published scatters as far as it is known
    unknown = Values("q0", ("a", "b"), np.zeros(2), np.zeros((2, 0)), np.full((2, 1), 0.3))
    assert prior_of(unknown).u == pytest.approx(0.3)
    assert all(one.source and one.known for one in SCATTER.values())
    assert not set(MEASURED) & set(FOLLOWS)
