"""Traps of delimiters, decimal marks, encodings, headers and units."""

from __future__ import annotations

from collections.abc import Iterator

from tests.exchange.table.traps.trap import Channel, Trap, Truth, thousandths


def traps() -> Iterator[Trap]:
    """Give them."""
    truth = Truth(1)
    pairs = list(zip(truth.milliseconds, truth.millivolts, strict=True))

    def rows(line: str, mark: str = ".") -> str:
        return "".join(
            line.format(t=thousandths(ms, mark), v=thousandths(mv, mark), ms=ms, mv=mv) + "\n" for ms, mv in pairs
        )

    plain = [truth.channel()]
    yield Trap("commas and points", ("time_s,U [V]\n" + rows("{t},{v}")).encode(), plain)
    yield Trap("semicolons and decimal commas", ("time_s;U [V]\n" + rows("{t};{v}", ",")).encode(), plain)
    yield Trap("tabs and decimal commas", ("time_s\tU [V]\n" + rows("{t}\t{v}", ",")).encode(), plain)
    yield Trap("bars", ("time_s|U [V]\n" + rows("{t}|{v}")).encode(), plain)
    yield Trap("quoted decimal commas", ("time_s,U [V]\n" + rows('"{t}","{v}"', ",")).encode(), plain)
    yield Trap("units in the header by number", ("Time (ms),U (mV)\n" + rows("{ms},{mv}")).encode(), plain)
    yield Trap("a row of units", ("Time;U\nms;mV\n" + rows("{ms};{mv}")).encode(), plain)
    yield Trap("a row of units in brackets", ("Time,U\n(ms),(mV)\n" + rows("{ms},{mv}")).encode(), plain)
    yield Trap("a unit in each cell", ("time_s,U\n" + rows("{t},{mv} mV")).encode(), plain)
    yield Trap("a unit of time in each cell", ("t,U\n" + rows("{ms} ms,{v} V")).encode(), plain)
    yield Trap("a preamble", ("Logger 7\nSerial: 12345\n\ntime_s,U [V]\n" + rows("{t},{v}")).encode(), plain)
    yield Trap("a sep line", ("sep=;\ntime_s;U [V]\n" + rows("{t};{v}", ",")).encode(), plain)
    yield Trap("a delimiter at each row's end", ("time_s;U [V];\n" + rows("{t};{v};")).encode(), plain)
    yield Trap("a delimiter at the rows' ends only", ("time_s;U [V]\n" + rows("{t};{v};")).encode(), plain)
    yield Trap(
        "a header again and again",
        ("".join("time_s,U [V]\n" + line + "\n" for line in rows("{t},{v}").splitlines())).encode(),
        plain,
    )
    yield Trap("UTF-16", ("time_s\tU [V]\r\n" + rows("{t}\t{v}")).encode("utf-16"), plain)
    yield Trap("Latin-1", ("Zeit (s);U (µV)\n" + rows("{t};{mv}000")).encode("latin-1"), plain)
    yield Trap(
        "GB18030", ("时间(ms),电压(mV)\n" + rows("{ms},{mv}")).encode("gb18030"), [truth.channel("电压")],
        asked="the encoding is a guess, gb18030, which reads '时间",
    )  # fmt: skip
    yield Trap(
        "Cyrillic", ("Время (ms);Напряжение (mV)\n" + rows("{ms};{mv}")).encode("cp1251"),
        [truth.channel("Напряжение")], asked="the encoding is a guess",
    )  # fmt: skip
    yield Trap(
        "no unit at all", ("time_s,voltage\n" + rows("{t},{mv}")).encode(), [truth.channel("voltage")],
        asked="'voltage' does not state its unit", answer=("--unit", "mV"),
    )  # fmt: skip
    yield Trap(
        "no header", rows("{t},{mv}").encode(), [truth.channel("column 2")],
        asked="nothing says what the column '2' holds", answer=("--unit", "mV"),
    )  # fmt: skip
    yield Trap(
        "thousands in the values",
        ("time_s;U [mV]\n" + "".join(f"{thousandths(ms, ',')};{thousandths(mv)}\n" for ms, mv in pairs)).encode(),
        plain, asked="can be read as 12[.][0-9]{3} or as 12[0-9]{3}", answer=("--decimal", ","),
    )  # fmt: skip
    yield Trap(
        "two channels, one quantity each",
        ("time_s,U [V],I [mA]\n" + rows("{t},{v},{mv}")).encode(),
        [truth.channel(), Channel("I", "dc_current", truth.time_s, truth.volts)],
    )
    yield Trap(
        "a row of groups above twin names",
        ("Feed,,Ground,\nTime [s],U [V],Time [s],U [V]\n" + rows("{t},{v},{t},0.0{mv}")).encode(),
        [
            Channel("Feed U", "dc_voltage", truth.time_s, truth.volts),
            Channel("Ground U", "dc_voltage", truth.time_s, [int(f"0{mv}") / 1e6 for mv in truth.millivolts]),
        ],
        asked="'Ground Time .s.' is another time",
    )
    yield Trap(
        "columns that are no meter's",
        ("time_s,Speed [km/h],U [V],Engine [rpm],Charge [%]\n" + rows("{t},50,{v},800,75")).encode(),
        plain,
    )
