"""Tells whether a current flows or is interrupted: the machine behind interruptions, and primes seen by their current.

A current is no supply: it starts with an inrush, carries a sign, and may be switched at any time. So it has levels of
its own: it flows above half of its sliding reference, is interrupted at a tenth of it, and what stays between the two
for a second is a new level. As in `supply.py` a step depends only on the readings before it, and every state names a
band in which nothing happens.

States: `idle` nothing flows; `settling` it has just begun; `flowing`; `low` at or below half; `back` just returned.
"""

from __future__ import annotations

from collections.abc import Callable
from math import copysign, inf, nextafter

import numpy as np
from numpy.typing import NDArray

from meterlog.events.event import Event
from meterlog.events.interruption import Interruption, interruption
from meterlog.events.measure import Measure, Watched
from meterlog.events.prime_pulse import Stretch, prime_pulse
from meterlog.events.range_change import LONGEST_S
from meterlog.events.settings import DetectionSettings
from meterlog.events.settling import agreed
from meterlog.events.standing import Standing
from meterlog.kinds import found_by
from meterlog.reading import Quantity
from meterlog.signal.edges import Edge
from meterlog.signal.levels import median, second_highest

_WINDOW = 64
"""Readings whose median is the sliding reference: a choice, as for a supply."""
_FIRST_READINGS = 4
"""Fewest readings of a reference: a guess."""
_EVERY = 1024
"""Readings after which a full reference is taken anew: a choice, for speed; a level that has moved on is found anew."""
_SETTLED_SHARE = 0.08
"""An inrush has decayed when two readings differ by less than this share: a guess."""
_INRUSH_S = 1.0
"""By then it has, whatever the readings show, s: a guess, above a pump motor's run-up."""
_INRUSH_SHARE = 1.02
"""A first reading above the settled level by this factor, and noise, holds some of an inrush: a guess."""
_NEW_LEVEL_S = 1.0
"""A lower current that lasts this long is a new level, s: a guess, above what one averaging reading takes."""
_NEW_LEVEL_READINGS = 3
"""And for so many readings: a guess; an edge shows in two at the most."""
_EDGE_READINGS = 3
"""Readings in which a current that is cut off falls: a guess; an averaged edge takes two."""
_STEEP_SHARE = 0.4
"""It falls by this share of its level in them at the least; what fades or passes through nothing does not: a guess."""
_STAYS_OUT = 2.0
"""Once at a tenth, what stays below so many tenths has not come back: a guess, as a hysteresis."""
_OUT_READINGS = 64
"""Readings of an interruption that its level is taken from: bounds memory."""
_NEAR_READINGS = 6
"""Readings looked back at before an edge: a choice."""
_NOISE_READINGS = 32
"""Readings that tell how far a current strays: a choice."""
_CLAMP_NOISE_A = 1.0
"""Below it a clamp's own noise may be as large as what it reads, A: a guess."""


def machine(watched: Watched) -> Current | None:
    """Make the machine of a DC current."""
    if watched.channel.quantity is not Quantity.DC_CURRENT:
        return None
    return Current(watched.measure, watched.settings)


