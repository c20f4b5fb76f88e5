"""Tells whether a supply is on, off, sagging or interrupted: the machine behind pulses, dropouts, sags and losses.

Every state names a band of values in which nothing happens, so quiet stretches cost one scan at memory speed, and a
growing recording runs through the very same steps as a finished one: what the machine does at a reading depends only
on the readings up to it. What it measures by stands in `reference.py`.

States beside those of `on_off.py`: `on`; `sagging` below the sag threshold; `ending` two readings after a sag.
"""

from __future__ import annotations

from math import inf, nextafter

from meterlog.events.cranking import CHARGING_WITHIN_S, charging_from, may_be_a_start
from meterlog.events.event import Event
from meterlog.events.fade import falls_slowly
from meterlog.events.measure import Measure, Watched
from meterlog.events.on_off import OnOff, Rules
from meterlog.events.range_change import LONGEST_S
from meterlog.events.reference import FIRST_READINGS, WINDOW
from meterlog.events.sag import Dip, begins_charging, open_sag, sag
from meterlog.events.settings import DetectionSettings
from meterlog.events.standing import Standing
from meterlog.events.supply_lost import switched_off
from meterlog.kinds import found_by
from meterlog.roles import Role
from meterlog.session.model import Marker

_AFTER_SAG_READINGS = 3
"""Readings behind a sag that its end needs: the recovered level and whether it goes on rising."""
_REST_READINGS = 6
"""Readings of a sag that tell whether it is charging that ended: a choice, a few beside one that may be partial."""
_HALF_CAUGHT_READINGS = 2
"""A sag of so few readings may be a dropout that an averaging meter caught half (one interval spans two)."""
_OPEN_SAG_READINGS = 3
"""Fewer readings at the end may be the edge of a fall that goes on: a guess."""


def machine(watched: Watched) -> Supply | None:
    """Make the machine of a supply.

    A command that goes off is no fault: of a control signal only pulses are looked for.
    """
    if not watched.against_ground:
        return None
    settings = watched.settings
    faults = watched.channel.measurand.role is not Role.CONTROL
    return Supply(watched.measure, settings, Rules(settings.on_at_least_v, faults), watched.markers)


