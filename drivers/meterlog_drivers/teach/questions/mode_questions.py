"""Asks for what is open beside the digits: sign, overload, units, and codes that rest on too few readings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from meterlog.reading import Quantity
from meterlog.text.figures import count
from meterlog_drivers.teach.lesson import Lesson
from meterlog_drivers.teach.moments import Label
from meterlog_drivers.teach.questions.question import ENOUGH_EACH, Question, range_of

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


def signs_open(labels: list[Label], slips: int) -> Iterator[Question]:
    """A minus and an overload; once more where what was typed of one may have been a slip."""
    minus = [label for label in labels if label.minus]
    beside = _plus_beside(labels, minus)
    if beside and len(minus) < ENOUGH_EACH:
        text = f"In the same range as '{beside.text}', swap the leads, so that it shows a minus"
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
        first = "Take the leads off, turn the dial to ohms, the leads apart, and type OL with the unit: OL Mohm"
        again = "Once more on ohms: hold the leads together, then the leads apart, and type OL with the unit"
        text = again if over else first
        why = "no overload was shown" if not over else "the overload rests on one reading"
        yield Question(f"overload {over} {slips}", text, why, Quantity.RESISTANCE, overload=True)


def _plus_beside(labels: Sequence[Label], minus: Sequence[Label]) -> Label | None:
    """A number that could have a minus, of a range that has shown none: what else moves is then the sign's."""
    could = [
        label
        for label in labels
        if label.quantity in (Quantity.DC_VOLTAGE, Quantity.DC_CURRENT) and not (label.minus or label.overload)
    ]
    shown = {range_of(label) for label in minus}
    return max(could, key=lambda label: range_of(label) not in shown, default=None)


def beside_overload_open(lesson: Lesson, labels: list[Label]) -> Iterator[Question]:
    """A number where an overload was, without which nobody can tell the overload's bits from the unit's."""
    assert lesson.modes is not None
    over = next((label for label in labels if label.overload), None)
    if over and not lesson.tells_overload:
        unit = over.text.partition(" ")[2]
        text = f"Hold the leads with dry fingers or a large resistor, so that it shows a number in {unit}"
        yield Question(
            "beside overload", text, "what tells the overload from its unit is open", over.quantity, like=over
        )


def units_open(labels: list[Label]) -> Iterator[Question]:
    for quantity, text in _UNITS:
        shown = [label for label in labels if label.quantity is quantity and not label.overload]
        if not shown:
            yield Question(f"{quantity} 0", text, f"{quantity.words} was not shown", quantity)
        elif len(shown) < ENOUGH_EACH:
            again = f"Show another number in the same range as '{shown[0].text}'"
            why = f"{quantity.words} rests on one reading"
            yield Question(f"{quantity} 1", again, why, quantity, like=shown[0])


def doubts_open(lesson: Lesson) -> Iterator[Question]:
    """Return what nobody knows whether to believe."""
    assert lesson.modes is not None
    for n in lesson.modes.doubted:
        label = lesson.moments[n].label
        text = f"Go back to where it showed '{label.text}', and look for a minus and for every symbol"
        yield Question(f"doubt {n}", text, lesson.slips[n], label.quantity, overload=label.overload, like=label)


def thin_open(lesson: Lesson) -> Iterator[Question]:
    """Codes that rest on one reading."""
    assert lesson.modes is not None
    for field in lesson.modes.fields:
        for meaning in field.values.values():
            if len(meaning.moments) == 1:
                label = lesson.moments[meaning.moments[0]].label
                what = f"'{label.text}'"
                yield Question(
                    f"again {label.text}",
                    f"Go back to where it showed {what}, with another number if you can",
                    f"what {what} showed rests on one reading",
                    label.quantity,
                    minus=label.minus,
                    overload=label.overload,
                    like=label,
                )


def more_open(lesson: Lesson) -> Iterator[Question]:
    """More numbers in each range: bits that move with the number, a bar for example, are told from the range's so."""
    assert lesson.modes is not None
    ranges: dict[tuple[Quantity, int, int], list[Label]] = {}
    for n in lesson.modes.moments:
        label = lesson.moments[n].label
        if not label.overload:
            ranges.setdefault(range_of(label), []).append(label)
    for labels in sorted(ranges.values(), key=len):
        if len(labels) < FULL_RANGE:
            text = f"Show another number in the same range as '{labels[0].text}'"
            why = f"the range of '{labels[0].text}' rests on {count(len(labels), 'reading')}"
            yield Question(f"more {labels[0].text} {len(labels)}", text, why, labels[0].quantity, like=labels[0])
