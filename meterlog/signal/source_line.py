"""Fits how far a voltage falls for each ampere, from two meters that read at moments of their own.

Regression with errors in both variables (Deming, with the noise of each meter as its own readings show it), within
short blocks of time, so that a battery that slowly discharges does not count. Meters' offsets drop out; their gains do
not. One meter may lag behind the other: the lag under which the two follow each other best is taken out, and moments
beside large changes are left out. The error is told by how the blocks differ, so whatever else moves the voltage is in
it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.signal.levels import MAD_TO_DEVIATION

Array = NDArray[np.float64]

_BLOCK = 32
"""Readings of the slower meter in a block: a choice, some 10 s, in which a voltage at rest hardly moves."""
_MANY = 16384
"""More readings of the slower meter are judged by stretches of them: bounds time."""
_STRETCHES = 16
"""So many: a choice."""
_LAGS = 25
"""Lags that are tried: a choice, an eighth of the slower interval apart."""
_MOST_LAG = 1.5
"""The largest of them, in intervals of the slower meter: averaging and the way through the link. A guess."""
_LEAST_FOLLOWS = 0.8
"""Voltage and current that follow each other less than so (correlation) tell no line: a guess."""
_AS_GOOD = 0.9
"""A lag under which they follow each other by this share of the best is as good: a guess, as simulated."""
_LARGE_STEP = 0.25
"""A change by this share of the current's span makes an edge, whose moments are left out: a guess."""
_LEAST_MOMENTS = 3
"""Fewer moments at a high or a low current tell nothing: a choice."""
_LEAST_BLOCKS = 2.5
"""With fewer blocks in which the current changes, their differences tell no error: then the residuals do. A guess."""
_FEW_BLOCKS_COVER = 4.0
"""Deviations that cover 95 % then, as simulated: what the voltage does by itself goes with the current. A guess."""
_RIPPLE_SHARE = 0.05
"""And a share for a starter's ripple that few readings may have caught at one phase: a guess, as simulated."""
_FAR_INTERVALS = 3.0
"""Between readings farther apart nothing is drawn straight, in intervals: a guess."""
_NOISE_OF_SECOND = math.sqrt(6.0)
"""Deviation of second differences over that of independent noise (arithmetic)."""


class SourceLine(NamedTuple):
    """Says how a voltage goes with a current.

    Attributes:
        ohms: fall of the voltage for each ampere; negative where it rises with the current.
        error: half-width that covers the truth at least 95 times in 100, without the meters' gains, ohm.
        low_a: the low current of those that were compared, A.
        high_a: the high one, A.
        moments: how many moments were compared.
        lag_s: how much later than the voltage the current was shown, s.
    """

    ohms: float
    error: float
    low_a: float
    high_a: float
    moments: int
    lag_s: float


class Readings(NamedTuple):
    """A meter's readings: times in s, values, and one count of its display (0: unknown); shapes (n,), (n,), ()."""

    time_s: Array
    value: Array
    step: float


def source_line(volts: Readings, amperes: Readings, least_v: float) -> SourceLine | None:
    """Fit the line; None where the current hardly changes, or the two never overlap.

    Args:
        volts: the voltage.
        amperes: the current, its sign as it flows.
        least_v: below this voltage nothing is fed, V.
    """
    if min(len(volts.time_s), len(amperes.time_s)) < _BLOCK // 2:
        return None
    slower_s = max(_interval(volts), _interval(amperes))
    volts_slower = _interval(volts) >= _interval(amperes)
    base, other = _stretches(*((volts, amperes) if volts_slower else (amperes, volts)))
    if len(other.time_s) < _BLOCK // 2:
        return None
    time_s, block, read = base.time_s, np.arange(len(base.time_s)) // _BLOCK, _reader(other, slower_s)
    noise = _noise(volts), _noise(amperes)
    fits: list[tuple[float, SourceLine]] = []
    for lag_s in (np.linspace(-_MOST_LAG, _MOST_LAG, _LAGS) * slower_s).tolist():
        shown = read(time_s + lag_s)
        v, i = (base.value, shown) if volts_slower else (shown, base.value)
        known = np.isfinite(v) & np.isfinite(i) & (v >= least_v)
        keep = known & _steady(i, known, time_s, slower_s)
        if keep.sum() < 2 * _LEAST_MOMENTS:
            continue
        line = _fit(v[keep], i[keep], block[keep], noise, lag_s if volts_slower else -lag_s)
        if line is not None:
            follows = abs(_correlation(_within(v[known], block[known]), _within(i[known], block[known])))
            fits.append((follows, line))
    return _of_lags(fits)


def _of_lags(fits: list[tuple[float, SourceLine]]) -> SourceLine | None:
    """The line of the lag under which the two follow each other best; lags that are as good widen its error."""
    most, best = max(fits, default=(0.0, None))
    if best is None or most < _LEAST_FOLLOWS:
        return None
    as_good = [line.ohms for follows, line in fits if follows >= _AS_GOOD * most]
    return best._replace(error=math.hypot(best.error, max(abs(ohms - best.ohms) for ohms in as_good)))


def _interval(readings: Readings) -> float:
    return float(np.median(np.diff(readings.time_s[:4096])))


def _noise(readings: Readings) -> float:
    """The deviation of a meter's noise, from second differences, at the least that of its rounding."""
    value = readings.value[:65536]
    second = np.abs(np.diff(value, 2))
    told = MAD_TO_DEVIATION * float(np.median(second[np.isfinite(second)])) / _NOISE_OF_SECOND if len(second) else 0.0
    return max(told, readings.step / math.sqrt(12.0))


