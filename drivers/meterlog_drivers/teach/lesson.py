"""Puts what was shown and the frames together: learns what the bytes mean, and names what does not fit.

A display is typed a moment late, and now and then wrongly: of the frames near a moment, the one is taken that shows
what was typed, once it is known how; a moment that no frame near it explains is a slip and decides nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from meterlog_drivers.teach.frame_finder import FramesFound
from meterlog_drivers.teach.mode_search import ModeFit, find_modes
from meterlog_drivers.teach.moments import Moment
from meterlog_drivers.teach.number_search import KINDS, Bits, NumberFit, as_signed, find_numbers, settled

BEFORE, AFTER = 3.2, 0.7
"""Intervals before and after a moment in which its frame is looked for: typed up to two displays late (a choice)."""
LAGS = (0, 1, -1, 2)
"""Displays by which answers may be late, all of them; the likeliest first."""


@dataclass(frozen=True)
class Lesson:
    """Holds what was learned.

    Attributes:
        found: the frames.
        moments: what was shown.
        numbers: the hypotheses about the digits; one where they are known.
        modes: what else a frame says; None where the digits are not known, or what was typed contradicts itself.
        frame_of: the frame of each moment; -1 where none was near, or none shows what was typed.
        late: how many displays late each moment was typed.
        slips: moments that no frame explains, and what the frames say in their place.
        overloads: the digits that mean overload.
        offset: what is added to every byte.
        problem: why nothing, or not all, was learned; empty where all was.
    """

    found: FramesFound
    moments: tuple[Moment, ...]
    numbers: tuple[NumberFit, ...] = ()
    modes: ModeFit | None = None
    frame_of: tuple[int, ...] = ()
    late: dict[int, int] = field(default_factory=dict)
    slips: dict[int, str] = field(default_factory=dict)
    overloads: tuple[str, ...] = ()
    offset: int = 0
    problem: str = ""

    @property
    def learned(self) -> bool:
        """True where a profile can be written."""
        return len(self.numbers) == 1 and self.modes is not None

    @property
    def tells_overload(self) -> bool:
        """True where it is known what an overload looks like."""
        fields = self.modes.fields if self.modes else ()
        return bool(self.overloads) or any("overload" in one.says and "unit" not in one.says for one in fields)

    def reads(self, frame: Bits) -> bool:
        """Tell whether all that a frame says was taught."""
        text = self.numbers[0].text(frame)
        return self.modes is not None and self.modes.known(frame) and ("?" not in text or text in self.overloads)

    @property
    def bits(self) -> Bits:
        """The bits of every frame, the offset taken off."""
        return frame_bits(self.found, self.offset)


def frame_bits(found: FramesFound, offset: int) -> Bits:
    """The bits of frames without what is added to their bytes, the marks left as they are."""
    plain = found.frames.copy()
    first, last = len(found.start), found.length - len(found.end)
    plain[:, first:last] -= np.uint8(offset)
    return np.unpackbits(plain, axis=1).astype(np.bool_)


def learn(found: FramesFound, moments: Sequence[Moment]) -> Lesson:
    """Learn from frames and moments."""
    lesson = Lesson(found, tuple(moments))
    near = [_near(found, moment.time_s) for moment in moments]
    best = lesson
    for offset in (0, *_offsets(lesson, near), *_any_offset(lesson, near)):
        tried = _numbers(replace(lesson, offset=offset), near)
        if tried.numbers:
            best = tried
            break
    if not best.numbers:
        return replace(lesson, problem="the digits were not found yet")
    if len(best.numbers) > 1:
        return replace(best, problem=f"{len(best.numbers)} ways to read the digits fit all that was shown")
    return _modes(best, near)


def _near(found: FramesFound, time_s: float) -> list[int]:
    """The frames near a moment, from the one that was on the display back in time, then those after it."""
    since_s = time_s - found.time_s
    interval_s = found.interval_s or 1.0
    inside = np.flatnonzero((since_s < BEFORE * interval_s) & (since_s > -AFTER * interval_s))
    before = [int(n) for n in inside[::-1] if since_s[n] > -0.2 * interval_s]
    return before + [int(n) for n in inside if since_s[n] <= -0.2 * interval_s]


def _at_lag(near: Sequence[int], lag: int) -> int | None:
    """The frame so many displays before the one at a moment."""
    if not near:
        return None
    wanted = near[0] - lag
    return wanted if wanted in near else near[0]


def _offsets(lesson: Lesson, near: Sequence[Sequence[int]]) -> list[int]:
    """Constants that bytes may be increased by: what a byte exceeds a digit, or two, or a part of the number by."""
    rows = [(m.label, n) for m, n in zip(lesson.moments, near, strict=True) if n and not m.label.overload]
    if len(rows) < 3:
        return []
    wanted = []
    for place in range(max(len(label.digits) for label, _ in rows)):
        wanted.append([label.counts // 10**place % 10 for label, _ in rows])
        two = [label.counts // 10**place % 100 for label, _ in rows]
        wanted.append([value // 10 << 4 | value % 10 for value in two])
    wanted += [[label.counts >> 8 * n & 0xFF for label, _ in rows] for n in range(2)]
    votes: dict[int, int] = {}
    for row in wanted:
        if len(set(row)) < 3:
            continue
        seen = np.zeros((256, lesson.found.length), dtype=np.int64)
        for value, (_, frames) in zip(row, rows, strict=True):
            near_by = np.zeros_like(seen, dtype=np.bool_)
            for at in frames:
                near_by[(lesson.found.frames[at].astype(np.int64) - value) & 0xFF, range(lesson.found.length)] = True
            seen += near_by
        for offset in np.flatnonzero(seen.max(axis=1) >= OFFSET_SHARE * len(rows)):
            votes[int(offset)] = votes.get(int(offset), 0) + 1
    likely = sorted(votes, key=lambda offset: -votes[offset])[:4]
    return [c for offset in likely for c in ((offset - 0x30) & 0xFF, offset) if c]


def _any_offset(lesson: Lesson, near: Sequence[Sequence[int]]) -> Iterator[int]:
    """Every constant under which segments appear in displays that stood still: nothing but trying finds it.

    Yields nothing where there are too few of those; is not begun before all else has failed.
    """
    numbered = [n for n, m in enumerate(lesson.moments) if near[n] and not m.label.overload]
    still = _still(near, numbered, lesson.bits) if numbered else []
    if len(still) < STILL_FOR_OFFSET:
        return
    labels = [lesson.moments[n].label for n in still]
    for offset in range(1, 256):
        if find_numbers(labels, frame_bits(lesson.found, offset)[[near[n][0] for n in still]], kinds=("segments",)):
            yield offset


STILL_FOR_OFFSET = 6
"""Displays that stood still from which on all constants are tried: 255 more chances for chance; a guess."""
OFFSET_SHARE = 0.8
"""The share of moments near which a byte must exceed a digit by the same; a guess."""


def _numbers(lesson: Lesson, near: Sequence[Sequence[int]]) -> Lesson:
    """Find the digits, and with them the frame of each moment."""
    bits = lesson.bits
    numbered = [n for n, m in enumerate(lesson.moments) if near[n] and not m.label.overload]
    best = _first_guess(lesson, near, numbered, bits)
    if best is None:
        return lesson
    fits = best[2]
    for _ in range(3):  # frames found by the digits may tell more about the digits
        chosen = {n: _showing(fits[0], bits, near[n], lesson, n, best[1]) for n in numbered}
        sure = {n: at for n, at in chosen.items() if at is not None}
        again = find_numbers([lesson.moments[n].label for n in sure], bits[list(sure.values())])
        if not again or {(f.kind, f.places, str(f.codes)) for f in again} == {
            (f.kind, f.places, str(f.codes)) for f in fits
        }:
            break
        fits = again
    fits, chosen = _with_sign(lesson, near, bits, fits, chosen)
    if sum(at is None for at in chosen.values()) > MOST_UNEXPLAINED * len(numbered):
        return lesson
    frame_of, late, slips = [], {}, {}
    for n, moment in enumerate(lesson.moments):
        at = _at_lag(near[n], best[1]) if moment.label.overload else chosen.get(n)
        frame_of.append(-1 if at is None else at)
        if not near[n]:
            slips[n] = "no whole frame came near that moment"
        elif at is None:
            slips[n] = f"the frames then say {_said(fits[0], bits, near[n])}"
        elif near[n].index(at):
            late[n] = near[n][0] - at
    return replace(lesson, numbers=tuple(fits), frame_of=tuple(frame_of), late=late, slips=slips)


def _with_sign(
    lesson: Lesson, near: Sequence[Sequence[int]], bits: Bits, fits: list[NumberFit], chosen: dict[int, int | None]
) -> tuple[list[NumberFit], dict[int, int | None]]:
    """Read integers as widely as their sign reaches: copies of it in further bytes are the number's as well.

    Positive numbers alone leave it open whether the highest bit is a sign; a minus that was typed tells.
    """
    minus = [n for n in chosen if lesson.moments[n].label.minus]
    positive = [at for n, at in chosen.items() if at is not None and n not in minus]
    if not minus or not positive:
        return fits, chosen
    for wide in (wide for fit in fits for wide in as_signed(fit, bits[positive[0]])):
        again = {n: _showing(wide, bits, near[n], lesson, n, 0) for n in chosen}
        if all(again[n] is not None for n in chosen if chosen[n] is not None) and any(
            again[n] is not None for n in minus
        ):
            return [wide], again
    return fits, chosen


def _first_guess(
    lesson: Lesson, near: Sequence[Sequence[int]], numbered: Sequence[int], bits: Bits
) -> tuple[int, int, list[NumberFit]] | None:
    """The digits as displays that stood still show them; else as all do, by the lag that explains most.

    Returns:
        How many moments agree, the lag, and the hypotheses.
    """
    still = _still(near, numbered, bits)
    fits = find_numbers([lesson.moments[n].label for n in still], bits[[near[n][0] for n in still]])
    if fits:
        return len(still), 0, fits
    labels = [lesson.moments[n].label for n in numbered]
    hidden = [0 if n in still else _flickering(label.digits) for n, label in zip(numbered, labels, strict=True)]
    enough = any(hidden) and len(still) >= LEAST_STILL
    fits = find_numbers(labels, bits[[near[n][0] for n in numbered]], hidden) if enough else []
    if fits:
        return len(numbered), 0, fits
    best: tuple[int, int, list[NumberFit]] | None = None
    frames_near = [near[n] for n in numbered]
    for lag in LAGS:
        start = [own[0] if (at := _at_lag(own, lag)) is None else at for own in frames_near]
        for kind in KINDS if start else ():
            frames = settled(kind, labels, bits, frames_near, start)
            fits = [fit for fit in find_numbers(labels, bits[frames], kinds=(kind,)) if fit.regular]
            if fits and (best is None or len(fits[0].moments) > best[0]):
                best = len(fits[0].moments), lag, fits
            if fits and len(fits[0].moments) == len(labels):
                return best
    return best


def _still(near: Sequence[Sequence[int]], numbered: Sequence[int], bits: Bits) -> list[int]:
    """The moments whose display stood still: all bits stayed but those that change all the time."""
    changes = {}
    for n in numbered:
        ones = bits[near[n]].sum(axis=0)
        changes[n] = (ones > 0) & (ones < len(near[n]))
    if not changes:
        return []
    calm = np.array(np.mean([*changes.values()], axis=0) <= RESTLESS, dtype=np.bool_)
    return [n for n, changed in changes.items() if len(near[n]) >= 3 and not (changed & calm).any()]


def _flickering(digits: str) -> int:
    """Return how many of the last digits change where the last one flickers: with a carry, those in front of it too."""
    return min(len(digits), 1 + len(digits) - len(digits.rstrip("09")))


LEAST_STILL = 4
"""Displays that stood still, without which nothing is known of the last digit; a guess."""
RESTLESS = 0.5
"""The share of moments around which a bit that counts, or a checksum's, changes; a guess."""
MOST_UNEXPLAINED = 0.34
"""The share of moments that may be slips; a guess."""


