"""Drivers whose meters send frames by themselves: a pure decoder and its encoder, over any transport."""

from __future__ import annotations

import time
from abc import abstractmethod
from typing import ClassVar, NamedTuple, Protocol, runtime_checkable

from meterlog.address import Address
from meterlog.driver.contract import FIRST_BYTES, Connection, Driver, Meter, Traffic
from meterlog.driver.registry import load_driver
from meterlog.errors import AddressError, NoFrameFits, bytes_in_words
from meterlog.reading import Reading
from meterlog.timing.cadence import Cadence
from meterlog.timing.pauses import longest_pause_s
from meterlog.transports import LineSettings, Link, Transport
from meterlog.transports.tap import RawSink, TappedTransport


class Decoder(Protocol):
    """Bytes to readings, pure: no port, no clock.

    Resynchronises after garbage, counts what it threw away, never invents a value, keeps at most one
    unfinished frame.
    """

    traffic: Traffic

    def feed(self, data: bytes, arrival_s: float) -> list[Reading]:
        """Take bytes that arrived at `arrival_s`; give the readings that they complete.

        A reading's time is the arrival less the wire time of its own frame and of what followed it in the
        same chunk (the number of those bytes times the decoder's byte time).
        """
        ...


@runtime_checkable
class JoinsMidway(Protocol):
    """A decoder that cannot tell the tail of its frame from a whole one: `2.34 V` from `12.34 V`."""

    def joined_midway(self) -> None:
        """The bytes that come next may begin in the middle of a frame."""
        ...


class Encoder(Protocol):
    """Readings to the bytes a meter would send."""

    def encode(self, readings: list[Reading]) -> bytes:
        """One frame that shows these readings (one a column; most framings have one column).

        Raises:
            EncodeError: the framing has no way to say that.
        """
        ...


class FramingDriver(Driver):
    """A driver that is a decoder and an encoder.

    Attributes:
        lines: the line settings its meters use, the commonest first.
        variants: the options, each as `name=value&...`, with which `meters` and `auto` try it on unknown bytes; the
            commonest first; none where that makes no sense.
        emulated: the options with which `emulate` sends where the person gives none of them: what only a person can
            tell of its bytes, so that what it says to type reads them.
        streams: its frames follow one another on a serial line; False where they belong to characteristics of BLE.
    """

    lines: ClassVar[tuple[LineSettings, ...]]
    variants: ClassVar[tuple[str, ...]] = ("",)
    emulated: ClassVar[str] = ""
    streams: ClassVar[bool] = True

    @abstractmethod
    def decoder(self, address: Address, byte_time_s: float) -> Decoder:
        """A fresh decoder with the address's options; `byte_time_s` is 0 where bytes have no wire time."""

    @abstractmethod
    def encoder(self, address: Address) -> Encoder:
        """A fresh encoder with the address's options."""

    def lines_for(self, address: Address) -> tuple[LineSettings, ...]:
        """The line settings of the meter that the address means, the commonest first; a profile may change them."""
        del address
        return self.lines

    def assumed(self, address: Address) -> tuple[str, ...]:
        """List what the driver takes for granted where chips' sister versions differ, in words, for `meters`."""
        del address
        return ()

    def unsaid(self, address: Address) -> str:
        """Say what neither the bytes nor the address tell, so that only a person knows it; '' for nothing."""
        del address
        return ""

    def drafted(self, data: bytes, line: LineSettings) -> str:
        """A profile for bytes that no driver fits, to be offered to a person; '' where none can be drafted."""
        del data, line
        return ""

    def meter(self, address: Address) -> Meter:
        """The meter on the serial line (or URL) that the address names."""
        from meterlog.transports.serial_line import serial_transport

        return FramedMeter(self, address, serial_transport(address, self.lines_for(address)[0]))

    def known_options(self) -> frozenset[str]:
        """As `Driver.known_options`, and those of the serial line."""
        from meterlog.transports.serial_line import LINE_OPTIONS

        return super().known_options() | LINE_OPTIONS


