"""Watches the readings of one measurement until there is a level, and says what the person must know meanwhile."""

from __future__ import annotations

import queue
import time
from typing import Literal, Protocol

from meterlog.capture.recorder import Recorder
from meterlog.errors import UsageError
from meterlog.job.taking.leaving import LeavingProbes
from meterlog.job.taking.level import Counts, Level
from meterlog.job.taking.seen import Seen
from meterlog.reading import Reading

WAIT_S = 20.0
"""Time to turn the key once the probes are on, s; what has not changed by then is the reading. A guess."""
_LOOK_S = 0.1
"""Interval between looks at the clock and at the person's wishes, s."""
_LONGEST_WAIT_S = 120.0
"""The waiting tone comes ever more seldom, and at the least so often, s. A choice."""

_HANG = "the probes still hang at the last place"

Said = Literal["ready", "slip", "right", "waiting"]
"""`ready`: what the person may do now; `slip`: what is wrong; `right`: no more; `waiting`: for what."""
Wish = Literal["", "take", "leave"]
"""`take`: what stands there now; `leave`: no reading from here."""


class Attendant(Protocol):
    """Stands between the measurement and the person."""

    def shown(self, reading: Reading) -> None:
        """Show a reading of the meter that is watched."""
        ...

    def said(self, kind: Said, text: str) -> None:
        """Say a sentence."""
        ...

    def wish(self) -> Wish:
        """Ask what the person wants; often, so it must be quick."""
        ...


Queued = queue.SimpleQueue[tuple[int, Reading]]
"""Readings on their way from the meters' threads, each with its channel's number."""


class Watching:
    """Goes on until there is a level, the person wants none, or the wait is over.

    Attributes:
        seen: of the measurement.
        left: the person wanted no reading from here.
    """

    def __init__(
        self, seen: Seen, attendant: Attendant, wait_s: float, patient: bool, probes: LeavingProbes | None
    ) -> None:
        """Begin before the first reading; see `take_into`."""
        self.seen, self.left = seen, False
        self._probes = probes
        self._attendant, self._wait_s, self._patient = attendant, wait_s, patient
        self._said: dict[Said, str] = {}
        self._stands_since_s: float | None = None
        self._stands_as: Counts = "never"
        self._warned = False
        self._tone_s, self._tone_after_s = time.monotonic() + wait_s, wait_s

    def run(self, recorder: Recorder, queued: Queued) -> Level | None:
        """The level; None where the person left.

        Raises:
            UsageError: the wait is over, and nothing can be believed.
        """
        end_s = time.monotonic() + self._wait_s
        while self._patient or time.monotonic() < end_s:
            over = recorder.wait(0.0)
            level = self._next(recorder, queued)
            if level is None:
                level = self._by_wish_or_time()
            if level is not None or self.left:
                return level
            if over and queued.empty():
                break
        return self._at_the_end()

    def _next(self, recorder: Recorder, queued: Queued) -> Level | None:
        """Take what has come; wait a little where nothing has."""
        wait_s = _LOOK_S
        while True:
            try:
                channel, reading = queued.get(timeout=wait_s)
            except queue.Empty:
                return None
            wait_s = 0.0
            if self._probes is not None and not self._probes.feed(reading):
                self._attendant.shown(reading)
                continue
            shown, level = self.seen.feed(recorder.channels[channel].meter, reading)
            if shown is not None:
                self._attendant.shown(shown)
            if level is not None:
                return level
            self._say_what_is_new()
            if self._patient is False and queued.empty():
                return None

    def _say_what_is_new(self) -> None:
        slip = self.seen.slip
        if slip != self._said.get("slip", ""):
            self._said["slip"] = slip
            self._attendant.said("slip" if slip else "right", slip or "Right now.")
        ready = self.seen.watch.ready
        if ready and not slip and ready != self._said.get("ready"):
            self._said["ready"] = ready
            self._attendant.said("ready", ready)

    def _by_wish_or_time(self) -> Level | None:
        wish = self._attendant.wish()
        self.left = wish == "leave"
        standing = None if self.seen.slip else self.seen.watch.standing
        if wish == "take" and standing is not None:
            return standing
        if self.left or not self._patient:
            return None
        return self._by_time(standing)

    def _by_time(self, standing: Level | None) -> Level | None:
        """The level that has stood for long enough; say now and then what is waited for."""
        now_s, counts = time.monotonic(), self.seen.watch.counts
        if standing is None or counts != self._stands_as or self._stands_since_s is None:
            self._stands_since_s, self._stands_as, self._warned = now_s, counts, False
        stood = standing is not None and now_s - self._stands_since_s >= self._wait_s
        if standing is not None and stood and (counts == "soon" or (counts == "late" and self._warned)):
            return standing
        if stood and counts == "late":
            self._stands_since_s, self._warned = now_s, True
            self._say_waiting(f"{_ended(self.seen.watch.waiting_for)} In {self._wait_s:.0f} s it counts")
        elif now_s >= self._tone_s + (0.0 if standing is None or counts == "never" else self._wait_s):
            hang = self._probes is not None and not self._probes.gone
            self._say_waiting(_HANG if hang else self.seen.slip or self.seen.watch.waiting_for)
        return None

    def _say_waiting(self, text: str) -> None:
        self._attendant.said("waiting", f"Still waiting: {_ended(text)}")
        self._tone_after_s = min(2 * self._tone_after_s, _LONGEST_WAIT_S)
        self._tone_s = time.monotonic() + self._tone_after_s

    def _at_the_end(self) -> Level:
        """Believe what stands there.

        Raises:
            UsageError: nothing does, or a slip shows.
        """
        if self.seen.slip:
            raise UsageError(self.seen.slip.rstrip("."))
        standing = self.seen.watch.standing
        if standing is None:
            raise UsageError(f"no steady reading came in time ({self.seen.watch.waiting_for}); type it, or try again")
        return standing


def _ended(text: str) -> str:
    return text if text.endswith((".", "?")) else f"{text}."
