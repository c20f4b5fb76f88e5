"""Chooses what to show next: where what is left open matters most.

First the digits, without which nothing can be read. Then what lies on the display now and cannot be read, which costs
nobody a hand. Then, of what the hypotheses still leave open, that which most readings would run into: the sign, an
overload, units, codes that rest on one reading, digits and high numbers that were never shown.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from meterlog_drivers.teach.lesson import Lesson
from meterlog_drivers.teach.questions.digit_questions import (
    as_high_as_can_be,
    digits_open,
    first_numbers,
    high_open,
    low_open,
    second_number_open,
)
from meterlog_drivers.teach.questions.mode_questions import (
    beside_overload_open,
    doubts_open,
    more_open,
    signs_open,
    thin_open,
    units_open,
)
from meterlog_drivers.teach.questions.question import Question


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
        yield from first_numbers(lesson, asked)
        return
    labels = [m.label for n, m in enumerate(lesson.moments) if n not in lesson.slips]
    if lesson.modes is None:
        why = lesson.problem
        yield Question(f"open {len(labels)}", "Show another number in the same unit", why, labels[-1].quantity)
        return
    yield from _unread_now(lesson)
    yield from digits_open(lesson, labels)
    yield from low_open(lesson, labels)
    yield from second_number_open(lesson)
    yield from signs_open(labels, len(lesson.slips))
    yield as_high_as_can_be(labels)
    yield from beside_overload_open(lesson, labels)
    yield from doubts_open(lesson)
    yield from units_open(labels)
    yield from thin_open(lesson)
    yield from high_open(lesson, labels)
    yield from more_open(lesson)


def _unread_now(lesson: Lesson) -> Iterator[Question]:
    assert lesson.modes is not None
    frame = lesson.bits[-1]
    number = lesson.numbers[0]
    unread_digits = number.telling and not number.reads(frame)  # other digits tell more about those
    if not unread_digits and not lesson.reads(frame):
        yield Question(
            f"now {hash(frame.tobytes())}",
            "Type what it shows now, with every sign and symbol",
            "this display was never taught",
        )
