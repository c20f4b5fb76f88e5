"""A meter at the van on a port, whose probes and key somebody moves by lines of text.

`plug_feed to plug_ground, unplugged, crank` takes the probes off, clips on there, and turns the key to start and back,
once; an empty line turns it again. `ohms plug_ground to body` (tips together first) and `amps fuse` turn the dial.
`lamp fuse_out` holds a test lamp there, `look prime_heard` looks or listens, `repaired relay` puts a part right,
`reveal` tells what was wrong.
"""

from __future__ import annotations

import math
import queue
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import count
from typing import Literal

import numpy as np

from meterlog.circuit.readings.measurement import QUANTITY, Measurement
from meterlog.circuit.readings.typed_answers import typed_place
from meterlog.driver.framing import Encoder
from meterlog.errors import MeterlogError, UsageError
from meterlog.reading import Quantity
from meterlog_drivers.simulated.emulation.emulator import encoded
from meterlog_drivers.simulated.emulation.ports import Port
from meterlog_drivers.simulated.measured import FULL_SCALE, MeasuredVan
from meterlog_drivers.simulated.meter import MeterModel
from meterlog_drivers.simulated.scenario import Probe, Run, Scenario, Setup
from meterlog_drivers.simulated.van.vehicle import LEADS_OHM, STEP_S, Signal, Trip

DIALS = {"volts": "voltage", "drop": "voltage_drop", "amps": "current", "ohms": "resistance", "lamp": "lamp"}
"""The words for what is read, at the beginning of a line."""
HELP = (
    "PLACE [to PLACE][, unplugged][, crank|key on|run|off] clips on and turns the key; ohms, amps or lamp before it;"
    " look KEY; repaired PART; reveal"
)
_LOOK_S = 0.02
"""Interval at which a new line is looked for, s: a tenth of a fast meter's display."""
OFF_S, TIPS_S = 3.3, 1.7
"""The probes are off for so long on their way (a person reads what is next, and moves two), and their tips together
before ohms, s. Guesses."""


@dataclass(frozen=True, slots=True)
class Step:
    """Holds what the hands do: `off` (the probes are), `tips` (together), `turn` (clipped on, the key once), `rest`."""

    doing: Literal["off", "tips", "turn", "rest"]
    most_s: float = math.inf


def _leads(step: Step, place: Measurement) -> Scenario:
    """Return what free leads show on that dial, or leads with their tips together."""
    quantity, steps = QUANTITY[place.quantity], round(step.most_s / STEP_S) + 1
    open_ends = step.doing == "off"
    value = np.full(steps, (math.inf if open_ends else LEADS_OHM) if place.quantity == "resistance" else 0.0)
    signal = Signal(quantity, STEP_S, value, np.full(steps, open_ends and quantity is Quantity.DC_VOLTAGE))
    probe = Probe("leads", place.at, lambda _: signal)
    meter = MeterModel(full_scale=FULL_SCALE[place.quantity])
    return Scenario("leads", "free leads", lambda _: Setup(Trip(step.most_s), (probe,), meter=meter))


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
        self._hands: list[Step] = []
        self._turns = False

    def tell(self, line: str) -> None:
        """Hand a line over; it is done at the next display."""
        self._lines.put(line)

    def play(self, say: Callable[[str], None]) -> None:
        """Show without end; each line is answered by one."""
        for turn in count():
            step = self._hands.pop(0) if self._hands else Step("rest")
            self._show(step, turn, say)

    def _show(self, step: Step, turn: int, say: Callable[[str], None]) -> None:
        """One thing that the hands do; a line ends it."""
        run, self._turns = self._run(step, turn), step.doing == "turn"
        begin_s, until_s = time.monotonic(), min(step.most_s, run.lap_s)
        for frame in encoded(run, self._encoder, (0,)):
            if frame.time_s > until_s or self._told_before(begin_s + frame.time_s / self._pace, say):
                return
            self._port.write(frame.data)
        self._told_before(begin_s + until_s / self._pace, say)

    def _run(self, step: Step, turn: int) -> Run:
        if step.doing in ("off", "tips"):
            return _leads(step, self._place).run(turn, together=True, **self._meter)
        ohms = self._place.quantity == "resistance"
        place = self._place if step.doing == "turn" or ohms else replace(self._place, state="off")
        return self._van.scenario(place, turn).run(self._van.seed, together=True, **self._meter)

    def _told_before(self, due_s: float, say: Callable[[str], None]) -> bool:
        """Wait until then; True where a line came first that the hands act on."""
        while (wait_s := due_s - time.monotonic()) > 0:
            try:
                line = self._lines.get(timeout=min(wait_s, _LOOK_S))
            except queue.Empty:
                continue
            before = self._hands
            try:
                say(self.do(line))
            except MeterlogError as error:
                say(str(error))
            if self._hands is not before:
                return True
        return False

    def do(self, line: str) -> str:
        """Do what a line says; what to answer.

        Raises:
            MeterlogError: it says nothing that can be done.
        """
        word, _, rest = line.strip().partition(" ")
        if not word:
            if self._turns:
                self._hands.append(Step("turn"))  # once the key is back
            else:
                self._hands = [Step("turn")]
            return f"again {self._place.place}"
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
        tips = [Step("tips", TIPS_S), Step("off", OFF_S)] if place.quantity == "resistance" else []
        self._hands = [Step("off", OFF_S), *tips, Step("turn")]
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
