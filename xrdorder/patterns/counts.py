"""Notice intensities that are not counts, and estimate their uncertainty.

Counts are whole numbers whose variance is their mean (Poisson). Both are tested:

* whole numbers, without a common divisor: catches counts per second, counts times a factor, interpolation;
* the scatter against neighbours: smoothing, resampling and rounding of scaled counts leave whole numbers but
  not the right scatter.

The scatter is measured by fourth differences, which remove a cubic course: a line whose full width is ten
steps leaves less than a tenth of its counting noise in them. Their mean square over blocks of 16 points is
divided by what counts of that height would give (for weights c_j and counts y_j the variance of sum c_j y_j
is estimated without bias by sum c_j² y_j, however few the counts). Only the quarter of the blocks that stand
lowest among their neighbours is used, the places between the lines; their median is the ratio. It is 1 for
counts, u for counts times u, and 0.02 for a five-point moving average.

Smoothed or resampled values are told from divided ones by how the fourth differences of neighbours hang together: those
of independent values do so over four points in a known way, those of smoothed ones otherwise and farther. Only lags
from three on are asked, as narrow lines change the first two.

Tried and rejected: the median, or the lower quartile, over all blocks; lines narrower than two steps or
closer than ten made it 1.5 to 3.5 on true counts.

An alarm needs a ratio off by more than 1.6 *and* by more than 4.5 of its own standard errors. For normal
scatter the second happens 7e-6 of the time; in simulations of steps, widths and densities of lines that
laboratories use the ratio stayed within 4 standard errors. Ratios within 1.6 are let pass: strip detectors
and dead time cause them, and they falsify an uncertainty by less than 27 %.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from xrdorder.patterns.content import Array

_DIFFERENCE = np.array([1.0, -4.0, 6.0, -4.0, 1.0])
_SQUARES = _DIFFERENCE**2
_BLOCK = 16
_GROUP = 8  # blocks among which the lowest quarter is chosen
_FEWEST = 8  # blocks used where there are so many
# Fourth differences of white noise are correlated (lags 1 to 4: -0.8, 0.4, -0.114, 0.0143), so that a block
# of n has the spread of chi-square with n/2.627 degrees of freedom; its median follows by Wilson and
# Hilferty's cube.
_WHITE = np.correlate(_DIFFERENCE, _DIFFERENCE, "full")[len(_DIFFERENCE) - 1 :] / _SQUARES.sum()
_FREEDOM = _BLOCK / 2.627
_MEDIAN = (1.0 - 2.0 / (9.0 * _FREEDOM)) ** 3

_FACTOR = 1.6
_STANDARD_ERRORS = 4.5
_FIRST_LAG, _LAST_LAG = 3, 24
# A correlation of n independent values has the standard error 1.3 to 1.9 / sqrt(n), more with narrow lines; where the
# scatter rises with the width besides, two of them are enough.
_CORRELATED, _CORRELATED_AND_RISING = 8.0, 4.0
_TWICE, _FOUR_TIMES = 1.4, 2.0
_LINES = 100.0  # averages, polynomials and halved steps raise it 5 to 30 times; more is lines
_FEW = 5.0  # counts: below, the noise is no normal one, and rungs say more than correlations
_ROUNDED = 3.0  # times the variance of rounding: less scatter is mostly that
# A moving average over w points, four or more, leaves 40/70/w² of the squared fourth differences of counts.
_AVERAGED = 40.0 / 70.0
_DIGITS = 8  # of the largest value; with more of them rounding is nothing
_VARIANCE_OF_ROOTS = 0.25  # of the root of a Poisson number, whatever its mean
_ROOTS = "values are square roots of whole numbers: counts are wanted as they were counted"
# Of the noise between the lines: points that a subtracted background left near zero are no surer than a third of it.
_LEAST_OF_NOISE = 0.3
_CHANCE = 1e-9  # that squares of values that are no roots all fall on whole numbers
# Distinct values needed before a common divisor means anything: the chance that 20 counts are all even is
# 1e-6.
_DISTINCT = 20


@dataclass(frozen=True)
class Scatter:
    """Variance of a scan over that of counts of the same height, and the standard error of its logarithm."""

    ratio: float
    u_log: float


@dataclass(frozen=True)
class Judgement:
    """What the intensities of one scan are.

    Attributes
    ----------
    kind : str
        "counts" or "intensities".
    variance : (n,) array
        Variance of each value: max(count, 1) for counts, estimated otherwise.
    flag : tuple of str
        Name and message, empty for counts.
    """

    kind: str
    variance: Array
    flag: tuple[str, str] | tuple[()]


def judge(values: Array) -> Judgement:
    """Decide whether the values of one scan are counts.

    Parameters
    ----------
    values : (n,) array
        Values as read, none negative, in the order of the scan.

    Returns
    -------
    Judgement
        Kind, variance and, where the values are not counts, the flag.
    """
    scatter = measure_scatter(values)
    whole = bool(np.all(np.abs(values - np.rint(values)) <= 1e-6 + 1e-12 * values))
    if whole and _divisor(values) == 1 and not _alarm(scatter):
        return Judgement("counts", np.maximum(values, 1.0), ())
    # Too few points to measure a scatter: whatever they are, taking the values for counts is the only scale
    # there is.
    ratio = 1.0 if scatter is None else scatter.ratio
    if _are_roots(values):
        return Judgement("intensities", np.full(len(values), _VARIANCE_OF_ROOTS), ("roots-of-counts", _ROOTS))
    unit = _unit(values, ratio, np.inf if scatter is None else scatter.u_log)
    reach = 0
    if scatter is not None and ratio < 1.0 / _FACTOR:
        reach = _reach(values, ratio, rising=unit is None and _rises(values, ratio))
    if unit is not None and (not reach or float(np.median(values)) < _FEW * unit):
        message = f"values are counts times {unit:.5g}; the uncertainty follows from that"
        return Judgement("intensities", unit * np.maximum(values, unit), ("rescaled-counts", message))
    if scatter is not None and ratio < 1.0 / _FACTOR:
        if reach:
            variance = _proportional(values, _before_smoothing(values, ratio, reach), 0.0)
            message = (
                f"scatter of neighbouring points is {ratio:.2g} of that of counts and grows over wider "
                "steps: smoothed or resampled, and lines may be wider than they were; the uncertainty is estimated "
                "from the scatter over wider steps"
            )
            return Judgement("intensities", variance, ("smoothed", message))
        message = (
            f"scatter is {ratio:.2g} of that of counts, as after a division; the uncertainty is estimated "
            "from the scatter"
        )
        return Judgement("intensities", _estimated(values, ratio), ("rescaled-counts", message))
    divisor = _divisor(values) if whole else 1
    why = "values are not whole numbers" if not whole else "values are no counts"
    why = f"values are all multiples of {divisor}" if divisor > 1 else why
    message = (
        f"{why}, scatter is {ratio:.2g} times that of counts; the uncertainty is estimated from the scatter"
    )
    return Judgement("intensities", _estimated(values, ratio), ("not-counts", message))


def measure_scatter(values: Array, width: int = 1) -> Scatter | None:
    """Measure the scatter between the lines relative to that of counts.

    Parameters
    ----------
    values : (n,) array
        Counts or intensities at steps that are locally regular.
    width : int, optional
        Number of neighbouring points that are summed before.

    Returns
    -------
    Scatter or None
        None where fewer than two blocks of 16 points hold anything.

    Examples
    --------
    >>> counts = np.random.default_rng(1).poisson(200.0, 6000).astype(float)
    >>> bool(0.8 < measure_scatter(counts).ratio < 1.2), bool(measure_scatter(0.1 * counts).ratio < 0.12)
    (True, True)
    """
    squares, expected = _blocks(values, width)
    if len(squares) < 2:
        return None
    keep = _between_lines(expected)
    keep = keep[expected[keep] > 0.0]
    if len(keep) < 2:
        return None
    ratio = float(np.median(squares[keep] / expected[keep])) / _MEDIAN
    if ratio <= 0.0:  # a straight line, drawn and not measured, or rounded more coarsely than it scatters
        ratio = 1e-12
    # 1.2533 is the standard error of a median over that of a mean of normal numbers.
    return Scatter(ratio, 1.2533 * float(np.sqrt(2.0 / _FREEDOM / len(keep))))


def _blocks(values: Array, width: int = 1) -> tuple[Array, Array]:
    """Sum over blocks the squared fourth differences and what counts would give."""
    n = len(values) // width
    if n < len(_DIFFERENCE) + _BLOCK:
        return np.empty(0), np.empty(0)
    summed = values[: n * width].reshape(n, width).sum(axis=1)
    squares = np.convolve(summed, _DIFFERENCE, "valid") ** 2
    expected = np.convolve(summed, _SQUARES, "valid")
    blocks = len(squares) // _BLOCK
    shape = (blocks, _BLOCK)
    end = blocks * _BLOCK
    return squares[:end].reshape(shape).sum(axis=1), expected[:end].reshape(shape).sum(axis=1)


def _between_lines(levels: Array) -> NDArray[np.int64]:
    """Choose the blocks that stand lowest among their neighbours."""
    blocks = len(levels)
    groups = np.array_split(np.arange(blocks), max(blocks // _GROUP, 1))
    share = max(0.25, min(1.0, _FEWEST / blocks))
    chosen = [g[np.argsort(levels[g], kind="stable")[: max(1, round(share * len(g)))]] for g in groups]
    return np.concatenate(chosen)


def _alarm(scatter: Scatter | None) -> bool:
    if scatter is None:
        return False
    off = abs(float(np.log(scatter.ratio)))
    return off > np.log(_FACTOR) and off > _STANDARD_ERRORS * scatter.u_log


def _divisor(values: Array) -> int:
    """Greatest common divisor of whole values; 1 where too few distinct ones could share one by chance."""
    distinct = np.unique(np.rint(values).astype(np.int64))
    return int(np.gcd.reduce(distinct)) if len(distinct) > _DISTINCT else 1


def _unit(values: Array, ratio: float, u_log: float) -> float | None:
    """Find u if the values are u times whole numbers and scatter like counts times u; None otherwise.

    The values of scaled counts stand on a ladder. Its step follows from the distances of neighbouring rungs,
    is refined over longer and longer spans (rounding in the file blurs each rung a little), and must then
    divide the values themselves. A ladder whose step is not the ratio of the scatter is one of rounding.
    """
    rungs = np.unique(values)
    rungs = rungs[np.concatenate([[True], np.diff(rungs) > 0.02 * ratio])]
    if len(rungs) <= _DISTINCT:
        return None
    steps = np.diff(rungs)
    unit = float(np.min(steps))
    # lines raise the ratio; only chance, which its standard error tells, makes it less than the unit
    if not 1.0 / _FACTOR < unit / ratio < min(_FACTOR, np.exp(_STANDARD_ERRORS * u_log)):
        return None
    for span in (3.0, 30.0, 300.0):
        product, square = 0.0, 0.0
        for origin in rungs[:: max(len(rungs) // 20, 1)]:
            near = rungs[(rungs > origin) & (rungs < origin + span * unit)] - origin
            number = np.rint(near / unit)
            product += float(near @ number)
            square += float(number @ number)
        unit = product / square if square > 0.0 else unit
    low = rungs[rungs < 3000.0 * unit]
    number = np.rint(low / unit)
    unit = float(low @ number / (number @ number)) if number.any() else unit
    if len(low) <= _DISTINCT:
        return None
    off = np.abs(low / unit - np.rint(low / unit))
    # A unit of 1 means counts with a few odd values among them, no scale.
    return unit if float(np.max(off)) < 0.2 and abs(unit - 1.0) > 1e-3 else None


def _rises(values: Array, ratio: float) -> bool:
    """Say whether the scatter grows over wider steps, as smoothing makes it, and lines that are narrow."""
    twice, four = measure_scatter(values, 2), measure_scatter(values, 4)
    return (
        twice is not None
        and four is not None
        and twice.ratio > _TWICE * ratio
        and _FOUR_TIMES * ratio < four.ratio < _LINES * ratio
    )


def _reach(values: Array, ratio: float, *, rising: bool) -> int:
    """Over how many points neighbours share their noise, as only smoothing and resampling make them; 0 for none."""
    difference = np.convolve(values, _DIFFERENCE, "valid")
    expected = np.convolve(values, _SQUARES, "valid")
    if ratio * float(np.median(values)) < _ROUNDED * _rounding_variance(values):
        return 0  # rounding errors of a flat stretch hang together, too
    lags = range(_FIRST_LAG, min(_LAST_LAG, len(difference) // 4) + 1)
    if not lags or not (expected > 0.0).any():
        return 0
    noise = difference / np.sqrt(np.maximum(expected, expected[expected > 0.0].min()))
    typical = float(np.median(np.abs(noise[noise != 0.0]))) if noise.any() else 0.0
    quiet = np.abs(noise) < 6.0 * typical  # four standard deviations: what is beyond is a line
    noise = np.where(quiet, noise, 0.0)
    power = float(noise @ noise) / max(int(quiet.sum()), 1)
    if power <= 0.0:
        return 0
    needed = _CORRELATED_AND_RISING if rising else _CORRELATED
    limit = power * needed / np.sqrt(quiet.sum())
    largest, reach = limit, 0
    for lag in lags:
        pairs = max(int((quiet[lag:] & quiet[:-lag]).sum()), 1)
        white = power * _WHITE[lag] if lag < len(_WHITE) else 0.0
        off = abs(float(noise[lag:] @ noise[:-lag]) / pairs - white)
        if off > largest:
            largest, reach = off, lag + 1
    return reach


def smoothing_points(values: Array) -> float:
    """Over how many points values were averaged, as far as their scatter shows; never below one.

    Parameters
    ----------
    values : (n,) array
        Of one scan that was smoothed or resampled. A polynomial through many points counts as the average over fewer
        that leaves the same scatter.

    Examples
    --------
    >>> counts = np.random.default_rng(1).poisson(200.0, 6000).astype(float)
    >>> round(smoothing_points(np.convolve(counts, np.ones(5) / 5.0, "valid")))
    5
    """
    scatter = measure_scatter(values)
    if scatter is None:
        return 1.0
    before = _before_smoothing(values, scatter.ratio, _reach(values, scatter.ratio, rising=True))
    points = np.sqrt(_AVERAGED * before / scatter.ratio)
    return float(np.clip(points, 1.0, _LAST_LAG))


def _before_smoothing(values: Array, ratio: float, reach: int) -> float:
    """Scatter that values had before they were smoothed over some points.

    Smoothing keeps the noise of long stretches, so the ratio rises with the width until that is as long as the reach;
    only lines would raise it farther, and then it exceeds what an average over the reach can have taken away. Near 1,
    it was counts.
    """
    widths = [width for width in (1, 2, 4, 8, 16, 32) if width < 2 * reach]
    wider = [measure_scatter(values, width) for width in widths]
    largest = max((estimate.ratio for estimate in wider if estimate is not None), default=ratio)
    before = max(min(largest, ratio * reach**2 / _AVERAGED), ratio)
    return 1.0 if before > 0.4 else before


def _estimated(values: Array, ratio: float) -> Array:
    """Variance ``k (v + r)``, with r above 0 only where low values scatter more than their height allows.

    That is so after a background was subtracted: the noise of what was taken away stays.
    """
    squares, expected = _blocks(values)
    weight = float(_SQUARES.sum()) * _BLOCK
    noise, level = squares / weight, expected / weight
    if len(level) < _FEWEST:
        return _proportional(values, ratio, 0.0)
    low = level <= np.median(level)
    if low.all() or not (level > 0.0).any():
        return _proportional(values, ratio, 0.0)

    def balance(offset: float) -> float:
        # Lower quartiles, since lines only ever raise the scatter of a block.
        lower = np.quantile(noise[low] / (level[low] + offset), 0.25)
        upper = np.quantile(noise[~low] / (level[~low] + offset), 0.25)
        return float(np.log((upper + 1e-300) / (lower + 1e-300)))

    # A quartile of n blocks has the relative error sqrt(2/f) 1.36 / sqrt(n).
    error = float(np.sqrt(2.0 / _FREEDOM)) * 1.36 * float(np.sqrt(2.0 / low.sum()))
    tiny = 1e-6 * float(level.max())
    if balance(tiny) > -3.0 * error:
        return _proportional(values, ratio, 0.0)
    offsets = np.geomspace(1e-3 * float(np.median(level[~low])), 1e3 * float(level.max()), 60)
    offset = next((float(r) for r in offsets if balance(float(r)) >= 0.0), float(offsets[-1]))
    keep = _between_lines(level)
    k = float(np.median(noise[keep] / (level[keep] + offset))) / _MEDIAN
    return _proportional(values, k, offset)


def _proportional(values: Array, k: float, offset: float) -> Array:
    """Variance ``k (v + offset)``, never below that of the smallest positive value or of its rounding.

    Points near zero between others that scatter are no surer than those: a third of the noise there is the least.
    """
    positive = values[values > 0.0]
    floor = float(positive.min()) if len(positive) else 1.0
    variance = k * (np.maximum(values, 0.0 if offset > 0.0 else floor) + offset)
    return np.maximum(variance, max(_rounding_variance(values), _least_noise(values, k)))


def _least_noise(values: Array, k: float) -> float:
    """Variance below which no point of a scan stands."""
    squares, expected = _blocks(values)
    if len(squares) < 2:
        return 0.0
    keep = _between_lines(expected)
    noise = min(float(np.quantile(squares[keep], 0.1)), k * float(np.quantile(expected[keep], 0.1)))
    return _LEAST_OF_NOISE * noise / (float(_SQUARES.sum()) * _BLOCK)


def _rounding_variance(values: Array) -> float:
    """Variance of what rounding to decimals in the file took away: a twelfth of its step squared; 0 for all digits."""
    largest = float(np.max(np.abs(values), initial=0.0))
    if largest <= 0.0:
        return 0.0
    first = -int(np.floor(np.log10(largest)))
    for decimals in range(first, first + _DIGITS):
        if np.all(np.abs(values - np.round(values, decimals)) <= 1e-12 * largest):
            return float(10.0 ** (-2 * decimals) / 12.0)
    return 0.0


def _are_roots(values: Array) -> bool:
    """Say whether the squares of values that are not whole are whole, but for the rounding of the file.

    A square that rounding blurs by b on either side is within b of a whole number by chance once in 1 / (2 b): many
    blurred ones tell as much as some sharp ones.
    """
    step = np.sqrt(12.0 * _rounding_variance(values))
    blur = values * step + 0.25 * step**2 + 1e-9 * values**2 + 1e-6
    told = blur < 0.5
    squares, first = np.unique(values[told] ** 2, return_index=True)
    if np.unique(np.rint(squares)).size <= _DISTINCT or told.mean() < 0.5:
        return False
    blur, roots = blur[told][first], np.sqrt(squares)
    if np.any(np.abs(squares - np.rint(squares)) > blur):
        return False
    broken = np.abs(roots - np.rint(roots)) > 0.01  # the square of a whole number is whole whatever it is
    return bool(np.sum(np.log(2.0 * blur[broken])) < np.log(_CHANCE))
