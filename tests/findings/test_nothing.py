"""'Nothing was seen' is never said beside a fall longer than the blind time stated, however the readings came."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.analysis import Analysis, analyze
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.contents import Contents
from meterlog.session.model import IMPORT, Channel
from meterlog.signal.shared_times import spread

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Rng = np.random.Generator

END_S = 80.0
COUNT = 0.01
FLICKERED, STUCK = 40, 25
"""Looks before a display stands still, and while it does, from which on that can be told."""


def display(rng: Rng, start_s: float, end_s: float, low: float, level: float, noise: float) -> tuple[Floats, Floats]:
    """A display's looks, when and what: each averages some of the time since the one before."""
    look_s = float(rng.choice([0.12, 0.25, 0.4]))
    at_s = np.arange(rng.uniform(0.0, look_s), END_S, look_s)
    window_s = look_s * rng.choice([0.05, 0.5, 1.0])
    fallen_s = np.clip(np.minimum(at_s, end_s) - np.maximum(at_s - window_s, start_s), 0.0, None)
    value = level + (low - level) * fallen_s / window_s + rng.normal(0.0, noise, len(at_s))
    return at_s, np.round(value / COUNT) * COUNT


def kept(rng: Rng, at_s: Floats, start_s: float) -> Bools:
    """The looks that arrive: all, but for holes; a few; or by two rates."""
    way = rng.integers(4)
    if way == 0:
        return np.asarray(rng.random(len(at_s)) < rng.choice([0.15, 0.5, 0.9]))
    if way == 1:
        begin_s = start_s + rng.uniform(-6.0, 6.0)
        return np.asarray((at_s < begin_s) | (at_s > begin_s + rng.uniform(0.5, 15.0)))
    if way == 2:
        return np.asarray((np.arange(len(at_s)) % 40 == 0) | (at_s < rng.uniform(0.0, END_S)))
    return np.ones(len(at_s), np.bool_)


def stamped(rng: Rng, at_s: Floats, value: Floats) -> tuple[Floats, Floats]:
    """The log's times: as shown, whole seconds, or bundles."""
    way = rng.integers(3)
    if way == 0:
        return np.floor(at_s), value
    if way == 1:
        size = int(rng.integers(2, 9))
        return at_s[np.minimum(np.arange(len(at_s)) // size * size + size - 1, len(at_s) - 1)], value
    return at_s, value


def polled(rng: Rng, at_s: Floats, value: Floats) -> tuple[Floats, Floats]:
    """The display asked faster, or slower, than it shows."""
    asked_s = np.arange(at_s[0] + 0.01, END_S, float(rng.choice([rng.uniform(0.03, 0.1), rng.uniform(0.3, 2.0)])))
    return asked_s, value[np.searchsorted(at_s, asked_s, "right") - 1]


def frozen(rng: Rng, at_s: Floats, value: Floats, start_s: float) -> Floats:
    """The same, standing still for a while about the fall, once the display has been seen to flicker."""
    begin = max(int(np.searchsorted(at_s, start_s - rng.uniform(0.0, 5.0))), FLICKERED)
    stuck = (np.arange(len(at_s)) >= begin) & (at_s < at_s[begin] + rng.uniform(20.0, 40.0))
    return np.where(stuck, value[begin], value) if np.count_nonzero(stuck) > STUCK else value


def planted(seed: int) -> tuple[Series, float, float]:
    """A log of a supply with one fall; from when to when that was, s."""
    rng = np.random.default_rng([seed, *b"nothing seen"])
    level = float(rng.uniform(12.2, 14.3))
    start_s = float(rng.choice([rng.uniform(3.0, 75.0), rng.uniform(1.0, 3.0), rng.uniform(70.0, END_S - 1.0)]))
    end_s = min(start_s + float(rng.uniform(0.3, 25.0)), END_S if rng.random() < 0.8 else start_s + END_S)
    freezes = rng.random() < 0.2
    noise = 0.04 if freezes else float(rng.choice([0.0, 0.004, 0.02]))
    at_s, value = display(rng, start_s, end_s, level * float(rng.uniform(0.0, 0.85)), level, noise)
    if freezes:
        value = frozen(rng, at_s, value, start_s)
    else:
        keep = kept(rng, at_s, start_s)
        at_s, value = stamped(rng, at_s[keep], value[keep]) if rng.random() < 0.6 else polled(rng, at_s, value)
    count = len(at_s)
    series = Series(at_s, value, np.full(count, COUNT, np.float32), np.zeros(count, np.uint16))
    return series, start_s, min(end_s, END_S)


def analyzed(series: Series, driver: str = IMPORT) -> Analysis:
    channel = Channel(1, "pump feed", Quantity.DC_VOLTAGE, driver=driver)
    last_s = float(series.time_s[-1])
    return analyze(Contents({1: spread(series)}, [channel], duration_s=last_s, details={"system_v": "12"}))


def claims(analysis: Analysis) -> list[str]:
    """The statements that nothing was seen; a dip that is named as the starter's was seen."""
    said = [f.text for f in analysis.findings if f.verdict == "within" and "was seen in" in f.text]
    return [text for text in said if "of the starter" not in text]


@pytest.mark.parametrize("seed", range(300))
def test_nothing_is_not_said_to_be_seen_beside_a_fall_longer_than_the_blind_time(seed: int) -> None:
    series, start_s, end_s = planted(seed)
    if np.count_nonzero(series.time_s < start_s) < 2:
        return  # it was down already when the log began
    analysis = analyzed(series)
    (summary,) = analysis.channels
    length_s = min(end_s, summary.watch.interval.look_s + float(series.time_s[-1])) - start_s
    if length_s > summary.watch.shortest_visible_s:
        assert claims(analysis) == []
