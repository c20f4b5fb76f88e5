"""Slips that are seen while the person is still lying there: a wrong dial, crossed leads, HOLD, a range too coarse."""

from __future__ import annotations

import math

from meterlog.circuit.readings.from_meter import NOTHING, QUANTITIES
from meterlog.circuit.readings.measurement import Measurement
from meterlog.job.taking.expected import Expected
from meterlog.reading import Flag, Quantity, Reading
from meterlog.text.figures import displayed

_IN_A_ROW = 2
"""So many readings in a row show a slip before it is said: one may be the dial on its way. A guess."""
_DEAD = (Quantity.RESISTANCE, Quantity.CONTINUITY, Quantity.DIODE, Quantity.CAPACITANCE)
_AMPERES = (Quantity.DC_CURRENT, Quantity.AC_CURRENT)
_VOLTS = (Quantity.DC_VOLTAGE, Quantity.AC_VOLTAGE)
_HELD = Flag.HOLD | Flag.MINIMUM | Flag.MAXIMUM
_COARSE_V, _COARSE_DROP_V, _COARSE_SHARE_A, _COARSE_OHM = 0.2, 0.02, 0.1, 0.5
"""One count is too coarse above this: V of a supply, V of a drop, share of the expected current, ohm. Guesses."""
_SURE_COUNTS = 2.0
"""Up to so many counts below nothing are the meter's own error. A guess."""
_FEW_COUNTS = 10.0
"""Ohms of fewer counts than these are on too high a range. A guess."""


class Slips:
    """Watches the readings of one measurement for what must not be entered."""

    def __init__(self, m: Measurement, sound: Expected) -> None:
        """Begin before the first reading; `sound` is what a sound circuit shows."""
        self._m, self._sound = m, sound
        self._wanted = QUANTITIES[m.quantity]
        self._seen = ""
        self._times = 0

    @property
    def said(self) -> str:
        """Return the slip that the last readings show, as sentences; empty while there is none."""
        return self._seen if self._times >= _IN_A_ROW else ""

    def feed(self, reading: Reading) -> bool:
        """Take a reading; True where it can be believed."""
        seen = self._slip(reading)
        self._times = self._times + 1 if seen and (self._seen or self._times == 0) else int(bool(seen))
        self._seen = seen
        return not seen

    def _slip(self, reading: Reading) -> str:
        if reading.quantity not in self._wanted:
            return self._wrong_dial(reading)
        if reading.flags & _HELD:
            return "The display is held (HOLD, MIN or MAX): press that key until it runs again."
        if reading.flags & Flag.OVERLOAD and self._m.quantity != "resistance":
            return "Overload: turn to the next higher range."
        if self._m.quantity == "resistance" and reading.value < -_SURE_COUNTS * reading.resolution:
            return "Less than no ohms: the circuit is live. Switch off and isolate it."
        if self._m.quantity != "resistance" and self._is_crossed(reading.value):
            return "Less than nothing: red and black are exchanged. Change them over."
        return self._too_coarse(reading)

    def _wrong_dial(self, reading: Reading) -> str:
        turn = f"The meter shows {reading.quantity.words}: turn it to {self._wanted[0].words}."
        if self._m.quantity == "resistance":
            live = reading.quantity in _VOLTS and abs(reading.value) >= NOTHING
            shown = displayed(reading.value, reading.quantity.unit, reading.resolution)
            return f"{shown} is there: the circuit is live. Switch off and isolate it, then ohms." if live else turn
        if reading.quantity in _DEAD:
            return f"Leads off first: no ohms on a live circuit. {turn}"
        if reading.quantity in _AMPERES:
            return f"Leads off first, red out of the current jack: there it is a short circuit. {turn}"
        return turn

    def _is_crossed(self, value: float) -> bool:
        if self._m.quantity == "current" and self._m.state == "run":
            return False  # a battery is charged then
        along = self._sound.active if abs(self._sound.active) > abs(self._sound.rest) else self._sound.rest
        return abs(value) >= NOTHING and math.copysign(1.0, value) != math.copysign(1.0, along)

    def _too_coarse(self, reading: Reading) -> str:
        count = reading.resolution
        if math.isnan(count) or math.isinf(reading.value):
            return ""
        if self._m.quantity == "resistance":
            coarse = count > _COARSE_OHM and abs(reading.value) < _FEW_COUNTS * count
        elif self._m.quantity == "current":
            coarse = count > _COARSE_SHARE_A * max(abs(self._sound.active), NOTHING)
        else:
            coarse = count > (_COARSE_DROP_V if abs(self._sound.active) < NOTHING else _COARSE_V)
        step = displayed(count, reading.quantity.unit)
        return f"The range is too coarse, one count is {step}: turn to the next lower range." if coarse else ""
