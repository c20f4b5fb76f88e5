"""Writes what was learned as a profile that the driver `frames` reads, with what is known by which moment."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from meterlog_drivers.display.unit_words import spelling
from meterlog_drivers.teach.display_text import display_text, quoted, silent_text
from meterlog_drivers.teach.framing.frame_finder import FramesFound
from meterlog_drivers.teach.lesson import Lesson
from meterlog_drivers.teach.line_lesson import LineLesson
from meterlog_drivers.teach.moments import Label, Moment


def profile_text(lesson: Lesson, lines: Sequence[str], taught_on: str) -> str:
    """The profile, in TOML.

    Args:
        lesson: one that was learned.
        lines: the line settings under which the bytes came.
        taught_on: the date.
    """
    return "\n".join(_parts(lesson, lines, taught_on)) + "\n"


def line_profile_text(lesson: LineLesson, moments: Sequence[Moment], lines: Sequence[str], taught_on: str) -> str:
    """The profile of lines of text, in TOML; arguments as of `profile_text`."""
    said = [_head(len(lesson.used), taught_on), *_readings(moments, lesson.used, {}, lesson.slips)]
    said += _top("text", len(lesson.used), lines, taught_on)
    said.append(f'decimal = "{lesson.decimal}"')
    if lesson.overload:
        said.append(f"overload = [{', '.join(map(quoted, lesson.overload))}]")
    said += ["", "[[column]]", f"pattern = {quoted(lesson.pattern)}"]
    if "{unit}" in lesson.pattern:
        said += ["", "[units]", *(_unit_row(word, *meaning) for word, meaning in lesson.units.items())]
    else:
        ((label, exponent, used),) = lesson.units.values()
        unit = "degF" if label.fahrenheit else spelling(label.quantity, exponent) or label.quantity.unit
        said += [f'quantity = "{label.quantity}" {_by(used)}', f"unit = {quoted(unit)}"]
    return "\n".join(said) + "\n"


def _unit_row(word: str, label: Label, exponent: int, used: Sequence[int]) -> str:
    fahrenheit = ", fahrenheit = true" if label.fahrenheit else ""
    return f'{quoted(word)} = {{ quantity = "{label.quantity}", exponent = {exponent}{fahrenheit} }} {_by(used)}'


def _by(used: Sequence[int]) -> str:
    return f"# by reading {', '.join(str(n + 1) for n in used[:8])}"


def _head(count: int, taught_on: str) -> str:
    return f"# Taught by the display on {taught_on}, {count} readings. What was never seen is not read."


def _readings(
    moments: Sequence[Moment], good: Sequence[int], late: Mapping[int, int], slips: Mapping[int, str]
) -> Iterator[str]:
    for n in good:
        behind = f", typed {late[n]} displays late" if late.get(n, 0) > 0 else ""
        yield f"# reading {n + 1}: {moments[n].label.typed}{behind}"
    for n, why in slips.items():
        yield f"# reading {n + 1}: {moments[n].label.typed}: left out, {why}"


def _top(kind: str, count: int, lines: Sequence[str], taught_on: str) -> list[str]:
    return [
        f'kind = "{kind}"',
        f'about = "taught by the display, {count} readings"',
        f"lines = [{', '.join(map(quoted, lines))}]",
        "taught = true",
        f'verified_on = "{taught_on}"',
    ]


def _parts(lesson: Lesson, lines: Sequence[str], taught_on: str) -> Iterator[str]:
    found = lesson.found
    good = [n for n, at in enumerate(lesson.frame_of) if at >= 0 and n not in lesson.slips]
    yield _head(len(good), taught_on)
    yield from _readings(lesson.moments, good, lesson.late, lesson.slips)
    yield from _top("frames", len(good), lines, taught_on)
    yield from _frame(lesson)
    yield from _check(found)
    yield from display_text(lesson)
    if lesson.second is None or not lesson.second.learned:
        yield from silent_text(lesson)
        return
    yield from _second(lesson.second)


def _second(second: Lesson) -> Iterator[str]:
    for n, why in second.slips.items():
        yield f"\n# the second number of reading {n + 1}, {second.moments[n].label.text}: left out, {why}"
    yield "\n# The second display; where it shows what was never taught, the first is read alone."
    yield from display_text(second, "second.")


def _frame(lesson: Lesson) -> Iterator[str]:
    found = lesson.found
    yield ""
    yield f"[frame] # {found.described}"
    yield f"length = {found.length}"
    for name, mark in (("start", found.start), ("end", found.end)):
        if mark:
            yield f"{name} = [{', '.join(f'0x{byte:02X}' for byte in mark)}]"
    if found.gap_s:
        yield f"gap_ms = {max(1, round(1000 * found.gap_s))}"
    if found.parity:
        yield f'parity = "{found.parity}"'
    if lesson.offset:
        yield f"offset = [0x{lesson.offset:02X}]"
    for at, mask, value in found.fixed:
        yield f"\n[[fixed]]\nat = {at + 1}\nmask = 0x{mask:02X}\nvalue = 0x{value:02X}"


def _check(found: FramesFound) -> Iterator[str]:
    if found.check:
        check = found.check
        yield f"\n[checksum]\nkind = {quoted(check.kind)}\nat = {check.at}\nfrom = {check.first}\nto = {check.last}"
        for name, value in check.options.items():
            yield f"{name} = {quoted(value) if isinstance(value, str) else str(value).lower()}"
