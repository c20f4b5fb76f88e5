"""Traps of time: units, dates, clocks that restart, stamps that are coarse or absent."""

from __future__ import annotations

from collections.abc import Iterator

from tests.exchange.table.traps.trap import ROWS, Channel, Trap, Truth, clock, thousandths


def traps() -> Iterator[Trap]:
    """Give them."""
    truth = Truth(2)
    plain = [truth.channel()]

    def table(title: str, cells: list[str], mark: str = ",") -> bytes:
        values = zip(cells, truth.millivolts, strict=True)
        return (f"{title}{mark}U [V]\n" + "".join(f"{cell}{mark}{thousandths(mv)}\n" for cell, mv in values)).encode()

    ms = truth.milliseconds
    yield Trap("milliseconds by name", table("millis", [str(t) for t in ms]), plain)
    yield Trap("milliseconds of the day", table("ms_today", [str(36_000_000 + t) for t in ms]), plain)
    yield Trap("microseconds", table("t_us", [f"{t}000" for t in ms]), plain)
    yield Trap("minutes", table("Time (min)", [f"{t * 120}" for t in ms]), [
        Channel("U", "dc_voltage", [t * 7200.0 for t in ms], truth.volts)
    ])  # fmt: skip
    yield Trap(
        "time in steps of 500", table("time", [str(t) for t in ms]), plain,
        asked="'time' .* does not say what its numbers", answer=("--time-unit", "ms"),
    )  # fmt: skip
    yield Trap(
        "a count of rows", table("Sample", [str(i) for i in range(ROWS)]), plain,
        asked="'Sample' .* the time between two with --interval S", answer=("--interval", "0.5"),
    )  # fmt: skip
    yield Trap(
        "no time column", ("U [V]\n" + "".join(f"{thousandths(mv)}\n" for mv in truth.millivolts)).encode(), plain,
        asked="no column holds times: give the time between rows with --interval S", answer=("--rate", "2/s"),
    )  # fmt: skip
    yield Trap("seconds since 1970", table("timestamp", [thousandths(1_700_000_000_000 + t) for t in ms]), plain)
    yield Trap("milliseconds since 1970", table("timestamp", [str(1_700_000_000_000 + t) for t in ms]), plain)
    yield Trap("ISO with offset", table("time", [f"2024-05-01T{clock(t)}+02:00" for t in ms]), plain)
    yield Trap("day first, settled by a day above 12", table("time", [f"23/05/2024 {clock(t)}" for t in ms]), plain)
    yield Trap("month first with halves of the day", table("time", [f"05/23/2024 {clock(t)} AM" for t in ms]), plain)
    yield Trap(
        "day or month first", table("time", [f"03/05/2024 {clock(t)}" for t in ms]), plain,
        asked="3 May 2024 or as 5 March 2024", answer=("--date-order", "mdy"),
    )  # fmt: skip
    yield Trap(
        "a date and a clock column",
        ("Date;Time;U [V]\n" + "".join(f"23.05.2024;{clock(t, ',')};{thousandths(mv, ',')}\n"
                                       for t, mv in zip(ms, truth.millivolts, strict=True))).encode(),
        plain,
    )  # fmt: skip
    yield Trap("clock times past midnight", table("Clock", [
        clock((86_399_000 - 5000 + t) % 86_400_000, hour=0) for t in ms
    ]), plain)  # fmt: skip
    yield Trap("thousandths behind a colon", table("Clock", [clock(t, ":") for t in ms]), plain)
    yield Trap(
        "pre-trigger seconds", table("time_s", [thousandths(t - 3000) for t in ms]),
        [Channel("U", "dc_voltage", [(t - 3000) / 1000 for t in ms], truth.volts)],
    )  # fmt: skip
    yield Trap("durations with days", table("t", [f"1 day, 0{clock(t, hour=2)[1:]}" for t in ms], ";"), plain,
         asked="'12.979' can be read as 12.979 or as 12979")  # fmt: skip
    yield Trap(
        "a date and a clock joined by a hyphen", table("stamp", [f"20/10/2024-{clock(t * 2)[:8]}" for t in ms]),
        [Channel("U", "dc_voltage", [t * 2 / 1000 for t in ms], truth.volts)],
        asked="--time-format '%d/%m/%Y-%H:%M:%S'",
    )  # fmt: skip
    yield Trap(
        "a date and a clock written together",
        table("stamp", [f"20241020{clock(t * 2)[:8].replace(':', '')}" for t in ms]),
        [Channel("U", "dc_voltage", [t * 2 / 1000 for t in ms], truth.volts)],
        asked="written together: say so with --time-format '%Y%m%d%H%M%S'",
    )  # fmt: skip
    yield Trap(
        "a spreadsheet's days", table("time", [f"45585.{i * 5:03d}" for i in range(ROWS)]),
        [Channel("U", "dc_voltage", [i * 432.0 for i in range(ROWS)], truth.volts)],
        asked="days as spreadsheets count them", answer=("--time-unit", "serial"), tolerance_s=1e-5,
    )  # fmt: skip
    yield Trap(
        "words for day, month and zone",
        table("GPS Time", [f"Thu May 23 {clock(t * 2)[:8]} GMT+02:00 2024" for t in ms]),
        [Channel("U", "dc_voltage", [t * 2 / 1000 for t in ms], truth.volts)],
        asked=r"--time-format '%a %b %d %H:%M:%S GMT%z %Y'",
    )  # fmt: skip
    exact = zip(ms, truth.millivolts, strict=True)
    yield Trap(
        "powers of ten, units for names",
        ("Source,CH1\nSecond,Volt\n" + "".join(f"{t}.0e-03,{mv}.00e-03\n" for t, mv in exact)).encode(),
        [truth.channel("Volt")], asked="'Volt' does not state its unit",
    )  # fmt: skip
    yield from _restarts(truth)
    yield from _summer_time(truth)
    yield Trap("whole seconds of two rows each", table("time", [f"2024-05-01 {clock(t)[:8]}" for t in ms]), plain)


