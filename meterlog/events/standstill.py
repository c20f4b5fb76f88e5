"""A display that stood still: the same to the last digit for longer than its own flicker allows.

A meter that hangs, a logger that repeats the last value, or a gateway that answers for a meter that is gone goes on
telling a number. Where the digits flickered before, at the same level, a look repeats the one before only now and then;
so many repeats in a row would be a wonder, and nothing was watched meanwhile.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from meterlog.events.event import Event
from meterlog.series import Series
from meterlog.text.figures import seconds, shown

_BEFORE = 64
"""Looks before a run that tell how the digits flicker: a choice."""
_LEAST_NEAR = 24
"""Fewer of them at the level of the run tell nothing: a guess."""
_NEAR_SHARE = 0.02
"""They are at its level within this share; what lies elsewhere is another state of the circuit. A guess."""
_TWO_COUNTS, _LEAST_JUMPS = 1.5, 3
"""So many jumps back by more counts than this tell noise wherever the level stands: guesses."""
_LEAST_SHARE = 0.5
"""In the middle of a count noise shows at least so much as between two: a guess, for noise that jumps by two."""
_BACK_SHARE = 0.75
"""Of the wide jumps of noise so many go back, at the least two of three (arithmetic) and more the wider."""
_LEAST_REPEATS = 16
"""Shorter runs are not looked at: a choice."""
_EVIDENCE = 15.0
"""A run counts that chance would bring about with at most exp(-15), 3 in ten million, for a log has a million looks."""
_FLAGS_A_WORD = 8
_FEW = 200
"""So many words without a change are looked at one by one; for more all changes are listed. A choice for speed."""

Floats = NDArray[np.float64]


class Standstill:
    """Finds the runs of one value on a channel that no flicker explains.

    Attributes:
        events: what was found so far.
    """

    def __init__(self, channel: int, unit: str) -> None:
        self.events: list[Event] = []
        self._channel, self._unit = channel, unit
        self._recent: Floats = np.empty(0)
        self._before: Floats = np.empty(0)
        self._repeats = 0
        self._start_s = self._last_s = 0.0

    def feed(self, looks: Series) -> None:
        """Take on more looks, in time order."""
        if not len(looks):
            return
        kept = len(self._recent)
        value = np.concatenate([self._recent, looks.value]) if kept else looks.value
        changed = np.empty(len(value), np.bool_)
        changed[0] = not kept
        np.not_equal(value[1:], value[:-1], out=changed[1:])
        changed = changed[kept:]
        time_s = looks.time_s
        if changed.any():
            first = int(changed.argmax())
            self._repeats += first
            self._judge(self._before, float(value[kept + first - 1]), time_s[first - 1] if first else self._last_s)
            for start, stop in _long_runs(changed):
                self._begin(value, kept + start, time_s[start], stop - start - 1)
                self._judge(self._before, float(value[kept + start]), time_s[stop - 1])
            last = len(changed) - 1 - int(changed[::-1].argmax())
            self._begin(value, kept + last, time_s[last], len(changed) - 1 - last)
        else:
            self._repeats += len(changed)
        self._last_s = float(time_s[-1])
        self._recent = value[-_BEFORE:]

    def finish(self) -> None:
        """The looks have come to their end."""
        if len(self._recent):
            self._judge(self._before, float(self._recent[-1]), self._last_s)

    def _begin(self, value: Floats, index: int, start_s: float, repeats: int) -> None:
        """A run of one value begins at `index`."""
        self._before = value[max(index - _BEFORE, 0) : index]
        self._start_s, self._repeats = float(start_s), repeats

    def _judge(self, before: Floats, value: float, last_s: float) -> None:
        """The run at hand has ended: say so where it was too long."""
        if self._repeats < _LEAST_REPEATS or self._repeats * -math.log(1.0 - _flicker(before, value)) < _EVIDENCE:
            return
        length_s = float(last_s) - self._start_s
        self.events.append(
            Event(
                "held_display",
                self._channel,
                self._start_s,
                float(last_s),
                length_s,
                level=value,
                detail=f"the display stood still at {shown(value, self._unit, digits=5)} for {seconds(length_s)}, to "
                "the last digit, though it flickered before: it may have been frozen, so this time was not watched",
            )
        )


def _flicker(before: Floats, value: float) -> float:
    """Return how likely a look differs from the one before it, at the least, by those before a run at its level.

    A level between two counts flickers by one count, and no more once it drifted to the middle of one; a level that
    moves leaves no count out, and goes on. Only noise jumps back and forth by two counts, wherever the level stands.
    """
    if not math.isfinite(value):
        return 0.0
    finite = np.where(np.isfinite(before), before, 0.0)
    near = np.abs(finite - value) <= _NEAR_SHARE * abs(value)
    jumps = np.diff(finite)[near[1:] & near[:-1]]
    sizes = np.abs(jumps)
    least = sizes[sizes > 0.0].min(initial=np.inf)
    back = np.count_nonzero((sizes[1:] > _TWO_COUNTS * least) & (jumps[1:] * jumps[:-1] < 0.0))
    if len(jumps) < _LEAST_NEAR or back < _LEAST_JUMPS:
        return 0.0
    return float(max(_LEAST_SHARE * np.count_nonzero(sizes), back / _BACK_SHARE)) / len(jumps)


def _long_runs(changed: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """The runs that begin and end in sight: the first look of one value, and the first of the next."""
    words = changed[: len(changed) // _FLAGS_A_WORD * _FLAGS_A_WORD].copy().view(np.uint64)
    still = np.flatnonzero(words == 0)  # so many repeats hold a whole word of them, and most logs have hardly any
    if len(still) <= _FEW:
        return _runs_at(changed, still)
    changes = np.flatnonzero(changed)
    long = np.flatnonzero(np.diff(changes) > _LEAST_REPEATS)
    return [(int(changes[at]), int(changes[at + 1])) for at in long]


def _runs_at(changed: NDArray[np.bool_], still: NDArray[np.int64]) -> list[tuple[int, int]]:
    """The long runs through some words without a change."""
    found: dict[int, int] = {}
    for word in still:
        first, after = int(word) * _FLAGS_A_WORD, (int(word) + 1) * _FLAGS_A_WORD
        back, on = changed[:first][::-1], changed[after:]
        if back.any() and on.any():
            start, stop = first - 1 - int(back.argmax()), after + int(on.argmax())
            if stop - start > _LEAST_REPEATS:
                found[start] = stop
    return list(found.items())
