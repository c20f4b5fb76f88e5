"""Learns lines of text: where in them the number is that the display shows, and which word says its unit."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import accumulate, takewhile
from typing import NamedTuple

import numpy as np

from meterlog.transports import Chunk
from meterlog_drivers.display.unit_words import UNIT_WORDS
from meterlog_drivers.teach.moments import Label, Moment

BEFORE, AFTER = 3.2, 0.7
"""Intervals before and after a moment in which its line is looked for; as with frames."""
LEAST_NUMBERS = 3
"""Different numbers without which nothing is concluded; a guess."""
_NUMBER = re.compile(r"(?P<sign>[-+]?)\s*(?P<number>\d+(?:[.,]\d+)?|[.,]\d+)(?P<power>[eE][-+]?\d{1,2})?")
_OVERLOAD = re.compile(r"(?P<word>\b[0O]\.?L\b|\.OL\b|\bOVER\w*|\bOVLD\b|\b9\.9+[eE]\+?37\b)")
_LINE = re.compile(rb"([^\r\n]+)[\r\n]")
_WORD = re.compile(r"\A\s*([^\W\d]+)")
_OTHER = r"[-+.,:\d]+"
_EXPONENTS = (0, -3, 3, -6, 6, -9, -12)


class Line(NamedTuple):
    """A line and when it began, s."""

    text: str
    time_s: float


class _Place(NamedTuple):
    """A number in a line that is the one shown: what stands around it, and the power of ten of its unit."""

    before: str
    after: str
    exponent: int
    comma: bool


@dataclass(frozen=True)
class LineLesson:
    """Holds what was learned.

    Attributes:
        pattern: with `{number}` and, where a word tells it, `{unit}`.
        units: each word with what was shown with it and by which moments.
        decimal: the decimal sign.
        overload: the words that mean overload.
        used: the moments that agree.
        slips: those that do not, and what the lines say in their place.
        problem: why nothing was learned.
    """

    pattern: str = ""
    units: dict[str, tuple[Label, int, tuple[int, ...]]] = field(default_factory=dict)
    decimal: str = "."
    overload: tuple[str, ...] = ()
    used: tuple[int, ...] = ()
    slips: dict[int, str] = field(default_factory=dict)
    problem: str = ""


def find_lines(chunks: Sequence[Chunk], byte_time_s: float) -> list[Line]:
    """The lines, where the bytes are text; empty where they are not. A first line that may be a tail is left out."""
    data = b"".join(chunk.data for chunk in chunks)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    plain = sum(c.isprintable() or c in "\r\n\t" for c in text)
    if not data or plain < 0.99 * len(text) or not re.search(r"[\r\n]", text):
        return []
    ends = list(accumulate(len(chunk.data) for chunk in chunks))
    lines = []
    for match in list(_LINE.finditer(data))[1:]:
        chunk = bisect_right(ends, match.start())
        begin_s = chunks[chunk].arrival_s - (ends[chunk] - match.start()) * byte_time_s
        lines.append(Line(match[1].decode("utf-8", "replace").strip(), begin_s))
    lengths = Counter(len(line.text) for line in lines)
    return lines if lines and sum(n for _, n in lengths.most_common(6)) > 0.5 * len(lines) else []


def learn_lines(lines: Sequence[Line], moments: Sequence[Moment]) -> LineLesson:
    """Learn from lines and moments."""
    times = np.array([line.time_s for line in lines])
    interval_s = float(np.median(np.diff(times))) if len(times) > 1 else 1.0
    near = [_near(times, moment.time_s, interval_s) for moment in moments]
    places: dict[int, list[_Place]] = {}
    for n, moment in enumerate(moments):
        if not moment.label.overload:
            places[n] = [place for at in near[n] for place in _places(lines[at].text, moment.label)]
    shape = Counter(_shape(place) for found in places.values() for place in {_shape(p): p for p in found}.values())
    if not shape:
        return LineLesson(problem="no line holds the numbers that were shown")
    template = _template([p for found in places.values() for p in found], shape)
    chosen = {n: next((p for p in found if _fits(p, template)), None) for n, found in places.items()}
    kept = {n: place for n, place in chosen.items() if place is not None}
    if len({moments[n].label.digits for n in kept}) < LEAST_NUMBERS or 3 * len(kept) < 2 * len(places):
        return LineLesson(problem="too few of the numbers shown stand in the lines; show others")
    return _concluded(lines, moments, near, kept, template)


def _near(times: np.ndarray[tuple[int], np.dtype[np.float64]], time_s: float, interval_s: float) -> list[int]:
    since_s = time_s - times
    inside = np.flatnonzero((since_s < BEFORE * interval_s) & (since_s > -AFTER * interval_s))
    return [int(n) for n in inside[np.argsort(np.abs(since_s[inside]), kind="stable")]]


def _places(line: str, label: Label) -> list[_Place]:
    """The numbers in a line that are what was shown.

    Digits without a point, where the display has one, are such a number only where the unit behind them says so
    (`800 mV` for 0.800 V). Else a range in the same bytes says where it is, and digits beside them may be the range's.
    """
    found = []
    shown = (-1 if label.minus else 1) * label.counts * 10.0 ** (label.prefix - label.decimals)
    count = 10.0 ** (label.prefix - label.decimals)
    for match in _NUMBER.finditer(line):
        unit = UNIT_WORDS.get("".join(_WORD.findall(line[match.end() :])[:1]))
        if label.decimals and unit is None and not match["power"] and match["number"].isdecimal():
            continue
        value = float(match["sign"] + match["number"].replace(",", ".") + (match["power"] or ""))
        for exponent in dict.fromkeys((label.prefix, *_EXPONENTS)):
            if abs(value * 10.0**exponent - shown) < 0.51 * count and (value or not shown):
                before, after = line[: match.start()], line[match.end() :]
                found.append(_Place(before, after, exponent, "," in match["number"]))
                break
    return found


def _shape(place: _Place) -> tuple[int, int]:
    """Return how many numbers and blanks stand before and after: which of a line's numbers it is."""
    return len(_NUMBER.findall(place.before)), len(_NUMBER.findall(place.after))


