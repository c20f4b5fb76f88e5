"""A meter at the van on a port, whose probes and key somebody moves by lines of text.

`plug_feed to plug_ground, unplugged, crank` clips on there and turns the key to start, again and again until the next
line; `ohms plug_ground to body` and `amps fuse` turn the dial. `lamp fuse_out` holds a test lamp there, `look
prime_heard` looks or listens, `repaired relay` puts a part right, `reveal` tells what was wrong.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Mapping
from itertools import count

from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.typed_answers import typed_place
from meterlog.driver.framing import Encoder
from meterlog.errors import MeterlogError, UsageError
from meterlog_drivers.simulated.emulation.emulator import encoded
from meterlog_drivers.simulated.emulation.ports import Port
from meterlog_drivers.simulated.measured import MeasuredVan

DIALS = {"volts": "voltage", "drop": "voltage_drop", "amps": "current", "ohms": "resistance", "lamp": "lamp"}
"""The words for what is read, at the beginning of a line."""
HELP = (
    "PLACE [to PLACE][, unplugged][, crank|key on|run|off] clips on and turns the key; ohms, amps or lamp before it;"
    " look KEY; repaired PART; reveal"
)
_LOOK_S = 0.02
"""Interval at which a new line is looked for, s: a tenth of a fast meter's display."""


def line_for(m: Measurement) -> str:
    """The line that measures it."""
    dial = next(word for word, quantity in DIALS.items() if quantity == m.quantity)
    where = m.at if m.to == m.at or m.quantity == "current" else f"{m.at} to {m.to}"
    load = f"{m.side} side" if m.side else m.load
    return f"{dial} {where}, {load}, {m.state}"


class MovedProbes:
    """Shows what is between the probes, and does what lines say.

    Args:
        van: what is measured.
        encoder: of the driver to speak.
        port: where the frames go.
        pace: how many of the van's seconds go into one.
        meter: fields of `MeterModel` that are other than usual.
    """

    def __init__(self, van: MeasuredVan, encoder: Encoder, port: Port, pace: float, meter: Mapping[str, float]) -> None:
        self._van, self._encoder, self._port, self._pace, self._meter = van, encoder, port, pace, meter
        self._hidden = van.faults
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._place = van.place({"at": "plug_feed", "state": "off"})

    def tell(self, line: str) -> None:
        """Hand a line over; it is done at the next display."""
        self._lines.put(line)

    def play(self, say: Callable[[str], None]) -> None:
        """Show without end; each line is answered by one."""
        for turn in count():
            self._lap(turn, say)

    def _lap(self, turn: int, say: Callable[[str], None]) -> None:
        """One turn of the key; a line ends it."""
        run = self._van.scenario(self._place, turn).run(self._van.seed, together=True, **self._meter)
        begin_s = time.monotonic()
        for frame in encoded(run, self._encoder, (0,)):
            if self._told_before(begin_s + frame.time_s / self._pace, say):
                return
            self._port.write(frame.data)
        self._told_before(begin_s + run.lap_s / self._pace, say)

    def _told_before(self, due_s: float, say: Callable[[str], None]) -> bool:
        """Wait until then; True where a line came first, and was done."""
        while (wait_s := due_s - time.monotonic()) > 0:
            try:
                line = self._lines.get(timeout=min(wait_s, _LOOK_S))
            except queue.Empty:
                continue
            try:
                say(self.do(line))
            except MeterlogError as error:
                say(str(error))
            return True
        return False

    def do(self, line: str) -> str:
        """Do what a line says; what to answer.

        Raises:
            MeterlogError: it says nothing that can be done.
        """
        word, _, rest = line.strip().partition(" ")
        if word == "look":
            return f"{rest}: {self._van.look(rest.strip())}"
        if word == "reveal":
            return " and ".join(fault.words for fault in self._hidden) or "nothing is wrong"
        if word == "repaired":
            self._van = self._van.repaired(rest.strip())
            return f"{rest} is put right"
        place = placed(line, self._van)
        if place.quantity == "lamp":
            return f"{self._van.lamp(place)}, {place.place}"
        self._place = place
        return f"probes {place.place}"


def placed(line: str, van: MeasuredVan) -> Measurement:
    """Where a line puts the probes.

    Raises:
        MeterlogError: it is no place of the van, or cannot be measured so.
    """
    word, _, rest = line.strip().partition(" ")
    row = {"quantity": DIALS[word]} if word in DIALS else {}
    where = typed_place(rest if row else line.strip(), van.circuit)
    if where is None:
        raise UsageError(f"'{line.strip()}' is no place of the van: {HELP}")
    return van.place({**row, **where})
