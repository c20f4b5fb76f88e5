"""The bench's own world: its meters read as meters do, and its judge counts what is said wrongly."""

from __future__ import annotations

from typing import Any

import numpy as np

from tests.bench.detection_world.families.family import FAMILIES, scene_of
from tests.bench.detection_world.judge import judge
from tests.bench.detection_world.meter import Meter, read
from tests.bench.detection_world.product import Answer
from tests.bench.detection_world.run import jobs_of
from tests.bench.detection_world.scene import Scene

STEP_S = 0.001


def test_a_meter_averages_its_window() -> None:
    signal = np.repeat([0.0, 10.0], 5000)
    shown = read(Meter(display_s=0.4, window_s=0.4), signal, STEP_S, np.random.default_rng(1))
    partial = shown.value[(shown.value > 0.0) & (shown.value < 10.0)]
    assert len(partial) == 1
    assert shown.value[shown.true_s < 5.0].max() == 0.0
    assert shown.value[shown.true_s > 5.4].min() == 10.0


def test_a_display_polled_faster_repeats_itself_and_a_bundle_has_one_time() -> None:
    signal = np.linspace(0.0, 10.0, 10_000)
    rng = np.random.default_rng(1)
    polled = read(Meter(display_s=0.4, poll_s=0.1), signal, STEP_S, rng)
    assert 3.0 < len(polled.value) / len(set(polled.value)) < 5.0
    bundled = read(Meter(display_s=0.1, bundle=5), signal, STEP_S, rng)
    assert len(set(bundled.time_s[:50])) == 10


def test_a_meter_that_ranges_shows_nothing_meanwhile_or_overload_once() -> None:
    signal = np.repeat([0.01, 12.0], 5000)
    rng = np.random.default_rng(1)
    silent = read(Meter(display_s=0.2, window_s=0.0, autorange=True, ranging_s=1.0), signal, STEP_S, rng)
    assert 1.0 <= np.diff(silent.time_s).max() < 1.5
    loud = read(
        Meter(display_s=0.2, window_s=0.0, autorange=True, ranging_s=1.0, overload_first=True), signal, STEP_S, rng
    )
    assert np.isinf(loud.value).sum() == 1
    assert set(np.round(loud.resolution, 6)) == {0.0001, 0.01}


def test_a_log_is_the_same_at_each_drawing() -> None:
    one, other = (scene_of("dropouts while driving", 5).wires[0].shown for _ in range(2))
    assert np.array_equal(one.value, other.value)
    assert jobs_of(list(FAMILIES), 0)[0][1] == 0
    assert len(FAMILIES) >= 40


def _said(kind: str, start_s: float, end_s: float, error_s: float) -> dict[str, Any]:
    return {
        "kind": kind,
        "channel": 1,
        "start_s": start_s,
        "end_s": end_s,
        "duration_s": end_s - start_s,
        "duration_error_s": error_s,
        "detail": "",
    }


def _driven() -> Scene:
    scene = Scene(np.random.default_rng(1), faulty=True)
    feed = scene.wire("pump feed", Meter(display_s=0.2, window_s=0.1))
    feed.hold(12.0, 20.0)
    feed.event("dropout", feed.hold(0.0, 3.0))
    feed.hold(12.0, 20.0)
    scene.read()
    return scene


def test_the_judge_counts_found_missed_false_and_not_covered() -> None:
    channels = [{"label": "pump feed", "shortest_visible_s": 0.5}]
    good = judge(_driven(), Answer(channels, [_said("dropout", 20.1, 23.0, 0.2)], []))
    assert (good.found, good.missed, good.false, good.covered) == (1, 0, 0, [True])
    bad = judge(_driven(), Answer(channels, [_said("dropout", 20.5, 23.0, 0.2), _said("sag", 5.0, 6.0, 0.2)], []))
    assert (bad.found, bad.missed, bad.false, bad.covered) == (1, 0, 1, [False])
    silent = judge(_driven(), Answer(channels, [], []))
    assert (silent.missed, silent.silent) == (1, True)


def test_the_judge_knows_a_within_that_is_wrong_and_an_outside_that_is() -> None:
    channels = [{"label": "pump feed", "shortest_visible_s": 0.5}]
    text = "pump feed: no dropout or sag was seen in 43 s."
    within = [{"text": text, "verdict": "within"}]
    assert judge(_driven(), Answer(channels, [], within)).wrong == 1
    longer = [{"label": "pump feed", "shortest_visible_s": 4.0}]
    assert judge(_driven(), Answer(longer, [], within)).wrong == 0
    healthy = _driven()
    healthy.healthy = True
    outside = [{"text": "pump feed: 1 dropout", "verdict": "outside"}]
    assert judge(healthy, Answer(channels, [], outside)).outside
