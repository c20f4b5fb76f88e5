"""A session in memory, read once and analyzed once: for the page, comparisons and reports."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from meterlog.analysis import Analysis, analyze
from meterlog.details import entered_number
from meterlog.events.event import Event
from meterlog.events.settings import SYSTEM_SPLIT_V
from meterlog.findings.evidence import Evidence
from meterlog.findings.exposure import burst_starts, countable_faults, visible_time, waits
from meterlog.limits.system import upper_v
from meterlog.reading import Quantity
from meterlog.session.contents import Contents
from meterlog.session.model import Channel
from meterlog.session.reader import open_reader


@dataclass(eq=False)
class Loaded(Contents):
    """A session in memory, with the analysis that is made when it is first asked for. Usable from any thread.

    Attributes:
        limits_file: a limits set or a person's own file; by the session's `system_v` where None.
    """

    limits_file: str | None = None
    _analysis: Analysis | None = field(default=None, init=False, repr=False)
    _lock: threading.Lock = field(default_factory=threading.Lock, init=False, repr=False)

    @property
    def analysis(self) -> Analysis:
        """Return what happened in it; made once.

        Raises:
            LimitsError: the limits cannot be used.
        """
        with self._lock:
            if self._analysis is None:
                self._analysis = analyze(self, limits_file=self.limits_file)
            return self._analysis

    @cached_property
    def evidence(self) -> Evidence:
        """The events and the limits to conclude from; made once."""
        analysis = self.analysis
        watches = {summary.channel.number: summary.watch for summary in analysis.channels}
        return Evidence(self, analysis.events, analysis.limits, watches)

    @property
    def system_v(self) -> float | None:
        """The system voltage as entered, V; None where it was not."""
        return entered_number(self.details, "system_v")

    def events_of(self, channel: Channel, *kinds: str) -> list[Event]:
        """Return the events of these kinds on a channel, in time order."""
        return self.evidence.events_of(channel, *kinds)

    def cranks(self, channel: Channel) -> list[Event]:
        """Return the dips on a channel that are the starter's."""
        return [event for event in self.events_of(channel, "sag") if self.evidence.is_crank(event)]

    def bursts(self, channel: Channel, kind: str, window_s: float) -> int:
        """Count the faults of a kind that could have been seen on a channel; those within a window are one burst."""
        seen = [event for event in countable_faults(self.evidence, channel) if event.kind == kind]
        return len(burst_starts(seen, window_s))

    def exposed_s(self, channel: Channel) -> float:
        """Return for how long a fault on a channel could have been seen, s: readings there, and the circuit on."""
        evidence = self.evidence
        visible = visible_time(evidence.series(channel), channel, waits(evidence, channel))
        return float((visible[:, 1] - visible[:, 0]).sum())

    def upper_v(self) -> float:
        """Return what the highest DC voltage holds for a tenth of its readings or more, V; 0 where there is none."""
        voltages = (self.believed(c.number) for c in self.measured if c.quantity is Quantity.DC_VOLTAGE)
        return max(map(upper_v, voltages), default=0.0)

    def shows_24_v(self) -> bool:
        """Tell whether a voltage channel stands above what any 12 V system shows."""
        return self.upper_v() > SYSTEM_SPLIT_V


def load(path: str | Path, limits_file: str | None = None) -> Loaded:
    """Read a session that is to be compared or reported, and analyze it.

    Args:
        path: the session file.
        limits_file: see `Loaded`.

    Raises:
        SessionError: it cannot be read, or holds no readings.
        LimitsError: the limits cannot be used.
    """
    with open_reader(path) as reader:
        reader.need_readings()
        loaded = Loaded.of(reader)
    loaded.limits_file = limits_file
    _ = loaded.analysis  # now, so that limits which cannot be used are told now
    return loaded
