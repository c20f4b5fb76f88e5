"""Drivers made of a profile read a frame as their byte table says, written here once more by hand."""

from __future__ import annotations

import random
import re
from collections.abc import Callable

import pytest

from meterlog.driver.framing import framing_of
from meterlog.reading import Flag, Quantity, Reading
from meterlog_drivers.display.every_mode import every_mode

Q = Quantity
DC, AC = Flag.DC, Flag.AC
CHARS16_UNITS = {
    "18": (Q.DC_VOLTAGE, -3, DC),
    "34": (Q.DC_VOLTAGE, 0, DC),
    "35": (Q.DC_CURRENT, -6, DC),
    "36": (Q.DC_CURRENT, 0, DC),
    "37": (Q.DC_CURRENT, -3, DC),
    "49": (Q.AC_VOLTAGE, -3, AC),
    "50": (Q.AC_VOLTAGE, 0, AC),
    "51": (Q.AC_CURRENT, -6, AC),
    "52": (Q.AC_CURRENT, 0, AC),
    "53": (Q.AC_CURRENT, -3, AC),
    "38": (Q.RESISTANCE, 0, Flag.NONE),
    "39": (Q.RESISTANCE, 3, Flag.NONE),
    "40": (Q.RESISTANCE, 6, Flag.NONE),
    "31": (Q.FREQUENCY, 0, Flag.NONE),
    "33": (Q.FREQUENCY, 3, Flag.NONE),
    "67": (Q.FREQUENCY, 6, Flag.NONE),
    "43": (Q.CAPACITANCE, -9, Flag.NONE),
    "44": (Q.CAPACITANCE, -6, Flag.NONE),
    "A4": (Q.CAPACITANCE, -12, Flag.NONE),
    "46": (Q.DIODE, 0, Flag.NONE),
    "01": (Q.TEMPERATURE, 0, Flag.NONE),
}
STATUS14_BITS = (
    ["-", "-", "auto", "dc", "ac", "relative", "hold", "bar"],
    ["-", "-", "maximum", "minimum", "auto-power-off", "low-battery", "n", "-"],
    ["u", "m", "k", "M", "beep", "diode", "%", "-"],
    ["V", "A", "ohm", "hFE", "Hz", "F", "degC", "degF"],
)
STATUS14_UNITS = {
    "V dc": Q.DC_VOLTAGE,
    "V ac": Q.AC_VOLTAGE,
    "A dc": Q.DC_CURRENT,
    "A ac": Q.AC_CURRENT,
    "ohm": Q.RESISTANCE,
    "beep ohm": Q.CONTINUITY,
    "V diode": Q.DIODE,
    "V dc diode": Q.DIODE,
    "Hz": Q.FREQUENCY,
    "%": Q.DUTY_CYCLE,
    "F": Q.CAPACITANCE,
    "degC": Q.TEMPERATURE,
}
STATUS14_FLAGS = {
    "auto": Flag.AUTORANGE,
    "relative": Flag.RELATIVE,
    "hold": Flag.HOLD,
    "maximum": Flag.MAXIMUM,
    "minimum": Flag.MINIMUM,
    "low-battery": Flag.LOW_BATTERY,
    "dc": DC,
    "ac": AC,
}
PREFIXES = {"n": -9, "u": -6, "m": -3, "k": 3, "M": 6}
PREFIXES_OF = {"V": "m", "A": "um", "ohm": "kM", "Hz": "kM", "F": "num"}


def chars16(frame: bytes) -> tuple[str, Quantity, Flag, int] | None:
    """The number as it would be typed, and what it is; None for no reading."""
    found = re.fullmatch(rb"\x024([12])(..)([01])([0-3])(\d{8})\r", frame, re.DOTALL)
    if found is None or found[2].decode("latin-1") not in CHARS16_UNITS:
        return None
    quantity, exponent, flags = CHARS16_UNITS[found[2].decode()]
    counts = -int(found[5]) if found[3] == b"1" else int(found[5])
    return f"{counts}e{exponent - int(found[4])}", quantity, flags, int(found[1]) - 1