def _showing(fit: NumberFit, bits: Bits, near: Sequence[int], lesson: Lesson, moment: int, lag: int) -> int | None:
    """The frame near a moment that shows the number typed: the usual distance back, else the nearest."""
    label = lesson.moments[moment].label
    usual = _at_lag(near, lag)
    return next((at for at in (usual, *near) if at is not None and fit.shows(bits[at], label)), None)


def _said(fit: NumberFit, bits: Bits, near: Sequence[int]) -> str:
    """The numbers that frames show, each once."""
    return " or ".join(dict.fromkeys(fit.text(bits[at]).strip() for at in near[:2]))


def _modes(lesson: Lesson, near: Sequence[Sequence[int]]) -> Lesson:
    """Find what frames say beside the digits."""
    bits, number = lesson.bits, lesson.numbers[0]
    used = [n for n, at in enumerate(lesson.frame_of) if at >= 0]
    labels = [lesson.moments[n].label for n in used]
    neighbours = {n: _neighbours(lesson, near[n], n) for n in used}
    frames = np.array([_majority(bits[neighbours[n]], bits[lesson.frame_of[n]]) for n in used])
    alike = [(k, bits[at]) for k, n in enumerate(used) for at in neighbours[n]]
    overloads = _overloads(lesson, used)
    signed = number.kind == "signed"
    fit = find_modes(labels, frames, alike, _ours(lesson), signed=signed, over=not overloads)
    if fit is None:
        return replace(lesson, problem="what was typed contradicts itself more than twice: show it again")
    if fit.slips and not number.regular:  # what contradicts may be a bit that was taken for one of a digit
        return replace(lesson, problem="the digits are not sure enough, since a moment contradicts others: show others")
    slips = dict(lesson.slips)
    for k in fit.slips:
        slips[used[k]] = "other moments with the same bytes showed something else"
    fit = replace(
        fit,
        moments=tuple(used[k] for k in fit.moments),
        slips=tuple(used[k] for k in fit.slips),
        fields=tuple(
            replace(
                one,
                values={
                    key: meaning._replace(moments=tuple(used[k] for k in meaning.moments))
                    for key, meaning in one.values.items()
                },
            )
            for one in fit.fields
        ),
    )
    return replace(lesson, modes=fit, slips=slips, overloads=overloads)


