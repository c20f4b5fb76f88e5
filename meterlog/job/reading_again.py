"""A reading that is taken again after a repair: before, after, what a sound circuit shows, and what that proves."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from meterlog.circuit.evidence.repeats import apart
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.probability.noise import noise, shown_y
from meterlog.circuit.probability.predict_ohms import OHM_OFFSET
from meterlog.circuit.readings.measurement import UNITS, Measurement
from meterlog.text.figures import shown

ERRORS = 2.0
"""The error of a reading in its standard deviations: where it lies 19 times in 20."""

Judged = Literal["sound", "better", "outside", "cannot tell", "not read"]
Band = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Again:
    """A deciding place, before and after the repair.

    Attributes:
        circuit: it belongs to.
        before: as read before; its value is NaN where it was not read.
        after: all readings of the same place, state and load since, oldest first.
        sound: what a sound circuit shows there, in the unit.
        verdict: `better` where it lies between sound and faulty, nearer to sound than before by more than the errors;
            `cannot tell` where the errors reach across the limit.
        exhausted: it was read often enough, and still does not settle it.
    """

    circuit: Circuit
    before: Measurement
    after: tuple[Measurement, ...]
    sound: Band
    verdict: Judged
    exhausted: bool

    @property
    def before_words(self) -> str:
        """The reading before, with its error."""
        return "not read" if math.isnan(self.before.value) else with_error(self.circuit, self.before)

    @property
    def after_words(self) -> str:
        """The last reading now, with its error."""
        return with_error(self.circuit, self.after[-1]) if self.after else "not read again yet"

    @property
    def sound_words(self) -> str:
        """Return what a sound circuit shows."""
        return self.before.span(*self.sound)

    @property
    def place(self) -> str:
        """Return what is read where, in words."""
        return f"{self.before.quantity.replace('_', ' ')} {self.before.place}"

    @property
    def sentence(self) -> str:
        """All of it in one sentence."""
        end = {
            "sound": "",
            "better": ": between sound and faulty, and better than before by more than the errors of the readings",
            "outside": ": still outside",
            "cannot tell": ": too near the limit, or to what it was before, for the errors of the readings",
            "not read": "",
        }[self.verdict]
        now = f"{self.after_words} now" if self.after else self.after_words
        return f"{self.place}: {self.before_words} before, {now}; a sound circuit shows {self.sound_words}{end}"

    def as_json(self) -> dict[str, object]:
        """One deciding reading of `job status --json`; null for an overload or where there is none."""
        m, now = self.before, self.after[-1] if self.after else None
        row: dict[str, object] = {key: getattr(m, key) for key in ("quantity", "at", "to", "state", "load")}
        row |= {"unplugged": m.unplugged} if m.unplugged else {}
        return row | {
            "unit": UNITS[m.quantity],
            "before": _finite(m.value),
            "before_error": _finite(error_of(self.circuit, m)),
            "after": _finite(now.value) if now else None,
            "after_error": _finite(error_of(self.circuit, now)) if now else None,
            "sound": [_finite(edge) for edge in self.sound],
            "verdict": self.verdict,
            "text": self.sentence,
        }


def judged(
    circuit: Circuit, before: Measurement, after: Sequence[Measurement], bands: Sequence[Band], times: int, most: int
) -> Judged:
    """Judge the readings of one place since a repair.

    Sound is what lies in the band of a sound circuit within its own error, and differs from what was read before by
    more than the errors of both. Only the edge on the side of the reading before is held so near: a fuller battery than
    most is no rest of a voltage that was missing. A single reading outside is enough for 'outside', on either side.
    What stays between sound and faulty, however often it is read, is 'better' where every reading has come so much
    nearer.

    Args:
        circuit: it belongs to.
        before: NaN where it was not read.
        after: of the same place, oldest first.
        bands: of a sound circuit for each of them, which holds that reading's error.
        times: a contact that comes and goes must read sound so often.
        most: so many readings are all that is asked for.
    """
    if any(beyond(m, band) > 0 for m, band in zip(after, bands, strict=True)):
        return "outside"
    settled = [
        _sound(circuit, m, _facing(before, band)) and _changed(circuit, before, m)
        for m, band in zip(after, bands, strict=True)
    ]
    if sum(settled) >= times:
        return "sound"
    if len(after) >= most and all(_nearer(circuit, before, m, band) for m, band in zip(after, bands, strict=True)):
        return "better"
    return "cannot tell" if not all(settled) else "not read"


def beyond(m: Measurement, band: Band) -> float:
    """Return how far a reading lies outside of a band, in widths of what is told apart; 0 inside."""
    low, high = band
    nearest = min(max(m.value, low), high)
    if nearest == m.value:
        return 0.0
    edge = replace(m, value=nearest)
    error = m.error or 0.0
    if not apart(m, edge) and abs(m.value - nearest) <= max(error, high - low):
        return 0.0
    return abs(m.value - nearest) / max(high - low, error, 1e-3) if math.isfinite(m.value + nearest) else math.inf


def error_of(circuit: Circuit, m: Measurement) -> float:
    """Return a reading's error in its unit: as the meter states it, or as is usual; NaN for a lamp or an overload."""
    if m.quantity == "lamp" or not math.isfinite(m.value):
        return math.nan
    scale = m.value + OHM_OFFSET if m.quantity == "resistance" else 1.0
    return ERRORS * _noise(circuit, m) * scale


def with_error(circuit: Circuit, m: Measurement) -> str:
    """A reading with its error, `12.3 V +-0.3`; open and a lamp's brightness as they are."""
    error = error_of(circuit, m)
    return m.shown if math.isnan(error) else shown(m.value, UNITS[m.quantity], error)


def _sound(circuit: Circuit, m: Measurement, band: Band) -> bool:
    if m.quantity == "lamp":  # its words are wider than any error
        least, most = m.bulb.range(m.value)
        return least <= band[1] and band[0] <= most
    error = error_of(circuit, m)
    slack = 0.0 if math.isnan(error) else error
    return band[0] - slack <= m.value <= band[1] + slack


def _facing(before: Measurement, band: Band) -> Band:
    """The band with only the edge that the reading before lay beyond."""
    low, high = band
    return (low, math.inf) if before.value < low else (-math.inf, high) if before.value > high else band


def _changed(circuit: Circuit, before: Measurement, after: Measurement) -> bool:
    if math.isnan(before.value):
        return True
    both = ERRORS * math.hypot(_noise(circuit, before), _noise(circuit, after))
    return abs(shown_y(after) - shown_y(before)) > both


def _nearer(circuit: Circuit, before: Measurement, after: Measurement, band: Band) -> bool:
    """Tell whether a reading has come nearer to a band than the one before, by more than the errors of both."""
    if not math.isfinite(after.value):
        return False
    then, now = (abs(m.value - min(max(m.value, band[0]), band[1])) for m in (before, after))
    return now < then and _changed(circuit, before, after)


def _noise(circuit: Circuit, m: Measurement) -> float:
    """Return a reading's standard deviation on the scale of `predict`."""
    return float(noise(m, circuit, np.array(shown_y(m))))


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
