"""Chooses what to show next: where what is left open matters most.

First the digits, without which nothing can be read. Then what lies on the display now and cannot be read, which costs
nobody a hand. Then, of what the hypotheses still leave open, that which most readings would run into: the sign, an
overload, units, codes that rest on one reading, digits and high numbers that were never shown.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import NamedTuple

import numpy as np

from meterlog.reading import Quantity
from meterlog.text.figures import count
from meterlog_drivers.teach.lesson import Lesson
from meterlog_drivers.teach.moments import Label

ENOUGH_NUMBERS = 6
"""Numbers of different digits after which the digits may be called known; a choice."""
ENOUGH_EACH = 2
"""Readings on which a code should rest, so that one slip of the keyboard cannot make it; a choice."""


class Question(NamedTuple):
    """Something to show.

    Attributes:
        name: what it is about; a question that was refused is not asked again.
        text: for the person.
        why: what is open without it.
        quantity: that the dial should be on; None for the one that it is on.
        minus, overload: what the display should show.
        digit: a digit that should be in the number; None for any.
        place: where it should be, 0 for the last digit; None for anywhere.
        high, low: the number should be as high as it can be made, or nearly zero.
        like: the dial and the range should be as they were when it showed this.
    """

    name: str
    text: str
    why: str
    quantity: Quantity | None = None
    minus: bool = False
    overload: bool = False
    digit: int | None = None
    place: int | None = None
    high: bool = False
    low: bool = False
    like: Label | None = None


FULL_RANGE = 4
"""Readings of one range after which it is not asked for again; a choice."""
_BACK = "back in the volts jack before they touch a battery again: in a current jack they short it"
_UNITS = (
    (Quantity.DC_VOLTAGE, "Turn the dial to volts DC and touch a battery"),
    (Quantity.RESISTANCE, "Take the leads off, turn the dial to ohms and hold a resistor or a lamp to them"),
    (Quantity.DC_CURRENT, f"Turn the dial to a current range, the leads in its jacks, in series with a lamp; {_BACK}"),
    (Quantity.AC_VOLTAGE, "Turn the dial to volts AC, on a low-voltage transformer if there is one"),
    (Quantity.FREQUENCY, "Turn the dial to Hz"),
    (Quantity.CAPACITANCE, "Turn the dial to capacitance, with a capacitor"),
    (Quantity.TEMPERATURE, "Turn the dial to temperature"),
    (Quantity.DIODE, "Turn the dial to diode test, with a diode (type the word diode behind the unit)"),
    (Quantity.DUTY_CYCLE, "Turn the dial to duty cycle, %"),
)
_AGAIN = "leave it until it stands still, then type what it shows, with unit"


def next_question(lesson: Lesson | None, refused: Collection[str], asked: int = 0) -> Question | None:
    """The question that leaves least open.

    Args:
        lesson: what is known so far; None before the first moment.
        refused: names of questions that are not asked again.
        asked: moments so far.

    Returns:
        None where nothing is open that could be asked.
    """
    return next((question for question in _open(lesson, asked) if question.name not in refused), None)


def _open(lesson: Lesson | None, asked: int) -> Iterator[Question]:
    """Everything that is open, what matters most first."""
    if lesson is None or not lesson.numbers:
        first = f"{_UNITS[0][1]}; {_AGAIN}"
        another = f"Show another number, best with four different digits; {_AGAIN}"
        like = lesson.moments[-1].label if lesson and asked % 2 else None
        if like is not None:
            another = f"Show another number in the same range as '{like.text}'; {_AGAIN}"
        why = "the digits are not found yet"
        yield Question(f"number {asked}", another if asked else first, why, _UNITS[0][0], like=like)
        return
    labels = [m.label for n, m in enumerate(lesson.moments) if n not in lesson.slips]
    if lesson.modes is None:
        why = lesson.problem
        yield Question(
            f"open {len(labels)}", f"Show another number in the same unit; {_AGAIN}", why, labels[-1].quantity
        )
        return
    yield from _unread_now(lesson)
    yield from _digits(lesson, labels)
    yield from _low(lesson, labels)
    yield from _signs(labels, len(lesson.slips))
    yield Question("high", f"Show as high a number as you can; {_AGAIN}", _nothing_above(labels), high=True)
    yield from _beside_overload(lesson, labels)
    yield from _doubts(lesson)
    yield from _units(labels)
    yield from _thin(lesson)
    yield from _high(lesson, labels)
    yield from _more(lesson)


def _unread_now(lesson: Lesson) -> Iterator[Question]:
    assert lesson.modes is not None
    frame = lesson.bits[-1]
    if not lesson.reads(frame):
        yield Question(
            f"now {hash(frame.tobytes())}", f"What does it show now? {_AGAIN.capitalize()}", "it was never taught"
        )


def _digits(lesson: Lesson, labels: list[Label]) -> Iterator[Question]:
    different = {label.digits for label in labels if label.digits}
    if len(different) < ENOUGH_NUMBERS:
        yield Question(
            f"digits {len(different)}",
            f"Show another number, best with other digits; {_AGAIN}",
            f"the digits rest on {len(different)} numbers",
        )
    if not lesson.numbers[0].regular:
        yield from _digits_in_places(lesson, labels)
    elif not lesson.numbers[0].structured and not lesson.numbers[0].is_integer:
        seen = set("".join(different))
        for digit in "0123456789":
            if digit not in seen:
                text = f"Show a number with a {digit} in it; {_AGAIN}"
                yield Question(f"digit {digit}", text, f"no {digit} was shown", digit=int(digit))


PLACES = ("last digit", "last digit but one", "last digit but two", "last digit but three")


def _digits_in_places(lesson: Lesson, labels: Sequence[Label]) -> Iterator[Question]:
    """Digits that each place by itself has to show; in the first no higher ones than it has shown."""
    number = lesson.numbers[0]
    places = len(number.places)
    highest = max(int(label.digits[0]) for label in labels if len(label.digits) == places)
    missing = {
        place: [
            d
            for d in "0123456789"
            if d not in number.codes[place].values() and (place < places - 1 or 0 < int(d) <= highest)
        ]
        for place in range(places)
    }
    for place in sorted(missing, key=lambda place: -len(missing[place])):
        where = PLACES[place] if place < len(PLACES) else "first digit"
        for digit in missing[place]:
            text = f"Show a number whose {where} is {digit}; {_AGAIN}"
            why = f"the {where} has not told {' or '.join(missing[place])} apart"
            yield Question(f"digit {digit} in {place}", text, why, labels[-1].quantity, digit=int(digit), place=place)


def _signs(labels: list[Label], slips: int) -> Iterator[Question]:
    """A minus and an overload; once more where what was typed of one may have been a slip."""
    minus = [label for label in labels if label.minus]
    beside = _plus_beside(labels, minus)
    if beside and len(minus) < ENOUGH_EACH:
        text = f"In the same range as '{beside.text}', swap the leads, so that it shows a minus; {_AGAIN}"
        yield Question(
            f"minus {len(minus)} {slips}",
            text,
            "no minus was shown" if not minus else "the minus rests on one reading",
            beside.quantity,
            minus=True,
            like=beside,
        )
    over = sum(label.overload for label in labels)
    if over < ENOUGH_EACH:
        text = "Take the leads off, turn the dial to ohms, the leads apart, and type OL with the unit: OL Mohm"
        why = "no overload was shown" if not over else "the overload rests on one reading"
        yield Question(f"overload {over} {slips}", text, why, Quantity.RESISTANCE, overload=True)


def _plus_beside(labels: Sequence[Label], minus: Sequence[Label]) -> Label | None:
    """A number that could have a minus, of a range that has shown none: what else moves is then the sign's."""
    could = [
        label
        for label in labels
        if label.quantity in (Quantity.DC_VOLTAGE, Quantity.DC_CURRENT) and not (label.minus or label.overload)
    ]
    shown = {_range_of(label) for label in minus}
    return max(could, key=lambda label: _range_of(label) not in shown, default=None)