class FramedMeter:
    """A decoder over a transport, as a meter."""

    def __init__(self, driver: FramingDriver, address: Address, transport: Transport) -> None:
        self._driver, self._address, self._transport = driver, address, transport
        driver.decoder(address, 0.0)  # a wrong option shows now, not after the port was opened

    @property
    def name(self) -> str:
        """The driver and the port."""
        return f"{self._driver.name} on {self._transport.name}"

    def tapped(self, sink: RawSink) -> FramedMeter:
        """This meter, with every byte it sends handed to the sink as well."""
        return FramedMeter(self._driver, self._address, TappedTransport(self._transport, sink))

    @property
    def byte_time_s(self) -> float:
        """The transport's."""
        return self._transport.byte_time_s

    def open(self) -> Connection:
        """Open the transport with a fresh decoder on it."""
        decoder = self._driver.decoder(self._address, self._transport.byte_time_s)
        return FramedConnection(self._driver.name, self._transport, decoder)


class FramedConnection:
    """An open transport with its decoder."""

    NO_FRAME_BYTES = 200
    """Bytes without one good frame after which the framing is said not to fit: at least ten frames' worth."""

    def __init__(self, driver: str, transport: Transport, decoder: Decoder) -> None:
        self._driver, self._name = driver, transport.name
        self._decoder = decoder
        self._bytes = 0
        self._byte_time_s = transport.byte_time_s
        self._link: Link = transport.open()
        self._opened_s = time.monotonic()
        self._cadence = Cadence(self._opened_s, self._byte_time_s > 0.0)

    @property
    def traffic(self) -> Traffic:
        """The decoder's counts."""
        return self._decoder.traffic

    def read(self, timeout_s: float) -> list[Reading] | None:
        """See `Connection.read`."""
        try:
            chunk = self._link.read(timeout_s)
        except EOFError:
            return None
        if chunk is None:
            return []
        if not self._bytes and isinstance(self._decoder, JoinsMidway):
            silent_s = chunk.arrival_s - len(chunk.data) * self._byte_time_s - self._opened_s
            if silent_s < longest_pause_s(self._byte_time_s):
                self._decoder.joined_midway()
        readings = self._decoder.feed(chunk.data, chunk.arrival_s)
        self._bytes += len(chunk.data)
        traffic = self._decoder.traffic
        if not traffic.frames_good and not traffic.never_taught:
            traffic.first_bytes = (traffic.first_bytes + chunk.data)[:FIRST_BYTES]
            if self._bytes >= self.NO_FRAME_BYTES:
                came = bytes_in_words(traffic.first_bytes)
                raise NoFrameFits(
                    f"{self._name} sends bytes but none fit {self._driver}: check the driver and the line settings"
                    f" ('meterlog meters --listen 5' tries them all); first bytes {came}",
                    self._name,
                    traffic.first_bytes,
                )
        return self._cadence.timed(readings)

    def close(self) -> None:
        """Close the link."""
        self._link.close()


class Framing(NamedTuple):
    """A framing driver with an address: what gives fresh decoders and encoders."""

    driver: FramingDriver
    address: Address

    def decoder(self, byte_time_s: float = 0.0) -> Decoder:
        """See `FramingDriver.decoder`."""
        return self.driver.decoder(self.address, byte_time_s)

    def encoder(self) -> Encoder:
        """See `FramingDriver.encoder`."""
        return self.driver.encoder(self.address)


def framing_of(text: str) -> Framing:
    """The framing behind an address as typed, whatever its port.

    Raises:
        AddressError: it is no address, has an option its driver does not know, or its driver is no framing.
        DriverError: there is no such driver.
    """
    address = Address.parse(text)
    driver = load_driver(address.scheme)
    if not isinstance(driver, FramingDriver):
        raise AddressError(f"the driver '{driver.name}' has no frames to decode or to send")
    driver.check(address)
    return Framing(driver, address)
