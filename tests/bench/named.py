"""Named cases of open standards: starting profiles, pulse 4, and short interruptions of a supply.

ISO 16750-2 starting profiles and ISO 7637-2 pulse 4 as quoted in this project's facts (levels II to IV from memory,
unverified); LV 124 E-10: 10 us to 2 s, more than 10 s on between, at 11 V.
"""

from __future__ import annotations

import numpy as np

from meterlog.events.detect import detect
from meterlog.events.event import Event
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel
from tests.bench.logs import Drawing, Log, Meter, log_of

CHANNEL = Channel(1, "supply", Quantity.DC_VOLTAGE)
E10_S = (1e-5, 1e-4, 1e-3, 5e-3, 0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.8, 1.0, 1.5, 2.0)
ISO_16750_2 = {"I": (8.0, 9.5, 1.0), "II": (4.5, 6.5, 10.0), "III": (3.0, 5.0, 1.0), "IV": (6.0, 6.5, 10.0)}
"""Level: voltage of the first 15 ms, voltage while cranking, how long, V and s."""


def starting_profile(first_v: float, crank_v: float, seconds: float, meter: Meter) -> tuple[Log, float]:
    """One ISO 16750-2 starting profile; its duration between the crossings of 90 % and 92 %."""

    def draw(d: Drawing) -> None:
        d.hold(12.6, 20.0)
        start = d.now_s
        d.ramp(12.6, first_v, 0.005)
        d.hold(first_v, 0.015)
        d.ramp(first_v, crank_v, 0.05)
        n = round(seconds / 0.001)
        d.put(crank_v + 0.2 * np.sin(2 * np.pi * 8.0 * np.arange(n) * 0.001))
        d.ramp(crank_v, 12.4, 0.04)
        d.event("sag" if crank_v > 6.3 else "dropout", (start, d.now_s - 0.01))
        d.hold(12.4, 20.0)

    log = log_of("start profile", draw, 1, meter)
    return log, log.truth[0].end_s - log.truth[0].start_s


def pulse_4(meter: Meter) -> tuple[Log, float]:
    """ISO 7637-2 pulse 4 on 12 V: -6 V for 30 ms, then -4 V for 2 s, back within 50 ms."""

    def draw(d: Drawing) -> None:
        d.hold(12.6, 20.0)
        start = d.now_s
        d.ramp(12.6, 6.6, 0.005)
        d.hold(6.6, 0.03)
        d.ramp(6.6, 8.6, 0.03)
        d.hold(8.6, 2.0)
        d.ramp(8.6, 12.6, 0.05)
        d.event("sag", (start, d.now_s - 0.025))
        d.hold(12.6, 20.0)

    log = log_of("pulse 4", draw, 1, meter)
    return log, log.truth[0].end_s - log.truth[0].start_s


def interruption(duration_s: float, interval_s: float, offset: float) -> list[Event]:
    """LV 124 E-10: 11 V, off for a time, read by a meter that averages its whole interval (worked out exactly)."""
    time_s = np.asarray(np.arange(1, round(40.0 / interval_s)) * interval_s, dtype=np.float64)
    start = 20.0 + offset * interval_s
    off = np.clip(np.minimum(time_s, start + duration_s) - np.maximum(time_s - interval_s, start), 0.0, None)
    value = np.round(11.0 * (1.0 - off / interval_s), 2)
    count = len(time_s)
    return detect(CHANNEL, Series(time_s, value, np.full(count, 0.01, np.float32), np.zeros(count, np.uint16)))


def report() -> None:
    """Print the named cases."""
    meter = Meter(0.25, 0.25, "full", 0.005, 0.0005, 0.01, 1.0, 0.0)
    cases = {f"ISO 16750-2 level {name}": starting_profile(*shape, meter) for name, shape in ISO_16750_2.items()}
    cases["ISO 7637-2 pulse 4"] = pulse_4(meter)
    for name, (log, seconds) in cases.items():
        events = detect(log.channel, log.series)
        told = ", ".join(f"{e.kind} {e.duration_s or 0:.2f} s +-{e.duration_error_s or 0:.2f}" for e in events)
        print(f"  {name:<24} true {log.truth[0].kind} {seconds:5.2f} s; found {told or 'nothing'}")
    print("  LV 124 E-10 at 0.25 s, averaging; of 20 places inside the interval, as dropout / sag / not seen:")
    for duration in E10_S:
        found = [interruption(duration, 0.25, k / 20) for k in range(20)]
        kinds = [events[0].kind if events else "" for events in found]
        print(
            f"    {duration * 1000:8.2f} ms  {kinds.count('dropout'):3d} /{kinds.count('sag'):3d} /{kinds.count(''):3d}"
        )