def _range_of(label: Label) -> tuple[Quantity, int, int]:
    return label.quantity, label.prefix, label.decimals


def _low(lesson: Lesson, labels: Sequence[Label]) -> Iterator[Question]:
    """A number of few digits: whether a display blanks the places in front of them, and how, only that tells."""
    numbers = [label for label in labels if label.digits]
    places = len(lesson.numbers[0].places)
    like = min(numbers, key=lambda label: label.decimals)
    if lesson.numbers[0].is_integer or like.decimals + 1 >= places or min(len(n.digits) for n in numbers) < places - 1:
        return
    text = f"In the same range as '{like.text}', show nearly zero: hold the leads together, or take the load off"
    yield Question("low", f"{text}; {_AGAIN}", "no number of few digits was shown", like.quantity, low=True, like=like)


def _beside_overload(lesson: Lesson, labels: list[Label]) -> Iterator[Question]:
    """A number where an overload was, without which nobody can tell the overload's bits from the unit's."""
    assert lesson.modes is not None
    over = next((label for label in labels if label.overload), None)
    if over and not lesson.tells_overload:
        unit = over.text.partition(" ")[2]
        text = f"Hold the leads with dry fingers or a large resistor, so that it shows a number in {unit}; {_AGAIN}"
        yield Question(
            "beside overload", text, "what tells the overload from its unit is open", over.quantity, like=over
        )