class Current:
    """The state machine of one channel.

    Attributes:
        stretches: the intervals in which a current flowed.
        events: what was found so far, in the order it was decided.
        looks_for: the kinds that it looks for.
    """

    looks_for = ("prime_pulse", *found_by("current"))

    def __init__(self, measure: Measure, settings: DetectionSettings) -> None:
        self.stretches: list[Stretch] = []
        self.events: list[Event] = []
        self._measure = measure
        self._track = measure.track
        self._settings = settings
        self._steps: dict[str, Callable[[int], None]] = {
            "idle": self._idle,
            "settling": self._settling,
            "flowing": self._flowing,
            "low": self._low,
            "back": self._back,
        }
        self._sign = 1.0
        self._restart(0)

    def _restart(self, index: int) -> None:
        self._state = "idle"
        self._segment = self._pos = self._quiet = self._update_at = index
        self._threshold = self._settings.interruption_at_least_a
        self._reference = 0.0
        self._alone = False  # one reading alone says that it flowed
        self._fall = self._return = self._partial_from = index
        self._least, self._steep = inf, False
        self._fallen: tuple[Edge, float, float] | None = None
        self._stretch: Stretch | None = None

    @property
    def needs(self) -> int:
        """The oldest reading that may still be asked for."""
        oldest = self._pos - _WINDOW
        if self._state in ("low", "back"):
            oldest = min(oldest, max(self._fall, self._pos - _EVERY))
        stretch = self._stretch
        if stretch is not None and self._pos and self._is_short(self._pos - 1):
            oldest = min(oldest, stretch.rise)
        return oldest - 2 * _WINDOW

    @property
    def band(self) -> tuple[float, float]:
        """Values low <= value < high, with their sign, change nothing until reading `until`."""
        if self._state == "idle":
            return -self._threshold, self._threshold
        return self._signed(*self._usual) if self._state == "flowing" else (inf, -inf)

    @property
    def until(self) -> int:
        """The reading at which the sliding reference is taken anew."""
        return self._update_at if self._state == "flowing" else 1 << 62

    @property
    def standing(self) -> Standing | None:
        """Return the state after the last reading."""
        if self._state == "idle":
            last = self.stretches[-1] if self.stretches else None
            return Standing("off", last.end_s if last is not None else None)
        if self._state == "low":
            return Standing(
                "interrupted", self._track.time(self._fall), self._reference, not self._is_short(self._fall - 1)
            )
        begin_s = self._stretch.begin_s if self._stretch is not None else None
        return Standing("flowing", begin_s, self._reference)

    def advance(self, stop: int) -> None:
        """Go on to reading `stop` (not included)."""
        while self._pos < stop:
            self._steps[self._state](stop)

    def interrupt(self, index: int) -> None:
        """Readings are missing before reading `index`.

        What was read on both sides counts: across a short break the steps go on, and across a longer one what flows on
        goes on, or is interrupted where that was read. Otherwise all begins anew.
        """
        break_s = self._track.time(index) - self._track.time(index - 1)
        known = break_s <= self._settings.interruption_longest_s and self._state in ("flowing", "low")
        if known or break_s <= LONGEST_S:
            return
        self._end_back()
        stretch = self._stretch
        value = self._sign * self._track.value(index)
        if stretch is not None and self._state in ("settling", "flowing") and value > self._off:
            self._flow(index)
            self._segment = self._pos = index
            return
        if stretch is not None:
            stretch.end_s = self._track.time(index)
        self._restart(index)

    def finish(self) -> None:
        """The readings have come to their end."""
        self._end_back()
        stop = self._pos
        while self._state == "low":
            self._close()
            self.advance(stop)
            self._end_back()

    @property
    def _off(self) -> float:
        return self._settings.off_share * self._reference

    @property
    def _reversed(self) -> float:
        """Return what must flow the other way before that is no stray of the clamp's zero, A."""
        return max(self._settings.interruption_at_least_a, self._off)

    @property
    def _usual(self) -> tuple[float, float]:
        """Sizes between which the current flows as before, A."""
        return nextafter(self._off, inf), self._reference / self._settings.off_share

    def _signed(self, low: float, high: float) -> tuple[float, float]:
        """Turn a band of sizes in the direction of the current into one of readings."""
        return (low, high) if self._sign > 0 else (nextafter(-high, inf), nextafter(-low, inf))

    def _sizes(self, start: int, stop: int) -> NDArray[np.float64]:
        """The readings in the direction of the current, A."""
        return self._sign * self._track.values(start, stop)

    def _is_short(self, index: int) -> bool:
        """Tell whether the current has flowed for no longer than a prime up to a reading."""
        if self._alone:
            return True
        stretch = self._stretch
        if stretch is None or stretch.from_start:
            return False
        return self._track.time(index) - stretch.begin_s <= self._settings.prime_longest_s

    def _idle(self, stop: int) -> None:
        self._pos = self._track.first_outside(self._pos, stop, -self._threshold, self._threshold)
        if self._pos < stop:
            self._sign = copysign(1.0, self._track.value(self._pos))
            self._begin(self._pos)

    def _begin(self, rise: int) -> None:
        """A current begins to flow at reading `rise`; its beginning is seen when a reading precedes it."""
        seen = rise > self._segment
        begin_s = (self._track.time(rise - 1) + self._track.time(rise)) / 2 if seen else self._track.time(rise)
        self._stretch = Stretch(rise, None, begin_s, from_start=not seen)
        self.stretches.append(self._stretch)
        self._state, self._reference, self._pos = "settling", self._sign * self._track.value(rise), rise + 1

    def _settling(self, _stop: int) -> None:
        """Wait until the inrush has decayed."""
        stretch = self._stretch
        rise = stretch.rise if stretch is not None else self._pos
        value, previous = (self._sign * self._track.value(at) for at in (self._pos, self._pos - 1))
        level, self._alone = agreed(self._sizes(rise, self._pos + 1), self._threshold)
        if value < max(self._threshold / 2, self._settings.interruption_share * level):
            self._settled(rise, self._pos)
            self._quiet = self._pos - 1
            self._go_low(self._pos)
            return
        late = self._track.time(self._pos) - self._track.time(rise) >= _INRUSH_S
        if late or abs(value - previous) <= _SETTLED_SHARE * previous:
            self._settled(rise, self._pos + 1)
            self._flow(self._pos - 1)
        self._pos += 1

    def _settled(self, rise: int, stop: int) -> None:
        """Its level is known from readings before `stop`: place its beginning."""
        self._reference = float(self._sizes(max(rise, stop - 2), stop).min())
        stretch = self._stretch
        if stretch is None or stretch.edge is not None or rise <= self._segment:
            return
        start = max(self._segment, rise - _NEAR_READINGS)
        stretch.edge = self._rise_edge(rise, start, stop)
        stretch.begin_s = self._measure.when(stretch.edge, rise)

    def _rise_edge(self, rise: int, start: int, stop: int) -> Edge:
        """Place the edge to the settled level, the first reading of which is `rise`.

        A reading with an inrush in it does not tell what share of its window was on.
        """
        measure, level, noise = self._measure, self._reference, self._measure.noise(start, rise - 1)
        if float(self._sizes(rise, min(stop, rise + 2)).max()) > _INRUSH_SHARE * level + noise:
            early, late = self._track.time(rise - 1), self._track.time(rise)
            error_s = max(self._track.time_error_s(rise - 1), self._track.time_error_s(rise))
            return Edge((early + late) / 2, 0.0, (late - early) / 2, False, False, 0.0, error_s)
        before = measure.before(rise, start)
        return measure.edge(rise, before, self._sign * level, noise, stop)

    def _flow(self, quiet: int) -> None:
        self._state, self._quiet, self._alone = "flowing", quiet, False
        self._update_at = quiet + _FIRST_READINGS

    def _flowing(self, stop: int) -> None:
        if self._pos >= self._update_at:
            self._slide()
        limit = min(stop, self._update_at)
        index = self._pos = self._track.first_outside(self._pos, limit, *self._signed(*self._usual))
        if index == limit:
            return
        if self._sign * self._track.value(index) <= self._off:
            self._go_low(index)
        elif index > self._quiet and self._sign * self._track.value(index - 1) >= self._usual[1]:
            # More than twice as much: another load is switched on, and this one is its idle level.
            self._end_stretch(self._track.time(index - 1))
            self._begin(index - 1)
        else:
            self._pos = index + 1  # one reading may be wrong: two tell

    def _slide(self) -> None:
        quiet = self._pos - self._quiet
        if quiet >= _FIRST_READINGS:
            self._reference = median(self._sizes(max(self._quiet, self._pos - _WINDOW), self._pos))
        if self._reference < self._settings.interruption_at_least_a * self._settings.off_share:
            self._end_stretch(self._track.time(self._pos))  # it faded to nothing
            self._state, self._threshold = "idle", self._settings.interruption_at_least_a
        step = _FIRST_READINGS if quiet < 4 * _FIRST_READINGS else 16 if quiet < _WINDOW else _EVERY
        self._update_at = self._pos + step

    def _go_low(self, index: int) -> None:
        self._state, self._fall, self._pos = "low", index, index
        self._least, self._fallen, self._partial_from = inf, None, index

    def _low(self, stop: int) -> None:
        """At or below half: interrupted, between two pulses, or soon at a new level."""
        settings, index = self._settings, self._pos
        out = settings.interruption_share * self._reference * (_STAYS_OUT if self._least < inf else 1.0)
        value = self._sign * self._track.value(index)
        if value >= (settings.off_share + settings.return_hysteresis) * self._reference:
            self._state, self._return, self._pos = "back", index, index + 1
        elif value <= -self._reversed:
            self._turn(index)
        elif value <= out:
            self._skip_out(stop, out)
        else:
            self._pos += 1
            readings = self._pos - self._partial_from
            if readings >= _NEW_LEVEL_READINGS and self._since(self._partial_from) >= _NEW_LEVEL_S:
                self._take_new_level()
        if self._state == "low":
            if self._fallen is None and self._pos - self._fall >= _OUT_READINGS:
                self._place_fall(self._pos)
            if self._since(self._fall) > self._longest_out_s():
                short = self._is_short(self._fall - 1)
                self._close()
                lately = self._sizes(max(self._fall, self._pos - _NEW_LEVEL_READINGS), self._pos)
                if not short and float(lately.min()) >= settings.interruption_at_least_a:
                    self._go_on(self._pos - len(lately), median(lately))

    def _skip_out(self, stop: int, out: float) -> None:
        """Step over readings that show nothing but that no current flows."""
        deadline_s = self._track.time(self._fall) + self._longest_out_s()
        stop = min(stop, self._track.first_after(deadline_s, self._pos, stop) + 1)
        if self._fallen is None:
            stop = min(stop, self._fall + _OUT_READINGS)
        start = self._pos
        if self._least == inf:
            lately = self._sizes(max(self._segment, start - _EDGE_READINGS), start + 1)
            self._steep = float(lately.max() - lately[-1]) >= _STEEP_SHARE * self._reference
        self._pos = self._track.first_outside(
            start, stop, *self._signed(nextafter(-self._reversed, inf), nextafter(out, inf))
        )
        self._least = min(self._least, float(np.abs(self._track.values(start, self._pos)).min(initial=inf)))
        self._partial_from = self._pos

    def _turn(self, index: int) -> None:
        """It flows the other way at reading `index`: what happened on the way through nothing is no interruption."""
        noise = self._measure.noise(max(self._segment, index - _NOISE_READINGS), index)
        self._end_stretch(self._track.time(index))
        self._state, self._pos = "idle", index
        self._threshold = max(self._settings.interruption_at_least_a, 2.0 * noise)

    def _since(self, index: int) -> float:
        return self._track.time(self._pos - 1) - self._track.time(index)

    def _longest_out_s(self) -> float:
        short = self._is_short(self._fall - 1)
        return self._settings.dropout_longest_in_short_s if short else self._settings.interruption_longest_s

    def _take_new_level(self) -> None:
        """It stays at a lower level: a part of the load was switched off, or it came back to less than before."""
        start = self._partial_from
        level = median(self._sizes(start, self._pos))
        if self._is_short(self._fall - 1):
            alone = self._alone
            self._close()
            if not alone:
                self._go_on(start, level)
            return
        if self._least < inf:
            self._tell(start, level, self._pos)
        self._reference = level
        self._flow(start)

    def _go_on(self, start: int, level: float) -> None:
        """End what flowed where less flows on, for a time that nothing tells, seen from reading `start` on."""
        self._stretch = Stretch(start, None, self._track.time(start), from_start=True)
        self.stretches.append(self._stretch)
        self._reference = level
        self._flow(start)

    def _back(self, _stop: int) -> None:
        """A second reading behind the return places it."""
        self._pos += 1
        self._end_back()

    def _end_back(self) -> None:
        if self._state != "back":
            return
        if self._alone:
            self._close()
            return
        if self._least < inf:
            after = float(self._sizes(self._return, self._pos).max())
            if self._tell(self._return, min(after, self._reference), self._pos):
                self._begin(self._return)
                return
        self._flow(self._return)
        self._pos = self._return + 1

    def _tell(self, back: int, level: float, stop: int) -> bool:
        """Add the interruption that ends at reading `back`; whether it was the space between two pulses."""
        measure = self._measure
        fall, out, noise = self._fallen or self._place_fall(back)
        first = max(back - _NEAR_READINGS, self._fall)
        lately = median(self._track.values(first, max(back - 1, first + 1)))
        rise = measure.edge(back, lately, self._sign * level, noise, stop)
        event = interruption(
            measure, Interruption(fall, rise, self._fall, back, abs(out), self._least, self._reference)
        )
        if (event.duration_s or 0.0) > self._longest_out_s():
            self._end_stretch(event.start_s, fall)
            return True
        if self._steep and not self._is_noise():
            self.events.append(event)
        return False

    def _is_noise(self) -> bool:
        """Tell whether the readings before the fall stray as far as to nothing by themselves."""
        start = max(self._segment, self._fall - _NOISE_READINGS)
        before = self._sizes(start, self._fall)
        if len(before) < _EDGE_READINGS or second_highest(-before) >= self._settings.off_share * self._reference:
            return True
        strays = min(_CLAMP_NOISE_A, 2.0 * self._measure.noise(start, self._fall))
        return self._reference < max(self._settings.interruption_at_least_a, strays)

    def _place_fall(self, stop: int) -> tuple[Edge, float, float]:
        """Place the beginning of what is low, its level, and the noise around, from readings before `stop`."""
        measure, fall = self._measure, self._fall
        start = max(self._segment, fall - _NEAR_READINGS, min(self._quiet, fall - 1))
        low = self._sizes(fall, stop)
        level = self._sign * (median(low[1:-1]) if len(low) > 2 else float(low.min()))
        noise = max(measure.noise(start, fall - 1), measure.noise(fall + 1, stop - 1))
        edge = measure.edge(fall, measure.before(fall, start), level, noise, stop)
        self._fallen = edge, level, noise
        return self._fallen

    def _close(self) -> None:
        """End what flowed: it was a prime, or was switched off.

        Where one reading alone said that it flowed, it tells no idle level: what came after is gone through again.
        """
        known = self._fall + 1 if self._alone else self._pos
        edge, level, _ = self._fallen or self._place_fall(known)
        noise = self._measure.noise(self._fall + 1, min(known, self._fall + _OUT_READINGS))
        self._end_stretch(self._measure.when(edge, self._fall), edge)
        self._state = "idle"
        if self._alone:
            self._pos, self._alone = self._fall, False
            return
        least = self._settings.interruption_at_least_a
        self._threshold = max(least, abs(level) / self._settings.off_share, abs(level) + 2.0 * noise)

    def _end_stretch(self, end_s: float, end: Edge | None = None) -> None:
        stretch, self._stretch = self._stretch, None
        if stretch is None:
            return
        stretch.end_s = end_s
        if end is None or self._reference < self._settings.on_at_least_a:
            return
        event = prime_pulse(self._measure, stretch, self._fall, end, self._settings, self._sign)
        if event is not None:
            self.events.append(event)
