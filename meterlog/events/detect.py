"""All detectors over one channel, and what of their findings stands beside what.

A finished channel and a growing one go through the same machines (see `supply.py`), so both give the same events.

`meterlog.kinds` names the modules with the machines; each module's `machine` says for which channels it has one. What
concerns the readings themselves (`gap held_display meter_battery_low range_change`) is looked for on every channel.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from importlib import import_module
from itertools import chain
from math import inf
from typing import NamedTuple, Protocol, cast

import numpy as np

from meterlog.events.current import Current
from meterlog.events.event import Event
from meterlog.events.gap import breaks, gap, own_wait_s
from meterlog.events.measure import Measure, Watched
from meterlog.events.missing_prime import KEY_ON, missing_prime
from meterlog.events.range_change import RangeChanges
from meterlog.events.resistance import OHMS
from meterlog.events.settings import DetectionSettings
from meterlog.events.standing import Standing, Stands
from meterlog.events.standstill import Standstill
from meterlog.events.supply import Supply
from meterlog.events.untrusted import STORED, Untrusted
from meterlog.events.watch import Coverage, Watch
from meterlog.kinds import detectors, place
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel, Marker
from meterlog.signal.doubtful import believed, held_back, joined
from meterlog.signal.interval import reading_interval
from meterlog.signal.looks import USUAL_LOOK_S, Looks
from meterlog.signal.track import Track


class Machine(Protocol):
    """Finds one kind of event, or some that belong together, in the trusted readings of a channel."""

    @property
    def events(self) -> list[Event]:
        """Return what it has found, only ever added to."""
        ...

    @property
    def looks_for(self) -> tuple[str, ...]:
        """Return the kinds that it looks for on this channel."""
        ...

    @property
    def needs(self) -> int:
        """The oldest reading that it may still ask for."""
        ...

    @property
    def band(self) -> tuple[float, float]:
        """Values low <= value < high change nothing for it now; (inf, -inf): each reading may."""
        ...

    @property
    def until(self) -> int:
        """The reading up to which that holds."""
        ...

    def advance(self, stop: int) -> None:
        """Go on to reading `stop` (not included), looking at no reading from there on."""
        ...

    def interrupt(self, index: int) -> None:
        """Readings are missing before reading `index`."""
        ...

    def finish(self) -> None:
        """The readings have come to their end."""
        ...


class DetectorModule(Protocol):
    """A module of this package with a machine."""

    def machine(self, watched: Watched) -> Machine | None:
        """Make the machine of a channel; None where it has nothing to look for there."""
        ...


def _detector_modules() -> list[DetectorModule]:
    return [cast(DetectorModule, import_module(f"{__package__}.{name}")) for name in detectors()]


_detector_modules()  # imported with this module: a meter's thread must not wait for an import


class ChannelDetector:
    """Everything that is detected on one channel; feed it all readings at once, or as they come."""

    def __init__(
        self,
        channel: Channel,
        settings: DetectionSettings,
        markers: Sequence[Marker] = (),
        own_wait_s: float = 0.0,
    ) -> None:
        """Start before the channel's first reading; see `examine`, and `gap.own_wait_s`."""
        # A battery's current passes through nothing to the other sign, and is not interrupted.
        self.signed = channel.quantity is Quantity.DC_CURRENT
        self._channel = channel
        self._own_wait_s = own_wait_s
        self._settings = settings
        self._markers = list(markers)
        self._awaited = [m for m in self._markers if m.name == KEY_ON]
        self._all = Track(summarised=False)
        # Nobody knows how fast a table was filled beside the display that it shows.
        self._looks = Looks(channel.interval_s, USUAL_LOOK_S if channel.imported else None)
        self._trusted = Track()
        self._trusted.cadences = self._looks.cadences
        self._untrusted = Untrusted(channel.number)
        self._ranges = RangeChanges(channel.number)
        self._standstill = Standstill(channel.number, channel.quantity.unit)
        self._coverage = Coverage()
        self._gaps: list[Event] = []
        self._missing: list[Event] = []
        self._held: Series | None = None  # the last reading, if it is doubtful: the next one tells whether it counts
        self._resumed: list[float] = []
        self._told: list[int] = []
        self._machines = self._chosen()
        self.supply = next((machine for machine in self._machines if isinstance(machine, Supply)), None)

    def _measure(self) -> Measure:
        return Measure(self._channel.number, self._trusted, self._channel.accuracy, self._channel.quantity.unit)

    def _chosen(self) -> list[Machine]:
        if self._channel.foreign:
            return []
        made = [
            module.machine(Watched(self._channel, self._measure(), self._settings, self._markers))
            for module in _detector_modules()
        ]
        return [machine for machine in made if machine is not None]

    @property
    def standing(self) -> Standing | None:
        """Return what the circuit does now, what nobody wants first; None where no machine knows."""
        known = [machine.standing for machine in self._machines if isinstance(machine, Stands)]
        found = [standing for standing in known if standing is not None]
        return next((one for one in reversed(found) if one.unwanted), found[0] if found else None)

    def mark(self, marker: Marker) -> None:
        """A marker was set while recording."""
        self._markers.append(marker)
        if marker.name == KEY_ON:
            self._awaited.append(marker)

    @property
    def last_s(self) -> float:
        """Return when the last reading was shown, s."""
        return self._all.time(self._all.count - 1)

    @property
    def band(self) -> tuple[float, float]:
        """Values low <= value < high change nothing until trusted reading `until`."""
        bands = [machine.band for machine in self._machines]
        if self._awaited or self._untrusted.running:
            return inf, -inf
        return max((low for low, _ in bands), default=-inf), min((high for _, high in bands), default=inf)

    @property
    def until(self) -> int:
        """Return how many trusted readings may be taken on before the next step is due."""
        return min((machine.until - self._trusted.count for machine in self._machines), default=1 << 62)

    def feed(self, series: Series) -> None:
        """Take on more readings, in time order."""
        if self._held is not None:
            series = joined(self._held, series)
        end = len(series) - held_back(series)
        self._held, series = series[end:] if end < len(series) else None, series[:end]
        self._feed(series)

    def _feed(self, series: Series) -> None:
        if not len(series):
            return
        first = self._all.count
        self._all.extend(series.time_s, series.value, series.resolution, first, series.time_error_s)
        for index in self._breaks(self._all, first):
            if not self._waited(self._all.time(index - 1), self._all.time(index)):
                found = gap(self._all, index, self._channel)
                self._gaps += [found] if found else []
        series = believed(series)
        if len(series):
            self._untrusted.feed(series.time_s, series.flags)
            self._ranges.feed(series)
            self._take(series)
        self._judge_markers(False)

    def _breaks(self, track: Track, first: int) -> list[int]:
        """The readings from `first` on before which readings are missing."""
        return breaks(track, max(first, 1), track.count, self._channel.interval_s, self._settings, self._own_wait_s)

    def _waited(self, begin_s: float, end_s: float) -> bool:
        """Tell whether an armed capture waited between two readings: what is missing there was not wanted."""
        begin_s -= self._settings.gap_at_least_s
        return any(marker.ends_recording and begin_s <= marker.time_s <= end_s for marker in self._markers)

    def _take(self, series: Series) -> None:
        usable = self._looks.feed(self._usable(series))
        self._standstill.feed(usable)
        first = self._trusted.count
        needed = min((machine.needs for machine in self._machines), default=first)
        self._trusted.extend(usable.time_s, usable.value, usable.resolution, needed, usable.time_error_s)
        stop = self._trusted.count
        if first == 0 and stop:
            self._resumed.append(self._trusted.time(0))
        missing = self._breaks(self._trusted, first)
        self._coverage.feed(self._trusted, first, stop, missing, self._waited)
        for index in missing:
            self._resumed.append(self._trusted.time(index))
            for machine in self._machines:
                machine.advance(index)
                machine.interrupt(index)
        for machine in self._machines:
            machine.advance(stop)

    def _usable(self, series: Series) -> Series:
        """The readings that detectors may use: no stored ones, no overload but on ohms; a current keeps its sign."""
        value = series.value
        bad = ~np.isfinite(value) if self._channel.quantity not in OHMS else np.isnan(value)
        if np.bitwise_or.reduce(series.flags) & STORED:
            bad |= (series.flags & STORED) != 0
        if bad.any():
            good = ~bad
            series = series[good]
        if not self.signed and series.value.min(initial=0.0) < 0.0:
            series = replace(series, value=np.abs(series.value))
        return series

    def finish(self) -> None:
        """The readings have come to their end."""
        if self._held is not None:
            self._feed(self._held)
        for machine in self._machines:
            machine.finish()
        self._untrusted.finish()
        self._standstill.finish()
        self._judge_markers(True)

    def _judge_markers(self, at_end: bool) -> None:
        if not self._awaited or self.supply is None or self._channel.quantity != Quantity.DC_VOLTAGE:
            self._awaited = []
            return
        settings = self._settings
        wait = settings.missing_prime_within_s
        if not at_end:
            wait += settings.prime_shortest_s + settings.dropout_longest_in_short_s
            wait += 3 * self._measure().interval(self._trusted.count)[0]
        waiting = []
        for marker in self._awaited:
            if not at_end and (self.last_s < marker.time_s + wait or self.supply.deciding):
                waiting.append(marker)
            elif self.last_s >= marker.time_s + wait:
                found = missing_prime(self._channel.number, marker, self.supply.stretches, self._resumed, settings)
                self._missing += [found] if found else []
        self._awaited = waiting

    def fresh(self) -> list[Event]:
        """Return what was found since this was last asked, in time order."""
        sources = self._sources()
        told = self._told or [0] * len(sources)
        self._told = [len(source) for source in sources]
        return _in_order(chain(*(source[start:] for source, start in zip(sources, told, strict=True))))

    @property
    def events(self) -> list[Event]:
        """Return what was found so far, in time order."""
        return _in_order(chain(*self._sources()))

    def watch(self, series: Series) -> Watch:
        """Say what was watched in the readings that were fed, which are all given once more."""
        looks_for = tuple(kind for machine in self._machines for kind in machine.looks_for)
        interval = reading_interval(series.time_s, series.time_error_s)
        stood = [(event.start_s, event.end_s) for event in self._standstill.events]
        known = next((machine for machine in self._machines if isinstance(machine, Supply | Current)), None)
        on = None if known is None else [(one.begin_s, one.end_s) for one in known.stretches]
        undecided = () if self.supply is None else tuple(self.supply.undecided)
        watch = self._coverage.watch(looks_for, interval._replace(readings_a_look=self._looks.repeats), on, stood)
        return replace(watch, undecided=undecided)

    def _sources(self) -> list[list[Event]]:
        meter = [self._gaps, self._untrusted.events, self._ranges.events, self._standstill.events]
        return [*(machine.events for machine in self._machines), self._missing, *meter]


def _in_order(found: Iterable[Event]) -> list[Event]:
    return sorted(found, key=lambda event: (event.start_s, place(event.kind), event.end_s))


class Detected(NamedTuple):
    """Holds what was found on one channel, in time order, and what was watched."""

    events: list[Event]
    watch: Watch


def detect(
    channel: Channel, series: Series, markers: Sequence[Marker] = (), settings: DetectionSettings | None = None
) -> list[Event]:
    """The events on one channel, in time order; see `examine`."""
    return examine(channel, series, markers, settings).events


def examine(
    channel: Channel, series: Series, markers: Sequence[Marker] = (), settings: DetectionSettings | None = None
) -> Detected:
    """Find the events on one channel, and say what was watched for them.

    Args:
        channel: its number, quantity, accuracy and declared interval count.
        series: all its readings.
        markers: the session's.
        settings: what counts as an event; the defaults where None.
    """
    settings = settings or DetectionSettings()
    detector = ChannelDetector(channel, settings, markers, own_wait_s(channel, series.time_s, settings))
    detector.feed(series)
    detector.finish()
    return Detected(detector.events, detector.watch(series))
