"""Tells whether a supply is on or off: the part of its machine that finds primes, dropouts and losses.

States: `first` nothing seen yet; `idle` off; `settling` just gone on; `on` (see `supply.py`); `out` at or below half;
`back` just returned from `out`.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf
from typing import NamedTuple

from meterlog.events.chatter import Waiting
from meterlog.events.dropout import dropout, outage
from meterlog.events.event import Event
from meterlog.events.fade import FadeWatch
from meterlog.events.measure import Measure
from meterlog.events.prime_pulse import Stretch, prime_pulse
from meterlog.events.reference import Reference
from meterlog.events.settings import DetectionSettings
from meterlog.events.settling import agreed, fall_in
from meterlog.events.supply_lost import came_back, supply_lost, switched_off
from meterlog.session.model import Marker
from meterlog.signal.edges import Edge
from meterlog.signal.levels import median

_SETTLE_READINGS = 5
"""A rise has settled after so many readings whatever they show: a guess; partial readings take one or two."""
_SETTLED_SHARE = 0.05
"""A rise has settled when two readings differ by less than this share: a guess, above a pump's inrush sag."""
_RISING = 1.03
"""A return goes on while each reading is above the one before by this factor: a guess."""
_MOST_HELD = 1024
"""Readings since a supply went off that tell its level then: bounds time."""


class Rules(NamedTuple):
    """Rules for a channel's role: a control signal has pulses, and no faults."""

    on_at_least: float
    faults: bool


