"""Onset and periods of made courses."""

import numpy as np
import pytest

from xrdorder.series.chunks import table
from xrdorder.series.events import ONSET_FRACTION, onset, periods

HOURS = np.linspace(0.0, 2.0, 41)
CELSIUS = 500.0 + 100.0 * HOURS
U_SHARE = 0.002


def made(share, seen, u=U_SHARE, status=None):
    rows = []
    for k, (x, there) in enumerate(zip(share, seen, strict=True)):
        row = {"status": "ok" if status is None else status[k], "present_nb3sn": float(there)}
        if there:
            row |= {"weight_fraction_nb3sn": x, "u_own_weight_fraction_nb3sn": u, "significance_nb3sn": x / u}
        else:
            z = max(x, 0.0) / u
            row |= {"weight_fraction_nb3sn": 0.0, "significance_nb3sn": z, "upper_limit_nb3sn": u * (z + 1.645)}
        rows.append(row)
    return table(rows, HOURS, CELSIUS)


@pytest.mark.parametrize("limit", [0.0, 0.015, 0.025])
def test_onset_of_a_linear_rise(limit):
    """The level is reached where it is put in, wherever the phase begins to be seen."""
    share = np.maximum(0.05 * (HOURS - 0.5), 0.0)
    when = onset(made(share, share > limit), "nb3sn")
    assert when is not None
    assert when.time_h == pytest.approx(0.5 + ONSET_FRACTION / 0.05, abs=1e-9)  # four points of an exact line
    assert when.temperature_c == pytest.approx(590.0, abs=1e-6)
    # a line through four points of equal u, half a spacing from its middle: u²(1/4 + 1/20); beside it the spacing
    assert when.u_h == pytest.approx(np.hypot(np.sqrt(0.3) * U_SHARE / 0.05, 0.05 / np.sqrt(12.0)), rel=1e-3)
    assert when.u_temperature_c == pytest.approx(np.hypot(100.0 * when.u_h, 0.5), rel=1e-6)


def test_onset_covers_the_truth_as_often_as_it_says():
    """Noise of the stated size: 68 of 100 within u, or more, as the spacing of frames is counted as well."""
    rng = np.random.default_rng(5)
    truth, inside, n = 0.9, 0, 100
    for _ in range(n):
        share = np.maximum(0.05 * (HOURS - 0.5), 0.0) + rng.normal(0.0, U_SHARE, len(HOURS))
        when = onset(made(share, share > 0.01), "nb3sn")
        inside += abs(when.time_h - truth) <= when.u_h
    assert inside / n >= 0.683 - 3.0 * np.sqrt(0.683 * 0.317 / n)  # three standard deviations of the binomial


def test_no_onset_where_there_is_none():
    assert onset(made(np.zeros(41), np.zeros(41, bool)), "nb3sn") is None
    assert onset(made(np.full(41, 0.5), np.ones(41, bool)), "nb3sn") is None
    one = np.where(np.arange(41) == 20, 0.05, 0.0)
    assert onset(made(one, one > 0.0), "nb3sn") is None


def test_frames_without_a_result_do_not_count():
    share = np.maximum(0.05 * (HOURS - 0.5), 0.0)
    status = ["no beam" if k in (5, 30) else "ok" for k in range(41)]
    when = onset(made(np.where(np.array(status) == "ok", share, 9.0), share > 0.0, status=status), "nb3sn")
    assert when.time_h == pytest.approx(0.9, abs=1e-9)


def test_periods_pass_over_chance():
    seen = np.zeros(41, bool)
    seen[10:30] = True
    seen[[15, 16]] = False  # a gap of two frames
    seen[2] = True  # seen once
    (one,) = periods(made(np.full(41, 0.1), seen), "nb3sn")
    assert (one.from_h, one.to_h) == (HOURS[10], HOURS[29])
    seen[-1] = True  # how long it would have been seen is not known
    assert len(periods(made(np.full(41, 0.1), seen), "nb3sn")) == 2
    assert periods(made(np.full(41, 0.1), seen), "cu-sn") == []
