"""ble: meters over Bluetooth Low Energy, with any decoder of frames on their bytes.

`ble:AA:BB:CC:DD:EE:FF?decoder=status14`; without a decoder (or `decoder=auto`) it is found by listening, as `auto:`
does on a serial line, for `listen_s=` at most. The meter is named by its address, or by the advertised `name=` or
`service=` (UUID, short or long), which is the way on macOS where each computer has an identifier of its own for a
peripheral. The characteristics are found by what they can do, in the known serial services first; `service=`,
`notify=` and `write=` choose others. A meter that must be asked takes `poll=`: text, or bytes as `0x0102`;
`interval_s=` is the time between two requests (0.5 s). `adapter=hci1` is another adapter than the first (Linux),
`search_s=` how long to look for the meter (10 s). All other options are the decoder's.
"""

from __future__ import annotations

import re
from uuid import UUID

from meterlog.address import Address
from meterlog.driver import COMMON_OPTIONS, Driver, Meter, load_driver
from meterlog.driver.framing import FramedMeter, FramingDriver
from meterlog.driver.probe import Heard, probe
from meterlog.errors import AddressError, NoFrameFits
from meterlog.transports import LineSettings
from meterlog.transports.ble import BleSettings, BleTransport, Wanted
from meterlog.transports.tap import RawSink
from meterlog_drivers.auto import AutoMeter
from meterlog_drivers.gatt import Characteristics, Gatt

POLL_S = 0.5
"""Time between two requests where the address says none: two readings a second, which most displays keep up with
(default, unverified)."""

LEAST_POLL_S = 0.02
"""The shortest time between two requests, s: two connection intervals of the shortest kind fit (Core Specification:
7.5 ms); a choice."""
SEARCH_S = 10.0
"""Time to look for a meter where the address does not say, s: ten advertisements of one that sends one a
second (usual, from memory, unverified)."""
_LONGEST_S = 3600
"""An hour: more is a mistake in typing."""
_ADDRESS = re.compile(r"([0-9A-Fa-f]{2}:){5}[0-9A-Fa-f]{2}")
_IDENTIFIER = re.compile(r"[0-9A-Fa-f]{8}(-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12}")
_SHORT_UUID = re.compile(r"[0-9A-Fa-f]{4}|[0-9A-Fa-f]{8}")
_BASE_UUID = "-0000-1000-8000-00805f9b34fb"
_ADAPTER = re.compile(r"\w+")


class Ble(Driver):
    """A meter that is a Bluetooth LE peripheral."""

    name = "ble"
    summary = "any framing over Bluetooth LE: serial services, or the characteristics named"
    verification = "bleak end to end on a simulated adapter; unverified with a radio"
    modes = ("those of its decoder",)
    least_silence_s = 2.0  # a radio link often dies without a word
    options = frozenset({"decoder", "name", "service", "notify", "write", "poll", "adapter", "search_s", "listen_s"})

    def check(self, address: Address) -> None:
        """As `Driver.check`, with the options of its decoder known.

        Raises:
            AddressError, DriverError: an option or the decoder is not known.
        """
        decoder = _decoder(address)
        known = self.options | (decoder.options if decoder is not None else frozenset())
        rest = {k: v for k, v in address.options.items() if k not in known}
        super().check(Address(address.scheme, address.target, rest))

    def one_column(self, address: Address) -> bool:
        """As its decoder has."""
        decoder = _decoder(address)
        return decoder is not None and decoder.one_column(address)

    def meter(self, address: Address) -> Meter:
        """The peripheral with the decoder on its bytes.

        Raises:
            AddressError: the address or an option cannot be understood.
        """
        decoder = _decoder(address)
        if decoder is None:
            return _ListeningMeter(address)
        tagging = Characteristics() if isinstance(decoder, Gatt) else None
        inner = {k: v for k, v in address.options.items() if k in decoder.options | COMMON_OPTIONS}
        transport = BleTransport(_settings(address), tagging)
        return FramedMeter(decoder, Address(decoder.name, address.target, inner), transport)


