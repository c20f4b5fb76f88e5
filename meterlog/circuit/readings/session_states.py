"""Finds the states in which a session's readings were taken: by its markers, and by what plainly is a prime."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

import numpy as np

from meterlog.events.detect import detect
from meterlog.events.event import Event
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import CAPTURE, Channel, Marker

WINDOW_S = 10.0
"""Time after a key-on or crank marker in which a reading counts as taken in that state, s; another marker ends it. A
guess."""
LATE_S = 1.0
"""By how much a key-on may be marked late, as the events take it (`meterlog/events/missing_prime.py`)."""
SOURCE_SHARE = 0.85
"""Above this share of the system voltage a pair of points reads the source, not a drop; rest is 11.6 to 12.6 V."""
PRIME_S = (0.5, 3.5)
"""Shortest and longest stretch that is plainly a prime, s: makers' manuals tell of 1 to 2 s, some of 'several'; what is
on for longer may be the starter's time. The longest is a guess."""
SAME_LEVEL = 0.93
"""A prime's level as a share of the highest one in the session; what is lower may be the starter's. A guess."""

MOVING = "wiggle"
"""The beginning of the name of a marker that tells of a harness being moved: it ends no state."""
MOVED_S = 3.0
"""A break that begins so soon after such a marker goes with it, s (`marker_window_s` of the limits)."""

_STATE_OF_MARKER = {"key-on": "key_on", "crank": "crank", "key-off": "off", "run": "run", "engine running": "run"}

Window = tuple[str, float, float]
"""A state, its beginning and its end, s."""
Span = tuple[float, float]


def windows(markers: Sequence[Marker], primes: Iterable[Span], duration_s: float) -> list[Window]:
    """Every stretch of a session whose state is known; a prime that no marker tells of sets its own."""
    marked = list(_marked(markers, duration_s))
    plain = (span for span in primes if not any(_overlap(span, (begin, end)) for _, begin, end in marked))
    return [*marked, *(("prime", begin, end) for begin, end in plain)]


def primes(channels: Iterable[tuple[Channel, Series, bool]], markers: Sequence[Marker], system_v: float) -> list[Span]:
    """Find the primes that any channel shows, each once.

    Args:
        channels: each with its readings, and whether a contact that opens lies between its two points: then it reads
            the source while that is open, and less while it is closed.
        markers: the session's.
        system_v: of the circuit, V.
    """
    found: list[Span] = []
    for channel, series, across in channels:
        if across:
            found += _closed(series, system_v)
        elif channel.quantity in (Quantity.DC_VOLTAGE, Quantity.DC_CURRENT):
            found += _pulses(event for event in detect(channel, series, markers) if event.kind == "prime_pulse")
    kept: list[Span] = []
    for span in sorted(found):
        if not any(_overlap(span, other) for other in kept):
            kept.append(span)
    return kept


def _pulses(events: Iterable[Event]) -> list[Span]:
    """The pulses of a channel that are plainly primes."""
    short = [event for event in events if PRIME_S[0] <= event.end_s - event.start_s <= PRIME_S[1]]
    highest = max((event.level or 0.0 for event in short), default=0.0)
    return [(event.start_s, event.end_s) for event in short if (event.level or 0.0) >= SAME_LEVEL * highest]


def _marked(markers: Sequence[Marker], duration_s: float) -> Iterator[Window]:
    """Return what the markers say; what the recorder noted by itself ends no state, nor does moving the harness."""
    said = [marker for marker in markers if marker.by != CAPTURE and not tells_of_moving(marker)]
    for k, marker in enumerate(said):
        state = _STATE_OF_MARKER.get(marker.name.lower())
        if state is not None:
            before_s = said[k - 1].time_s if k else -math.inf
            begin_s = max(marker.time_s - LATE_S, before_s) if state == "key_on" else marker.time_s
            following_s = said[k + 1].time_s if k + 1 < len(said) else duration_s
            longest_s = math.inf if state == "run" else WINDOW_S
            yield state, begin_s, min(following_s, marker.time_s + longest_s)


def moved_before(time_s: float, markers: Iterable[Marker]) -> bool:
    """Tell whether the harness was moved just before a moment, s."""
    return any(tells_of_moving(marker) and 0 <= time_s - marker.time_s <= MOVED_S for marker in markers)


def tells_of_moving(marker: Marker) -> bool:
    """Tell whether a marker says that the harness was moved."""
    return marker.name.strip().casefold().startswith(MOVING)


def _closed(series: Series, system_v: float) -> Iterator[Span]:
    """Stretches in which a contact was closed for as long as a prime lasts, the source across it before and after."""
    across = np.abs(series.value) > SOURCE_SHARE * system_v
    edges = np.flatnonzero(across[1:] != across[:-1]) + 1
    for begin, end in pairwise(edges):
        start_s, end_s = float(series.time_s[begin]), float(series.time_s[end])
        if not across[begin] and PRIME_S[0] <= end_s - start_s <= PRIME_S[1]:
            yield start_s, end_s


def _overlap(a: Span, b: Span) -> bool:
    return a[0] < b[1] and b[0] < a[1]
