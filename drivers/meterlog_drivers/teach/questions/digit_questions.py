"""Asks for what the digits leave open: numbers, digits in each place, low ones and high ones."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from meterlog.reading import Quantity
from meterlog_drivers.teach.digits.features import places_of
from meterlog_drivers.teach.digits.segments.telling import parting_digits
from meterlog_drivers.teach.lesson import Lesson
from meterlog_drivers.teach.moments import Label
from meterlog_drivers.teach.questions.question import Question

ENOUGH_NUMBERS = 6
"""Numbers of different digits after which the digits may be called known; a choice."""
ENOUGH_ANY = 6
"""Numbers after which digits are seldom found but by those that part segments; a guess."""


def first_numbers(lesson: Lesson | None, asked: int) -> Iterator[Question]:
    """Ask for a number while the digits are not found; every second one where the last one was."""
    why, volts = "the digits are not found yet", Quantity.DC_VOLTAGE
    like = lesson.moments[-1].label if lesson and asked % 2 else None
    other = f"Show another number in the same range as '{like.text}'" if like else "Show another number"
    labels = [m.label for m in lesson.moments if m.label.digits] if lesson else []
    if len(labels) >= ENOUGH_ANY:
        for place, digit in [one for one in parting_digits(labels) if _can_be(*one, labels)][:1]:
            text = f"{other}, with {digit} as its {_where(place)}"
            yield Question(f"number {asked} {place}", text, why, volts, like=like, digit=digit, place=place)
    if not asked:
        other = "Turn the dial to volts DC and touch a battery"
    elif like is None:
        other += ", best with four different digits"
    yield Question(f"number {asked}", other, why, volts, like=like)


def digits_open(lesson: Lesson, labels: list[Label]) -> Iterator[Question]:
    different = {label.digits for label in labels if label.digits}
    if len(different) < ENOUGH_NUMBERS:
        yield Question(
            f"digits {len(different)}",
            "Show another number, best with other digits",
            f"the digits rest on {len(different)} numbers",
        )
    if not lesson.numbers[0].regular:
        yield from _digits_in_places(lesson, labels)
    elif not lesson.numbers[0].structured and not lesson.numbers[0].is_integer:
        seen = set("".join(different))
        for digit in "0123456789":
            if digit not in seen:
                text = f"Show a number with a {digit} in it"
                yield Question(f"digit {digit}", text, f"no {digit} was shown", digit=int(digit))


def second_number_open(lesson: Lesson) -> Iterator[Question]:
    """Another pair of numbers, while those of the second display are not found."""
    second = lesson.second
    if second is None or second.learned:
        return
    pairs = [m.label for m in lesson.moments if m.label.second is not None]
    text = f"Back to what showed '{pairs[-1].typed}', let both numbers change, and type both"
    yield Question(f"second {len(pairs)}", text, second.problem, pairs[-1].quantity, like=pairs[-1])


PLACES = ("last digit", "last digit but one", "last digit but two", "last digit but three")


def _digits_in_places(lesson: Lesson, labels: Sequence[Label]) -> Iterator[Question]:
    """Digits that each place by itself has to show; in the first no higher ones than it has shown."""
    number = lesson.numbers[0]
    places = len(number.places)
    missing = {
        place: [d for d in "0123456789" if d not in number.codes[place].values() and _can_be(place, int(d), labels)]
        for place in range(places)
    }
    for place in sorted(missing, key=lambda place: -len(missing[place])):
        for digit in missing[place]:
            why = f"the {_where(place)} has not told {' or '.join(missing[place])} apart"
            yield _digit_in(place, int(digit), why, labels)
    for place, value in number.telling:
        if _can_be(place, value, labels):
            yield _digit_in(place, value, "which bits are which segments is not wholly known", labels)


def _can_be(place: int, digit: int, labels: Sequence[Label]) -> bool:
    """Tell whether a display can show a digit there: in the first place no higher one than it has shown."""
    places = places_of(labels)
    return place < places - 1 or 0 < digit <= max(int(one.digits[0]) for one in labels if len(one.digits) == places)


def _where(place: int) -> str:
    return PLACES[place] if place < len(PLACES) else "first digit"


def _digit_in(place: int, digit: int, why: str, labels: Sequence[Label]) -> Question:
    text = f"Show a number whose {_where(place)} is {digit}"
    return Question(f"digit {digit} in {place}", text, why, labels[-1].quantity, digit=digit, place=place)


def low_open(lesson: Lesson, labels: Sequence[Label]) -> Iterator[Question]:
    """A number of few digits: whether a display blanks the places in front of them, and how, only that tells."""
    numbers = [label for label in labels if label.digits]
    places = len(lesson.numbers[0].places)
    like = min(numbers, key=lambda label: label.decimals)
    if lesson.numbers[0].is_integer or like.decimals + 1 >= places or min(len(n.digits) for n in numbers) < places - 1:
        return
    text = f"In the same range as '{like.text}', show nearly zero: hold the leads together, or take the load off"
    yield Question("low", f"{text}", "no number of few digits was shown", like.quantity, low=True, like=like)


def high_open(lesson: Lesson, labels: list[Label]) -> Iterator[Question]:
    """Numbers higher than any that was shown use bits that nobody has seen: the number's own, or a bar's beside it."""
    highest = max(label.counts for label in labels)
    if lesson.numbers[0].is_integer or not lesson.numbers[0].structured or np.log10(max(highest, 1)) < 3:
        yield as_high_as_can_be(labels, f"high {highest}")


def as_high_as_can_be(labels: Sequence[Label], name: str = "high") -> Question:
    """Ask for the highest number that the display can show, the point left out."""
    highest = max(labels, key=lambda label: label.counts)
    why = f"no higher digits than those of '{highest.text}' were shown"
    text = "Show as high a number as the display can before it says OL, with a resistor for example"
    return Question(name, text, why, high=True)
