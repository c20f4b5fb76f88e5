"""Traps of files that strangers brought: two tables in one, units in a column, months in words, days, clocks."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from tests.exchange.table.traps.trap import ROWS, Channel, Trap, Truth, clock, thousandths

_TRUTH = Truth(5)
_PAIRS = list(zip(_TRUTH.milliseconds, _TRUTH.millivolts, strict=True))
_PLAIN = [_TRUTH.channel()]
_EACH_SECOND = [Channel("U", "dc_voltage", [float(i) for i in range(ROWS)], _TRUTH.volts)]


def _lines(line: Callable[[int, str, str], str], mark: str = ".") -> str:
    """A line for each row, made of its number, its seconds and its volts."""
    return "".join(line(i, thousandths(ms, mark), thousandths(mv, mark)) + "\n" for i, (ms, mv) in enumerate(_PAIRS))


def _table(title: str, cells: Sequence[str], mark: str = ",") -> bytes:
    rows = zip(cells, _TRUTH.millivolts, strict=True)
    return (f"{title}{mark}U [V]\n" + "".join(f"{cell}{mark}{thousandths(mv)}\n" for cell, mv in rows)).encode()


def traps() -> Iterator[Trap]:
    """Give them."""
    yield from _dressed()
    yield from _timed()
    yield from _paired()
    yield from _units()
    yield from _two_tables()


def _dressed() -> Iterator[Trap]:
    plain = "time_s,U [V]\n" + _lines(lambda _i, t, v: f"{t},{v}")
    yield Trap("big-endian UTF-16", b"\xfe\xff" + plain.encode("utf-16-be"), _PLAIN)
    yield Trap("UTF-16 without a mark", plain.encode("utf-16-le"), _PLAIN)
    ends = ["\r\n", "\n", "\r"] * ROWS
    yield Trap("line ends of three kinds", "".join(map(str.__add__, plain.splitlines(), ends)).encode(), _PLAIN)
    yield Trap("line ends of an old kind", plain.replace("\n", "\r").encode(), _PLAIN)
    yield Trap("a summary below", (plain + "\nMin,12.001\nMax,12.990\nAverage,12.500\n").encode(), _PLAIN)
    yield Trap("a summary above", ("Min,12.001,V\nMax,12.990,V\nMean,12.5,V\n\n" + plain).encode(), _PLAIN)
    yield Trap("cells as formulas", ("time_s,U [V]\n" + _lines(lambda _i, t, v: f'="{t}",="{v}"')).encode(), _PLAIN)
    yield Trap(
        "cells in apostrophes", ("'time_s','U [V]'\n" + _lines(lambda _i, t, v: f"'{t}','{v}'")).encode(), _PLAIN
    )
    yield Trap(
        "bars at both ends",
        ("| time_s | U [V] |\n|---|---|\n" + _lines(lambda _i, t, v: f"| {t} | {v} |")).encode(),
        _PLAIN,
    )
    yield Trap(
        "line ends in quotes",
        ("time_s,U [V],Note\n" + _lines(lambda i, t, v: f"{t},{v}," + ('"key\non"' if i == 5 else ""))).encode(),
        _PLAIN, markers=[(2.5, "key\non")],
    )  # fmt: skip
    wide = "time_s,U [V]\n" + _lines(lambda _i, t, v: f"{t},{v},,,")
    yield Trap("delimiters without an end at the rows' ends", wide.encode(), _PLAIN)
    hexadecimal = "counter,time_s,U [V]\n" + _lines(lambda i, t, v: f"0x{i + 4090:04X},{t},{v}")
    yield Trap("a counter in hexadecimal", hexadecimal.encode(), _PLAIN)
    minus = Channel("U", "dc_voltage", _TRUTH.time_s, [-volts for volts in _TRUTH.volts])
    yield Trap(
        "a typographer's minus", ("time_s,U [V]\n" + _lines(lambda _i, t, v: f"{t},\u2212{v}")).encode(), [minus]
    )
    amps = Channel("I", "dc_current", _TRUTH.time_s, [float(f"{1000 + mv % 1000}.25e-3") for mv in _TRUTH.millivolts])
    for name, group in (("apostrophes", "'"), ("narrow blanks", "\u202f"), ("blanks that do not break", "\u00a0")):
        grouped = (f"{ms / 1000:.3f};1{group}{mv % 1000:03d}.25\n" for ms, mv in _PAIRS)
        yield Trap(f"thousands grouped by {name}", ("time_s;I [mA]\n" + "".join(grouped)).encode(), [amps])
    over = [float("inf") if i % 4 == 0 else mv * 1000.0 for i, mv in enumerate(_TRUTH.millivolts)]
    for word in (">40.00", "OFL", "OVLD", "0.L", "over range"):
        cells = _lines(lambda i, t, v, word=word: f"{t},{word if i % 4 == 0 else v}")  # type: ignore[misc]
        yield Trap(
            f"overload as {word}", ("time_s,R [MOhm]\n" + cells).encode(),
            [Channel("R", "resistance", _TRUTH.time_s, over)],
        )  # fmt: skip


def _timed() -> Iterator[Trap]:
    late = [f"23.05.2024 {'23:59' if i < 12 else '24:00'}:{(48 + i) % 60:02d}" for i in range(ROWS)]
    yield Trap("a date that is late to change", _table("time", late), _EACH_SECOND)
    yield Trap(
        "two figures of the year first", _table("time", [f"24-05-06 10:00:{i:02d}" for i in range(ROWS)]), _EACH_SECOND,
        asked="the date '24-05-06' can be read as 24 May 2006 or as 6 May 2024", answer=("--date-order", "ymd"),
    )  # fmt: skip
    half = ["AM" if i < 12 else "PM" for i in range(ROWS)]
    noon = [f"05/23/2024 {'11:59' if i < 12 else '12:00'}:{(48 + i) % 60:02d} {half[i]}" for i in range(ROWS)]
    yield Trap("noon in halves of the day", _table("time", noon), _EACH_SECOND)
    offsets = [
        f"2024-10-27T02:{'59' if i < 10 else '00'}:{(50 + i) % 60:02d}+0{2 if i < 10 else 1}:00" for i in range(ROWS)
    ]
    yield Trap("the end of summer time, with offsets", _table("time", offsets), _EACH_SECOND)
    for month in ("Mai", "mai", "mag.", "Okt", "févr.", "ago", "dic", "März"):
        cells = [f"23. {month} 2024 10:00:{i:02d}" for i in range(ROWS)]
        yield Trap(
            f"the month {month}", _table("Zeit", cells, ";"), _EACH_SECOND,
            asked="can be read as", answer=("--decimal", "."),
        )  # fmt: skip
    days = [Channel("U", "dc_voltage", [i * 86.4 for i in range(ROWS)], _TRUTH.volts)]
    yield Trap("days", _table("Time (d)", [f"0.{i:03d}" for i in range(ROWS)]), days)
    yield Trap(
        "days since a year 0", _table("Timestamp", [f"739395.4{i:05d}" for i in range(ROWS)]),
        [Channel("U", "dc_voltage", [i * 0.0864 for i in range(ROWS)], _TRUTH.volts)],
        asked="does not say what its numbers count: give --time-unit d", tolerance_s=1e-5,
    )  # fmt: skip
    yield Trap(
        "seconds since 1904", _table("timestamp", [thousandths(3_799_303_200_000 + ms) for ms, _ in _PAIRS]), _PLAIN,
        asked="does not say what its numbers count: give --time-unit s",
    )  # fmt: skip
    yield Trap(
        "time in a unit that nobody knows", _table("Time (jiffies)", [f"0.{i:03d}" for i in range(ROWS)]),
        [Channel("U", "dc_voltage", [i * 0.06 for i in range(ROWS)], _TRUTH.volts)],
        asked="does not say what its numbers count", answer=("--time-unit", "min"),
    )  # fmt: skip
    for name, cells in (
        ("a week and its day", [f"2024-W21-4T10:00:{i:02d}" for i in range(ROWS)]),
        ("a day of the year", [f"2024-144T10:00:{i:02d}" for i in range(ROWS)]),
        ("hours with letters", [f"10h00m{i:02d}s" for i in range(ROWS)]),
    ):
        yield Trap(name, _table("time", cells), _EACH_SECOND, asked="a form of their own: say which with --time-format")
    night = [f"23.05.2024,{clock((86_394_000 + ms) % 86_400_000, hour=0)}" for ms, _ in _PAIRS]
    yield Trap(
        "a date that never changes", _table("date,clock", night), _PLAIN,
        asked="where the date was not advanced at midnight, give the clock's column alone",
        answer=("--time", "clock"),
    )  # fmt: skip
    zero = "time_s,U [V]\n-0.000,-0.0\n" + _lines(lambda i, t, v: f"{t},{v}" if i else "")
    yield Trap("negative zero", zero.encode(), [Channel("U", "dc_voltage", _TRUTH.time_s, [-0.0, *_TRUTH.volts[1:]])])


def _paired() -> Iterator[Trap]:
    later = Channel("U2", "dc_voltage", [(ms + 100) / 1000 for ms, _ in _PAIRS], [(mv + 1) / 1000 for _, mv in _PAIRS])
    pairs = "".join(
        f"{thousandths(ms)},{thousandths(mv)},{thousandths(ms + 100)},{thousandths(mv + 1)}\n" for ms, mv in _PAIRS
    )
    asked = "is another time: with --join pairs each --value has the --time given for it"
    yield Trap("a time for each channel", ("t1 (s),U1 (V),t2 (s),U2 (V)\n" + pairs).encode(), [
        _TRUTH.channel("U1"), later
    ], asked=asked)  # fmt: skip
    rows = [f"{thousandths(ms)},{thousandths(mv)}," for ms, mv in _PAIRS]
    half = [
        f"{thousandths(2 * ms + 100)},{thousandths(mv + 1)}" if i < 12 else "," for i, (ms, mv) in enumerate(_PAIRS)
    ]
    slower = Channel(
        "U2", "dc_voltage", [(2 * ms + 100) / 1000 for ms, _ in _PAIRS[:12]], [(mv + 1) / 1000 for _, mv in _PAIRS[:12]]
    )
    yield Trap(
        "a time for each channel, one slower",
        ("Time A (s),U1 (V),Time B (s),U2 (V)\n" + "".join(map("{}{}\n".format, rows, half))).encode(),
        [_TRUTH.channel("U1"), slower], asked=asked,
    )  # fmt: skip


def _units() -> Iterator[Trap]:
    units = ["V" if i % 2 else "mV" for i in range(ROWS)]
    volts = [mv / 1000 if i % 2 else float(f"{thousandths(mv)}e-3") for i, mv in enumerate(_TRUTH.millivolts)]
    yield Trap(
        "units in a column", ("time_s,Value,Unit\n" + _lines(lambda i, t, v: f"{t},{v},{units[i]}")).encode(),
        [Channel("Value", "dc_voltage", _TRUTH.time_s, volts)],
    )  # fmt: skip
    milliamps = [float(f"{thousandths(mv)}e-3") for mv in _TRUTH.millivolts]
    yield Trap(
        "two columns of units",
        ("Time (s),Value 1,Unit 1,Value 2,Unit 2\n" + _lines(lambda _i, t, v: f"{t},{v},V,{v},mA")).encode(),
        [_TRUTH.channel("Value 1"), Channel("Value 2", "dc_current", _TRUTH.time_s, milliamps)],
    )  # fmt: skip
    yield Trap(
        "units before the values", ("Time (s),Unit,Value\n" + _lines(lambda _i, t, v: f"{t},mA,{v}")).encode(),
        [Channel("Value", "dc_current", _TRUTH.time_s, milliamps)],
    )  # fmt: skip
    alternating = "Time (s),Value,Unit\n" + _lines(lambda _i, t, v: f"{t},{v},VAC")
    yield Trap("alternating by the unit", alternating.encode(), [_TRUTH.channel("Value", "ac_voltage")])
    ohms = [float("inf") if i % 4 == 0 else float(mv) for i, mv in enumerate(_TRUTH.millivolts)]
    opened = _lines(lambda i, t, v: f"{t},OL,Mohm" if i % 4 == 0 else f"{t},{v},kohm")
    yield Trap(
        "overload in another range than the rest", ("time_s,Value,Unit\n" + opened).encode(),
        [Channel("Value", "resistance", _TRUTH.time_s, ohms)],
    )  # fmt: skip
    mixed = _lines(lambda i, t, v: f"{t},{v},{'V' if i < 12 else 'A'}")
    yield Trap(
        "a unit of another quantity from the middle on", ("Time (s),Value,Unit\n" + mixed).encode(),
        [Channel("Value", "dc_voltage", _TRUTH.time_s[:12], _TRUTH.volts[:12])],
        asked="in a unit of another quantity, left out: 12 .* leave that out with --leave-out",
    )  # fmt: skip


def _two_tables() -> Iterator[Trap]:
    volts = "time_s,U [V]\n" + _lines(lambda _i, t, v: f"{t},{v}")
    amps = "time_s,I [A]\n" + _lines(lambda _i, t, v: f"{t},{v}")
    yield Trap(
        "a second table below", (volts + "\n" + amps).encode(), _PLAIN,
        asked=r"another table begins in line 27 \('time_s', 'I \[A\]'\): import one at a time, with --lines 1-26",
    )  # fmt: skip
    wide = "time_s,I [A],P\n" + _lines(lambda i, t, v: f"{t},{v},{i}")
    yield Trap(
        "a wider table below", (volts + "\nTable 2\n" + wide).encode(), [_TRUTH.channel("I", "dc_current")],
        asked="a table of its own stands above line 28: import one at a time, with --lines 28-",
    )  # fmt: skip
    narrow = "time_s,R [Ohm],P\n" + _lines(lambda i, t, v: f"{t},{v},{i}") + "\n" + volts
    yield Trap(
        "a narrower table below", narrow.encode(), [_TRUTH.channel("R", "resistance")],
        asked="another table begins in line 27",
    )  # fmt: skip
    broken = _lines(lambda i, t, v: f"{t},{'4k7' if i % 3 == 0 else v}")
    kept = [i for i in range(ROWS) if i % 3]
    yield Trap(
        "values that nobody can read", ("time_s,R [Ohm]\n" + broken).encode(),
        [Channel("R", "resistance", [_TRUTH.time_s[i] for i in kept], [_TRUTH.volts[i] for i in kept])],
        asked="too much of the table cannot be read: values of 'R .Ohm.' that are not numbers, left out: 8",
    )  # fmt: skip


def refused() -> Iterator[tuple[str, bytes, str]]:
    """Give files that are refused: what they are, the file, a pattern of the sentence."""
    back = [*reversed(_PAIRS)]
    backwards = "time_s,U [V]\n" + "".join(f"{thousandths(ms)},{thousandths(mv)}\n" for ms, mv in back)
    yield "the newest row first", backwards.encode(), "run backwards, the newest row first: sort the table"
    tilde = "time_s~U [V]\n" + _lines(lambda _i, t, v: f"{t}~{v}")
    yield "an unusual mark between columns", tilde.encode(), "say what separates its columns with --delimiter"
    markup = "<log>\n" + _lines(lambda _i, t, v: f'<r t="{t}" u="{v}"/>') + "</log>\n"
    yield "markup", markup.encode(), "no table is found"
    hexadecimal = "time_s,raw\n" + "".join(f"{thousandths(ms)},0x{mv:04X}\n" for ms, mv in _PAIRS)
    yield "values in hexadecimal", hexadecimal.encode(), "no column holds the readings of a meter"
    eastern = "time_s,U [V]\n" + _lines(lambda _i, t, v: f"{t},{v}").translate({48 + k: 0x660 + k for k in range(10)})
    yield "figures of another script", eastern.encode(), "no cell of the time column is a time"
    states = "time_s,Relay\n" + _lines(lambda i, t, _v: f"{t},{'on' if i % 8 < 4 else 'off'}")
    yield "states alone", states.encode(), "no column holds the readings of a meter"