class _ListeningMeter(AutoMeter):
    """A peripheral whose decoder is found at the first opening, and kept from then on."""

    def __init__(self, address: Address, sink: RawSink | None = None) -> None:
        super().__init__(address, sink)
        self._transport = BleTransport(_settings(address))

    @property
    def name(self) -> str:
        """The found decoder and the peripheral."""
        return f"ble on {self._transport.name}" if self.found is None else super().name

    def _find(self) -> Address:
        found = heard_address(self._address, self._note(probe_bytes(self._transport, self._listen_s)))
        # the peripheral itself, however it was asked for: its twin may come in reach
        return Address("ble", self._transport.found or found.target, found.options)


def probe_bytes(transport: BleTransport, listen_s: float) -> Heard:
    """Run every decoder on a peripheral's bytes; see `meterlog.driver.probe.probe`."""
    return probe(transport.name, listen_s, transport=lambda _: transport, lines=[LineSettings()])


def heard_address(address: Address, heard: Heard) -> Address:
    """The `ble:` address with the decoder that fits and its options.

    Raises:
        NoFrameFits: it cannot be told.
    """
    if heard.doubt:
        raise NoFrameFits(f"{heard.port}: {heard.doubt}", heard.port, heard.first_bytes)
    best = heard.fits[0]
    options = Address.parse(f"ble:x?{best.options}").options
    return Address("ble", address.target, {**address.options, "decoder": best.driver.name, **options})


def peripheral_transport(address: Address) -> BleTransport:
    """The bytes of the peripheral that a `ble:` address names, whatever its decoder.

    Raises:
        AddressError: the address or an option cannot be understood.
    """
    return BleTransport(_settings(address))


def _decoder(address: Address) -> FramingDriver | None:
    """The decoder's driver; None where it is to be found by listening."""
    name = address.options.get("decoder", "auto")
    if name == "auto":
        return None
    driver = load_driver(name)
    if not isinstance(driver, FramingDriver):
        raise AddressError(f"in '{address}' the decoder must read frames of bytes; '{name}' does not")
    return driver


def _settings(address: Address) -> BleSettings:
    options = address.options
    target, name = address.target.strip(), options.get("name", "")
    if target and not (_ADDRESS.fullmatch(target) or _IDENTIFIER.fullmatch(target)):
        raise AddressError(
            f"'{target}' is not a Bluetooth address such as AA:BB:CC:DD:EE:FF (on macOS the long identifier that"
            " 'meterlog meters' shows); give a name as name="
        )
    service = _uuid(address, "service")
    if not (target or name or service):
        raise AddressError(f"'{address}' does not name a peripheral: give its address, or name= or service=")
    adapter = options.get("adapter")
    if adapter is not None and not _ADAPTER.fullmatch(adapter):
        raise AddressError(f"in '{address}' the option adapter must be a name such as hci0, not '{adapter}'")
    return BleSettings(
        wanted=Wanted(target, name, "" if target or name else service),
        service=service,
        notify=_uuid(address, "notify"),
        write=_uuid(address, "write"),
        poll=_poll(address),
        interval_s=address.number("interval_s", POLL_S, least=LEAST_POLL_S, most=_LONGEST_S),
        adapter=adapter,
        search_s=address.number("search_s", SEARCH_S, least=0.1, most=_LONGEST_S),
    )


def _uuid(address: Address, option: str) -> str:
    """An option as a long UUID in lower case; empty when it is not given."""
    text = address.options.get(option, "")
    if not text:
        return ""
    try:
        return str(UUID(f"{text:0>8}{_BASE_UUID}" if _SHORT_UUID.fullmatch(text) else text))
    except ValueError:
        raise AddressError(
            f"in '{address}' the option {option} must be a UUID of 4, 8 or 32 hex digits such as fff1, not '{text}'"
        ) from None


def _poll(address: Address) -> bytes:
    text = address.options.get("poll", "")
    if not text.lower().startswith("0x"):
        return text.encode()
    try:
        return bytes.fromhex(text[2:])
    except ValueError:
        raise AddressError(
            f"in '{address}' the option poll must have pairs of hex digits after 0x, not '{text}'"
        ) from None
