"""auto: finds out by listening which driver fits, and reads with it: `auto:/dev/ttyUSB0`.

Options: `listen_s` (how long at most), `ask=yes` (let drivers whose meters must be asked write to the port).
"""

from __future__ import annotations

from pathlib import PurePath

from meterlog.address import Address
from meterlog.driver import COMMON_OPTIONS, Connection, Driver, Meter, load_driver
from meterlog.driver.probe import LISTEN_S, Heard, found_address, probe
from meterlog.errors import AddressError
from meterlog.transports.tap import RawSink


class Auto(Driver):
    """Finds the driver by listening."""

    name = "auto"
    summary = "listens and takes the driver that fits; 'cannot tell' where none does, or two do"
    verification = "each driver told from the others, and noise from all, on pseudo-terminals"
    modes = ("those of the driver that it finds",)
    options = frozenset({"listen_s", "ask"})

    def meter(self, address: Address) -> Meter:
        """The meter behind a port.

        Raises:
            AddressError: no port is named, or an option cannot be understood.
        """
        if not address.target:
            raise AddressError(f"'{address}' does not name a port: write auto:/dev/ttyUSB0 or auto:COM7")
        return AutoMeter(address)


class AutoMeter:
    """A port whose driver is found at the first opening, and kept from then on."""

    def __init__(self, address: Address, sink: RawSink | None = None) -> None:
        self._address = address
        self._sink = sink
        self._listen_s = address.number("listen_s", LISTEN_S, least=0.5, most=600)
        self._ask = address.choice("ask", ("yes", "no"), "no") == "yes"
        self._found: Meter | None = None
        self._found_address: Address | None = None
        self._failures: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The found driver and the port."""
        if self._found is None:
            return f"auto on {self._address.target}"
        return f"{self._found.name} (found by listening)"

    @property
    def found(self) -> Address | None:
        """The address of the driver that fits; None before the first opening."""
        return self._found_address

    @property
    def failures(self) -> tuple[str, ...]:
        """A sentence for each driver that failed while it listened, and was left out."""
        return self._failures

    def column_label(self, column: int) -> str:
        """The name of a column: the found driver and the port."""
        address = self._found_address or self._address
        name = f"{address.scheme} {PurePath(address.target).name or address.target}"
        return f"{name} {column + 1}" if column else name

    @property
    def byte_time_s(self) -> float:
        """Not known before the driver is found."""
        return 0.0

    def tapped(self, sink: RawSink) -> AutoMeter:
        """This meter, with every byte it sends handed to the sink as well, once its driver is found."""
        return type(self)(self._address, sink)

    def open(self) -> Connection:
        """Listen, then open the driver that fits.

        Raises:
            NoFrameFits: it cannot be told which driver fits, or nothing comes.
            LinkError: the port cannot be opened.
        """
        if self._found is None:
            address = self._find()
            common = {k: v for k, v in self._address.options.items() if k in COMMON_OPTIONS}
            self._found_address = Address(address.scheme, address.target, {**address.options, **common})
            meter = load_driver(address.scheme).meter(self._found_address)
            tap = getattr(meter, "tapped", None)
            if self._sink is not None and tap is not None:
                self._sink.note(f"found: {self._found_address}")
                meter = tap(self._sink)
            self._found = meter
        return self._found.open()

    def _find(self) -> Address:
        return found_address(self._note(probe(self._address.target, self._listen_s, self._ask)))

    def _note(self, heard: Heard) -> Heard:
        """Keep what failed while listening."""
        self._failures = heard.failures
        return heard
