"""A meter at the van's fuse box on a port, whose probes somebody moves by lines of text, and a clamp on a second one.

`F3` takes the probes off and puts them on that fuse; `off` takes them off; `reveal` tells which branch stays awake.
"""

from __future__ import annotations

import itertools
import math
import queue
import time
from collections.abc import Callable, Mapping

from meterlog.driver.framing import Encoder
from meterlog.errors import MeterlogError
from meterlog_drivers.simulated.emulation.emulator import encoded
from meterlog_drivers.simulated.emulation.ports import Port
from meterlog_drivers.simulated.van.fuse_box import ASLEEP_S, BATTERY, OFF, PLAYED_S, FuseBox

HELP = "F1 to F6 puts the probes on that fuse; off; reveal"
OFF_DISPLAYS = 2
"""Displays without contact while the probes move: less than a second. A guess."""


class FuseBoxPorts:
    """Shows what is across a fuse on one port and the battery's current on another, and does what lines say.

    Args:
        box: what is measured.
        encoder: of the driver to speak.
        ports: where the frames of the meter across the fuses and of the clamp go.
        pace: how many of the box's seconds go into one.
        model: fields of `MeterModel` that are other than usual.
    """

    def __init__(
        self, box: FuseBox, encoder: Encoder, ports: tuple[Port, Port], pace: float, model: Mapping[str, float]
    ) -> None:
        self._box, self._encoder, (self._meter, self._clamp) = box, encoder, ports
        self._pace, self._model = pace, model
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._place, self._off = OFF, 0
        self._shown: dict[tuple[str, int], list[bytes]] = {}

    def tell(self, line: str) -> None:
        """Hand a line over; it is done at the next display."""
        self._lines.put(line)

    def play(self, say: Callable[[str], None], displays: int | None = None) -> None:
        """Show so many displays, or without end; each line is answered by one."""
        begin_s, interval_s = time.monotonic(), self._model["interval_s"]
        for n in itertools.count() if displays is None else range(displays):
            time.sleep(max(0.0, begin_s + n * interval_s / self._pace - time.monotonic()))
            while not self._lines.empty():
                say(self.do(self._lines.get()))
            self._off = max(0, self._off - 1)
            self._meter.write(self._frame(OFF if self._off else self._place, n))
            self._clamp.write(self._frame(BATTERY, n))

    def do(self, line: str) -> str:
        """Do what a line says; what to answer."""
        word = line.strip()
        if word == "reveal":
            return f"{self._box.culprit} stays awake: {1000 * self._box.draw_a(self._box.culprit, 1e6):.0f} mA"
        try:
            self._box.scenario(word, 0.0)
        except MeterlogError as error:
            return str(error)
        self._place, self._off = word, OFF_DISPLAYS + 1
        return f"probes on {word}" if word.casefold() != OFF else "probes off"

    def _frame(self, place: str, display: int) -> bytes:
        """Return what is shown at a place at the n-th display."""
        part, n = divmod(display, max(1, round(PLAYED_S / self._model["interval_s"])))
        key = place, min(part, math.ceil(ASLEEP_S / PLAYED_S))  # from then on nothing changes
        if key not in self._shown:
            run = self._box.scenario(place, key[1] * PLAYED_S).run(self._box.seed, together=True, **self._model)
            self._shown[key] = [frame.data for frame in encoded(run, self._encoder, (0,))]
        return self._shown[key][n]
