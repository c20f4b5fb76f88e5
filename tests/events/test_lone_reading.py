"""One wrong reading, wherever it stands: what lies far from it is found as before, and a high one is named."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.events.detect import detect
from meterlog.events.event import Event
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel

INTERVAL_S = 0.33
NEAR_S = 3.0
COUNT = 240
Values = NDArray[np.float64]
Rng = np.random.Generator


def dips(level: float, to: float, readings: int, rng: Rng) -> Values:
    value = level + rng.normal(0.0, 0.01, COUNT)
    for at in range(50, COUNT - 20, 50):
        value[at : at + readings] = to
    return value


def pulses(idle: float, level: float, inrush: float, rng: Rng) -> Values:
    value = np.full(COUNT, idle)
    for at in range(40, COUNT - 20, 50):
        value[at : at + 6] = level + rng.normal(0.0, 0.01, 6)
        value[at] += inrush
    return value


def late(rng: Rng) -> Values:
    value = dips(12.6, 0.0, 1, rng)
    value[:30] = 0.0
    return value


def sinking(rng: Rng) -> Values:
    return np.asarray(12.6 - 0.02 * np.clip(np.arange(COUNT) - 60, 0, None) + rng.normal(0.0, 0.01, COUNT))


SUPPLY, CURRENT, OHMS = Quantity.DC_VOLTAGE, Quantity.DC_CURRENT, Quantity.RESISTANCE
FEEDS: dict[str, tuple[Quantity, Callable[[Rng], Values]]] = {
    "dropouts": (SUPPLY, lambda rng: dips(12.6, 0.0, 1, rng)),
    "dropouts, 24 V": (SUPPLY, lambda rng: dips(25.2, 0.0, 1, rng)),
    "dropouts, 5 V": (SUPPLY, lambda rng: dips(5.0, 0.0, 1, rng)),
    "dropouts after it went on": (SUPPLY, late),
    "sags": (SUPPLY, lambda rng: dips(12.6, 9.8, 3, rng)),
    "overvoltages": (SUPPLY, lambda rng: dips(14.2, 16.2, 4, rng)),
    "fade": (SUPPLY, sinking),
    "primes": (SUPPLY, lambda rng: pulses(0.0, 12.2, 0.0, rng)),
    "primes of an input that floats": (SUPPLY, lambda rng: pulses(3.5, 12.2, 0.0, rng)),
    "interruptions": (CURRENT, lambda rng: dips(5.0, 0.0, 2, rng)),
    "primes by their current": (CURRENT, lambda rng: pulses(0.0, 6.0, 4.0, rng)),
    "openings": (OHMS, lambda rng: dips(1.2, np.inf, 3, rng)),
}
WRONG = {
    SUPPLY: (92.6, 1260.0, 32.6, 22.6, 0.0, -12.6, 8.6, 5.0, 1.26),
    CURRENT: (400.0, 50.0, 13.0, 0.5, 0.0, -5.0),
    OHMS: (1200.0, 12.0, 0.12, 0.0, 1e6, np.inf),
}


def events(quantity: Quantity, value: Values) -> list[Event]:
    value = np.round(value, 2) + 0.0
    flags = np.where(np.isfinite(value), 0, 2).astype(np.uint16)
    series = Series(
        np.arange(len(value), dtype=np.float64) * INTERVAL_S, value, np.full(len(value), 0.01, np.float32), flags
    )
    return detect(Channel(1, "pump feed", quantity), series)


def is_far(event: Event, time_s: float) -> bool:
    return not event.start_s - NEAR_S <= time_s <= event.end_s + NEAR_S


def is_same(one: Event, other: Event) -> bool:
    """The edges of other events tell how a meter averages, so times move a little."""
    moved_s = max(abs(one.start_s - other.start_s), abs(one.end_s - other.end_s))
    return one.kind == other.kind and moved_s <= 3 * INTERVAL_S


@pytest.mark.parametrize("name", FEEDS)
def test_one_wrong_reading_changes_nothing_far_from_it(name: str) -> None:
    quantity, make = FEEDS[name]
    rng = np.random.default_rng(19)
    right = make(rng)
    usual = events(quantity, right)
    assert len(usual) >= (1 if name == "fade" else 3)
    for wrong in WRONG[quantity]:
        for at in {0, 1, 37, 40, 49, 50, *rng.integers(0, COUNT, 1).tolist()}:
            value = right.copy()
            value[at] = wrong
            found = events(quantity, value)
            time_s = at * INTERVAL_S
            lost = [e for e in usual if is_far(e, time_s) and not any(is_same(e, f) for f in found)]
            extra = [f for f in found if is_far(f, time_s) and not any(is_same(e, f) for e in usual)]
            assert (wrong, at, lost, extra) == (wrong, at, [], [])


@pytest.mark.parametrize("name", ["dropouts", "sags", "primes", "dropouts after it went on", "fade"])
@pytest.mark.parametrize("at", [0, 1, 20, 36, 39, 41, 120])
def test_a_wrong_reading_above_any_system_is_named(name: str, at: int) -> None:
    quantity, make = FEEDS[name]
    value = make(np.random.default_rng(19))
    value[at] = 92.6
    named = [e for e in events(quantity, value) if e.kind == "overvoltage" and e.extreme == 92.6]
    assert [e.start_s - INTERVAL_S <= at * INTERVAL_S <= e.end_s + INTERVAL_S for e in named] == [True]


def test_one_reading_at_the_start_does_not_make_what_follows_an_outage() -> None:
    """A supply that was on for one reading, and is off then, may have been switched: primes after it are primes."""
    value = pulses(0.0, 12.2, 0.0, np.random.default_rng(19))
    value[0] = 12.6
    assert {e.kind for e in events(SUPPLY, value)} == {"prime_pulse"}


def test_a_dropout_in_the_second_reading_of_a_supply_is_found() -> None:
    value = np.array([0.0] * 20 + [12.6, 5.0, 12.6, 12.6] + [12.6] * 60)
    assert [e.kind for e in events(SUPPLY, value)] == ["dropout"]
