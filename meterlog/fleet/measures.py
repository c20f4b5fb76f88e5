"""The measures of one session, each with its error: primes, cranks, levels, drops, rest, charge and draw."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from meterlog.comparing.align import cranks, primes
from meterlog.comparing.measures import pass_figures
from meterlog.findings.charging import charging
from meterlog.findings.draw import draws
from meterlog.findings.drop import level_across
from meterlog.findings.level import level_of, thin, upper_level
from meterlog.findings.rest import at_rest
from meterlog.loaded import Loaded
from meterlog.reading import Quantity
from meterlog.roles import Role
from meterlog.session.model import Channel

_TIMES = ("duration", "transition")
"""The figures of a prime or crank that are times, s."""


class Measured(NamedTuple):
    """One measure.

    Attributes:
        channel: it was taken on.
        measure: its name; one of those in the manual.
        value: in `unit`.
        error: half-width of the band that covers the truth at least 95 times in 100, in `unit`.
        unit: SI.
        part: which prime or crank of the session, from 1; None for the whole of it.
        start_s: where what was measured begins, s from the session's start; None for the whole of it.
    """

    channel: Channel
    measure: str
    value: float
    error: float
    unit: str
    part: int | None = None
    start_s: float | None = None


def measures_of(session: Loaded) -> list[Measured]:
    """Return every measure of a session, channel by channel."""
    return [*_of_channels(session), *_of_the_battery(session)]


def _of_channels(session: Loaded) -> Iterator[Measured]:
    for channel in session.measured:
        primed, cranked = primes(session, channel), cranks(session, channel)
        for word, passes in (("prime", primed), ("crank", cranked)):
            for part, one in enumerate(passes, 1):
                for name, figure in pass_figures((session, channel), one).items():
                    unit = "s" if name in _TIMES else channel.quantity.unit
                    yield Measured(channel, f"{word} {name}", *figure, unit, part, one.onset_s)
        if not primed:
            yield from _whole(session, channel)


def _whole(session: Loaded, channel: Channel) -> Iterator[Measured]:
    """Return the level over the whole session, by what the channel measures."""
    series = session.believed(channel.number)
    if channel.measurand.role is Role.DROP:
        level, loaded = level_across(session.evidence, channel)
        name = "drop while loaded" if loaded else "drop"
    elif channel.quantity in (Quantity.RESISTANCE, Quantity.CONTINUITY):
        name, level = "resistance", level_of(thin(series), channel.accuracy)
    else:
        name, level = "level while on", upper_level(series, channel.accuracy)
    if level is not None:
        yield Measured(channel, name, level.value, level.error, channel.quantity.unit)


def _of_the_battery(session: Loaded) -> Iterator[Measured]:
    evidence = session.evidence
    if (resting := at_rest(evidence)) is not None:
        channel, series, level = resting
        yield Measured(channel, "rest", level.value, level.error, "V", start_s=float(series.time_s[0]))
    battery = evidence.battery
    if battery is not None and (charged := charging(evidence, battery)) is not None:
        yield Measured(battery, "charge", charged.level.value, charged.level.error, "V", start_s=charged.start_s)
    for channel, level in draws(evidence):
        yield Measured(channel, "draw", abs(level.value), level.error, "A")
