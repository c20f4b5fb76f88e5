"""Traps of form: readings in text, columns of blanks, quoted lines, notes, states, stand-in numbers, damage."""

from __future__ import annotations

import math
from collections.abc import Iterator

from tests.exchange.table.traps.trap import ROWS, Channel, Trap, Truth, clock, thousandths


def traps() -> Iterator[Trap]:
    """Give them."""
    truth = Truth(4)
    pairs = list(zip(truth.milliseconds, truth.millivolts, strict=True))
    plain = [truth.channel()]

    def lines(line: str) -> list[str]:
        return [line.format(t=thousandths(ms), v=thousandths(mv), ms=ms, mv=mv, c=clock(ms)) for ms, mv in pairs]

    def joined(rows: list[str], header: str = "") -> bytes:
        return (header + "\n".join(rows) + "\n").encode()

    yield Trap(
        "a labelled time and a bare value", joined(lines("Tempo (ms): {ms} | {v}")), [truth.channel("column 2")],
        asked="nothing says what the column '2' holds",
    )  # fmt: skip
    yield Trap("a clock and a named value", joined(lines("{c} U={v}V")), plain)
    yield Trap("named values with blanks", joined(lines("t: {t} s, U: {v} V")), plain)
    yield Trap("named values in running text", joined(lines("{c} reads U = {v} V  now")), [truth.channel("reads U")])
    yield Trap("a line for each value", joined(lines("time_s: {t}\nU: {v} V\n")), plain)
    yield Trap("lines quoted as a whole", joined(lines('"{t},""{v}"""'), '"time_s,""U [V]"""\n'), plain)
    yield Trap("blanks between columns", joined(lines("   {t}   {v}"), " t[s]   U[V]\n"), plain)
    fixed = [f"{thousandths(ms):>9}  {'' if i == 5 else thousandths(mv):>9}  {'KEY ON' if i == 7 else ''}"
             for i, (ms, mv) in enumerate(pairs)]  # fmt: skip
    yield Trap(
        "columns of fixed width with holes", joined(fixed, "  Time(s)       U(V)  Note\n"),
        [Channel("U", "dc_voltage", truth.time_s[:5] + truth.time_s[6:], truth.volts[:5] + truth.volts[6:])],
        markers=[(3.5, "KEY ON")],
    )  # fmt: skip
    yield Trap("named values in braces", joined(lines('{{"time_s": {t}, "U": {v} V}}')), plain)
    long = Truth(5, rows=1000)
    across = "Time (s);" + ";".join(map(thousandths, long.milliseconds))
    across += "\nU (V);" + ";".join(map(thousandths, long.millivolts)) + "\n"
    yield Trap("rows and columns exchanged", across.encode(), [long.channel()])
    yield Trap(
        "one line of values", ",".join(map(thousandths, long.millivolts)).encode(), [long.channel("column 1")],
        asked="no column holds times", answer=("--interval", "0.5"),
    )  # fmt: skip
    beside = [f"{key},{thousandths(ms)},{thousandths(mv)}"
              for key, (ms, mv) in zip(["Model X1", "Range 60", *[""] * (ROWS - 2)], pairs, strict=True)]  # fmt: skip
    yield Trap("settings beside the data", joined(beside, "Settings,time_s,U [V]\n"), plain)
    noted = lines("{t},{v}")
    noted[6:6] = ["# key on"]
    noted[13:13] = ["crank now"]
    yield Trap(
        "notes between the rows", joined(noted, "time_s,U [V]\n"), plain, markers=[(2.5, "key on"), (5.5, "crank now")]
    )
    states = [
        f"{thousandths(ms)},{thousandths(mv)},{'on' if 4 <= i < 9 else 'off'}" for i, (ms, mv) in enumerate(pairs)
    ]
    yield Trap(
        "a column of states", joined(states, "time_s,U [V],Ignition\n"), plain,
        markers=[(2.0, "Ignition: on"), (4.5, "Ignition: off")],
    )  # fmt: skip
    bits = [f"{thousandths(ms)},{thousandths(mv)},{int(4 <= i < 9)}" for i, (ms, mv) in enumerate(pairs)]
    yield Trap(
        "a column of bits", joined(bits, "time_s,U [V],Relay\n"), plain, markers=[(2.0, "Relay: 1"), (4.5, "Relay: 0")]
    )
    for cell, word in (("-1.0e+38", "blank"), ("30000.0", "overload"), ("-9999", "blank")):
        stands = [f"{thousandths(ms)},{cell if i % 6 == 2 else thousandths(mv)}" for i, (ms, mv) in enumerate(pairs)]
        kept = [i for i in range(ROWS) if word == "overload" or i % 6 != 2]
        values = [float("inf") if i % 6 == 2 else truth.volts[i] for i in kept]
        yield Trap(
            f"{cell} in place of a reading", joined(stands, "time_s,U [V]\n"),
            [Channel("U", "dc_voltage", [truth.time_s[i] for i in kept], values)],
            asked=f"--blank={cell}".replace("+", r"\+"), answer=(f"--{word}={cell}",),
        )  # fmt: skip
    shown = [f"{thousandths(ms)},{'OL' if i % 6 == 2 else thousandths(mv)}" for i, (ms, mv) in enumerate(pairs)]
    yield Trap(
        "overload in words", joined(shown, "time_s,U [V]\n"),
        [Channel("U", "dc_voltage", truth.time_s, [v if i % 6 != 2 else math.inf for i, v in enumerate(truth.volts)])],
    )  # fmt: skip
    torn = lines("{t},{v}")
    torn[9] = torn[9][:5]
    yield Trap(
        "a torn row", joined(torn, "time_s,U [V]\n"),
        [Channel("U", "dc_voltage", truth.time_s[:9] + truth.time_s[10:], truth.volts[:9] + truth.volts[10:])],
    )  # fmt: skip
