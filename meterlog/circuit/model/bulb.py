"""A test lamp: what it draws, how bright a share of its rated voltage looks, and the words for it.

A filament's resistance rises with its temperature: its current grows about as V^0.55, so its resistance as V^0.45, and
a cold one has about a tenth of the hot one's (from memory, unverified). An LED lamp draws some 12 mA and lights at a
fraction of its voltage: it loads nothing, and proves as little as a meter.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.model.circuit import FIGURES_FOR_V

BRIGHTNESS: Mapping[str, float] = {"dark": 0.0, "glowing": 0.27, "dim": 0.62, "bright": 1.0}
"""Each word with the middle of the shares of the rated voltage that it stands for."""
FILAMENT_EDGES, LED_EDGES = (0.15, 0.4, 0.85), (0.2, 0.3, 0.5)
"""Shares of the rated voltage at which a lamp begins to glow, is dim, and is bright. From memory, unverified."""
EDGE_BLUR = 0.08
"""Standard deviation of those edges: eyes, daylight and lamps differ. A guess."""
USUAL_W = 5.0
"""A usual test lamp at 12 V: 0.42 A. From memory, unverified."""
MOST_W = 100.0
"""Above it is no test lamp, but a headlight bulb. A guess."""
LED_OHM = 1000.0
"""An LED lamp with its resistor, ohm at 12 V: 5 to 20 mA (from memory, unverified)."""
COLD_SHARE, TEMPERATURE_EXPONENT = 0.1, 0.45
"""A cold filament's resistance as a share of the hot one's, and the exponent over the share of the voltage."""
STATED_SPREAD, UNSTATED_SPREAD = 0.15, 0.6
"""Standard deviation of the log of a lamp's resistance, where its watts are stated and where not. Guesses."""
HALF_AT = 1.18
"""Standard deviations at which a bell has fallen to a half: at an edge either word is as likely."""
_ROUNDS = 6
"""Each leaves at most 0.45 of the error of the log before it: 1 % is left."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Bulb:
    """A test lamp.

    Attributes:
        watt: at the system voltage; 0 for an LED lamp, None where nobody said.
    """

    watt: float | None = None

    @property
    def name(self) -> str:
        """Return what it is, in words."""
        return "an LED lamp" if self.watt == 0 else f"a {self.watt or USUAL_W:g} W lamp"

    @property
    def spread(self) -> float:
        """Standard deviation of the log of its resistance."""
        return UNSTATED_SPREAD if self.watt is None else STATED_SPREAD

    @property
    def edges(self) -> tuple[float, float, float]:
        """The shares of its rated voltage between dark, glowing, dim and bright."""
        return LED_EDGES if self.watt == 0 else FILAMENT_EDGES

    def range(self, share: float) -> tuple[float, float]:
        """The shares of the rated voltage that look like one, from 0 to inf."""
        bounds = (0.0, *self.edges, math.inf)
        k = int(np.searchsorted(self.edges, share, side="right"))
        return bounds[k], bounds[k + 1]

    def surely(self, share: float) -> tuple[float, float]:
        """The shares that look like one to everybody: from there outwards it fades as a bell of `EDGE_BLUR` does."""
        low, high = self.range(share)
        inset = HALF_AT * EDGE_BLUR
        low, high = (low + inset if low > 0 else low), high - inset
        return (low, high) if low <= high else ((low + high) / 2, (low + high) / 2)

    def word(self, share: float) -> str:
        """Return how a share of its rated voltage looks."""
        return list(BRIGHTNESS)[int(np.searchsorted(self.edges, share, side="right"))]

    def words(self, low: float, high: float) -> str:
        """Return how two shares of its rated voltage look: `dim`, `dark to glowing`."""
        first, last = self.word(low), self.word(high)
        return first if first == last else f"{first} to {last}"

    def hot_ohm(self, system_v: float) -> float:
        """Its resistance at its rated voltage, the system's."""
        if self.watt == 0:
            return LED_OHM * system_v / FIGURES_FOR_V
        return system_v**2 / (self.watt or USUAL_W)

    def settled_ohm(self, system_v: float, volts_across: Callable[[Array], Array]) -> Array:
        """Its resistance in a network, where temperature and voltage agree.

        Args:
            system_v: its rated voltage, V.
            volts_across: the voltage across it for a resistance, both of the batch's shape.
        """
        hot = self.hot_ohm(system_v)
        ohm = np.array(hot)
        if self.watt == 0:
            return ohm
        for _ in range(_ROUNDS):
            share = np.abs(volts_across(ohm)) / system_v
            ohm = hot * np.clip(share**TEMPERATURE_EXPONENT, COLD_SHARE, None)
        return ohm