def status14(frame: bytes) -> tuple[str, Quantity, Flag, int] | None:
    """The same for status14."""
    digits = frame[:5]
    if not re.fullmatch(rb"[+-](\d{4}|\?0:\?) [0124]", frame[:7]) or frame[12:] != b"\r\n":
        return None
    lit = [
        name
        for byte, names in zip(frame[7:11], STATUS14_BITS, strict=True)
        for bit, name in zip((128, 64, 32, 16, 8, 4, 2, 1), names, strict=True)
        if byte & bit
    ]
    prefixes = [name for name in lit if name in PREFIXES]
    rest = [name for name in lit if name not in (*PREFIXES, *STATUS14_FLAGS, "bar", "auto-power-off")]
    units = " ".join(sorted(rest + [name for name in lit if name in ("dc", "ac")], key="V A ohm dc ac".find))
    quantity = next((q for words, q in STATUS14_UNITS.items() if set(words.split()) == set(units.split())), None)
    if quantity is None or len(prefixes) > 1:
        return None
    allowed = "" if quantity in (Q.CONTINUITY, Q.DIODE) else PREFIXES_OF.get(quantity.unit, "")
    if (prefixes and prefixes[0] not in allowed) or (quantity is Q.CAPACITANCE and not prefixes):
        return None
    flags = Flag.NONE
    for name in lit:
        flags |= STATUS14_FLAGS.get(name, Flag.NONE)
    exponent = sum(PREFIXES[name] for name in prefixes) - {"0": 0, "1": 3, "2": 2, "4": 1}[chr(frame[6])]
    if digits[1:] == b"?0:?":
        return f"{chr(digits[0])}inf", quantity, flags | Flag.OVERLOAD, 0
    return f"{int(digits)}e{exponent}", quantity, flags, 0


def possible(value: float, quantity: Quantity, flags: Flag) -> bool:
    """Tell whether a hand-held meter can show that."""
    if Flag.OVERLOAD in flags or Flag.RELATIVE in flags:
        return True
    alternating = quantity in (Q.AC_VOLTAGE, Q.AC_CURRENT, Q.FREQUENCY, Q.DUTY_CYCLE)
    most = {"V": 4000.0, "A": 4000.0, "%": 100.0}.get("%" if quantity is Q.DUTY_CYCLE else quantity.unit)
    if quantity in (Q.DIODE, Q.CONTINUITY):
        most = None
    least = 0.0 if alternating else -459.67 if quantity is Q.TEMPERATURE else None if most is None else -most
    return (least is None or value >= least) and (most is None or value <= most)


@pytest.mark.parametrize(("name", "table"), [("chars16", chars16), ("status14", status14)])
def test_it_reads_any_frame_as_its_byte_table_says(
    name: str, table: Callable[[bytes], tuple[str, Quantity, Flag, int] | None]
) -> None:
    framing = framing_of(f"{name}:x")
    encoder = framing.encoder()
    frames = [encoder.encode([reading]) for reading in every_mode(encoder)]
    rng = random.Random(20)
    read = 0
    for _ in range(4000):
        frame = bytearray(rng.choice(frames))
        for _ in range(rng.randrange(3)):
            place = rng.randrange(len(frame))
            frame[place] = rng.choice([frame[place] ^ 1 << rng.randrange(8), rng.randrange(256), *b"0124"])
        if frame[3:5] == b"02" if name == "chars16" else frame[10] & 1:
            continue  # degrees Fahrenheit are converted, which the golden frames check
        said = table(bytes(frame))
        wanted: list[Reading] = []
        if said is not None and possible(float(said[0]), said[1], said[2]):
            wanted = [Reading(0.0, float(said[0]), said[1], 0.0, said[2], said[3])]
        shown = framing.decoder().feed(bytes(frame), 0.0)
        assert [one._replace(resolution=0.0) for one in shown] == wanted, bytes(frame)
        read += len(shown)
    assert read > 1500
