"""The evidence that every kind of finding is given: the session, its events and the limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property

from meterlog.condition import Condition, waited_for
from meterlog.details import entered_number
from meterlog.events.cranking import BY_SHAPE, CRANK_BEFORE_S, CRANKING
from meterlog.events.event import Event
from meterlog.events.reference import CHARGING_SHARE
from meterlog.events.watch import Watch
from meterlog.findings.judgement import Span
from meterlog.findings.level import level_of
from meterlog.kinds import faults
from meterlog.limits.figure import Figure
from meterlog.limits.limits import Limits
from meterlog.reading import Quantity
from meterlog.roles import Role
from meterlog.series import Series
from meterlog.session.contents import Contents
from meterlog.session.model import Channel, Marker
from meterlog.signal.levels import median

_ENTERED_SHARE = 0.005
"""Error of a battery voltage that a person entered, as a share: a usual meter's accuracy (unverified)."""

_STARTER_A = 60.0
"""A pulse of so much current is a starter's, A: a guess, below a small engine's, above any other load's."""
_STARTER_BESIDE_S = 1.0
"""Longest time between dips of two channels that are the same start, s: a guess, two slow meters' readings."""


class Evidence:
    """A session with its events and the limits to judge by."""

    def __init__(
        self, session: Contents, events: Sequence[Event], limits: Limits, watches: Mapping[int, Watch]
    ) -> None:
        self.channels = session.channels
        self.markers = session.markers
        self.details = session.details
        self.duration_s = session.duration_s
        self.events = events
        self.limits = limits
        self.watches = watches
        self._session = session

    def series(self, channel: Channel) -> Series:
        """The readings of a channel that are believed."""
        return self._session.believed(channel.number)

    def of(self, *quantities: Quantity) -> list[Channel]:
        """The channels of these quantities that hold readings; what no limits apply to is left out."""
        return [c for c in self.channels if c.quantity in quantities and not c.foreign and len(self.series(c))]

    def playing(self, role: Role) -> list[Channel]:
        """The DC voltage channels of this role that hold readings."""
        return [c for c in self.of(Quantity.DC_VOLTAGE) if c.measurand.role is role]

    def events_of(self, channel: Channel, *kinds: str) -> list[Event]:
        """The events of these kinds on a channel, in time order."""
        found = [e for e in self.events if e.channel == channel.number and e.kind in kinds]
        return sorted(found, key=lambda e: e.start_s)

    def faults_of(self, channel: Channel) -> list[Event]:
        """The faults on a channel, in time order; a dip of the starter is none."""
        return [event for event in self.events_of(channel, *faults()) if not self.is_crank(event)]

    @cached_property
    def waited_for(self) -> Condition | None:
        """Return what the session's armed capture waited for; None where there was none."""
        return waited_for(self.markers)

    def marked(self, name: str) -> list[Marker]:
        """The markers of that name, in time order."""
        return sorted((m for m in self.markers if m.name.strip().casefold() == name), key=lambda m: m.time_s)

    def marked_crank(self, event: Event) -> bool:
        """Tell whether a `crank` marker stands within an event or at most 3 s before it."""
        return any(event.start_s - CRANK_BEFORE_S <= m.time_s <= event.end_s for m in self.marked("crank"))

    def is_crank(self, event: Event) -> bool:
        """Tell whether a dip is known to be the starter's: by a marker, by charging after it, by another channel."""
        if event.kind != "sag":
            return False
        return self._crank_itself(event) or any(_beside(event, other) for other in self._starter_at_work)

    def is_run(self, pulse: Event) -> bool:
        """Tell whether a pulse is no prime but a run cut short: in it the starter turned, or the battery was charged.

        The starter's own pulses, of its feed or its current, are none.
        """
        if self._shows_starter(pulse):
            return False
        turned = any(one.start_s <= pulse.end_s and pulse.start_s <= one.end_s for one in self._starter_at_work)
        return turned or self.marked_crank(pulse) or self._is_charged(pulse)

    def _is_charged(self, event: Event) -> bool:
        """Tell whether the battery was above any rest for most of an event."""
        if self.battery is None or event.channel == self.battery.number:
            return False
        during = self.series(self.battery).between(event.start_s, event.end_s)
        return len(during) > 0 and median(during.value) > self.limits.value("rest_full_v")

    def may_be_crank(self, event: Event) -> bool:
        """Tell whether a dip only looks like the starter's."""
        return event.kind == "sag" and BY_SHAPE in event.detail and not self.is_crank(event)

    def may_be_charging_pause(self, event: Event) -> bool:
        """Tell whether a dip leads from a charging level to one at which a battery rests, and no further."""
        if event.kind != "sag" or event.reference is None or event.level is None or self.is_crank(event):
            return False
        return event.level >= self.limits.system_v and event.reference > CHARGING_SHARE * self.limits.system_v

    def is_explained(self, event: Event) -> bool:
        """Tell whether another finding than that of faults tells of a dip: a start, or what may be one."""
        return self.is_crank(event) or self.may_be_crank(event) or self.may_be_charging_pause(event)

    def _crank_itself(self, event: Event) -> bool:
        return self.marked_crank(event) or CRANKING in event.detail

    @cached_property
    def _starter_at_work(self) -> list[Event]:
        """The events that show the starter at work on their own: its dips, its feed, its current."""
        return [event for event in self.events if self._shows_starter(event)]

    def _shows_starter(self, event: Event) -> bool:
        if event.kind == "sag":
            return self._crank_itself(event)
        if event.kind != "prime_pulse":
            return False
        channel = next(channel for channel in self.channels if channel.number == event.channel)
        strong = channel.quantity is Quantity.DC_CURRENT and (event.level or 0.0) >= _STARTER_A
        return strong or channel.measurand.names("starter", "solenoid", "crank")

    @cached_property
    def battery(self) -> Channel | None:
        """The channel at the battery, by its label or test point."""
        return next((c for c in self.playing(Role.SUPPLY) if c.measurand.is_battery), None)

    @cached_property
    def charge_curve(self) -> Figure:
        """State of charge against voltage for the battery as entered (`battery`): AGM, or else flooded."""
        agm = "agm" in self.details.get("battery", "").casefold()
        return self.limits.figure("rest_charge_agm" if agm else "rest_charge")

    def at_temperature(self, name: str) -> tuple[Span, str]:
        """A limit at the battery's temperature as entered (`temperature_c`), with that in words.

        Where it was not entered the limit is all that the usual temperatures allow.
        """
        figure, entered = self.limits.figure(name), self.number("temperature_c")
        if entered is not None:
            return (figure.at(entered), figure.at(entered)), f"at {entered:g} degC"
        low, high = self.limits.value("temperature_min_c"), self.limits.value("temperature_max_c")
        ends = sorted((figure.at(low), figure.at(high)))
        if ends[0] == ends[1]:
            return (ends[0], ends[1]), "at any temperature"
        assumed = f"for {low:g} to {high:g} degC, as none was entered (--set temperature_c=...)"
        return (ends[0], ends[1]), assumed

    def number(self, key: str) -> float | None:
        """A detail of the session as a number; None where it is absent or none."""
        return entered_number(self.details, key)

    def battery_span(self, start_s: float, end_s: float) -> tuple[Span, str]:
        """Return what the battery stood at between two times, with how that is known.

        Without a battery channel or an entered `battery_v` it may be anything that a battery at rest shows, from
        empty to full: that span is the error.
        """
        if self.battery is not None:
            level = level_of(self.series(self.battery).between(start_s, end_s), self.battery.accuracy)
            if level is not None:
                return (level.value - level.error, level.value + level.error), "as recorded at the battery"
        entered = self.number("battery_v")
        if entered is not None:
            error = _ENTERED_SHARE * entered
            return (entered - error, entered + error), "as entered for the battery"
        curve = self.charge_curve.points
        low, high = self.limits.figure("rest_charge").points[0][0], curve[-1][0]
        return (low, high), f"the battery was not recorded: {low:.1f} to {high:.1f} V at rest is taken"


def _beside(event: Event, other: Event) -> bool:
    """Tell whether another channel shows something during an event, or next to it."""
    apart = event.start_s - _STARTER_BESIDE_S > other.end_s or other.start_s > event.end_s + _STARTER_BESIDE_S
    return other.channel != event.channel and not apart