class OnOff:
    """The states in which a supply is off, goes on, or is out.

    Attributes:
        stretches: the 'on' intervals so far.
        events: what was found so far, in the order it was decided.
        undecided: when it fell, s, where the readings do not tell whether that was a fault.
        on_since_s, off_since_s: the first reading of the latest 'on' and 'off', s: known at once, and the same later.
    """

    def __init__(self, measure: Measure, settings: DetectionSettings, rules: Rules, markers: list[Marker]) -> None:
        self.stretches: list[Stretch] = []
        self.events: list[Event] = []
        self.undecided: list[float] = []
        self.on_since_s = self.off_since_s = 0.0
        self._measure = measure
        self._track = measure.track
        self._settings = settings
        self._rules = rules
        self._markers = markers
        self._steps: dict[str, Callable[[int], None]] = {
            "first": self._first,
            "idle": self._idle,
            "settling": self._settling,
            "out": self._out,
            "back": self._back,
        }
        self._loss: tuple[int, Edge] | None = None
        self._waiting = Waiting(measure.channel, self.events, settings, rules.faults)
        self._fades = FadeWatch(measure, self.events, settings)
        self._restart(0)

    def _restart(self, index: int) -> None:
        """All begins anew at reading `index`."""
        self._state = "first"
        self._segment = self._pos = index
        self._threshold = self._rules.on_at_least
        self._alone = False  # one reading alone says that it was on
        self._reference = Reference(self._track, self._settings, self._rules.faults)
        self._reference.quiet = self._calm = self._fall = self._return = index
        self._waiting.flush()
        self._stretch: Stretch | None = None
        self._waiting.stretch = None

    def _leave_open(self, time_s: float) -> None:
        """A supply fell, and the readings do not tell whether that was a fault."""
        if self._rules.faults:
            self.undecided.append(time_s)

    def _be_on(self, quiet: int) -> None:
        self._state, self._calm, self._alone = "on", quiet, False
        self._reference.rest(quiet)

    def _is_long(self, index: int) -> bool:
        """Tell whether the 'on' interval is longer than a prime, as far as reading `index`."""
        stretch = self._stretch
        if stretch is None or self._alone:
            return False
        return stretch.from_start or self._track.time(index) - stretch.begin_s > self._settings.prime_longest_s

    @property
    def _off_at(self) -> float:
        """At or below this the supply is off, V."""
        return self._settings.off_share * self._reference.value

    @property
    def deciding(self) -> bool:
        """Tell whether it is not yet known if the supply is off or interrupted."""
        return self._state in ("out", "back")

    def _first(self, _stop: int) -> None:
        if self._track.value(self._pos) >= self._threshold:
            self._begin(self._pos)
        else:
            self._state = "idle"

    def _idle(self, stop: int) -> None:
        self._pos = self._track.first_outside(self._pos, stop, -inf, self._threshold)
        if self._pos < stop:
            self._begin(self._pos)

    def _begin(self, rise: int) -> None:
        """An 'on' interval begins at reading `rise`; its beginning is seen when a reading precedes it."""
        seen = rise > self._segment
        begin_s = (self._track.time(rise - 1) + self._track.time(rise)) / 2 if seen else self._track.time(rise)
        stretch = self._stretch = self._waiting.stretch = Stretch(rise, None, begin_s, from_start=rise == 0)
        self.stretches.append(stretch)
        self._state, self.on_since_s = "settling", self._track.time(rise)
        self._reference.value = self._track.value(rise)
        self._reference.slow = 0.0
        self._pos = rise + 1

    def _settling(self, _stop: int) -> None:
        rise = self._stretch.rise if self._stretch else self._pos
        so_far = self._track.values(rise, self._pos + 1)
        value, previous = float(so_far[-1]), float(so_far[-2])
        reference = self._reference
        reference.value, self._alone = agreed(so_far, self._threshold)
        if value <= self._off_at:
            self._go_out(self._pos)
            return
        same = abs(value - previous) <= _SETTLED_SHARE * previous
        if same or self._pos - rise >= _SETTLE_READINGS:
            start, highest = self._pos - 1, reference.value
            reference.value = max(previous, value) if same else median(so_far)
            self._place_rise(rise, self._pos + 1)
            if rise <= self._segment and reference.value < self._settings.sag_share * highest:
                self._leave_open(self._track.time(rise))  # it was on before, and higher
            reference.value = min(reference.value, reference.ceiling)
            self._be_on(start)
            fell = fall_in(so_far, self._off_at)
            if fell is not None:
                self._go_out(rise + fell)
                return
        self._pos += 1

    def _place_rise(self, rise: int, stop: int) -> None:
        """Place the beginning of the 'on' interval, now that its level is known."""
        stretch = self._stretch
        if stretch is None or stretch.edge is not None or rise <= self._segment:
            return
        low = self._measure.before(rise, max(self._segment, rise - 8))
        noise = self._measure.noise(max(self._segment, rise - 8), rise - 1)
        stretch.edge = self._measure.edge(rise, low, self._reference.value, noise, stop)
        stretch.begin_s = self._measure.when(stretch.edge, rise)
        if self._loss is not None:
            at, fall = self._loss
            self.events[at] = came_back(self.events[at], self._measure, fall, stretch.edge, rise)
            self._loss = None

    def _go_out(self, index: int) -> None:
        if self._stretch is not None:
            self._place_rise(self._stretch.rise, index)
        self._state, self._fall, self._pos = "out", index, index + 1
        self.off_since_s = self._track.time(index)

    def _longest_out_s(self) -> float:
        settings = self._settings
        return settings.dropout_longest_s if self._is_long(self._fall - 1) else settings.dropout_longest_in_short_s

    def _out(self, stop: int) -> None:
        deadline = self._track.time(self._fall) + self._longest_out_s()
        limit = self._track.first_after(deadline, self._pos, stop) + 1
        high = (self._settings.off_share + self._settings.return_hysteresis) * self._reference.value
        self._pos = self._track.first_outside(self._pos, min(limit, stop), -inf, high)
        if self._pos < min(limit, stop):
            self._state, self._return = "back", self._pos
            self._pos += 1
        elif limit <= stop:
            self._close()

    def _back(self, _stop: int) -> None:
        value, previous = self._track.value(self._pos), self._track.value(self._pos - 1)
        full = self._reference.sag_below
        if value <= self._off_at:
            if self._returned(self._pos):
                self._go_out(self._pos)
        elif max(value, previous) >= full or value < _RISING * previous or self._pos - self._return >= _SETTLE_READINGS:
            self._returned(self._pos + 1)
        else:
            self._pos += 1

    def _returned(self, stop: int) -> bool:
        """The supply is back: a dropout, or the space between two 'on' intervals; whether it was a dropout."""
        measure = self._measure
        if self._alone:
            self._reference.value = float(self._track.values(self._return, stop).max())
        noise = measure.noise(self._reference.quiet, self._fall - 1)
        found = outage(measure, self._fall, self._return, stop, self._reference.value, noise)
        known_s = self._track.time(self._return)
        switched = switched_off(self._markers, found.timing.start_s, known_s, self._settings)
        if switched or found.timing.duration_s > self._longest_out_s():
            self._end_stretch(found.fall)
            self._begin(self._return)
            return False
        self._waiting.add(dropout(measure, found), short=True)
        self._be_on(self._pos)
        return True

    def _close(self) -> None:
        """Off for too long for a dropout, or to the end: the 'on' interval is over.

        Where one reading alone said that it was on, it tells no idle level: what came after is gone through again.
        """
        known = self._fall + 1 if self._alone else self._pos
        low = self._measure.settled(max(self._fall, known - _MOST_HELD), known)
        quiet = self._reference.quiet
        noise = max(self._measure.noise(quiet, self._fall - 1), self._measure.noise(self._fall + 1, known))
        before = self._measure.before(self._fall, max(self._stretch.rise if self._stretch else 0, self._fall - 6))
        rise = None if self._stretch is None else self._stretch.edge
        end = self._measure.switched_off(self._fall, before, low, noise, known, rise)
        self._end_stretch(end)
        self._state = "idle"
        if self._alone:
            self._pos = self._fall
        else:
            self._threshold = max(self._rules.on_at_least, low / self._settings.off_share)

    def _end_stretch(self, end: Edge) -> None:
        stretch = self._stretch
        if stretch is None:
            return
        stretch.end_s = self._measure.when(end, self._fall)
        self._fades.end(stretch.end_s, self._fall)
        self._waiting.flush(ends=True)
        event = prime_pulse(self._measure, stretch, self._fall, end, self._settings)
        last_s = self._track.time(self._pos - 1)
        switched = switched_off(self._markers, stretch.end_s, last_s, self._settings)
        if event is None and self._rules.faults and not switched:
            usual = self._reference.value
            event = supply_lost(self._measure, stretch, self._fall, self._pos, end, usual, self._settings)
            if event is not None:
                self._loss = (len(self.events), end)
            elif stretch.edge is None:
                self._leave_open(stretch.end_s)
        if event is not None:
            self.events.append(event)
        self._stretch = self._waiting.stretch = None
