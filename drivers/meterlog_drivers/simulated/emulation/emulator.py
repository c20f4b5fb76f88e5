"""The emulator: what a run displays, as the frames of a driver, on ports, at the right moments.

A frame is written whole at the moment of its display: a pseudo-terminal and a TCP port have no wire, and the reading
side counts no wire time for them either. The scenario begins when a reader first opens a port and goes on from then
whether or not somebody reads, as a meter does.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import count, groupby
from typing import TextIO

from meterlog.driver.framing import Encoder
from meterlog.errors import EncodeError, UsageError
from meterlog.reading import Reading
from meterlog_drivers.display.every_mode import nearest_shown
from meterlog_drivers.simulated.emulation.ports import Port
from meterlog_drivers.simulated.scenario import Run

WAIT_S = 0.002
"""Interval at which a port is looked at while nobody has opened one, s."""


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame: when it is displayed, on which outlet, its bytes, and what it shows."""

    time_s: float
    outlet: int
    data: bytes
    shown: tuple[Reading, ...]


@dataclass(frozen=True, slots=True)
class Outlet:
    """A port with the channels that it shows, from 0; more than one where a frame has columns."""

    port: Port
    channels: tuple[int, ...]


class Emulator:
    """Plays a run on outlets.

    Args:
        run: the scenario's run.
        encoder: of the driver to speak.
        outlets: the ports.
        pace: how many seconds of the scenario go into one.
        shown: where each display that had a reader is written, or None.

    Raises:
        UsageError: the driver has no way to show one of the channels.
    """

    def __init__(
        self, run: Run, encoder: Encoder, outlets: Sequence[Outlet], pace: float = 1.0, shown: TextIO | None = None
    ) -> None:
        self._run, self._outlets, self._pace, self._shown = run, outlets, pace, shown
        self._frames = sorted(
            (frame for k, outlet in enumerate(outlets) for frame in encoded(run, encoder, outlet.channels, k)),
            key=lambda frame: frame.time_s,
        )
        if shown is not None:
            shown.write("time_s,channel,value,quantity,resolution,flags\n")
            shown.flush()

    def play(self, laps: int | None = None) -> None:
        """Wait for a reader, then play so many laps, or without end."""
        while not any(outlet.port.listening() for outlet in self._outlets):
            time.sleep(WAIT_S)
        begin_s = time.monotonic()
        for lap in count() if laps is None else range(laps):
            for frame in self._frames:
                self._play_frame(frame, begin_s + (lap * self._run.lap_s + frame.time_s) / self._pace)
            end_s = begin_s + (lap + 1) * self._run.lap_s / self._pace
            time.sleep(max(0.0, end_s - time.monotonic() - WAIT_S))

    def _play_frame(self, frame: Frame, due_s: float) -> None:
        while (wait_s := due_s - time.monotonic()) > 0:
            time.sleep(min(wait_s, 0.5))
        outlet = self._outlets[frame.outlet]
        if outlet.port.write(frame.data) and self._shown is not None:
            for reading in frame.shown:
                channel = outlet.channels[reading.column] + 1
                what = f"{reading.value!r},{reading.quantity},{reading.resolution!r},{int(reading.flags)}"
                self._shown.write(f"{due_s:.6f},{channel},{what}\n")
            self._shown.flush()


def encoded(run: Run, encoder: Encoder, channels: tuple[int, ...], outlet: int = 0) -> Iterator[Frame]:
    """Yield what a run displays of some channels, as frames in order of time from the run's beginning.

    Raises:
        UsageError: the encoder has no way to show one of them.
    """
    fitted: dict[Reading, Reading] = {}
    for time_s, group in groupby(run.displays(channels, 0.0), key=lambda reading: reading.time_s):
        shown = []
        for reading in group:
            timeless = reading._replace(time_s=0.0)
            if timeless not in fitted:
                fitted[timeless] = _fit(encoder, timeless)
            shown.append(fitted[timeless])
        yield Frame(time_s, outlet, encoder.encode(shown), tuple(shown))


def shows_columns(encoder: Encoder, run: Run) -> bool:
    """Tell whether one frame of the encoder can show all channels of a run."""
    first = [run.displays((k,), 0.0)[0]._replace(column=k) for k in range(len(run.probes))]
    try:
        encoder.encode([_fit(encoder, reading) for reading in first])
    except (EncodeError, UsageError):
        return False
    return True


def _fit(encoder: Encoder, reading: Reading) -> Reading:
    fitted = nearest_shown(encoder, reading)
    if fitted is None:
        what = f"{reading.quantity.words} in steps of {reading.resolution:g} {reading.quantity.unit}"
        if abs(reading.value) == float("inf"):
            what = f"an overload of {reading.quantity.words}"
        raise UsageError(f"that driver cannot show {what}: choose another with --driver, or other --counts")
    return fitted
