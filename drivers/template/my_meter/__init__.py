"""mymeter: six bytes a reading. Copy this folder, and change what your meter does otherwise.

| byte | holds |
|---|---|
| 1 | 0xAB, the start |
| 2 | function: 1 V DC, 2 A DC, 3 ohm |
| 3 4 | the number without its decimal point, signed, high byte first; 0x7FFF is overload |
| 5 | decimals, 0 to 4 |
| 6 | the sum of bytes 1 to 5, low 8 bits |
"""

import math

from meterlog.address import Address
from meterlog.driver import Traffic
from meterlog.errors import EncodeError
from meterlog.framing import FramingDriver
from meterlog.reading import Flag, Quantity, Reading
from meterlog.transports import LineSettings

START, LENGTH, OVERLOAD = 0xAB, 6, 0x7FFF
FUNCTIONS = {
    1: (Quantity.DC_VOLTAGE, Flag.DC),
    2: (Quantity.DC_CURRENT, Flag.DC),
    3: (Quantity.RESISTANCE, Flag.NONE),
}


class MyMeterDecoder:
    """Bytes to readings. Whatever comes, it never raises, never guesses, and counts what it threw away."""

    def __init__(self, byte_time_s: float) -> None:
        self.traffic = Traffic()
        self._byte_time_s = byte_time_s
        self._rest = b""

    def feed(self, data: bytes, arrival_s: float) -> list[Reading]:
        held, at, readings = self._rest + data, 0, []
        while len(held) - at >= LENGTH:
            frame = held[at : at + LENGTH]
            if frame[0] != START or sum(frame[:5]) & 0xFF != frame[5]:
                self.traffic.bytes_discarded += 1
                at += 1
                continue
            reading = self._reading(frame, arrival_s - (len(held) - at) * self._byte_time_s)
            if reading is None:
                self.traffic.frames_refused += 1
            else:
                self.traffic.frames_good += 1
                readings.append(reading)
            at += LENGTH
        self._rest = held[at:]
        return readings

    def _reading(self, frame: bytes, time_s: float) -> Reading | None:
        """A whole frame; None where it says what the meter never says."""
        if frame[1] not in FUNCTIONS or frame[4] > 4:
            return None
        quantity, flags = FUNCTIONS[frame[1]]
        number = int.from_bytes(frame[2:4], "big", signed=True)
        resolution = float(f"1e-{frame[4]}")
        if number == OVERLOAD:
            return Reading(time_s, math.inf, quantity, resolution, flags | Flag.OVERLOAD)
        return Reading(time_s, float(f"{number}e-{frame[4]}"), quantity, resolution, flags)


class MyMeterEncoder:
    """Readings to bytes: what 'meterlog emulate --driver mymeter' sends, and what the checks need."""

    def encode(self, readings: list[Reading]) -> bytes:
        (reading,) = readings
        codes = {quantity: code for code, (quantity, _) in FUNCTIONS.items()}
        if reading.quantity not in codes or reading.column:
            raise EncodeError(f"mymeter cannot show {reading.quantity.words}")
        decimals = max(0, min(4, round(-math.log10(reading.resolution))))
        number = OVERLOAD if math.isinf(reading.value) else round(reading.value * 10**decimals)
        if not -OVERLOAD <= number <= OVERLOAD:
            raise EncodeError(f"mymeter cannot show {reading.value:g}")
        frame = bytes([START, codes[reading.quantity], *number.to_bytes(2, "big", signed=True), decimals])
        return frame + bytes([sum(frame) & 0xFF])


class MyMeter(FramingDriver):
    name = "mymeter"
    summary = "6 bytes: start, function, number, decimals, sum"
    verification = "unverified against hardware"
    modes = ("V DC", "A DC", "ohm", "overload")
    lines = (LineSettings(9600, 8, "N", 1),)

    def decoder(self, address: Address, byte_time_s: float) -> MyMeterDecoder:
        del address  # of its options, where your meter needs some
        return MyMeterDecoder(byte_time_s)

    def encoder(self, address: Address) -> MyMeterEncoder:
        del address
        return MyMeterEncoder()
