"""Checks where an edge lies inside a reading interval, and what error is stated for it."""

from __future__ import annotations

import numpy as np
import pytest

from meterlog.signal.edges import Edge, Window, edge_time, place_edge, time_between
from meterlog.signal.track import Track


def averaged(edge_s: float, window_s: float, interval_s: float = 0.25) -> tuple[Track, int]:
    """Readings of a step from 0 to 12 V, and the first one beyond the mid level."""
    time_s = np.asarray(np.arange(1, 21) * interval_s, dtype=np.float64)
    if window_s > 0:
        value = 12.0 * np.clip((time_s - edge_s) / window_s, 0.0, 1.0)
    else:
        value = np.where(time_s >= edge_s, 12.0, 0.0)
    track = Track()
    track.extend(time_s, value, np.full(20, 0.01, np.float32), 0)
    return track, int(np.flatnonzero(value >= 6.0)[0])


def edge_of(edge_s: float, window_s: float) -> Edge:
    track, index = averaged(edge_s, window_s)
    return place_edge(track, index, 0.0, 12.0, 0.0, track.count)


@pytest.mark.parametrize("edge_s", [2.05, 2.1, 2.17, 2.2])
def test_a_partial_reading_places_the_edge(edge_s: float) -> None:
    edge = edge_of(edge_s, 0.25)
    assert edge.partial
    full = Window(partial=1e6, clean=1.0)
    assert edge_time(edge, full, 0.25) == pytest.approx(edge_s, abs=0.01)


def test_a_clean_step_is_known_to_the_interval_alone() -> None:
    edge = edge_of(2.1, 0.0)
    assert edge.clean
    assert edge.half_s == pytest.approx(0.125)
    assert abs(edge_time(edge, Window(partial=1.0, clean=1e6), 0.25) - 2.1) <= edge.half_s


def test_several_partial_readings_are_a_slow_edge() -> None:
    edge = edge_of(2.1, 0.7)
    assert not edge.partial
    assert not edge.clean


def test_the_window_is_learned_from_the_edges() -> None:
    averaging, sampling = Window(), Window()
    for edge_s in np.linspace(2.02, 2.23, 40):
        averaging.learn(edge_of(float(edge_s), 0.25))
        sampling.learn(edge_of(float(edge_s), 0.0))
    assert averaging.share > 0.8
    assert sampling.share < 0.1


def test_the_error_of_a_sampled_duration_covers_and_does_not_exceed_one_interval() -> None:
    rng = np.random.default_rng(11)
    window, covered, errors = Window(), 0, []
    for _ in range(500):
        start, length = rng.uniform(1.0, 1.25), rng.uniform(0.6, 2.0)
        first, last = edge_of(start, 0.0), edge_of(start + length, 0.0)
        window.learn(first, last)
        duration, error = time_between(first, last, window, 0.25, 0.0)
        covered += abs(duration - length) <= error
        errors.append(error)
    assert covered >= 475
    assert max(errors) <= 0.25 + 1e-9


def test_without_a_step_an_edge_is_anywhere_between_two_readings() -> None:
    track, index = averaged(2.1, 0.0)
    edge = place_edge(track, index, 12.0, 12.0, 0.0, track.count)
    assert edge_time(edge, Window(), 0.25) == pytest.approx(2.125)
    assert edge.half_s == pytest.approx(0.125)
    assert not edge.clean


def test_a_slow_edge_lies_where_its_readings_cross_the_middle() -> None:
    edge = edge_of(2.1, 0.7)  # the mid level is shown 0.35 s after the edge: half a window late
    assert edge.base_s == pytest.approx(2.45, abs=0.01)
    assert edge.half_s == pytest.approx(0.125), "half of the interval between the two readings"


def test_a_long_window_tells_less_of_a_clean_step_where_readings_stray() -> None:
    """A partial reading within what readings stray is not seen, so that clean steps leave out less of the window."""
    track, index = averaged(2.0, 0.25)
    averaging = Window(partial=1e6, clean=1.0)
    errors = []
    for noise in (0.0, 1.2, 2.4):
        edge = place_edge(track, index, 0.0, 12.0, noise, track.count)
        assert edge.clean
        errors.append(time_between(edge, edge, averaging, 0.25, 0.0)[1])
    assert errors[0] < errors[1] < errors[2]
    assert errors[0] <= 0.03, "whoever averages all of the time shows a clean step where it lies"


@pytest.mark.parametrize(("edge_s", "most"), [(2.02, 0.16), (2.125, 0.2), (2.23, 0.16)])
def test_a_partial_reading_places_the_edge_much_better_than_a_clean_step(edge_s: float, most: float) -> None:
    """Half-widths in intervals; a clean step leaves a half. Least where nearly all of the window is on one side."""
    edge = edge_of(edge_s, 0.25)
    assert edge.partial
    assert 0.1 <= edge.half_s / 0.25 <= most


def test_a_window_that_nothing_has_told_of_is_half_an_interval_and_may_be_any() -> None:
    """Uniform between nothing and the interval."""
    assert Window().share == 0.5
    assert Window().deviation == pytest.approx(1 / 12**0.5)


def test_edges_of_which_readings_stray_tell_nothing_of_the_window() -> None:
    window = Window()
    window.learn(Edge(2.0, 0.5, 0.125, False, True, strays=0.3))
    assert window == Window()


@pytest.mark.parametrize("part", [0.3, 0.5, 0.9])
def test_jitter_of_the_time_stamps_adds_to_the_error(part: float) -> None:
    edge = edge_of(2.0 + 0.25 * part, 0.25)
    steady, jittery = (time_between(edge, edge, Window(), 0.25, jitter_s)[1] for jitter_s in (0.0, 0.05))
    assert jittery == pytest.approx((steady**2 + 2 * 0.1**2) ** 0.5)


@pytest.mark.parametrize("value", [[0, 0, 0, 8, 10, 12, 12, 12], [0, 0, 2, 4, 12, 12, 12, 12]])
def test_two_partial_readings_on_one_side_of_the_middle_are_a_slow_edge_too(value: list[float]) -> None:
    track = Track()
    times = np.asarray(np.arange(8) * 0.25, dtype=np.float64)
    track.extend(times, np.array(value, dtype=np.float64), np.full(8, 0.01, np.float32), 0)
    index = int(np.flatnonzero(np.array(value) > 6)[0])
    edge = place_edge(track, index, 0.0, 12.0, 0.0, track.count)
    assert not edge.partial
    assert not edge.clean


def test_a_window_not_known_adds_to_the_error_as_far_as_two_edges_lie_differently_in_theirs() -> None:
    """Two deviations of the window, times the difference of the shares; nothing where both lie alike."""
    early, late = (Edge(2.0, share, 0.05, True, False, 0.06) for share in (0.1, 0.9))
    alike, apart = (time_between(early, end, Window(), 0.5, 0.0)[1] for end in (early, late))
    assert apart**2 - alike**2 == pytest.approx((2 * 0.5 / 12**0.5 * 0.8) ** 2)


def test_two_clean_steps_are_known_to_their_halves_together() -> None:
    """97 % of the sum of two uniform errors, each of half an interval, while nothing is known of the window."""
    edge = edge_of(2.1, 0.0)
    assert time_between(edge, edge, Window(), 0.25, 0.0)[1] == pytest.approx(2.05 * 0.125 * (2 / 3) ** 0.5)