def _stretches(base: Readings, other: Readings) -> tuple[Readings, Readings]:
    """Of long logs some stretches, spread evenly, with what the other meter showed meanwhile."""
    if len(base.time_s) <= _MANY:
        return base, other
    starts = np.linspace(0, len(base.time_s) - _MANY // _STRETCHES, _STRETCHES).astype(int).tolist()
    kept = [slice(start, start + _MANY // _STRETCHES) for start in starts]
    spans = [np.searchsorted(other.time_s, (base.time_s[part][0], base.time_s[part][-1])) for part in kept]
    return _joined(base, kept), _joined(other, [slice(int(begin), int(end)) for begin, end in spans])


def _joined(readings: Readings, parts: list[slice]) -> Readings:
    times, values = (np.concatenate([whole[part] for part in parts]) for whole in (readings.time_s, readings.value))
    return Readings(times, values, readings.step)


def _reader(readings: Readings, window_s: float) -> Callable[[Array], Array]:
    """Return what gives a meter's values at other times, averaged over the slower one's interval if much faster."""
    own_s = _interval(readings)
    values, area = readings.value, np.empty(0)
    if own_s < window_s / 2.0:
        area = np.concatenate([[0.0], np.cumsum(np.diff(readings.time_s) * (values[1:] + values[:-1]) / 2.0)])

    def shown(time_s: Array) -> Array:
        right = np.clip(np.searchsorted(readings.time_s, time_s), 1, len(values) - 1)
        far = readings.time_s[right] - readings.time_s[right - 1] > _FAR_INTERVALS * own_s
        far |= (time_s < readings.time_s[0]) | (time_s > readings.time_s[-1])
        if len(area):
            late, early = (np.interp(at, readings.time_s, area) for at in (time_s, time_s - window_s))
            return np.where(far, np.nan, (late - early) / window_s)
        return np.where(far, np.nan, np.interp(time_s, readings.time_s, values))

    return shown


def _within(value: Array, block: NDArray[np.int64]) -> Array:
    """Values less the mean of their block."""
    _, place = np.unique(block, return_inverse=True)
    count = np.bincount(place)
    return np.asarray(value - (np.bincount(place, value) / count)[place])


def _sum(a: Array, b: Array) -> float:
    """Sum the products: without the threads of a linear-algebra library, which cost more than these sums."""
    return float((a * b).sum())


def _correlation(a: Array, b: Array) -> float:
    size = math.sqrt(_sum(a, a) * _sum(b, b))
    return _sum(a, b) / size if size else 0.0


def _steady(i: Array, known: NDArray[np.bool_], time_s: Array, guard_s: float) -> NDArray[np.bool_]:
    """The moments that are no edge of the current, nor of what is fed, nor beside one."""
    if not known.any():
        return known
    low, high = np.percentile(i[known], [1.0, 99.0])
    with np.errstate(invalid="ignore"):
        edge = np.abs(np.diff(i)) > _LARGE_STEP * (high - low)
        edge |= known[1:] != known[:-1]
    edge |= np.diff(time_s) > _FAR_INTERVALS * guard_s
    beside = np.zeros(len(i), np.bool_)
    beside[1:] |= edge
    beside[:-1] |= edge
    return ~beside


def _fit(v: Array, i: Array, block: NDArray[np.int64], noise: tuple[float, float], lag_s: float) -> SourceLine | None:
    y, x = _within(v, block), _within(i, block)
    xx, yy, xy = _sum(x, x), _sum(y, y), _sum(x, y)
    noise_xx = noise[1] ** 2 * len(x)
    if xx <= 2.0 * noise_xx or not xy:
        return None
    ratio = (noise[0] / noise[1]) ** 2 if noise[1] else 1e12
    part = yy - ratio * xx
    slope = (part + math.copysign(math.sqrt(part**2 + 4.0 * ratio * xy**2), 1.0)) / (2.0 * xy)
    plain = xy / xx
    _, place = np.unique(block, return_inverse=True)
    residual = y - slope * x
    weight, score = np.bincount(place, x * x), np.bincount(place, x * residual)
    blocks = float(weight.sum() ** 2 / (weight**2).sum())
    middle = (float(i.min()) + float(i.max())) / 2.0
    high, low = i[i >= middle], i[i < middle]
    if min(len(high), len(low)) < _LEAST_MOMENTS:
        return None
    if blocks >= _LEAST_BLOCKS:
        spread = math.sqrt(float((score**2).sum()) * blocks / (blocks - 1.0)) / (xx - noise_xx)
        statistical = _student(blocks - 1.0) * spread
    else:
        sides = residual[i >= middle], residual[i < middle]
        strays = math.sqrt(sum(_sum(side, side) / (len(side) - 1) / len(side) for side in sides))
        statistical = _FEW_BLOCKS_COVER * strays / float(np.median(high) - np.median(low)) + _RIPPLE_SHARE * abs(slope)
    error = math.hypot(statistical, slope - plain, yy / xy - slope)
    return SourceLine(-slope, error, float(np.median(low)), float(np.median(high)), len(x), lag_s)


def _student(freedom: float) -> float:
    """The 97.5 % quantile of Student's t distribution, by its expansion in 1/freedom (within 3 % from 2 up)."""
    return 1.96 + 2.372 / freedom + 2.823 / freedom**2 + 2.556 / freedom**3
