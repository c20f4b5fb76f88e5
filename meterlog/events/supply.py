"""Tells whether a supply is on, off, sagging or interrupted: the machine behind pulses, dropouts, sags and losses.

Every state names a band of values in which nothing happens, so quiet stretches cost one scan at memory speed, and a
growing recording runs through the very same steps as a finished one: what the machine does at a reading depends only
on the readings up to it. What it measures by stands in `reference.py`.

States: `first` nothing seen yet; `idle` off; `settling` just gone on; `on`; `sagging` below the sag threshold;
`ending` two readings after a sag; `out` at or below half; `back` just returned from `out`.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf, nextafter
from typing import NamedTuple

from meterlog.events.chatter import interruptions
from meterlog.events.cranking import CHARGING_WITHIN_S, charging_from, may_be_a_start
from meterlog.events.dropout import dropout, outage
from meterlog.events.event import Event
from meterlog.events.fade import Fade, fade_from, falls_slowly
from meterlog.events.measure import Measure, Watched
from meterlog.events.prime_pulse import Stretch, prime_pulse
from meterlog.events.range_change import LONGEST_S
from meterlog.events.reference import FIRST_READINGS, WINDOW, Reference
from meterlog.events.sag import Dip, begins_charging, open_sag, sag
from meterlog.events.settings import DetectionSettings
from meterlog.events.supply_lost import came_back, supply_lost, switched_off
from meterlog.kinds import found_by
from meterlog.roles import Role
from meterlog.session.model import Marker
from meterlog.signal.edges import Edge
from meterlog.signal.levels import median

_SETTLE_READINGS = 5
"""A rise has settled after so many readings whatever they show: a guess; partial readings take one or two."""
_SETTLED_SHARE = 0.05
"""A rise has settled when two readings differ by less than this share: a guess, above a pump's inrush sag."""
_RISING = 1.03
"""A return goes on while each reading is above the one before by this factor: a guess."""
_AFTER_SAG_READINGS = 3
"""Readings behind a sag that its end needs: the recovered level and whether it goes on rising."""
_REST_READINGS = 6
"""Readings of a sag that tell whether it is charging that ended: a choice, a few beside one that may be partial."""
_HALF_CAUGHT_READINGS = 2
"""A sag of so few readings may be a dropout that an averaging meter caught half (one interval spans two)."""
_MOST_HELD = 1024
"""Readings since a supply went off that tell its level then: bounds time."""
_OPEN_SAG_READINGS = 3
"""Fewer readings at the end may be the edge of a fall that goes on: a guess."""
_MOST_PENDING = 4096
"""Interruptions that wait to become chatter: bounds memory."""


class Rules(NamedTuple):
    """Rules for a channel's role: a control signal has pulses, and no faults."""

    on_at_least: float
    faults: bool


def machine(watched: Watched) -> Supply | None:
    """Make the machine of a supply.

    A command that goes off is no fault: of a control signal only pulses are looked for.
    """
    if not watched.against_ground:
        return None
    settings = watched.settings
    faults = watched.channel.measurand.role is not Role.CONTROL
    return Supply(watched.measure, settings, Rules(settings.on_at_least_v, faults), watched.markers)


