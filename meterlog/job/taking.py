"""Takes a measurement of a job from a meter: recorded into the job's folder, and the steady reading out of it."""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from meterlog.address import Address
from meterlog.capture.meters import meter_setup
from meterlog.capture.recorder import Recorder
from meterlog.circuit.readings.from_meter import SteadyLevel
from meterlog.circuit.readings.measurement import Measurement
from meterlog.errors import UsageError
from meterlog.events import Event
from meterlog.job.job import Job
from meterlog.job.placing import placed
from meterlog.reading import Reading
from meterlog.session import Channel, Marker, SessionWriter

WAIT_S = 20.0
"""Time to clip on and to turn the key, s; a supply that stays at 0 V is believed after it. A guess."""
_LOOK_S = 0.1
"""Interval between looks at the clock, s."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A reading that was taken.

    Attributes:
        value: in its quantity's unit; inf for an overload.
        error: half-width of its error band.
        session: the file it was recorded into, in the job's folder.
        time_s: when it was shown, from that session's start, s.
    """

    value: float
    error: float
    session: str
    time_s: float

    @property
    def source(self) -> dict[str, object]:
        """Return what its step says beside the value."""
        row: dict[str, object] = {"how": "measured", "session": self.session, "time_s": round(self.time_s, 3)}
        return row | ({"error": float(f"{self.error:.3g}")} if self.error else {})


class _Handing:
    """A live detector that finds nothing and hands every reading on."""

    def __init__(self, readings: queue.SimpleQueue[Reading]) -> None:
        self._readings = readings

    def feed(self, readings: Sequence[Reading]) -> list[Event]:
        """Hand them on."""
        for reading in readings:
            self._readings.put(reading)
        return []

    def marker(self, marker: Marker) -> None:
        """Nothing to do."""

    def finish(self) -> list[Event]:
        """Nothing is left."""
        return []


def take_into(
    job: Job, address: str, m: Measurement, *, wait_s: float = WAIT_S, shown: Callable[[Reading], None]
) -> Taken:
    """Record until the reading is steady.

    Args:
        job: the session is made in its folder.
        address: of the meter; its point becomes the place of the measurement.
        m: what is measured.
        wait_s: how long to wait for something else than nothing, s.
        shown: called with every reading that fits.

    Raises:
        LinkError: the meter cannot be reached.
        UsageError: it shows another quantity, or nothing steady in time.
    """
    setup = meter_setup(str(placed(Address.parse(address), m, job)))
    readings: queue.SimpleQueue[Reading] = queue.SimpleQueue()

    def handing(channel: Channel) -> _Handing:
        _ = channel
        return _Handing(readings)

    path = _free(job.folder, m)
    recorder = Recorder([setup], SessionWriter.create(path), detector=handing)
    recorder.start()
    try:
        level, end_s, last_s = SteadyLevel(m.quantity, setup.accuracy), time.monotonic() + wait_s, 0.0
        found = None
        while found is None and time.monotonic() < end_s:
            try:
                reading = readings.get(timeout=_LOOK_S)
            except queue.Empty:
                continue
            last_s = reading.time_s
            if level.fits(reading):
                shown(reading)
            found = level.feed(reading)
        value, error = found or level.at_the_end()
    finally:
        outcome = recorder.finish()
    if outcome.path is None:
        raise UsageError("the meter sent no reading: is it on, and its output switched on?")
    return Taken(value, error, path.name, last_s)


def _free(folder: Path, m: Measurement) -> Path:
    """A name that no file has yet: `03-fuse_out.sqlite`."""
    number = 1 + sum(1 for _ in folder.glob("*.sqlite"))
    while any(folder.glob(f"{number:02d}-*.sqlite")):
        number += 1
    safe = "".join(c if c.isalnum() or c in "_-" else "_" for c in m.at)
    return folder / f"{number:02d}-{safe}.sqlite"
