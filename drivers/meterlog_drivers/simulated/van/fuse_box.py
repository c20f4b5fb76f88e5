"""The van's fuse box with the key off: control units fall asleep one after the other, one branch stays awake.

The time to fall asleep is shorter than in life, so that a person who tries the sweep sees it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from meterlog.errors import AddressError, did_you_mean
from meterlog.fuses import fuse_named
from meterlog.reading import Quantity
from meterlog_drivers.simulated.meter import MeterModel
from meterlog_drivers.simulated.scenario import Probe, Scenario, Setup
from meterlog_drivers.simulated.van.vehicle import STEP_S, Signal, Trip

BATTERY, OFF = "battery", "off"
"""The place of a clamp at the battery, and that of probes that touch nothing."""
ASLEEP_S = 60.0
"""After which only what stays awake draws, s: minutes to an hour in life."""
PLAYED_S = 30.0
"""The length of what is shown at one place before it begins again, s."""
UNFUSED_A = 0.004
"""Says what the alternator's diodes leak past the fuses, A (from memory, unverified)."""
FUSE_DEVIATION = 0.12
"""The most by which a fuse differs from the table, as a share: inside the table's spread (a guess)."""
_KINDS = {
    "F1": ("blade-30A", 0.0, 0.0),
    "F2": ("mini-10A", 0.6, 0.002),
    "F3": ("mini-15A", 1.5, 0.008),
    "F4": ("mini-10A", 0.3, 0.0),
    "F5": ("mini-7.5A", 0.1, 0.003),
    "F6": ("blade-20A", 0.9, 0.001),
}
"""Each fuse: its kind, what hangs on it while it is awake and when it is asleep, A (guesses)."""


@dataclass(frozen=True)
class FuseBox:
    """The fuse box of one seed: which branch stays awake, how much that draws, what each fuse has."""

    seed: int = 0

    @cached_property
    def culprit(self) -> str:
        """The place of the fuse whose branch stays awake."""
        return str(np.random.default_rng([self.seed, 7]).choice(list(_KINDS)))

    def draw_a(self, place: str, since_s: float) -> float:
        """Return what flows through a fuse, or out of the battery, so long after key-off, A."""
        if place == BATTERY:
            return UNFUSED_A + sum(self.draw_a(one, since_s) for one in _KINDS)
        _, awake, asleep = _KINDS[place]
        rng = np.random.default_rng([self.seed, 8, list(_KINDS).index(place)])
        stays = float(rng.uniform(0.15, 0.4)) if place == self.culprit else 0.0
        return stays + (awake if since_s < float(rng.uniform(0.2, 1.0)) * ASLEEP_S else asleep)

    def ohm(self, place: str) -> float:
        """Return what this very fuse has, ohm."""
        rng = np.random.default_rng([self.seed, 9, list(_KINDS).index(place)])
        return fuse_named(_KINDS[place][0]).ohm * (1.0 + float(rng.uniform(-1.0, 1.0)) * FUSE_DEVIATION)

    def scenario(self, place: str, since_s: float) -> Scenario:
        """Return what a meter shows at a place, from so long after key-off on.

        Raises:
            AddressError: the box has no such fuse.
        """
        where = next((one for one in (*_KINDS, BATTERY, OFF) if one.casefold() == place.casefold()), None)
        if where is None:
            known = ", ".join(f"{one} ({kind})" for one, (kind, _, _) in _KINDS.items())
            hint = did_you_mean(place, [*_KINDS, BATTERY, OFF])
            raise AddressError(f"the fuse box has no '{place}'{hint}; it has {known}, and {BATTERY} for a clamp")
        signal = self._signal(where, since_s)
        volts = signal.quantity is Quantity.DC_VOLTAGE
        meter = MeterModel(full_scale=0.4 if volts else 4.0)
        probe = Probe(where, where, lambda _: signal)
        return Scenario("fuse-box", f"the fuse box, {where}", lambda _: Setup(Trip(PLAYED_S), (probe,), meter=meter))

    def _signal(self, place: str, since_s: float) -> Signal:
        steps = round(PLAYED_S / STEP_S) + 1
        if place == OFF:
            return Signal(Quantity.DC_VOLTAGE, STEP_S, np.zeros(steps), np.zeros(steps, dtype=bool))
        last_s = math.ceil(PLAYED_S)
        draws = [self.draw_a(place, since_s + n) for n in range(last_s + 1)]
        amperes = np.repeat(draws, round(1 / STEP_S))[:steps]
        volts = place != BATTERY
        value = amperes * self.ohm(place) if volts else amperes
        quantity = Quantity.DC_VOLTAGE if volts else Quantity.DC_CURRENT
        return Signal(quantity, STEP_S, value, np.zeros(steps, dtype=bool))