class Supply:
    """The state machine for one channel.

    Attributes:
        stretches: the 'on' intervals so far.
        events: what was found so far, in the order it was decided.
        looks_for: the kinds that it looks for.
        undecided: when it fell, s, where the readings do not tell whether that was a fault.
    """

    def __init__(self, measure: Measure, settings: DetectionSettings, rules: Rules, markers: list[Marker]) -> None:
        self.stretches: list[Stretch] = []
        self.events: list[Event] = []
        self.looks_for = found_by("supply", faults=rules.faults)
        self.undecided: list[float] = []
        self._measure = measure
        self._track = measure.track
        self._settings = settings
        self._rules = rules
        self._markers = markers
        self._steps: dict[str, Callable[[int], None]] = {
            "first": self._first,
            "idle": self._idle,
            "settling": self._settling,
            "on": self._on,
            "sagging": self._sagging,
            "ending": self._ending,
            "out": self._out,
            "back": self._back,
        }
        self._loss: tuple[int, Edge] | None = None
        self._fade: Fade | None = None
        self._started: tuple[Event, float] | None = None  # the latest dip, and the level from which on it charges
        self._restart(0)

    def _restart(self, index: int) -> None:
        self._state = "first"
        self._segment = self._pos = index
        self._threshold = self._rules.on_at_least
        self._previous = 0.0
        self._reference = Reference(self._track, self._settings, self._rules.faults)
        self._reference.quiet = self._calm = self._dip = self._fall = self._return = index
        self._lasting = False
        self._deeper: float | None = None  # below this a dip inside the dip begins, once it is known
        self._pending: list[Event] = []
        self._stretch: Stretch | None = None
        self._started = None

    @property
    def needs(self) -> int:
        """The oldest reading that may still be asked for."""
        oldest = max(self._reference.quiet, self._pos - WINDOW)
        if self._state in ("sagging", "ending"):
            oldest = min(oldest, self._dip)
        elif self._state in ("out", "back"):
            oldest = min(oldest, self._fall)
        stretch = self._stretch
        if stretch is not None and self._pos:
            recent = self._track.time(self._pos - 1) - stretch.begin_s <= 2 * self._settings.prime_longest_s
            oldest = min(oldest, stretch.rise) if recent else oldest
        return oldest - 2 * WINDOW

    @property
    def deciding(self) -> bool:
        """Tell whether it is not yet known if the supply is off or interrupted."""
        return self._state in ("out", "back")

    @property
    def band(self) -> tuple[float, float]:
        """Values low <= value < high change nothing until reading `until`."""
        if self._state == "idle":
            return -inf, self._threshold
        if self._state == "on" and not self._pending:
            return self._reference.sag_below, self._high
        return inf, -inf

    @property
    def _off_at(self) -> float:
        """At or below this the supply is off, V."""
        return self._settings.off_share * self._reference.value

    @property
    def _high(self) -> float:
        """From here up a reading means something while the supply is on, V."""
        fade_ends = inf if self._fade is None else self._fade.ends
        charges = inf if self._started is None else self._started[1]
        return min(self._reference.idle_from, fade_ends, charges)

    @property
    def until(self) -> int:
        """The reading at which the references are taken anew."""
        return self._reference.update_at if self._state == "on" else 1 << 62

    def advance(self, stop: int) -> None:
        """Go on to reading `stop` (not included)."""
        while self._pos < stop:
            self._steps[self._state](stop)
        if self._pending and self._state not in ("out", "back"):
            # Two intervals more, since an edge lies up to that much before the reading that shows it.
            since = self._track.time(self._pos - 1) - self._pending[-1].end_s
            if since >= self._settings.chatter_spacing_s + 3 * self._measure.interval(self._pos - 1)[0]:
                self._flush()

    def interrupt(self, index: int) -> None:
        """Readings are missing before reading `index`.

        What was read on both sides counts: across a short break the steps go on, and an edge in it has all of it as
        its error; an outage that was read before a break or is read after one is an outage. On before and on after:
        the 'on' interval goes on with its reference. Otherwise all begins anew.
        """
        break_s = self._track.time(index) - self._track.time(index - 1)
        bridged_s = self._settings.dropout_longest_s if self._state == "sagging" else LONGEST_S
        if break_s <= bridged_s or self._state == "out":
            return
        if self._state == "ending":
            self._end_sag()
        elif self._state == "sagging" and self._rules.faults:
            self._sag_left_open(index)
        elif self._state == "back":
            self._returned(self._pos)
        self._flush()
        stretch = self._stretch
        on = self._state in ("on", "settling", "sagging", "ending", "back")
        if stretch is not None and on and self._track.value(index) > self._off_at:
            self._be_on(index)
            self._segment = self._pos = index
            return
        if stretch is not None and on and break_s <= self._settings.dropout_longest_s:
            self._go_out(index)
            return
        if stretch is not None:
            stretch.end_s = self._track.time(index)
            self._leave_open(stretch.end_s)
        self._end_fade(self._track.time(index - 1), index)
        self._restart(index)

    def finish(self) -> None:
        """The readings have come to their end."""
        stop = self._pos
        while self._state == "sagging" and self._rules.faults and self._stay(stop):
            self._leave_open(self._track.time(self._dip))
            self.advance(stop)
        if self._state == "out":
            self._close()
        elif self._state == "ending":
            self._end_sag()
        elif self._state == "back":
            self._returned(stop)
        elif self._state == "sagging" and self._rules.faults:
            self._sag_left_open(stop)
        self._flush()
        self._end_fade(self._track.time(stop - 1) if stop else 0.0, None)

    def _sag_left_open(self, stop: int) -> None:
        """A sag had not ended when the readings did, or for a long time."""
        if stop - self._dip >= _OPEN_SAG_READINGS:
            dip = Dip(self._reference.quiet, self._dip, stop, stop, self._reference.value)
            self.events.append(open_sag(self._measure, dip))
        else:
            self._leave_open(self._track.time(self._dip))

    def _leave_open(self, time_s: float) -> None:
        """A supply fell, and the readings do not tell whether that was a fault."""
        if self._rules.faults:
            self.undecided.append(time_s)

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
        self._stretch = Stretch(rise, None, begin_s, from_start=rise == 0)
        self.stretches.append(self._stretch)
        self._state = "settling"
        self._previous = self._reference.value = self._track.value(rise)
        self._reference.slow = 0.0
        self._pos = rise + 1

    def _settling(self, _stop: int) -> None:
        value, previous = self._track.value(self._pos), self._previous
        rise = self._stretch.rise if self._stretch else self._pos
        reference = self._reference
        if value <= self._off_at:
            self._go_out(self._pos)
            return
        reference.value = max(reference.value, value)
        same = abs(value - previous) <= _SETTLED_SHARE * previous
        if same or self._pos - rise >= _SETTLE_READINGS:
            start, highest = self._pos - 1, reference.value
            reference.value = max(previous, value) if same else median(self._track.values(rise, self._pos + 1))
            self._place_rise(rise, self._pos + 1)
            if rise <= self._segment and reference.value < self._settings.sag_share * highest:
                self._leave_open(self._track.time(rise))  # it was on before, and higher
            reference.value = min(reference.value, reference.ceiling)
            self._be_on(start)
        self._previous = value
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

    def _be_on(self, quiet: int) -> None:
        self._state, self._calm = "on", quiet
        self._reference.rest(quiet)

    def _on(self, stop: int) -> None:
        reference = self._reference
        if self._pos >= reference.update_at:
            self._pass_by(reference.slide(self._pos, stop, self._high))
            self._begin_fade()
        limit = min(stop, reference.update_at)
        index = self._track.first_outside(self._pos, limit, reference.sag_below, self._high)
        self._pass_by(index)
        if index == limit:
            return
        value = self._track.value(index)
        if value >= reference.idle_from:
            # What was taken for 'on' is at or below half of this: it was the idle level of an unconnected input.
            self._flush()
            if self._stretch is not None:
                self._stretch.end_s = self._track.time(index)
            self._begin(index)
        elif value >= self._high:
            if index > reference.quiet:
                self._rise_to(min(self._track.value(index - 1), value), index - 1)
            self._pos = index + 1
        elif value <= self._off_at:
            self._go_out(index)
        elif (level := falls_slowly(self._track, reference, index, self._settings)) is not None:
            reference.value = level
            reference.rest(index + 1 - FIRST_READINGS)
        else:
            self._state, self._dip, self._lasting, self._deeper = "sagging", index, False, None
            self._pos = index + 1

    def _rise_to(self, level: float, index: int) -> None:
        """Readings `index` and the next are at a level that ends a fade, or with which charging begins."""
        if self._fade is not None and level >= self._fade.ends:
            self._end_fade((self._track.time(index - 1) + self._track.time(index)) / 2, index + 1)
        if self._started is not None and level >= self._started[1]:
            dip, self._started = self._started[0], None
            wait_s = self._track.time(index) - dip.end_s
            for events in (self.events, self._pending) if wait_s <= CHARGING_WITHIN_S else ():
                for at in range(len(events) - 1, -1, -1):  # it is among the last, of thousands
                    if events[at] == dip:
                        events[at] = begins_charging(dip, wait_s)
                    if events[at].end_s <= dip.end_s:
                        break

    def _pass_by(self, index: int) -> None:
        """Go on to reading `index`: those before it are undisturbed."""
        if self._fade is not None:
            self._fade.see(self._track, self._pos, index)
        self._pos = index

    def _begin_fade(self) -> None:
        """Tell whether the supply has sunk slowly below where it usually stands, in a long 'on' interval."""
        if self._fade is None and self._rules.faults and self._is_long(self._pos - 1):
            self._fade = fade_from(self._measure, self._reference, self._calm, self._pos)

    def _end_fade(self, end_s: float, index: int | None) -> None:
        if self._fade is not None and end_s - self._fade.start_s >= self._settings.fade_at_least_s:
            self.events.append(self._fade.event(self._measure, end_s, index))
        self._fade = None

    def _is_long(self, index: int) -> bool:
        """Tell whether the 'on' interval is longer than a prime, as far as reading `index`."""
        stretch = self._stretch
        return stretch is not None and (
            stretch.from_start or self._track.time(index) - stretch.begin_s > self._settings.prime_longest_s
        )

    def _sagging(self, stop: int) -> None:
        settings, reference, limit = self._settings, self._reference.value, stop
        told = self._dip + _REST_READINGS
        if self._deeper is None and self._pos >= told:
            self._deeper = self._reference.sag_below_rest(self._measure.inside(self._dip, told))
        if self._deeper is None:
            limit = min(stop, told)
        elif not self._lasting:
            deadline = self._track.time(self._dip) + settings.sag_shallow_longest_s
            limit = self._track.first_after(deadline, self._pos, stop)
        low = max(nextafter(settings.off_share * reference, inf), self._deeper or 0.0)
        high = (settings.sag_share + settings.sag_hysteresis) * reference
        self._pos = index = self._track.first_outside(self._pos, limit, low, high)
        if index < limit:
            value = self._track.value(index)
            if value <= self._off_at:
                self._go_out(index)
            elif value < low:
                self._deeper = 0.0
                self._stay(index)
            else:
                self._state, self._return, self._pos = "ending", index, index + 1
        elif limit < stop and self._deeper is not None:
            self._lasting = True
            self._stay(index)

    def _stay(self, stop: int) -> bool:
        """Tell whether it stays at a slightly lower level, for example because charging stopped: a new level, no sag.

        Then the readings since are gone through again, for dips below that; they are none as a whole, so this ends.
        """
        level = self._measure.inside(self._dip, stop)
        if level < self._reference.new_level_from:
            return False
        self._flush()
        self._reference.accept(level)
        self._be_on(self._dip)
        self._pos, self._reference.update_at = self._dip, stop
        return True

    def _ending(self, _stop: int) -> None:
        self._pos += 1
        if self._pos >= self._return + _AFTER_SAG_READINGS:
            self._end_sag()
            self._pos = self._return + 1

    def _end_sag(self) -> None:
        dip = Dip(self._reference.quiet, self._dip, self._return, self._pos, self._reference.value)
        event = sag(self._measure, dip, self._markers, self._settings)
        if event is not None:
            rest = self._measure.before(dip.start, dip.quiet)
            self._started = (event, charging_from(rest, self._settings)) if may_be_a_start(event) else None
            self._await(event, short=dip.back - dip.start <= _HALF_CAUGHT_READINGS)
        self._be_on(self._return)

    def _go_out(self, index: int) -> None:
        if self._stretch is not None:
            self._place_rise(self._stretch.rise, index)
        self._state, self._fall, self._pos = "out", index, index + 1

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
        noise = measure.noise(self._reference.quiet, self._fall - 1)
        found = outage(measure, self._fall, self._return, stop, self._reference.value, noise)
        known_s = self._track.time(self._return)
        switched = switched_off(self._markers, found.timing.start_s, known_s, self._settings)
        if switched or found.timing.duration_s > self._longest_out_s():
            self._end_stretch(found.fall)
            self._begin(self._return)
            return False
        self._await(dropout(measure, found), short=True)
        self._be_on(self._pos)
        return True

    def _await(self, event: Event, short: bool) -> None:
        """An interruption: alone, or part of chatter, as what follows will show."""
        # As far as their error lets them be, changes are close enough for chatter.
        spacing = self._settings.chatter_spacing_s + (event.duration_error_s or 0.0) / 2
        short = short and event.end_s - event.start_s < spacing
        near = bool(self._pending) and event.start_s - self._pending[-1].end_s < spacing
        if not (short and near) or len(self._pending) >= _MOST_PENDING:
            self._flush()
        self._pending.append(event)
        if not short:
            self._flush()

    def _flush(self, ends: bool = False) -> None:
        """No further interruption follows closely: say what those that wait amount to."""
        if self._pending and self._rules.faults:
            self.events += interruptions(self._measure.channel, self._pending, self._stretch, ends, self._settings)
        self._pending = []

    def _close(self) -> None:
        """Off for too long for a dropout, or to the end: the 'on' interval is over."""
        low = self._measure.settled(max(self._fall, self._pos - _MOST_HELD), self._pos)
        quiet = self._reference.quiet
        noise = max(self._measure.noise(quiet, self._fall - 1), self._measure.noise(self._fall + 1, self._pos))
        before = self._measure.before(self._fall, max(self._stretch.rise if self._stretch else 0, self._fall - 6))
        rise = None if self._stretch is None else self._stretch.edge
        end = self._measure.switched_off(self._fall, before, low, noise, self._pos, rise)
        self._end_stretch(end)
        self._threshold = max(self._rules.on_at_least, low / self._settings.off_share)
        self._state = "idle"

    def _end_stretch(self, end: Edge) -> None:
        stretch = self._stretch
        if stretch is None:
            return
        stretch.end_s = self._measure.when(end, self._fall)
        self._end_fade(stretch.end_s, self._fall)
        self._flush(ends=True)
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
        self._stretch = None
