"""A run of a scenario as the display of a bench meter that is asked over SCPI, on TCP."""

from __future__ import annotations

import time
from itertools import groupby

import numpy as np

from meterlog.reading import Reading
from meterlog_drivers.simulated.emulation.scpi_instrument import Habits, ScpiInstrument, ScpiServer
from meterlog_drivers.simulated.scenario import Run


class ScpiDisplay:
    """A display by the clock; the scenario begins when it is first looked at, and repeats.

    A comma list has one function, so only the channels of the first one's quantity are shown.

    Args:
        run: the scenario's run, its channels displayed together.
        pace: how many seconds of the scenario go into one.
        ahead_s: it is looked at so long before the value goes out (the time that a measurement takes), s.
    """

    def __init__(self, run: Run, pace: float, ahead_s: float) -> None:
        self.channels = tuple(k for k in range(len(run.probes)) if run.quantity(k) is run.quantity(0))
        displays = run.displays(self.channels, 0.0)
        self._shown = [list(group) for _, group in groupby(displays, key=lambda reading: reading.time_s)]
        self._times = np.array([group[0].time_s for group in self._shown])
        self._lap_s, self._pace, self._ahead_s = run.lap_s, pace, ahead_s
        self._began_s: float | None = None

    def __call__(self) -> list[Reading]:
        """The readings that are displayed when the answer goes out, a column each."""
        if self._began_s is None:
            self._began_s = time.monotonic()
        passed_s = (time.monotonic() + self._ahead_s - self._began_s) * self._pace
        return self._shown[int(np.searchsorted(self._times, passed_s % self._lap_s, "right")) - 1]

    @property
    def over(self) -> bool:
        """True once the first lap has passed."""
        return self._began_s is not None and (time.monotonic() - self._began_s) * self._pace >= self._lap_s


def scpi_server(run: Run, pace: float, port: int) -> tuple[ScpiServer, ScpiDisplay]:
    """A bench meter on TCP that takes one display interval for each measurement.

    Raises:
        LinkBusy: another program has the port.
    """
    interval_s = run.models[0].interval_s / pace
    display = ScpiDisplay(run, pace, interval_s)
    return ScpiServer(ScpiInstrument(display, Habits(delay_s=interval_s)), port), display
