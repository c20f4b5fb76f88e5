"""The level of volts and amperes is told by what changes with the key, without a key press or a marker."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from meterlog.circuit.readings.measurement import Measurement
from meterlog.job.taking.expected import Expected
from meterlog.job.taking.level import Level
from meterlog.job.taking.live_level import LiveLevel
from meterlog.reading import Accuracy, Quantity, Reading

SWITCHED, LIVE = Expected(0.0, 12.1, 12.1), Expected(12.4, 12.3, 12.3)
RELAY, WIRE = Expected(12.4, 0.025, 0.025), Expected(0.0, 0.03, 0.03)
AT_CRANK, AT_RUN = Expected(12.4, 12.35, 10.8), Expected(12.4, 12.3, 13.8)
REST, LIVE_REST = [0.0] * 5, [12.40] * 6


def fed(
    values: Sequence[float],
    sound: Expected,
    state: str = "key_on",
    interval_s: float = 0.33,
    resolution: float = 0.01,
    quantity: Quantity = Quantity.DC_VOLTAGE,
) -> tuple[LiveLevel, Level | None]:
    watch = LiveLevel(Measurement("voltage", "x", state=state), sound, Accuracy(), primes=True)
    for k, value in enumerate(values):
        level = watch.feed(Reading(k * interval_s, value, quantity, resolution))
        if level is not None:
            return watch, level
    return watch, None


def value_of(values: Sequence[float], sound: Expected, state: str = "key_on", **how: float) -> float:
    level = fed(values, sound, state, **how)[1]  # type: ignore[arg-type]
    assert level is not None, "nothing was caught"
    return level.value


def test_a_prime_is_caught_and_called_one() -> None:
    _, level = fed([*REST, 6.1, 12.1, 12.12, 12.1, 12.1, 12.1, 5.0, 0.0], SWITCHED)
    assert level is not None
    assert level.value == pytest.approx(12.1, abs=0.02)
    assert 0.0 < level.error < 0.2
    assert level.words == "a prime of 1.8 s +-0.5"  # 1.95 s, by what the readings at its edges averaged


@pytest.mark.parametrize(
    ("values", "value", "error"),
    [([8.0, 12.1, 4.0], 12.1, 0.1), ([12.1, 12.0], 12.05, 0.2), ([3.0, 12.1, 0.0, 0.0, 4.0, 12.1, 11.0], 12.1, 0.1)],
)
def test_a_slow_display_sees_two_or_three_readings_of_a_prime(values: list[float], value: float, error: float) -> None:
    _, level = fed([*REST, *values, 0.0, 0.0], SWITCHED, interval_s=1.0)
    assert level is not None
    assert level.value == pytest.approx(value, abs=0.06)
    assert level.error < error
    assert "prime" in level.words


def test_one_wild_reading_is_no_prime() -> None:
    assert fed([*REST, 12.1, 0.0, 0.0, 0.0], SWITCHED)[1] is None


def test_a_drop_is_read_while_the_contact_is_closed() -> None:
    assert value_of([0.0, 0.0, 0.0, *LIVE_REST, 6.0, *[0.31] * 12], RELAY) == pytest.approx(0.31)
    assert value_of([*LIVE_REST, 6.0, *[0.03] * 12], RELAY) == pytest.approx(0.03)


def test_a_probe_that_slips_off_a_contact_is_no_perfect_contact() -> None:
    watch, level = fed([*LIVE_REST, *[0.0] * 30], RELAY)
    assert level is None
    assert watch.standing is None
    assert "did a probe come off" in watch.waiting_for
    watch, level = fed([*LIVE_REST, *[0.0] * 6, 12.4, 12.4], RELAY)
    assert level is None  # a closed contact, or a probe that is back
    assert watch.ready == "It fell to nothing, as where a probe comes off: turn the key once more."
    assert value_of([*LIVE_REST, *[0.0] * 6, 12.4, 12.4, *[0.0] * 6, 12.4], RELAY) == 0.0


@pytest.mark.parametrize("before", [[], LIVE_REST])
def test_free_probes_that_pick_up_a_few_counts_are_no_closed_contact(before: list[float]) -> None:
    free = [0.02, 0.03, 0.02, 0.0, -0.01, -0.03, 0.01, 0.0, 0.02, -0.01, 0.02, 0.0]
    watch, level = fed([*before, *free, 12.4, 12.4, 12.4], RELAY)
    assert level is None
    assert watch.standing is not None
    assert watch.standing.value == pytest.approx(12.4)
    assert value_of([*before, *free, *LIVE_REST, 6.8, *[0.03] * 5, 12.4, 12.4], RELAY) == pytest.approx(0.03)


def test_a_probe_that_is_clipped_on_again_is_no_supply_that_failed() -> None:
    watch, level = fed([*LIVE_REST, *[0.0] * 10, *[12.4] * 5], LIVE)
    assert level is None
    assert watch.standing is not None
    assert watch.standing.value == pytest.approx(12.4)
    assert watch.counts == "soon"


def test_a_pulse_too_short_for_the_display_is_read_when_it_comes_again() -> None:
    watch, level = fed([*REST, 3.0, 12.1, 0.0, 0.0], SWITCHED, interval_s=1.0)
    assert level is None
    assert watch.ready == "It was too short for this display: turn the key once more."


def test_a_small_drop_is_told_from_none() -> None:
    assert value_of([*[0.000] * 6, 0.012, *[0.030] * 12], WIRE, resolution=0.001) == pytest.approx(0.03)


def test_a_place_that_is_always_live_shows_the_key_by_its_sag() -> None:
    watch, level = fed([*REST, *LIVE_REST], LIVE)
    assert level is None  # clipping on is not the key
    assert watch.ready == "Key on now."
    assert value_of([*REST, *LIVE_REST, 12.33, *[12.28] * 12], LIVE) == pytest.approx(12.28)
    over = [*REST, *LIVE_REST, *[12.28] * 5, 12.33, 12.36, *[12.36] * 9]  # a prime, then the key alone
    assert value_of(over, LIVE) == pytest.approx(12.28)
    assert value_of([*REST, *LIVE_REST, *[7.0] * 12], LIVE) == pytest.approx(7.0)  # a burnt fuse under load


def test_what_does_not_change_stands_and_counts_soon_only_where_little_is_expected() -> None:
    watch, _ = fed([*REST, *LIVE_REST], LIVE)
    assert watch.standing is not None
    assert watch.standing.value == pytest.approx(12.4)
    assert watch.counts == "soon"
    assert fed(LIVE_REST, RELAY)[0].counts == "late"
    assert fed(LIVE_REST, AT_CRANK, "crank")[0].counts == "late"


@pytest.mark.parametrize("sound", [SWITCHED, WIRE])
def test_nothing_counts_by_itself_after_a_warning(sound: Expected) -> None:
    watch, level = fed([0.0] * 30, sound)
    assert level is None
    assert watch.counts == "late"
    assert watch.waiting_for == "nothing there: do both probes touch, and is the key turned?"
    assert watch.standing is not None
    assert watch.standing.value == 0.0


def test_nothing_may_flicker_and_still_stands() -> None:
    flicker = [0.0, 0.04, -0.06, 0.01, 0.05, -0.03, 0.02, -0.05] * 4
    for count in range(3, len(flicker)):
        watch, level = fed(flicker[:count], SWITCHED)
        assert level is None
        assert watch.standing is not None


def test_a_crank_is_a_dip_and_not_the_key() -> None:
    cranked = [*LIVE_REST, *[12.1] * 6, 11.0, *[10.2, 10.3, 10.25, 10.3] * 2, 12.0, 13.9, 13.9, 13.9]
    assert value_of(cranked, AT_CRANK, "crank") == pytest.approx(10.25, abs=0.1)
    assert fed([*LIVE_REST, *[12.1] * 20], AT_CRANK, "crank")[1] is None
    assert value_of([*REST, *[9.8] * 12], Expected(0.0, 0.0, 10.6), "crank") == pytest.approx(9.8)
    assert value_of([*REST, *[12.2] * 6, *[10.1] * 12], Expected(0.0, 12.1, 10.6), "crank") == pytest.approx(10.1)


def test_a_weak_battery_goes_up_and_down_while_it_cranks() -> None:
    crank = [5.0, 6.51, 6.38, 5.52, 5.93, 6.55, 6.28, 5.48, 6.08, 6.57, 6.21, 5.48, 6.21, 6.57]
    turned = [*REST, 5.51, 11.9, 11.92, 11.92, 11.91, 9.3, *crank, 1.41, *[0.0] * 12]
    assert value_of(turned, Expected(0.0, 12.1, 10.6), "crank") == pytest.approx(6.2, abs=0.3)
    watch, level = fed([*REST, *[11.9] * 5, 9.3, 5.0, *[0.0] * 12], Expected(0.0, 12.1, 10.6), "crank")
    assert level is None
    assert watch.standing is None  # the key is back: nothing now says nothing of the crank


def test_an_engine_runs_once_its_level_has_held() -> None:
    started = [*LIVE_REST, *[10.2] * 6, *[14.1] * 20]
    assert value_of(started, AT_RUN, "run") == pytest.approx(14.1)


def test_what_is_on_already_is_read() -> None:
    assert value_of([12.1] * 15, SWITCHED) == pytest.approx(12.1)
    assert value_of([0.3] * 15, RELAY) == pytest.approx(0.3)
    assert value_of([14.2] * 20, AT_RUN, "run") == pytest.approx(14.2)


def test_with_the_key_off_what_is_there_is_the_reading() -> None:
    assert value_of([*REST, *[12.3] * 15], Expected(0.0, 12.0, 0.0), "off") == pytest.approx(12.3)


def test_an_inrush_is_not_the_current() -> None:
    current = [0.0] * 5 + [11.0, 7.0, 5.2] + [5.0] * 12
    assert value_of(current, Expected(0.0, 5.0, 5.0)) == pytest.approx(5.0, abs=0.05)


def test_every_wait_is_said() -> None:
    watch, _ = fed([], LIVE)
    assert watch.standing is None
    assert watch.waiting_for == "nothing steady yet"
    assert watch.counts == "late"
    assert watch.ready == ""
    assert not math.isnan(LIVE.rest)
