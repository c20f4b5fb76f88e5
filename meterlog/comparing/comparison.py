"""The result of a comparison: alignment, measures with verdicts, and excursions from the band of the known-good."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.sides import KNOWN_GOOD, Sides
from meterlog.signal.tolerance import LEAST, SHARE

Same = Literal["same within error", "different", "cannot tell"]
"""The spelling is part of `compare --json`."""


@dataclass(frozen=True, slots=True)
class Alignment:
    """The alignment of one known-good capture with the suspect one.

    Attributes:
        good: the known-good session's path.
        method: `prime onset`, `crank onset`, `marker NAME`, `cross-correlation`, or `none` where nothing served.
        offset_s: what to add to a time of the known-good session to come to the suspect's, s; the first pass.
        error_s: half-width of what the offset may be wrong by, s; None where it was not aligned.
    """

    good: str
    method: str
    offset_s: float
    error_s: float | None


class Counted(NamedTuple):
    """Holds what was counted on both sides, and of how much.

    Attributes:
        good: how many in the known-good; events in one burst count once.
        good_of: for how long one could have been seen there, s; or at how many key-ons.
        suspect: how many in the suspect.
        suspect_of: for how long one could have been seen there, s; or at how many key-ons.
        timed: whether it is of a time.
    """

    good: int
    good_of: float
    suspect: int
    suspect_of: float
    timed: bool = True


@dataclass(frozen=True, slots=True)
class Measure:
    """One figure of the known-good against the same of the suspect.

    Attributes:
        measure: its name.
        part: which pass: the number of the prime, crank or marker, from 1; None for the whole capture.
        unit: of all figures here.
        good: of the known-good (the median of several); None where absent.
        good_error: half-width: the meter's error, or where that is larger the spread of several known-good; of ten or
            more how far what is normal reaches from `good` towards the suspect.
        suspect: of the suspect; None where absent.
        suspect_error: half-width.
        difference: suspect - good.
        uncertainty: half-width of the difference, covering the truth at least 95 times in 100.
        verdict: 'same within error', 'different', or 'cannot tell'.
        note: what a person must know to read it; may be empty.
        counted: what a rate comes from; None for other measures.
    """

    measure: str
    part: int | None
    unit: str
    good: float | None
    good_error: float | None
    suspect: float | None
    suspect_error: float | None
    difference: float | None
    uncertainty: float | None
    verdict: Same
    note: str = ""
    counted: Counted | None = None


@dataclass(frozen=True, slots=True)
class Excursion:
    """A stretch in which the suspect leaves the band of the known-good by more than the combined error.

    Attributes:
        part: which pass, from 1; None where there is one only.
        start_s: s from the suspect session's start.
        end_s: s from the suspect session's start.
        value: the suspect's reading where it is farthest out; None for overload.
        reference: the median of the known-good there; None for overload.
        difference: value - reference.
        beyond: how far the reading is past the band and the combined error, in the channel's unit; positive.
    """

    part: int | None
    start_s: float
    end_s: float
    value: float | None
    reference: float | None
    difference: float | None
    beyond: float | None


@dataclass(frozen=True, slots=True)
class Band:
    """The reference band of one pass at the suspect's n reading times.

    Attributes:
        part: which pass, from 1; None where there is one only.
        time_s: float64 (n,), s from the suspect session's start.
        suspect: float64 (n,), the suspect's readings.
        middle: float64 (n,), the median of the known-good; NaN where none is known.
        low: float64 (n,), the lowest that a known-good reading may be there, the alignment's error included.
        high: float64 (n,), the highest.
        error: float64 (n,), the combined error of the meters, half-width.
        chance: of many known-good the probability that another one leaves it anywhere, at most; None of few.
        odd: which of them were left out of it, from 0.
    """

    part: int | None
    time_s: NDArray[np.float64]
    suspect: NDArray[np.float64]
    middle: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    error: NDArray[np.float64]
    chance: float | None = None
    odd: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class ChannelComparison:
    """One channel of the suspect with its fellows in the known-good captures."""

    label: str
    quantity: str
    unit: str
    suspect: str
    suspect_channel: int
    good_channels: tuple[int, ...]
    alignment: tuple[Alignment, ...]
    measures: tuple[Measure, ...]
    excursions: tuple[Excursion, ...]
    bands: tuple[Band, ...]
    notes: tuple[str, ...]

    @property
    def false_alarm(self) -> float | None:
        """Return in how many sound ones something would be called different here, at most; None of few known-good.

        By Bonferroni's inequality: what each measure and each band allows, added.
        """
        if len(self.good_channels) < LEAST:
            return None
        tested = sum(m.difference is not None or m.counted is not None for m in self.measures)
        return min(1.0, tested * (1 - SHARE) + math.fsum(band.chance or 0.0 for band in self.bands))

    @property
    def verdict(self) -> Same:
        """Different where anything is, else same where anything could be told, and no count of faults is left open."""
        verdicts = [m.verdict for m in self.measures]
        if self.excursions or "different" in verdicts:
            return "different"
        if any(m.counted is not None and m.verdict == "cannot tell" for m in self.measures):
            return "cannot tell"
        return "same within error" if "same within error" in verdicts else "cannot tell"


@dataclass(frozen=True, slots=True)
class Comparison:
    """Known-good captures against a suspect one, or what was recorded before against what was recorded after.

    Attributes:
        good: the known-good sessions' paths.
        suspect: the suspect sessions' paths.
        channels: one entry for each channel that both sides have.
        unpaired: channels that have no fellow, in words.
        notes: what else a person must know.
        deciding: those of `unpaired` that tell something about the circuit.
        itself: a sentence for each session that stands on both sides.
        sides: what the two sides are called.
    """

    good: tuple[str, ...]
    suspect: tuple[str, ...]
    channels: tuple[ChannelComparison, ...]
    unpaired: tuple[str, ...]
    notes: tuple[str, ...]
    deciding: tuple[str, ...] = ()
    itself: tuple[str, ...] = ()
    sides: Sides = KNOWN_GOOD

    @property
    def doubts(self) -> list[str]:
        """Say why the channels alone do not show that the sides are the same; for the headline."""
        return [*self.itself, *(f"Not compared: {words}." for words in self.deciding)]

    @property
    def verdict(self) -> Same:
        """Different where any channel is, same where all are and nothing is left open, else it cannot be told."""
        verdicts = {channel.verdict for channel in self.channels}
        if "different" in verdicts:
            return "different"
        return "same within error" if verdicts == {"same within error"} and not self.doubts else "cannot tell"

    def as_json(self) -> dict[str, object]:
        """The object of `compare --json`, described in this folder's README; overload and absent figures are null."""
        found = {
            "good": list(self.good),
            "suspect": self.suspect[0] if len(self.suspect) == 1 else list(self.suspect),
            "verdict": self.verdict,
            "channels": [_channel_json(channel) for channel in self.channels],
            "unpaired": list(self.unpaired),
            "notes": [*self.itself, *self.notes],
        }
        renamed: dict[str, object] = _renamed(found, self.sides)
        return renamed


def _channel_json(channel: ChannelComparison) -> dict[str, object]:
    return {
        "label": channel.label,
        "quantity": channel.quantity,
        "unit": channel.unit,
        "suspect": channel.suspect,
        "suspect_channel": channel.suspect_channel,
        "good_channels": list(channel.good_channels),
        "verdict": channel.verdict,
        "false_alarm": channel.false_alarm,
        "alignment": _plain(channel.alignment),
        "measures": _plain(channel.measures),
        "excursions": _plain(channel.excursions),
        "notes": list(channel.notes),
    }


def _plain(entries: Sequence[Alignment | Measure | Excursion]) -> list[dict[str, object]]:
    return [
        {
            key: None if isinstance(value, float) and not math.isfinite(value) else value
            for key, value in asdict(e).items()
        }
        for e in entries
    ]


def _renamed(found: Any, sides: Sides) -> Any:
    """The same with the keys as the sides are called."""
    if isinstance(found, dict):
        return {sides.key(key): _renamed(value, sides) for key, value in found.items()}
    if isinstance(found, Counted):
        return _renamed(found._asdict(), sides)
    return [_renamed(value, sides) for value in found] if isinstance(found, list) else found
