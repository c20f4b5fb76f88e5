"""Makes meters that nobody has seen: random encodings, wirings, codes, masks, marks and checksums.

Shares nothing with the product: what a frame means is written here once more, from the other side.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from typing import NamedTuple

SEGMENTS = ["abcdef", "bc", "abdeg", "abcdg", "bcfg", "acdfg", "acdefg", "abc", "abcdefg", "abcdfg"]
NUMBERS = ("ascii", "nibble", "bcd", "bcd-little", "segments", "split-segments", "scattered-segments")
INTEGERS = ("int16-big", "int16-little", "int24-big", "int24-little", "int32-little")


class Mode(NamedTuple):
    """A place of the dial in one range: `V`, with the decimals of its display."""

    unit: str
    decimals: int
    signed: bool


FUNCTIONS: dict[str, list[tuple[str, int]]] = {
    "V": [("V", 3), ("V", 2), ("V", 1)],
    "mV": [("mV", 1)],
    "VAC": [("V AC", 3), ("V AC", 2), ("V AC", 1)],
    "ohm": [("ohm", 1), ("kohm", 3), ("kohm", 2), ("kohm", 1), ("Mohm", 3)],
    "A": [("A", 3), ("A", 2)],
    "mA": [("mA", 2), ("mA", 1)],
    "Hz": [("Hz", 1), ("kHz", 3), ("kHz", 2)],
    "degC": [("degC", 1)],
}
SIGNED = ("V", "mV", "A", "mA", "degC")


class Display(NamedTuple):
    """Holds what a display shows."""

    function: str
    range: int
    counts: int
    minus: bool = False
    overload: bool = False
    hold: bool = False

    @property
    def text(self) -> str:
        """As a careful person types it."""
        unit, decimals = FUNCTIONS[self.function][self.range]
        if self.overload:
            return f"OL {unit}"
        digits = f"{self.counts:0{decimals + 1}d}"
        number = f"{digits[:-decimals]}.{digits[-decimals:]}" if decimals else digits
        return f"{'-' if self.minus else ''}{number} {unit}{' hold' if self.hold else ''}"

    @property
    def value(self) -> float:
        """In SI units."""
        unit, decimals = FUNCTIONS[self.function][self.range]
        power = {"m": -3, "k": 3, "M": 6}.get(unit[0], 0) if len(unit.split()[0]) > 1 else 0
        if unit in ("degC", "ohm", "Hz", "V AC"):
            power = 0
        return float(f"{'-' if self.minus else ''}{self.counts}e{power - decimals}")


@dataclass
class Meter:
    """A meter with a framing of its own."""

    seed: int
    kind: str = ""
    places: int = 4
    functions: list[str] = field(default_factory=list)
    style: str = ""

    def __post_init__(self) -> None:
        rng = random.Random(self.seed)
        self.rng = rng
        kinds = (*NUMBERS, *INTEGERS)
        self.kind = kinds[self.seed % len(kinds)]
        self.places = rng.choice((4, 4, 4, 5))
        self.functions = ["V", "ohm", *rng.sample([f for f in FUNCTIONS if f not in ("V", "ohm")], rng.randint(1, 3))]
        self.most = {4: rng.choice((1999, 3999, 5999, 9999)), 5: rng.choice((19999, 29999))}[self.places]
        self.signs = rng.choice(("bit", "bit", "char")) if self.kind in NUMBERS else rng.choice(("bit", "two"))
        self.points = rng.choice(("byte", "bits", "exponent", "range"))
        self.units = rng.choice(("code", "bits"))
        self.over = rng.choice(("bit", "digits"))
        self.blank = rng.random() < 0.5
        self.mask = rng.choice(("none", "none", "xor", "xor", "offset"))
        self.check = rng.choice(("none", "none", "sum8", "xor8", "crc8", "crc16"))
        self.marks = rng.choice(("start", "start2", "crlf", "both", "pause"))
        self.bar = rng.random() < 0.3
        self.extra = rng.random() < 0.2
        self.interval_s = rng.choice((0.2, 0.33, 0.5))
        self._codes()

    def _codes(self) -> None:
        rng = self.rng
        self.start = bytes(rng.sample(range(1, 255), {"start": 1, "start2": 2, "both": 1}.get(self.marks, 0)))
        self.end = {"crlf": b"\r\n", "both": bytes([rng.randrange(1, 255)])}.get(self.marks, b"")
        self.xor = [rng.randrange(1, 256) for _ in range(rng.choice((1, 2, 4)))] if self.mask == "xor" else [0]
        self.offset = rng.randrange(1, 256) if self.mask == "offset" else 0
        self.polynomial = rng.randrange(3, 256, 2)
        self.initial = rng.choice((0, 0xFF, rng.randrange(256)))
        self.function_code = dict(zip(self.functions, rng.sample(range(256), len(self.functions)), strict=True))
        self.point_code = rng.sample(range(16), 4)
        self.range_code = {f: rng.sample(range(8), len(FUNCTIONS[f])) for f in self.functions}
        self.prefix_code = dict(zip(("", "m", "k", "M"), rng.sample(range(4), 4), strict=True))
        self.symbols = rng.sample(range(16), 10)
        self.flag_bits = rng.sample(range(8), 5)
        self.wiring = rng.sample(range(8), 8)
        self.scatter = rng.sample(range(8 * (self.places + 2)), 7 * self.places)
        self.digit_base = rng.choice((0x30, 0x40, 0x00, 0x10 * rng.randrange(16)))
        self.filler = [rng.randrange(256) for _ in range(rng.randint(0, 2))]
        self.order = self.rng.sample(range(5), 5)

    def shows(self, display: Display) -> list[int]:
        """The number's bytes."""
        if self.kind.startswith("int"):
            return self._integer(display)
        width = self.places
        text = "?" * width if display.overload and self.over == "digits" else f"{display.counts:0{width}d}"
        if self.blank and not (display.overload and self.over == "digits"):
            least = FUNCTIONS[display.function][display.range][1] + 1
            shown = f"{display.counts:0{least}d}"
            text = " " * (width - len(shown)) + shown
        if display.overload and self.over == "bit":
            text = "0" * width
        if self.kind == "ascii":
            return [{"?": 0x3F, " ": 0x20}.get(c, 0x30 + int(c) if c.isdigit() else 0) for c in text]
        if self.kind == "nibble":
            return [self.digit_base + {"?": 14, " ": 15}.get(c, int(c) if c.isdigit() else 0) for c in text]
        if self.kind.startswith("bcd"):
            nibbles = [{"?": 14, " ": 15}.get(c, int(c) if c.isdigit() else 0) for c in text]
            nibbles = [0] * (len(nibbles) % 2) + nibbles
            packed = [a << 4 | b for a, b in zip(nibbles[::2], nibbles[1::2], strict=True)]
            return packed[::-1] if self.kind == "bcd-little" else packed
        return self._segments(text)

    def _segments(self, text: str) -> list[int]:
        lit = ["def" if c == "?" else "" if c == " " else SEGMENTS[int(c)] for c in text]
        if self.kind == "segments":
            return [sum(1 << self.wiring["abcdefg".index(s)] for s in one) for one in lit]
        if self.kind == "split-segments":
            codes = [
                sum(1 << sorted(range(7), key=lambda k: self.wiring[k])["abcdefg".index(s)] for s in one) for one in lit
            ]
            return [part for code in codes for part in (code >> 4, code & 15)]
        bits = 0
        for place, one in enumerate(lit):
            for s in one:
                bits |= 1 << self.scatter[7 * place + "abcdefg".index(s)]
        return list(bits.to_bytes(self.places + 2, "little"))

    def _integer(self, display: Display) -> list[int]:
        size = int(self.kind[3:5]) // 8
        number = -display.counts if display.minus and self.signs == "two" else display.counts
        if display.overload and self.over == "digits":
            number = (1 << 8 * size - 1) - 1
        data = number.to_bytes(size, "big" if self.kind.endswith("big") else "little", signed=self.signs == "two")
        return list(data)

    def frame(self, display: Display, jitter: int = 0) -> bytes:
        """The bytes on the wire."""
        unit, decimals = FUNCTIONS[display.function][display.range]
        prefix = unit[0] if unit[0] in "mkM" and unit.split()[0] not in ("m",) and len(unit.split()[0]) > 1 else ""
        flags = 0
        for on, bit in zip(
            (display.minus and self.signs == "bit", display.overload and self.over == "bit", display.hold),
            self.flag_bits,
            strict=False,
        ):
            flags |= on << bit
        sign = [0x2D if display.minus else 0x2B] if self.signs == "char" else []
        parts = [
            self.shows(display),
            sign,
            [flags],
            self._unit(display, unit, prefix),
            self._point(display, decimals, prefix),
        ]
        body = [b for k in self.order for b in parts[k]]
        body += self.filler
        if self.bar:
            body.append(min(255, display.counts * 40 // (self.most + 1)))
        if self.extra:
            body.append(jitter & 0xFF)
        body = [(b ^ self.xor[n % len(self.xor)]) + self.offset & 0xFF for n, b in enumerate(body)]
        wire = self.start + bytes(body)
        return wire + self._check(wire) + self.end

    def _unit(self, display: Display, unit: str, prefix: str) -> list[int]:
        if self.units == "code":
            code = [self.function_code[display.function]]
            return code + ([] if self.points in ("exponent", "range") else [self.prefix_code[prefix]])
        base = unit.split()[0].removeprefix(prefix) if prefix else unit.split()[0]
        names = ["V", "A", "ohm", "Hz", "degC", "m", "k", "M", "AC", "DC"]
        lit = {base, prefix, "AC" if unit.endswith("AC") else "DC" if base in "VA" else ""}
        bits = sum(1 << self.symbols[n] for n, name in enumerate(names) if name in lit)
        return [bits >> 8, bits & 0xFF]

    def _point(self, display: Display, decimals: int, prefix: str) -> list[int]:
        if self.points == "byte":
            return [0x30 + self.point_code[decimals]]
        if self.points == "bits":
            return [(1 << decimals) >> 1]
        if self.points == "range":
            return [self.range_code[display.function][display.range]]
        return [({"m": -3, "k": 3, "M": 6}.get(prefix, 0) - decimals) & 0xFF]

    def _check(self, wire: bytes) -> bytes:
        if self.check == "sum8":
            return bytes([sum(wire) + self.initial & 0xFF])
        if self.check == "xor8":
            value = self.initial
            for byte in wire:
                value ^= byte
            return bytes([value])
        if self.check == "none":
            return b""
        width, poly = (8, self.polynomial) if self.check == "crc8" else (16, 0x1021)
        register = self.initial
        for byte in wire:
            register ^= byte << width - 8
            for _ in range(8):
                register = (register << 1) ^ (poly if register >> width - 1 & 1 else 0)
                register &= (1 << width) - 1
        return register.to_bytes(width // 8, "big")

    @property
    def described(self) -> str:
        """In a line."""
        return (
            f"{self.kind}, {self.places} digits, sign {self.signs}, point {self.points}, units {self.units},"
            f" overload {self.over}, mask {self.mask}, check {self.check}, marks {self.marks}"
            + (", bar" if self.bar else "")
            + (", counter" if self.extra else "")
        )