class Supply(OnOff):
    """The state machine for one channel.

    Attributes:
        looks_for: the kinds that it looks for.
    """

    def __init__(self, measure: Measure, settings: DetectionSettings, rules: Rules, markers: list[Marker]) -> None:
        super().__init__(measure, settings, rules, markers)
        self.looks_for = found_by("supply", faults=rules.faults)
        self._steps |= {"on": self._on, "sagging": self._sagging, "ending": self._ending}

    def _restart(self, index: int) -> None:
        super()._restart(index)
        self._dip = index
        self._lasting = False
        self._deeper: float | None = None  # below this a dip inside the dip begins, once it is known
        self._started: tuple[Event, float] | None = None  # the latest dip, and the level from which on it charges

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
    def band(self) -> tuple[float, float]:
        """Values low <= value < high change nothing until reading `until`."""
        if self._state == "idle":
            return -inf, self._threshold
        if self._state == "on" and not self._waiting:
            return self._reference.sag_below, self._high
        return inf, -inf

    @property
    def until(self) -> int:
        """The reading at which the references are taken anew."""
        return self._reference.update_at if self._state == "on" else 1 << 62

    @property
    def _high(self) -> float:
        """From here up a reading means something while the supply is on, V."""
        charges = inf if self._started is None else self._started[1]
        return min(self._reference.idle_from, self._fades.ends_v, charges)

    @property
    def standing(self) -> Standing | None:
        """Return the state after the last reading; None before it is known."""
        usual = self._reference.value or None
        if self._state == "sagging":
            return Standing("sagging", self._track.time(self._dip), usual, self._rules.faults)
        if self._state == "out":
            unwanted = self._is_unwanted(self._is_long(self._fall - 1), self.off_since_s)
            return Standing("off", self.off_since_s, usual, unwanted)
        if self._state == "idle":
            last = self.stretches[-1] if self.stretches else None
            if last is None or last.end_s is None:
                return Standing("off")
            long = last.from_start or last.end_s - last.begin_s > self._settings.prime_longest_s
            return Standing("off", self.off_since_s, usual, self._is_unwanted(long, last.end_s))
        return None if self._stretch is None else Standing("on", self.on_since_s, usual)

    def _is_unwanted(self, long: bool, since_s: float) -> bool:
        """Tell whether nobody wants it off: it was on for longer than a prime, and no marker says it was switched."""
        return long and self._rules.faults and not switched_off(self._markers, since_s, inf, self._settings)

    def advance(self, stop: int) -> None:
        """Go on to reading `stop` (not included)."""
        while self._pos < stop:
            self._steps[self._state](stop)
        if self._waiting and not self.deciding:
            self._waiting.pass_to(self._track.time(self._pos - 1), self._measure.interval(self._pos - 1)[0])

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
        self._waiting.flush()
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
        self._fades.end(self._track.time(index - 1), index)
        self._restart(index)

    def finish(self) -> None:
        """The readings have come to their end."""
        stop = self._pos
        while self._state == "out" or (self._state == "sagging" and self._rules.faults and self._stay(stop)):
            if self._state == "out":
                self._close()
            else:
                self._leave_open(self._track.time(self._dip))
            self.advance(stop)
        if self._state == "ending":
            self._end_sag()
        elif self._state == "back":
            self._returned(stop)
        elif self._state == "sagging" and self._rules.faults:
            self._sag_left_open(stop)
        self._waiting.flush()
        self._fades.end(self._track.time(stop - 1) if stop else 0.0, None)

    def _sag_left_open(self, stop: int) -> None:
        """A sag had not ended when the readings did, or for a long time."""
        if stop - self._dip >= _OPEN_SAG_READINGS:
            dip = Dip(self._reference.quiet, self._dip, stop, stop, self._reference.value)
            self.events.append(open_sag(self._measure, dip))
        else:
            self._leave_open(self._track.time(self._dip))

    def _on(self, stop: int) -> None:
        reference = self._reference
        if self._pos >= reference.update_at:
            self._pass_by(reference.slide(self._pos, stop, self._high))
            if self._rules.faults and self._is_long(self._pos - 1):
                self._fades.begin(reference, self._calm, self._pos)
        limit = min(stop, reference.update_at)
        index = self._track.first_outside(self._pos, limit, reference.sag_below, self._high)
        self._pass_by(index)
        if index == limit:
            return
        value = self._track.value(index)
        if value >= self._high:
            self._pos = index + 1
            if index > reference.quiet:  # one reading may be wrong: two tell
                self._rise_to(min(self._track.value(index - 1), value), index - 1)
        elif value <= self._off_at:
            self._go_out(index)
        elif (level := falls_slowly(self._track, reference, index, self._settings)) is not None:
            reference.value = level
            reference.rest(index + 1 - FIRST_READINGS)
        else:
            self._state, self._dip, self._lasting, self._deeper = "sagging", index, False, None
            self._pos = index + 1

    def _rise_to(self, level: float, index: int) -> None:
        """Readings `index` and the next reach a level: one that ends a fade, with which charging begins, or from which
        down an input idles."""
        if level >= self._reference.idle_from:
            # What was taken for 'on' is at or below half of this: it was the idle level of an unconnected input.
            self._waiting.flush()
            if self._stretch is not None:
                self._stretch.end_s = self._track.time(index)
            self._begin(index)
            return
        if level >= self._fades.ends_v:
            self._fades.end((self._track.time(index - 1) + self._track.time(index)) / 2, index + 1)
        if self._started is not None and level >= self._started[1]:
            dip, self._started = self._started[0], None
            wait_s = self._track.time(index) - dip.end_s
            if wait_s <= CHARGING_WITHIN_S:
                self._waiting.replace(dip, begins_charging(dip, wait_s))

    def _pass_by(self, index: int) -> None:
        """Go on to reading `index`: those before it are undisturbed."""
        self._fades.see(self._pos, index)
        self._pos = index

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
        self._waiting.flush()
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
            self._waiting.add(event, short=dip.back - dip.start <= _HALF_CAUGHT_READINGS)
        self._be_on(self._return)
