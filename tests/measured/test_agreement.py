"""Which relation fits: against closed forms where there are some, and against truths put in."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from tests.descriptions import measured
from xrdorder.exceptions import ValidityError
from xrdorder.measured.agreement import Subject, agreements, straight_line
from xrdorder.measured.held import verdict
from xrdorder.relations import Scatter, relation, relations
from xrdorder.superconductivity.mixture import LOT_SHARE
from xrdorder.uncertainty import standard_normal

N = 4000
ROUTES = [(entry,) for entry in (*relations("tc-from-tin"), *relations("tc-from-order"))]
# one scatter everywhere, so that closed forms hold
LINE = replace(relation("devantay-1981-line"), scatter=Scatter("for the test", ((0.0, 0.5),)))
CURVE = relation("godeke-2006-boltzmann")


def subject(name, tin, measured, *, u_common=0.015, u_own=0.0015, lot="heron", tc=16.0, order=math.nan):
    """Draws of tin with a doubt that all share and one of its own; mean and spread are exactly as stated."""
    common, own = (standard_normal(N, 5, source, group, name) for source, group in (("scale", "all"), ("own", "")))
    own = own - common * (own @ common) / (common @ common)
    common, own = ((z - z.mean()) / z.std(ddof=1) for z in (common, own))
    draws = {"tin_fraction": tin + u_common * common + u_own * own, "site_order": np.full(N, order),
             "Tc_K": np.full(N, tc)}  # fmt: skip
    share = u_own**2 / (u_own**2 + u_common**2) if u_own or u_common else 1.0
    return Subject(name, lot, draws, {"tin_fraction": share, "site_order": 1.0, "Tc_K": 1.0}, measured=tuple(measured))


def tc(value, u=0.1):
    return measured("Tc_K", float(value), u)


def of(found, name):
    return next(one for one in found if one.name == name)


def test_the_likelihood_is_that_of_a_normal_distribution_where_everything_is_straight():
    """A straight relation with scatter: the measured values are jointly normal, with a closed form."""
    other = replace(LINE, name="shifted", function=lambda x: LINE.function(x) + 1.5, inverse=None, checks=())
    routes = [(LINE,), (other,)]
    tins, values = np.array([0.211, 0.216, 0.214, 0.219]), np.array([12.0, 13.2, 12.4, 13.5])
    # doubts small enough that no draw leaves the validity, which the closed form does not know
    subjects = [
        subject(f"s{k}", tin, [tc(value, 0.2)], u_common=0.004, u_own=0.001)
        for k, (tin, value) in enumerate(zip(tins, values, strict=True))
    ]
    found = agreements(subjects, "Tc_K", routes)
    slope = 12.0 / 0.07
    own = np.diag(np.full(4, 0.2**2 + (slope * 0.001) ** 2 + (1.0 - LOT_SHARE) * 0.5**2))
    covariance = own + (slope * 0.004) ** 2 + LOT_SHARE * 0.5**2
    logs = [multivariate_normal.logpdf(values, route[0].function(tins), covariance) for route in routes]
    expected = 1.0 / (1.0 + math.exp(logs[1] - logs[0]))
    # 4000 draws of which at least one in ten matters: 5 % of an odds ratio, 0.012 of a probability
    assert of(found, LINE.name).probability == pytest.approx(expected, abs=0.012)
    assert 0.02 < expected < 0.98  # else nothing is tested


def test_a_doubt_that_all_share_counts_once_and_not_once_a_sample():
    # The same line, for tin that reads 0.5 at.% higher: 2/3 of the common standard uncertainty. However many samples
    # there are, the odds are exp(-(2/3)^2 / 2).
    shift = 0.005
    other = replace(LINE, name="shifted", function=lambda x: LINE.function(x + shift), inverse=None, checks=())
    tins = np.linspace(0.205, 0.225, 12)
    # no lot: the distance from the relation is each sample's own
    subjects = [
        subject(f"s{k}", tin, [tc(LINE.function(tin))], u_common=0.0075, lot="") for k, tin in enumerate(tins)
    ]
    found = agreements(subjects, "Tc_K", [(LINE,), (other,)])
    expected = 1.0 / (1.0 + math.exp(2.0 / 9.0))
    # draws near the ends of the validity are lost
    assert of(found, "shifted").probability == pytest.approx(expected, abs=0.02)
    private = [subject(f"s{k}", tin, [tc(LINE.function(tin))], u_common=0.0, lot="") for k, tin in enumerate(tins)]
    assert of(agreements(private, "Tc_K", [(LINE,), (other,)]), "shifted").probability < 0.1


@pytest.mark.slow
def test_the_relation_that_made_the_values_is_found_although_the_scale_is_off():
    """Every relation in turn plays the truth; tin is read 1 at.% too low throughout."""
    tins = np.array([0.205, 0.212, 0.22, 0.228, 0.236])
    right = 0
    routes = [(replace(entry, scatter=Scatter("none, for the test")),) for entry in relations("tc-from-tin")]
    for (truth,) in routes:
        subjects = [subject(f"s{k}", tin - 0.01, [tc(truth.function(tin))]) for k, tin in enumerate(tins)]
        best = agreements(subjects, "Tc_K", routes)[0]
        right += best.name == truth.name
    assert right == len(routes)


def test_an_offset_of_the_laboratory_comes_back_with_its_uncertainty():
    rng = np.random.default_rng(3)
    tins = rng.uniform(0.225, 0.24, 20)
    # scatter of the relation and of the measurement, drawn as they are stated
    sigma = np.hypot(CURVE.scatter.at(tins, CURVE.function(tins)), 0.1)
    values = CURVE.function(tins) + 0.7 + sigma * rng.standard_normal(20)
    drawn = enumerate(zip(tins, values, strict=True))
    subjects = [subject(f"s{k}", tin, [tc(value)], u_own=0.0, lot="") for k, (tin, value) in drawn]
    found = of(agreements(subjects, "Tc_K", [(CURVE,)]), CURVE.name)
    assert found.probability == 1.0  # alone among those compared
    assert found.shifted.slope == 1.0 and found.shifted.u == found.u_own
    # four standard uncertainties: one draw in 16 000 lies beyond
    assert abs(found.shifted.offset - 0.7) < 4.0 * found.u_own
    assert 0.5 * sigma.mean() / math.sqrt(20) < found.u_own < 2.0 * sigma.mean() / math.sqrt(20)
    assert abs(found.tilted.slope - 1.0) < 4.0 * found.tilted.u_slope
    assert found.u_common > 0.5  # 1.5 at.% of tin near 23 at.% is several kelvin


def test_fields_are_compared_at_zero_by_the_law_of_their_route():
    law, zero = relation("godeke-2006-power-law"), relation("godeke-2006-collapse")
    middle = np.median(subject("s", 0.23, []).draws["tin_fraction"])
    field = float(zero.function(np.array(middle)))
    at = [measured("Bc2_T", field * (1.0 - (t / 16.0) ** 1.52), 0.2, temperature_k=t) for t in (8.0, 4.2)]
    one = subject("s", 0.23, [*at, tc(16.0)])
    found = agreements([one], "Bc2_T", [(zero, law)])[0]
    assert found.name == "godeke-2006-collapse + godeke-2006-power-law"
    assert found.difference == pytest.approx(0.0, abs=1e-9)
    # without a measured Tc that of the draws stands in
    estimated = agreements([subject("s", 0.23, at, tc=16.0)], "Bc2_T", [(zero, law)])[0]
    assert estimated.difference == pytest.approx(0.0, abs=1e-9)


def test_relations_without_input_or_outside_their_validity_are_not_compared_and_say_why():
    subjects = [subject("low", 0.11, [tc(9.0)], u_common=0.01), subject("good", 0.23, [tc(15.0)])]
    found = agreements(subjects, "Tc_K", ROUTES)
    assert all(one.reason for one in found)
    assert of(found, LINE.name).reason == f"low lies outside its validity {LINE.validity}"
    assert {one.reason for one in found if one.route[0].kind == "tc-from-order"} == {"low has no site_order"}
    assert all(math.isnan(one.probability) and one.shifted is None for one in found)


def test_a_centre_outside_the_validity_gives_a_probability_but_nothing_to_adopt():
    found = of(agreements([subject("high", 0.255, [tc(18.0)])], "Tc_K", ROUTES), CURVE.name)
    assert found.probability > 0.0 and found.shifted is None and math.isnan(found.difference)


def test_nothing_measured_is_said():
    with pytest.raises(ValidityError, match=r"no sample has a measured Tc_K; give one under \[samples.measured\]"):
        agreements([subject("s", 0.23, [])], "Tc_K", ROUTES)


def test_a_straight_line_is_that_of_least_squares():
    x, y, sigma = np.array([1.0, 2.0, 3.0, 5.0]), np.array([1.3, 2.1, 3.4, 5.6]), np.array([0.1, 0.2, 0.1, 0.3])
    slope, offset = np.polyfit(x, y, 1, w=1.0 / sigma)
    line = straight_line(x, y, sigma, slope=True)
    assert (line.offset, line.slope) == pytest.approx((offset, slope), rel=1e-10)
    covariance = np.polyfit(x, y, 1, w=1.0 / sigma, cov="unscaled")[1]
    # the points scatter no more than stated: nothing is enlarged
    assert (line.u_slope**2, line.u**2) == pytest.approx((covariance[0, 0], covariance[1, 1]), rel=1e-9)
    assert line.correlation == pytest.approx(covariance[0, 1] / np.sqrt(np.prod(np.diag(covariance))), rel=1e-9)
    wide = straight_line(x, y, 10.0 * sigma, slope=True)
    assert wide.slope == pytest.approx(slope) and wide.u_slope > line.u_slope  # scatter as stated: not enlarged


def test_a_relation_of_other_wire_is_compared_but_is_no_candidate():
    """However well a relation for tantalum-doped wire fits an undoped lot."""
    tantalum = relation("baumgartner-2017-tantalum")
    tins = (0.222, 0.228, 0.234, 0.240)
    subjects = [subject(f"s{k}", x, [tc(tantalum(x))], u_common=1e-3, u_own=1e-4) for k, x in enumerate(tins)]
    every = [(entry,) for entry in (LINE, tantalum, CURVE)]
    free = agreements(subjects, "Tc_K", every)
    assert free[0].name == tantalum.name  # it fits best
    found = agreements(subjects, "Tc_K", every, for_wire=[(LINE,), (CURVE,)])
    assert [one.name for one in found][-1] == tantalum.name and not found[-1].candidate
    assert found[-1].difference == pytest.approx(of(free, tantalum.name).difference)
    assert sum(one.probability for one in found[:-1]) == pytest.approx(1.0) and found[-1].probability == 0.0
    assert verdict(found).startswith(CURVE.name) and "of 2, probability" in verdict(found)
