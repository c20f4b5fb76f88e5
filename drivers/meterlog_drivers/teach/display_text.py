"""Writes one display of a taught profile: its digits, what its bits say, and by which reading that is known."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from meterlog_drivers.teach.digits.number_fit import BitAt, NumberFit
from meterlog_drivers.teach.lesson import Lesson
from meterlog_drivers.teach.modes.mode_fit import Field

_GLYPHS_OF_OVERLOAD = "LObcdefghij"


def display_text(lesson: Lesson, within: str = "") -> Iterator[str]:
    """The tables of one display, line by line.

    Args:
        lesson: one that was learned.
        within: what the tables' names begin with: `second.` for the second display.
    """
    yield from _number(lesson.numbers[0], lesson, within)
    yield from _fields(lesson, within)
    yield from _steady(lesson, within)


def silent_text(lesson: Lesson) -> Iterator[str]:
    """The bits that are not read, as a comment."""
    assert lesson.modes is not None
    if lesson.modes.silent:
        silent = ", ".join(_wire(BitAt(bit, False)) for bit in sorted(lesson.modes.silent))
        yield f"\n# These bits changed while the display said the same; they are not read: {silent}."


def _number(number: NumberFit, lesson: Lesson, within: str) -> Iterator[str]:
    yield f"\n[{within}number] # {_kind(number)}"
    if unscaled := lesson.unscaled_overloads:
        yield f"unscaled_overload = [{', '.join(map(str, unscaled))}]"
    if number.is_integer:
        yield 'digits = "wired-integer"'
        yield f"bits = [{', '.join(quoted(_wire(bit)) for bit in number.places[0])}]"
        if number.kind == "signed":
            yield "signed = true"
        yield f"most = {number.most} # {number.most.bit_length()} bits are known, and all of them set is no number"
        if lesson.overloads:
            yield f"overload = [{', '.join(quoted(text) for text in lesson.overloads)}]"
        return
    codes, overloads = _with_overloads(number, lesson)
    yield 'digits = "wired"'
    yield "bits = ["
    for place in reversed(number.places):
        yield f"    [{', '.join(quoted(_wire(bit)) for bit in place)}],"
    yield "]"
    yield "leading_blanks = true"
    if overloads:
        yield f"overload = [{', '.join(quoted(text) for text in sorted(overloads))}]"
    yield f"[{within}number.segments]"
    shared = {code: glyph for code, glyph in codes[0].items() if all(one.get(code) == glyph for one in codes)}
    if len({len(place) for place in number.places}) > 1:
        shared = {}
    for code, glyph in sorted(shared.items()):
        yield f'"{_hex(code)}" = "{glyph}"'
    for position, table in enumerate(reversed(codes), 1):
        for code, glyph in sorted(table.items()):
            if shared.get(code) != glyph:
                yield f'"{position}:{_hex(code)}" = "{glyph}"'


def _with_overloads(number: NumberFit, lesson: Lesson) -> tuple[list[dict[int, str]], set[str]]:
    """The codes, with letters for those that only an overload has; and the overloads in them."""
    codes = [dict(table) for table in number.codes]
    overloads: set[str] = set()
    if not lesson.overloads:
        return codes, overloads
    letters: dict[int, str] = {}
    bits = lesson.bits
    for at, moment in zip(lesson.frame_of, lesson.moments, strict=True):
        if at < 0 or not moment.label.overload:
            continue
        text = ""
        for place, table in enumerate(codes):
            code = number.code(bits[at], place)
            if code not in table:
                letter = letters.setdefault(code, _GLYPHS_OF_OVERLOAD[len(letters) % len(_GLYPHS_OF_OVERLOAD)])
                table[code] = letter
            text = table[code] + text
        overloads.add(text)
    return codes, overloads


def _kind(number: NumberFit) -> str:
    what = {
        "decimal": "decimal digits, four bits each",
        "segments": "segments of a display",
        "integer": "an integer",
        "signed": "an integer in two's complement",
    }[number.kind]
    return what if number.structured else f"{what}, only as far as they were seen"


def _fields(lesson: Lesson, within: str) -> Iterator[str]:
    assert lesson.modes is not None
    for field in lesson.modes.fields:
        yield f"\n[[{within}map]] # {', '.join(field.says)}"
        places = _masked(field.bits)
        yield f"at = [{', '.join(str(at + 1) for at in places)}]"
        yield f"masks = [{', '.join(f'0x{mask:02X}' for mask in places.values())}]"
        yield 'unknown = "refused"'
        yield f"[{within}map.values]"
        yield from _values(field, places)


def _values(field: Field, places: dict[int, int]) -> Iterator[str]:
    for key, meaning in field.values.items():
        data = dict.fromkeys(places, 0)
        for bit, value in zip(field.bits, key, strict=True):
            data[bit // 8] |= value << 7 - bit % 8
        by = ", ".join(str(n + 1) for n in meaning.moments[:8])
        once = "one reading alone, " if len(meaning.moments) == 1 else ""
        words = " ".join(sorted(meaning.words))
        yield f'"0x{bytes(data.values()).hex().upper()}" = "{words}" # {once}by reading {by}'


def _steady(lesson: Lesson, within: str) -> Iterator[str]:
    assert lesson.modes is not None
    steady = lesson.modes.steady
    if steady:
        yield "\n# Bits that never changed: a frame in which one does shows something that was never taught."
    for at, mask in _masked(sorted(steady)).items():
        value = sum(1 << 7 - bit % 8 for bit, is_set in steady.items() if bit // 8 == at and is_set)
        yield f"[[{within}steady]]\nat = {at + 1}\nmask = 0x{mask:02X}\nvalue = 0x{value:02X}"


def _masked(bits: Iterable[int]) -> dict[int, int]:
    """Bytes and their masks, in order."""
    places: dict[int, int] = {}
    for bit in sorted(bits):
        places[bit // 8] = places.get(bit // 8, 0) | 1 << 7 - bit % 8
    return places


def _wire(bit: BitAt) -> str:
    return f"{'~' * bit.inverted}{bit.at // 8 + 1}.{7 - bit.at % 8}"


def _hex(code: int) -> str:
    return f"0x{code.to_bytes(max(1, (code.bit_length() + 7) // 8), 'big').hex().upper()}"


def quoted(text: str) -> str:
    """A text as TOML writes it."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