def _units(labels: list[Label]) -> Iterator[Question]:
    for quantity, text in _UNITS:
        shown = [label for label in labels if label.quantity is quantity and not label.overload]
        if not shown:
            yield Question(f"{quantity} 0", f"{text}; {_AGAIN}", f"{quantity.words} was not shown", quantity)
        elif len(shown) < ENOUGH_EACH:
            again = f"Show another number in the same range as '{shown[0].text}'; {_AGAIN}"
            why = f"{quantity.words} rests on one reading"
            yield Question(f"{quantity} 1", again, why, quantity, like=shown[0])


def _doubts(lesson: Lesson) -> Iterator[Question]:
    """Return what nobody knows whether to believe."""
    assert lesson.modes is not None
    for n in lesson.modes.doubted:
        label = lesson.moments[n].label
        text = f"Go back to where it showed '{label.text}', and look for a minus and for every symbol; {_AGAIN}"
        yield Question(f"doubt {n}", text, lesson.slips[n], label.quantity, overload=label.overload, like=label)


def _thin(lesson: Lesson) -> Iterator[Question]:
    """Codes that rest on one reading."""
    assert lesson.modes is not None
    for field in lesson.modes.fields:
        for meaning in field.values.values():
            if len(meaning.moments) == 1:
                label = lesson.moments[meaning.moments[0]].label
                what = f"'{label.text}'"
                yield Question(
                    f"again {label.text}",
                    f"Go back to where it showed {what}, with another number if you can; {_AGAIN}",
                    f"what {what} showed rests on one reading",
                    label.quantity,
                    minus=label.minus,
                    overload=label.overload,
                    like=label,
                )


def _more(lesson: Lesson) -> Iterator[Question]:
    """More numbers in each range: bits that move with the number, a bar for example, are told from the range's so."""
    assert lesson.modes is not None
    ranges: dict[tuple[Quantity, int, int], list[Label]] = {}
    for n in lesson.modes.moments:
        label = lesson.moments[n].label
        if not label.overload:
            ranges.setdefault(_range_of(label), []).append(label)
    for labels in sorted(ranges.values(), key=len):
        if len(labels) < FULL_RANGE:
            text = f"Show another number in the same range as '{labels[0].text}'; {_AGAIN}"
            why = f"its range rests on {count(len(labels), 'reading')}"
            yield Question(f"more {labels[0].text} {len(labels)}", text, why, labels[0].quantity, like=labels[0])


def _high(lesson: Lesson, labels: list[Label]) -> Iterator[Question]:
    """Numbers higher than any that was shown use bits that nobody has seen: the number's own, or a bar's beside it."""
    highest = max(label.counts for label in labels)
    if lesson.numbers[0].is_integer or not lesson.numbers[0].structured or np.log10(max(highest, 1)) < 3:
        yield Question(
            f"high {highest}",
            f"Show as high a number as you can; {_AGAIN}",
            _nothing_above(labels),
            high=True,
        )


def _nothing_above(labels: Sequence[Label]) -> str:
    return f"nothing above {max(label.counts for label in labels)} was shown"
