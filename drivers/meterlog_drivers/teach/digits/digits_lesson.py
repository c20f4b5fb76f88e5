"""Finds the digits in frames, and with them the frame of each moment; names slips of the keyboard."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from meterlog_drivers.teach.digits.explaining import explaining_frames
from meterlog_drivers.teach.digits.integers import as_signed
from meterlog_drivers.teach.digits.nearby import Near, at_lag, each_shown, hidden_digits, still_ones
from meterlog_drivers.teach.digits.number_fit import Bits, NumberFit, most_known
from meterlog_drivers.teach.digits.number_search import (
    KINDS,
    LEAST_NUMBERS,
    different,
    find_numbers,
    settled,
)
from meterlog_drivers.teach.digits.segments.scattered import find_scattered
from meterlog_drivers.teach.lesson import Lesson
from meterlog_drivers.teach.moments import Label

LAGS = (0, 1, -1, 2)
"""Displays by which answers may be late, all of them; the likeliest first."""
LEAST_STILL = 4
"""Displays that stood still, without which nothing is known of the last digit; a guess."""
ROUNDS = 3
"""Rounds in which frames and digits find each other; a guess."""
MOST_UNEXPLAINED = 0.34
"""The share of moments that may be slips; a guess."""


def with_digits(lesson: Lesson, near: Near, kinds: Sequence[str] = KINDS) -> Lesson:
    """Find the digits, and with them the frame of each moment.

    Args:
        lesson: the frames and moments.
        near: the frames near each.
        kinds: of encoding, that are looked for; where not all are, only as far as displays stood still.
    """
    bits = lesson.bits
    numbered = [n for n, m in enumerate(lesson.moments) if near[n] and not m.label.overload]
    best: _Guess | None = None
    most = MOST_UNEXPLAINED * len(numbered)
    for guesses in (_guesses, _late_guesses):  # the latter take long
        for guess in guesses(lesson, near, numbered, bits, kinds):
            better = _with_sign(lesson, near, bits, _refined(lesson, near, bits, numbered, guess))
            if best is None or better.unexplained < best.unexplained:
                best = better
            if not best.unexplained:
                break
        if best is not None and best.unexplained <= most:
            break
    if best is None or best.unexplained > most:
        return lesson
    frame_of, late, slips = [], {}, {}
    for n, moment in enumerate(lesson.moments):
        at = at_lag(near[n], best.lag) if moment.label.overload else best.chosen.get(n)
        frame_of.append(-1 if at is None else at)
        if not near[n]:
            slips[n] = "no whole frame came near that moment"
        elif at is None:
            slips[n] = f"the frames then say {_said(best.fits[0], bits, near[n])}"
        elif near[n].index(at):
            late[n] = near[n][0] - at
    shown = [lesson.moments[n].label.counts for n, at in best.chosen.items() if at is not None]
    fits = tuple(replace(fit, most=most_known(shown)) for fit in best.fits)
    return replace(lesson, numbers=fits, frame_of=tuple(frame_of), late=late, slips=slips)


class _Guess(NamedTuple):
    """Holds hypotheses about the digits, by how many displays answers are late, and the frame of each moment."""

    fits: list[NumberFit]
    lag: int
    chosen: dict[int, int | None]

    @property
    def unexplained(self) -> int:
        """Return how many moments no frame near them explains."""
        return sum(at is None for at in self.chosen.values())


def _refined(lesson: Lesson, near: Near, bits: Bits, numbered: Sequence[int], guess: _Guess) -> _Guess:
    """Find the frame of each moment; frames found by the digits may tell more about the digits."""
    fits, chosen = guess.fits, guess.chosen
    for _ in range(ROUNDS):
        chosen = {n: _showing(fits[0], bits, near[n], lesson, n, guess.lag) for n in numbered}
        if not fits[0].regular:
            break
        sure = {n: at for n, at in chosen.items() if at is not None}
        again = find_numbers([lesson.moments[n].label for n in sure], bits[list(sure.values())])
        if not again or {(f.kind, f.places, str(f.codes)) for f in again} == {
            (f.kind, f.places, str(f.codes)) for f in fits
        }:
            break
        fits = again
    return guess._replace(fits=fits, chosen=chosen)


def _with_sign(lesson: Lesson, near: Near, bits: Bits, guess: _Guess) -> _Guess:
    """Read integers as widely as their sign reaches: copies of it in further bytes are the number's as well.

    Positive numbers alone leave it open whether the highest bit is a sign; a minus that was typed tells.
    """
    chosen = guess.chosen
    minus = [n for n in chosen if lesson.moments[n].label.minus]
    positive = [at for n, at in chosen.items() if at is not None and n not in minus]
    if not minus or not positive:
        return guess
    for wide in (wide for fit in guess.fits for wide in as_signed(fit, bits[positive[0]])):
        again = {n: _showing(wide, bits, near[n], lesson, n, 0) for n in chosen}
        if all(again[n] is not None for n in chosen if chosen[n] is not None) and any(
            again[n] is not None for n in minus
        ):
            return guess._replace(fits=[wide], chosen=again)
    return guess


def _guesses(lesson: Lesson, near: Near, numbered: Sequence[int], bits: Bits, kinds: Sequence[str]) -> Iterator[_Guess]:
    """The digits as displays that stood still show them; and as all show their upper digits."""
    still = still_ones(near, numbered, bits)
    fits = find_numbers([lesson.moments[n].label for n in still], bits[[near[n][0] for n in still]], kinds=kinds)
    if fits and not _half_known(fits):
        yield _Guess(fits, 0, {})
    labels = [lesson.moments[n].label for n in numbered]
    hidden = [0 if n in still else hidden_digits(label.digits) for n, label in zip(numbered, labels, strict=True)]
    if any(hidden) and len(still) >= LEAST_STILL:
        fits = find_numbers(labels, bits[[near[n][0] for n in numbered]], hidden, kinds)
        if fits and not _half_known(fits):
            yield _Guess(fits, 0, {})


def _half_known(fits: Sequence[NumberFit]) -> bool:
    """Tell whether segments are left open, of which all moments together may tell more."""
    return any(fit.kind == "segments" and not fit.structured for fit in fits)


def _late_guesses(
    lesson: Lesson, near: Near, numbered: Sequence[int], bits: Bits, kinds: Sequence[str]
) -> Iterator[_Guess]:
    """The digits by what explains most moments, by the usual lateness, and where their segments lie anywhere."""
    labels = [lesson.moments[n].label for n in numbered]
    if kinds == KINDS:
        yield from _explaining(labels, [near[n] for n in numbered], bits)
        best = max(_by_lag(lesson, near, numbered, bits), key=lambda guess: len(guess.fits[0].moments), default=None)
        if best is not None:
            yield best
            return
    if scattered := find_scattered(labels, each_shown(near, numbered, bits)):
        yield _Guess([scattered], 0, {})


def _explaining(labels: Sequence[Label], near: Near, bits: Bits) -> Iterator[_Guess]:
    """The digits of a regular layout by the frames that it explains, however late each answer was."""
    if len({label.digits for label in labels}) < LEAST_NUMBERS:
        return
    for kind in ("decimal", "segments"):
        each = [
            fit
            for frames in explaining_frames(kind, labels, bits, near)
            for fit in find_numbers(labels, bits[frames], kinds=(kind,))
        ]
        if fits := different([fit for fit in each if fit.regular or kind == "segments"]):
            yield _Guess(fits, 0, {})


def _by_lag(lesson: Lesson, near: Near, numbered: Sequence[int], bits: Bits) -> Iterator[_Guess]:
    """The digits as they are where all answers are late alike; the first that explains all moments is the last."""
    labels, frames_near = [lesson.moments[n].label for n in numbered], [near[n] for n in numbered]
    for lag in LAGS:
        start = [own[0] if (at := at_lag(own, lag)) is None else at for own in frames_near]
        for kind in KINDS if start else ():
            frames = settled(kind, labels, bits, frames_near, start)
            fits = [fit for fit in find_numbers(labels, bits[frames], kinds=(kind,)) if fit.regular]
            if fits:
                yield _Guess(fits, lag, {})
            if fits and len(fits[0].moments) == len(labels):
                return


def _showing(fit: NumberFit, bits: Bits, near: Sequence[int], lesson: Lesson, moment: int, lag: int) -> int | None:
    """The frame near a moment that shows the number typed: the usual distance back, else the nearest."""
    label = lesson.moments[moment].label
    usual = at_lag(near, lag)
    return next((at for at in (usual, *near) if at is not None and fit.shows(bits[at], label)), None)


def _said(fit: NumberFit, bits: Bits, near: Sequence[int]) -> str:
    """The numbers that frames show, each once."""
    return " or ".join(dict.fromkeys(fit.text(bits[at]).strip() for at in near[:2]))