FLICKER = 5
"""Counts by which the last digits of a display flicker while nothing happens; a guess."""
FAR_ABOVE = 2
"""So many times the highest number shown, an integer is no number but means overload; a guess."""


def _neighbours(lesson: Lesson, near: Sequence[int], moment: int) -> list[int]:
    """The frames around a moment's whose digits are nearly the same: the dial stood where it was."""
    number, bits, own = lesson.numbers[0], lesson.bits, lesson.frame_of[moment]
    text = number.text(bits[own]).strip()
    found = []
    for at in near:
        other = number.text(bits[at]).strip()
        close = text.lstrip("-").isdecimal() and other.lstrip("-").isdecimal()
        if other == text or (close and abs(int(other) - int(text)) <= FLICKER < abs(int(text)) * 0.5):
            found.append(at)
    return found or [own]


def _majority(frames: Bits, own: Bits) -> Bits:
    """Each bit as most of the frames have it: a damaged one does not decide; as in `own` where they are too few."""
    if len(frames) < 3:
        return own
    majority: Bits = 2 * frames.sum(axis=0) > len(frames)
    return majority


def _overloads(lesson: Lesson, used: Sequence[int]) -> tuple[str, ...]:
    """The digits that mean overload: such as are no number, or far above all numbers; none where other bits tell it."""
    number, bits = lesson.numbers[0], lesson.bits
    texts = {number.text(bits[lesson.frame_of[n]]) for n in used if lesson.moments[n].label.overload}
    highest = max(lesson.moments[n].label.counts for n in used)
    no_number = texts and all(_no_number(text.strip(), highest) for text in texts)
    return tuple(sorted(texts)) if no_number else ()


def _no_number(text: str, highest: int) -> bool:
    """Tell whether digits are no number: no digits, far above all, or all ones and above all."""
    if not text.removeprefix("-").isdecimal():
        return True
    number = abs(int(text))
    return number > FAR_ABOVE * highest or (number > highest and number & number + 1 == 0)


def _ours(lesson: Lesson) -> list[int]:
    """The bits that are not marks, digits, checksum or, where it was taken off, parity."""
    found, number = lesson.found, lesson.numbers[0]
    taken = {*range(len(found.start)), *range(found.length - len(found.end), found.length)}
    if found.check:
        taken |= set(range(found.check.at - 1, found.check.at - 1 + found.check.size))
    fixed = {8 * at + k for at, mask, _ in found.fixed for k in range(8) if mask >> 7 - k & 1}
    parity = {8 * at for at in range(found.length)} if found.parity else set()
    digits = set(number.bits)
    return [b for b in range(8 * found.length) if b // 8 not in taken and b not in digits | fixed | parity]