class _Template(NamedTuple):
    shape: tuple[int, int]
    before: tuple[str, str]
    after: tuple[str, str]


def _template(places: Sequence[_Place], shapes: Counter[tuple[int, int]]) -> _Template:
    """Return what is the same in all lines, before and after the number, from either side."""
    shape = shapes.most_common(1)[0][0]
    same = [place for place in places if _shape(place) == shape]
    befores, afters = {_blurred(place.before) for place in same}, {_blurred(place.after) for place in same}
    return _Template(shape, _ends(befores), _ends(afters))


def _blurred(text: str) -> str:
    """A text in which further numbers may be any: a clock, a counter."""
    return re.sub(_OTHER, "\0", text)


def _ends(texts: set[str]) -> tuple[str, str]:
    """Return what all texts begin and end with; the whole text and nothing where they are all alike."""
    if len(texts) == 1:
        return next(iter(texts)), ""
    head = _common(list(texts))
    head = re.sub(r"\w+$", "", head)
    tail = _common([text[len(head) :][::-1] for text in texts])[::-1]
    return head, re.sub(r"^\w+", "", tail)


def _common(texts: Sequence[str]) -> str:
    """Return what all texts begin with."""
    alike = takewhile(lambda letters: len(set(letters)) == 1, zip(*texts, strict=False))
    return "".join(letters[0] for letters in alike)


def _word(text: str, ends: tuple[str, str]) -> str | None:
    """Return what stands between the ends; None where the text has others."""
    blurred, (head, tail) = _blurred(text), ends
    if not (blurred.startswith(head) and blurred.endswith(tail)) or len(blurred) < len(head) + len(tail):
        return None
    return blurred[len(head) : len(blurred) - len(tail)]


def _fits(place: _Place, template: _Template) -> bool:
    return _shape(place) == template.shape and None not in (
        _word(place.before, template.before),
        _word(place.after, template.after),
    )


def _concluded(
    lines: Sequence[Line],
    moments: Sequence[Moment],
    near: Sequence[Sequence[int]],
    kept: dict[int, _Place],
    template: _Template,
) -> LineLesson:
    words = {n: _unit_word(place, template) for n, place in kept.items()}
    if any("\0" in word for word in words.values()):
        return LineLesson(problem="numbers beside the one shown change with its unit; show others")
    in_front = any(_word(place.before, template.before) for place in kept.values())
    units: dict[str, tuple[Label, int, tuple[int, ...]]] = {}
    slips: dict[int, str] = {}
    for word in dict.fromkeys(words.values()):
        own = [n for n in kept if words[n] == word]
        meanings = Counter((moments[n].label.quantity, kept[n].exponent) for n in own)
        (quantity, exponent), count = meanings.most_common(1)[0]
        if 2 * count <= len(own) and len(meanings) > 1:
            slips.update(dict.fromkeys(own, "other moments with the same word showed another unit"))
            continue
        right = [n for n in own if (moments[n].label.quantity, kept[n].exponent) == (quantity, exponent)]
        slips.update({n: "other moments with the same word showed another unit" for n in own if n not in right})
        units[word] = moments[right[0]].label, exponent, tuple(right)
    varied = set(units) != {""}
    pattern = _pattern(template, varied, in_front)
    overload, over_used = _overloads(lines, moments, near)
    used = tuple(sorted([*(n for _, _, own in units.values() for n in own), *over_used]))
    for n in range(len(moments)):
        if n not in used and n not in slips:
            says = " or ".join(dict.fromkeys(lines[at].text for at in near[n][:2]))
            slips[n] = f"the lines then say {says}" if says else "no line came near that moment"
    decimal = "," if any(place.comma for place in kept.values()) else "."
    return LineLesson(pattern, units, decimal, overload, used, slips)


def _unit_word(place: _Place, template: _Template) -> str:
    """The word that tells the unit, before the number or after it, without blanks; empty where there is none."""
    before, after = _word(place.before, template.before), _word(place.after, template.after)
    return "".join((before or after or "").split())


def _pattern(template: _Template, varied: bool, in_front: bool) -> str:
    def plain(text: str) -> str:
        return _OTHER.join(re.escape(part) for part in text.split("\0"))

    before = plain(template.before[0]), plain(template.before[1])
    after = plain(template.after[0]), plain(template.after[1])
    unit = r"\s*{unit}\s*" if varied else ""
    front, behind = (unit, "") if in_front else ("", unit)
    return f"{before[0]}{front}{before[1]}{{number}}{after[0]}{behind}{after[1]}"


def _overloads(
    lines: Sequence[Line], moments: Sequence[Moment], near: Sequence[Sequence[int]]
) -> tuple[tuple[str, ...], list[int]]:
    """The words that stand where the number should, in the lines of overloads."""
    words: dict[str, None] = {}
    used = []
    for n, moment in enumerate(moments):
        found = [_OVERLOAD.search(lines[at].text) for at in near[n]] if moment.label.overload else []
        if match := next(filter(None, found), None):
            words[match["word"]] = None
            used.append(n)
    return tuple(words), used