def _summer_time(truth: Truth) -> Iterator[Trap]:
    """A clock that is put forward, and one that is put back, by the owner's zone: no hour goes or comes twice."""
    minutes = [i * 5 for i in range(len(truth.millivolts))]
    channel = [Channel("U", "dc_voltage", [minute * 60.0 for minute in minutes], truth.volts)]

    def table(day: str, hours: list[int]) -> bytes:
        cells = [f"{day} {hour:02d}:{minute % 60:02d}:00" for hour, minute in zip(hours, minutes, strict=True)]
        values = zip(cells, truth.millivolts, strict=True)
        return ("time,U [V]\n" + "".join(f"{cell},{thousandths(mv)}\n" for cell, mv in values)).encode()

    forward, back = [1] * 12 + [3] * 12, [2] * 12
    berlin, new_york = ("--zone", "Europe/Berlin"), ("--zone", "America/New_York")
    asked = "step in line 14 from {} 01:55:00 to {} 03:00:00, as where clocks were put forward"
    yield Trap("clocks put forward", table("2024-03-31", forward), channel,
               asked=asked.format("2024-03-31", "2024-03-31"), answer=berlin)  # fmt: skip
    yield Trap("clocks put forward elsewhere, month first", table("03/10/2024", forward), channel,
               asked="3 October 2024", answer=("--date-order", "mdy", *new_york))  # fmt: skip
    gap = [Channel("U", "dc_voltage", [minute * 60.0 + (3600.0 if minute >= 60 else 0.0) for minute in minutes],
                   truth.volts)]  # fmt: skip
    yield Trap("an hour's pause where other clocks were put forward", table("2024-03-31", forward), gap,
               asked="its offset, such as --zone", answer=("--zone", "+01:00"))  # fmt: skip
    whole = Truth(12, rows=48)
    every = [i * 5 for i in range(48)]
    hours = [1] * 12 + back + back + [3] * 12
    cells = [f"2024-10-27 {hour:02d}:{minute % 60:02d}:00" for hour, minute in zip(hours, every, strict=True)]
    rows = "".join(f"{cell},{thousandths(mv)}\n" for cell, mv in zip(cells, whole.millivolts, strict=True))
    yield Trap("clocks put back", b"time,U [V]\n" + rows.encode(),
               [Channel("U", "dc_voltage", [minute * 60.0 for minute in every], whole.volts)],
               asked="where the clock was put back that night, name its zone", answer=berlin)  # fmt: skip


def _restarts(truth: Truth) -> Iterator[Trap]:
    later = Truth(3)
    both = [
        *zip(truth.milliseconds, truth.millivolts, strict=True),
        *zip(later.milliseconds, later.millivolts, strict=True),
    ]
    data = ("time_s,U [V]\n" + "".join(f"{thousandths(t)},{thousandths(mv)}\n" for t, mv in both)).encode()
    yield Trap(
        "a clock that begins again", data, [truth.channel()], asked=rf"goes back in line {ROWS + 2} from 11.5 s to 0 s",
        answer=("--restarts", "parts"), sessions=2,
    )  # fmt: skip
    yield Trap(
        "a clock that begins again, joined", data,
        [Channel("U", "dc_voltage", [*truth.time_s, *(16.5 + t for t in later.time_s)], truth.volts + later.volts)],
        markers=[(16.5, "clock restarted")], asked="--restarts offset", answer=("--restarts", "offset"),
    )  # fmt: skip
    blocks = [f"{thousandths(t)},{name},{thousandths(mv)}\n"
              for name, one in (("feed", truth), ("ground", later))
              for t, mv in zip(one.milliseconds, one.millivolts, strict=True)]  # fmt: skip
    yield Trap(
        "channels one after another", ("time_s,Channel,U [V]\n" + "".join(blocks)).encode(),
        [truth.channel("feed"), later.channel("ground")],
    )  # fmt: skip
