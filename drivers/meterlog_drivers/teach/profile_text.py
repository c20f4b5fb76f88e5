"""Writes what was learned as a profile that the driver `frames` reads, with what is known by which moment."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from meterlog_drivers.display.unit_words import spelling
from meterlog_drivers.teach.digits.number_fit import BitAt, NumberFit
from meterlog_drivers.teach.framing.frame_finder import FramesFound
from meterlog_drivers.teach.lesson import Lesson
from meterlog_drivers.teach.line_lesson import LineLesson
from meterlog_drivers.teach.modes.mode_fit import Field
from meterlog_drivers.teach.moments import Label, Moment

_GLYPHS_OF_OVERLOAD = "LObcdefghij"


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
        said.append(f"overload = [{', '.join(map(_quoted, lesson.overload))}]")
    said += ["", "[[column]]", f"pattern = {_quoted(lesson.pattern)}"]
    if "{unit}" in lesson.pattern:
        said += ["", "[units]", *(_unit_row(word, *meaning) for word, meaning in lesson.units.items())]
    else:
        ((label, exponent, used),) = lesson.units.values()
        unit = "degF" if label.fahrenheit else spelling(label.quantity, exponent) or label.quantity.unit
        said += [f'quantity = "{label.quantity}" {_by(used)}', f"unit = {_quoted(unit)}"]
    return "\n".join(said) + "\n"


def _unit_row(word: str, label: Label, exponent: int, used: Sequence[int]) -> str:
    fahrenheit = ", fahrenheit = true" if label.fahrenheit else ""
    return f'{_quoted(word)} = {{ quantity = "{label.quantity}", exponent = {exponent}{fahrenheit} }} {_by(used)}'


def _by(used: Sequence[int]) -> str:
    return f"# by reading {', '.join(str(n + 1) for n in used[:8])}"


def _head(count: int, taught_on: str) -> str:
    return f"# Taught by the display on {taught_on}, {count} readings. What was never seen is not read."


def _readings(
    moments: Sequence[Moment], good: Sequence[int], late: Mapping[int, int], slips: Mapping[int, str]
) -> Iterator[str]:
    for n in good:
        behind = f", typed {late[n]} displays late" if late.get(n, 0) > 0 else ""
        yield f"# reading {n + 1}: {moments[n].label.text}{behind}"
    for n, why in slips.items():
        yield f"# reading {n + 1}: {moments[n].label.text}: left out, {why}"


def _top(kind: str, count: int, lines: Sequence[str], taught_on: str) -> list[str]:
    return [
        f'kind = "{kind}"',
        f'about = "taught by the display, {count} readings"',
        f"lines = [{', '.join(map(_quoted, lines))}]",
        "taught = true",
        f'verified_on = "{taught_on}"',
    ]


def _parts(lesson: Lesson, lines: Sequence[str], taught_on: str) -> Iterator[str]:
    found, number = lesson.found, lesson.numbers[0]
    good = [n for n, at in enumerate(lesson.frame_of) if at >= 0 and n not in lesson.slips]
    yield _head(len(good), taught_on)
    yield from _readings(lesson.moments, good, lesson.late, lesson.slips)
    yield from _top("frames", len(good), lines, taught_on)
    yield from _frame(lesson)
    yield from _check(found)
    yield from _number(number, lesson)
    yield from _fields(lesson)
    yield from _steady(lesson)


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
        yield f"\n[checksum]\nkind = {_quoted(check.kind)}\nat = {check.at}\nfrom = {check.first}\nto = {check.last}"
        for name, value in check.options.items():
            yield f"{name} = {_quoted(value) if isinstance(value, str) else str(value).lower()}"


def _number(number: NumberFit, lesson: Lesson) -> Iterator[str]:
    yield f"\n[number] # {_kind(number)}"
    if unscaled := lesson.unscaled_overloads:
        yield f"unscaled_overload = [{', '.join(map(str, unscaled))}]"
    if number.is_integer:
        yield 'digits = "wired-integer"'
        yield f"bits = [{', '.join(_quoted(_wire(bit)) for bit in number.places[0])}]"
        if number.kind == "signed":
            yield "signed = true"
        yield f"most = {number.most} # {number.most.bit_length()} bits are known, and all of them set is no number"
        if lesson.overloads:
            yield f"overload = [{', '.join(_quoted(text) for text in lesson.overloads)}]"
        return
    codes, overloads = _with_overloads(number, lesson)
    yield 'digits = "wired"'
    yield "bits = ["
    for place in reversed(number.places):
        yield f"    [{', '.join(_quoted(_wire(bit)) for bit in place)}],"
    yield "]"
    yield "leading_blanks = true"
    if overloads:
        yield f"overload = [{', '.join(_quoted(text) for text in sorted(overloads))}]"
    yield "[number.segments]"
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


def _fields(lesson: Lesson) -> Iterator[str]:
    assert lesson.modes is not None
    for field in lesson.modes.fields:
        yield f"\n[[map]] # {', '.join(field.says)}"
        places = _masked(field.bits)
        yield f"at = [{', '.join(str(at + 1) for at in places)}]"
        yield f"masks = [{', '.join(f'0x{mask:02X}' for mask in places.values())}]"
        yield 'unknown = "refused"'
        yield "[map.values]"
        yield from _values(field, places)
    if lesson.modes.silent:
        silent = ", ".join(_wire(BitAt(bit, False)) for bit in sorted(lesson.modes.silent))
        yield f"\n# These bits changed while the display said the same; they are not read: {silent}."


def _values(field: Field, places: dict[int, int]) -> Iterator[str]:
    for key, meaning in field.values.items():
        data = dict.fromkeys(places, 0)
        for bit, value in zip(field.bits, key, strict=True):
            data[bit // 8] |= value << 7 - bit % 8
        by = ", ".join(str(n + 1) for n in meaning.moments[:8])
        once = "one reading alone, " if len(meaning.moments) == 1 else ""
        words = " ".join(sorted(meaning.words))
        yield f'"0x{bytes(data.values()).hex().upper()}" = "{words}" # {once}by reading {by}'


def _steady(lesson: Lesson) -> Iterator[str]:
    assert lesson.modes is not None
    steady = lesson.modes.steady
    if steady:
        yield "\n# Bits that never changed: a frame in which one does shows something that was never taught."
    for at, mask in _masked(sorted(steady)).items():
        value = sum(1 << 7 - bit % 8 for bit, is_set in steady.items() if bit // 8 == at and is_set)
        yield f"[[steady]]\nat = {at + 1}\nmask = 0x{mask:02X}\nvalue = 0x{value:02X}"


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


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
