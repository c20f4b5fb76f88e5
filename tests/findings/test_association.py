"""Events against markers: the stated probability by chance is honest, shown by simulation."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from meterlog.events import Event
from meterlog.findings.association import count_after, unprompted
from meterlog.findings.chance import chance_of_at_least, chance_of_at_least_among, rate_span
from meterlog.findings.exposure import burst_starts
from tests.findings.conftest import Bench


@given(st.integers(1, 60), st.integers(0, 60), st.floats(0.01, 0.99))
def test_the_chance_is_the_binomial_sum(total: int, inside: int, share: float) -> None:
    inside = min(inside, total)
    exact = sum(math.comb(total, k) * share**k * (1 - share) ** (total - k) for k in range(inside, total + 1))
    assert chance_of_at_least(inside, total, share) == pytest.approx(exact, rel=1e-9)


@settings(max_examples=3)
@given(st.sampled_from([(0.05, 12), (0.2, 30), (0.4, 6)]))
def test_by_chance_alone_a_probability_below_p_comes_at_most_p_of_the_time(case: tuple[float, int]) -> None:
    share_wanted, per_hour = case
    rng = np.random.default_rng(20)
    length_s, window_s = 3600.0, 5.0
    chances = []
    for _ in range(1500):
        markers = list(np.sort(rng.uniform(0, length_s - window_s, int(share_wanted * length_s / window_s))))
        times = np.sort(rng.uniform(0, length_s, rng.poisson(per_hour)))
        events = [Event("dropout", 1, float(t), float(t) + 0.3) for t in times]
        tally = count_after(burst_starts(events, window_s), markers, np.array([[0.0, length_s]]), window_s)
        if tally.total:
            chances.append(tally.chance)
    for p in (0.01, 0.05, 0.1, 0.3):
        allowed = p + 3 * np.sqrt(p * (1 - p) / len(chances))
        assert np.mean(np.array(chances) <= p) <= allowed, p


def test_bursts_do_not_make_chance_look_impossible() -> None:
    rng = np.random.default_rng(21)
    window_s, length_s, chances = 5.0, 1800.0, []
    for _ in range(600):
        markers = list(np.sort(rng.uniform(0, length_s - window_s, 12)))
        centres = rng.uniform(0, length_s, 6)
        times = np.sort(np.concatenate([c + rng.uniform(0, 4, 5) for c in centres]))
        events = [Event("dropout", 1, float(t), float(t) + 0.1) for t in times]
        tally = count_after(burst_starts(events, window_s), markers, np.array([[0.0, length_s]]), window_s)
        chances.append(tally.chance)
    for p in (0.01, 0.05):
        assert np.mean(np.array(chances) <= p) <= p + 3 * np.sqrt(p * (1 - p) / len(chances))


Case = tuple[NDArray[np.float64], NDArray[np.float64], float]
"""The moments of the markers and of the faults, and how long it all took, s."""


def only_while_cold(rng: np.random.Generator) -> Case:
    """Faults and markers, independent, but both in the first part alone."""
    length_s = rng.uniform(600, 3600)
    cold_s = length_s * rng.uniform(0.15, 0.5)
    return rng.uniform(0, cold_s, rng.integers(3, 20)), rng.uniform(0, cold_s, 1 + rng.poisson(6)), length_s


def because_it_was_felt(rng: np.random.Generator) -> Case:
    """Faults in fits of several; a person sets a marker some seconds after most fits began."""
    fits = rng.uniform(0, 1700, rng.integers(3, 8))
    faults = [np.concatenate([[at], at + np.cumsum(rng.exponential(4.0, rng.integers(2, 8)))]) for at in fits]
    felt: NDArray[np.float64] = (fits + rng.uniform(0.7, 3.0, len(fits)))[rng.random(len(fits)) < 0.8]
    return felt, np.concatenate(faults), 1800.0


def each_moved_after_a_pause(rng: np.random.Generator) -> Case:
    """Six moves 20 s apart, four in five of them with a fault, and one now and then by itself."""
    moves = np.arange(60.0, 180.0, 20.0)
    own = (moves + rng.uniform(0.1, 2.0, 6))[rng.random(6) < 0.8]
    return moves, np.concatenate([own, rng.uniform(0, 600, rng.poisson(1))]), 600.0


def proved(case: Case) -> bool:
    """Tell whether chance is said to give as many less often than one time in a hundred."""
    moments, starts, length_s = case
    faults = [Event("dropout", 1, float(at), float(at) + 0.3) for at in np.sort(starts)]
    tries = unprompted(sorted(moments.tolist()), faults)
    tally = count_after(burst_starts(faults, 3.0), tries, np.array([[0.0, length_s]]), 3.0)
    return tally.markers > 0 and max(tally.chance, tally.chance_within_parts) < 0.01


@pytest.mark.parametrize("cause", [only_while_cold, because_it_was_felt])
def test_another_cause_proves_the_marker_at_most_one_time_in_a_hundred(cause: Callable[..., Case]) -> None:
    rng = np.random.default_rng(17)
    assert np.mean([proved(cause(rng)) for _ in range(1000)]) <= 0.01


def test_moves_with_pauses_between_them_are_proved() -> None:
    rng = np.random.default_rng(17)
    assert np.mean([proved(each_moved_after_a_pause(rng)) for _ in range(300)]) >= 0.95


@given(st.lists(st.tuples(st.integers(0, 12), st.floats(0.0, 1.0)), max_size=4), st.integers(0, 40))
def test_the_chance_among_parts_is_the_sum_over_all_ways(parts: list[tuple[int, float]], inside: int) -> None:
    ways = {0: 1.0}
    for total, share in parts:
        more: dict[int, float] = {}
        for seen, chance in ways.items():
            for k in range(total + 1):
                own = math.comb(total, k) * share**k * (1 - share) ** (total - k)
                more[seen + k] = more.get(seen + k, 0.0) + chance * own
        ways = more
    exact = math.fsum(chance for seen, chance in ways.items() if seen >= inside)
    assert chance_of_at_least_among(inside, parts) == pytest.approx(exact, rel=1e-9, abs=1e-300)


def often_wiggled(bench: Bench, every_s: float, faults: int) -> None:
    """Ten minutes; wiggles so often in the last two, and a dropout at the first of them."""
    number = bench.channel("pump feed", 12.5, length_s=120.0)
    moves = np.arange(10.0, 115.0, every_s)
    bench.mark("wiggle", *moves)
    for at in moves[2 : 2 + 3 * faults : 3]:
        bench.event("dropout", number, float(at) + 1.0, float(at) + 1.3, extreme=0.0)


def test_markers_that_come_too_often_are_said_to_prove_nothing_and_what_would(bench: Bench) -> None:
    often_wiggled(bench, 4.0, 3)
    found = bench.judge("come so often")
    assert found.verdict == "cannot tell"
    more = re.search(r"Pause 20 s between them; (\d+) more 'wiggle' would do, with a fault within 3.00 s", found.text)
    assert more is not None
    assert 2 <= int(more[1]) <= 6


def test_the_advice_when_followed_is_the_proof(bench: Bench) -> None:
    bench.channel("pump feed", 12.5, length_s=300.0)
    bench.mark("wiggle", 60.0, 100.0)
    bench.event("dropout", 1, 61.0, 61.3, extreme=0.0)
    advice = re.search(r"(\d+) more 'wiggle' would do", bench.judge("no proof").text)
    assert advice is not None
    for more, verdict in ((int(advice[1]) - 1, "cannot tell"), (int(advice[1]), "outside")):
        longer = Bench()
        longer.channel("pump feed", 12.5, length_s=300.0 + 20.0 * more)
        moves = [60.0, *(300.0 + 20.0 * k for k in range(more))]
        longer.mark("wiggle", *moves, 100.0)
        for at in moves:
            longer.event("dropout", 1, at + 1.0, at + 1.3, extreme=0.0)
        assert longer.judge("By chance alone").verdict == verdict


def test_faults_and_wiggles_that_both_come_only_while_cold_may_share_a_cause(bench: Bench) -> None:
    number = bench.channel("pump feed", 12.5, length_s=1800.0)
    bench.mark("wiggle", *np.arange(10.0, 170.0, 7.0))
    for at in (18.0, 39.0, 60.5, 96.0):
        bench.event("dropout", number, at, at + 0.3, extreme=0.0)
    found = bench.judge("may share another cause")
    assert found.verdict == "cannot tell"


def test_a_marker_set_because_a_fault_was_felt_is_no_try(bench: Bench) -> None:
    number = bench.channel("pump feed", 12.5, length_s=1800.0)
    for at in (200.0, 700.0, 1200.0):
        bench.mark("wiggle", at + 1.5)
        for after_s in (0.0, 4.2):
            bench.event("dropout", number, at + after_s, at + after_s + 0.3, extreme=0.0)
    found = bench.judge("set because a fault was felt, a marker proves nothing")
    assert found.verdict == "cannot tell"
    assert "3 markers 'wiggle' within 4.00 s of a fault's beginning are left out" in found.text


def wiggled(bench: Bench, dropouts: list[float]) -> None:
    """Ten minutes with eight wiggles, and dropouts where given."""
    number = bench.channel("pump feed", 12.5, length_s=600.0)
    bench.mark("wiggle", *np.arange(60.0, 540.0, 60.0))
    for time_s in dropouts:
        bench.event("dropout", number, time_s, time_s + 0.5, extreme=0.0)


def test_dropouts_at_six_of_eight_wiggles_are_no_chance(bench: Bench) -> None:
    wiggled(bench, [61.0, 122.0, 181.5, 241.0, 302.0, 361.0])
    found = bench.judge("So it happens at 'wiggle'")
    assert found.verdict == "outside"
    assert "6 of 6 events" in found.text
    assert "exact conditional binomial" in found.source


def test_dropouts_anywhere_prove_nothing(bench: Bench) -> None:
    wiggled(bench, [61.0, 100.0, 210.0, 345.0])
    assert bench.judge("no proof").verdict == "cannot tell"


def test_nothing_at_any_wiggle_says_what_would_have_been_seen(bench: Bench) -> None:
    wiggled(bench, [])
    found = bench.judge("nothing happened")
    assert found.verdict == "within"
    assert "more than 31%" in found.text  # 1 - 0.05 ** (1 / 8) = 0.312


def test_markers_that_switch_the_circuit_are_not_tested(bench: Bench) -> None:
    number = bench.channel("pump feed", 12.5, length_s=600.0)
    bench.mark("key-on", 60.0, 120.0, 180.0)
    bench.event("dropout", number, 61.0, 61.5, extreme=0.0)
    assert not [f for f in bench.all() if "'key-on'" in f.text and "By chance" in f.text]


def test_time_in_which_nothing_could_be_seen_does_not_count(bench: Bench) -> None:
    number = bench.channel("pump feed", lambda t: np.where(t < 300, 12.5, 0.0), length_s=600.0)
    bench.mark("wiggle", 10.0, 400.0)
    bench.event("dropout", number, 11.0, 11.5, extreme=0.0)
    assert "which is 1% of the time watched" in bench.judge("'wiggle'").text  # 3 of 300 s


def test_several_pairs_tried_are_paid_for(bench: Bench) -> None:
    for label in ("pump feed", "ignition feed"):
        number = bench.channel(label, 12.5, length_s=600.0)
        bench.event("dropout", number, 61.0, 61.5, extreme=0.0)
    bench.mark("wiggle", 60.0, 300.0)
    found = [f for f in bench.all() if "By chance" in f.text]
    assert len(found) == 2
    assert all("times 2" in f.source for f in found)


@pytest.mark.parametrize(("count", "low", "high"), [(0, 0.0, 3.6889), (1, 0.0253, 5.5716), (10, 4.7954, 18.3904)])
def test_the_interval_of_a_rate_is_the_tabled_exact_one(count: int, low: float, high: float) -> None:
    assert rate_span(count, 1.0) == pytest.approx((low, high), abs=2e-4)


def armed_hunt(bench: Bench, condition: str, *, lost_at_s: float | None = None) -> None:
    """An hour armed, six wiggles, a dropout at three of them: 15 s round each are kept, the rest is not."""
    wiggles = np.arange(300.0, 3600.0, 600.0)
    kept = np.concatenate([np.arange(at - 5.0, at + 10.0, 0.25) for at in wiggles])
    number = bench.channel("pump feed", 12.5, length_s=0.25 * len(kept))
    bench.retime(number, kept)
    for at in (0.0, *(wiggles + 10.0)):
        bench.armed(float(at), condition)
    bench.mark("wiggle", *wiggles)
    for at in wiggles[:3]:
        bench.event("dropout", number, at + 1.0, at + 1.5, extreme=0.0, reference=12.5)
    bench.event("sag", number, wiggles[4] + 6.0, wiggles[4] + 6.5, extreme=10.9, reference=12.5)
    if lost_at_s is not None:
        bench.event("gap", number, lost_at_s, lost_at_s + 60.0)


def test_the_time_that_an_armed_capture_waited_was_watched_too(bench: Bench) -> None:
    armed_hunt(bench, "fall 9V")
    found = bench.judge("So it happens at 'wiggle'")
    assert "3 of 3 events" in found.text, "the sag to 10.9 V would not have been caught while it waited"
    assert "which is 1% of the time watched" in found.text
    assert "Counted is what 'fall 9V' catches, also while it waited." in found.text


def test_where_the_link_was_lost_while_it_waited_nothing_was_watched(bench: Bench) -> None:
    armed_hunt(bench, "fall 9V", lost_at_s=1000.0)
    watched_without = 2660.0 - 585.0
    assert f"{18 / watched_without:.0%}" in bench.judge("So it happens at 'wiggle'").text


@pytest.mark.parametrize("condition", ["rise 6V", "above 14.8V", "open", "fall 9V on battery", "nonsense"])
def test_a_condition_that_does_not_watch_for_it_leaves_the_wait_unwatched(bench: Bench, condition: str) -> None:
    armed_hunt(bench, condition)
    found = bench.judge("By chance alone")
    assert "3 of 4 events" in found.text
    assert "20% of the time watched" in found.text
    assert found.verdict == "cannot tell"


def test_what_an_armed_capture_marks_by_itself_is_not_tested(bench: Bench) -> None:
    armed_hunt(bench, "fall 9V")
    assert not [f for f in bench.all() if "'armed'" in f.text]


def test_a_marker_while_nothing_could_be_seen_is_no_try(bench: Bench) -> None:
    bench.channel("pump feed", lambda t: np.where(t < 300, 12.5, 0.0), length_s=600.0)
    bench.mark("wiggle", 60.0, 120.0, 180.0, 400.0, 500.0)
    bench.mark("bump", 420.0, 430.0, 440.0)
    assert "after 3 markers 'wiggle'" in bench.judge("nothing happened").text
