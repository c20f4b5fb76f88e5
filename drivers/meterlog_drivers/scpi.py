"""scpi: bench meters that answer SCPI queries, over a serial line, a TCP socket or VISA.

`scpi:/dev/ttyUSB1?baud=9600`, `scpi:socket://192.0.2.7:5025?quantity=dc_voltage&range=10`,
`scpi:USB0::0x1234::0x5678::SERIAL::INSTR`, `scpi:TCPIP::192.0.2.7::INSTR` (VISA, with the extra `visa`). Options:

| option | meaning |
|---|---|
| `quantity` | the function to set (`CONF:...`); without it the one that the panel shows is read, and asked for again |
| `range` | the range to set, in the quantity's unit; `auto` is the instrument's own choice |
| `ask` | `read` (`READ?`: measures, then answers) or `fetch` (`FETC?`: the latest value, every `interval_s`) |
| `remote` | `SYST:REM` first and `SYST:LOC` at the end: `yes`, `no`, or `auto` (on a serial line, not on a socket) |
| `terminator` | what ends a command: `lf`, `crlf`, `cr`, or `find` (tried in this order). Replies may end in any |
| `timeout_s` | how long to wait for a reply |

A command is only sent when the last reply has come. Serial settings are the common 9600 8N1; many such meters are
set at the panel. A comma list gives a column for each number.
"""

from __future__ import annotations

import time
from collections import deque

from meterlog.address import Address
from meterlog.driver import Connection, Driver, Meter, Traffic
from meterlog.errors import AddressError, LinkAbsent, LinkError, LinkLost
from meterlog.reading import Quantity, Reading
from meterlog.transports import LineSettings, Link, Transport
from meterlog.transports.serial_line import LINE_OPTIONS, serial_transport
from meterlog.transports.tap import RawSink, TappedTransport
from meterlog.transports.visa import VisaTransport, is_resource
from meterlog_drivers.display.scpi_words import FUNCTIONS, error_of, implied, quantity_of, values_of, without_prompt

TERMINATORS = {"lf": b"\n", "crlf": b"\r\n", "cr": b"\r"}
LONGEST_REPLY = 4096
"""Bytes; a longer line is no reply. A hundred readings of 16 characters have room; a guess."""
FUNCTION_EVERY_S = 2.0
"""Interval at which the function is asked for again: somebody may turn it at the panel."""
FETCH_INTERVAL_S = 0.1
"""Time between two `FETC?`, s: as fast as most bench displays change (from memory, unverified)."""
QUIET_S = 0.05
"""Silence after which nothing is left of an earlier reply, s: 48 characters at 9600 baud; a guess."""
MOST_QUIET_WAIT_S = 2.0
"""Time to wait for that silence, s; an instrument that talks longer sends by itself. A guess."""
IDENTITY_S = 2.0
"""Longest time for `*IDN?` at an address that a person typed, s; a guess."""
ASK_S = 0.5
"""Longest time for `*IDN?` on a port that is only tried, with each terminator, s; a guess."""
SMALL_QUERY_S = 1.0
"""Longest time for `FUNC?` and `SYST:ERR?`, s: they measure nothing. A guess."""
MOST_BAD_REPLIES = 3
"""Replies in a row without a number after which the link counts as lost; a choice."""
MOST_ERRORS = 30
"""Replies to `SYST:ERR?` that are read at most; queues hold 20 or so."""


class Scpi(Driver):
    """Bench meters that answer SCPI queries."""

    name = "scpi"
    summary = "bench meters that answer SCPI queries, over a serial line, TCP or VISA"
    verification = "against a scripted instrument on TCP, VISA and a pseudo-terminal; unverified against hardware"
    modes = (
        "V DC/AC",
        "A DC/AC",
        "ohm",
        "continuity",
        "diode",
        "Hz",
        "F",
        "temperature",
        "overload",
        "comma lists as columns",
    )
    options = frozenset({"quantity", "range", "ask", "remote", "terminator", "timeout_s"}) | LINE_OPTIONS
    lines = (LineSettings(9600, 8, "N", 1),)

    def meter(self, address: Address) -> Meter:
        """The instrument at a port or a socket.

        Raises:
            AddressError: an option cannot be understood.
        """
        visa = is_resource(address.target)
        return ScpiMeter(address, VisaTransport(address.target) if visa else serial_transport(address, self.lines[0]))

    def ask(self, target: str) -> str | None:
        """The instrument's answer to `*IDN?` at 9600 8N1, with each terminator."""
        transport = serial_transport(Address(self.name, target), self.lines[0])
        link = transport.open()
        try:
            dialog = Dialog(link, transport.name, transport.byte_time_s, Traffic())
            for dialog.terminator in TERMINATORS.values():
                dialog.hush(QUIET_S)
                reply = dialog.query("*IDN?", ASK_S)
                if reply is not None and reply.count(",") == 3:  # IEEE 488.2: four fields
                    return reply
            return None
        finally:
            link.close()


class ScpiMeter:
    """An instrument that can be opened again and again."""

    def __init__(self, address: Address, transport: Transport) -> None:
        self._address, self._transport = address, transport
        quantity = address.options.get("quantity")
        if quantity is not None:
            address.choice("quantity", tuple(q.value for q in FUNCTIONS), "")
        elif "range" in address.options:
            raise AddressError(f"in '{address}' the option range needs a quantity too")
        self.quantity = Quantity(quantity) if quantity else None
        self.range = "" if address.options.get("range", "auto") == "auto" else f"{address.number('range', 0.0):g}"
        self.query = {"read": "READ?", "fetch": "FETC?"}[address.choice("ask", ("read", "fetch"), "read")]
        remote = address.choice("remote", ("yes", "no", "auto"), "auto")
        on_a_line = "://" not in address.target and not is_resource(address.target)
        self.remote = remote == "yes" or (remote == "auto" and on_a_line)
        terminator = address.choice("terminator", ("find", *TERMINATORS), "find")
        self.terminators = list(TERMINATORS.values()) if terminator == "find" else [TERMINATORS[terminator]]
        self.timeout_s = address.number("timeout_s", 5.0, least=0.05, most=600)
        default_s = FETCH_INTERVAL_S if self.query == "FETC?" else 0.0
        self.interval_s = address.number("interval_s", default_s, least=0.0, most=3600)

    @property
    def name(self) -> str:
        """The driver and the port."""
        return f"scpi on {self._transport.name}"

    @property
    def byte_time_s(self) -> float:
        """The transport's."""
        return self._transport.byte_time_s

    def tapped(self, sink: RawSink) -> ScpiMeter:
        """This meter, with every byte it sends handed to the sink as well."""
        return ScpiMeter(self._address, TappedTransport(self._transport, sink))

    def open(self) -> Connection:
        """Find the terminator by `*IDN?`, set what the address asks for, and drain the error queue.

        Raises:
            LinkError: nothing answers, or the instrument refuses a setting.
        """
        return ScpiConnection(self, self._transport.open(), self._transport.name, self.byte_time_s)


class Dialog:
    """Queries and replies over a link, one at a time.

    Attributes:
        terminator: what ends a command.
        waiting: the query whose reply has not come yet; '' for none.
    """

    def __init__(self, link: Link, name: str, byte_time_s: float, traffic: Traffic) -> None:
        self._link, self._name, self._byte_time_s, self._traffic = link, name, byte_time_s, traffic
        self._rest = b""
        self._lines: deque[tuple[str, float]] = deque()
        self.terminator = b"\n"
        self.waiting = ""
        self.asked_s = 0.0

    def send(self, command: str) -> None:
        """Send a command that has no reply."""
        self._link.write(command.encode("ascii") + self.terminator)

    def ask(self, query: str) -> None:
        """Send a query; its reply comes by `reply`."""
        self.send(query)
        self.waiting, self.asked_s = query, time.monotonic()

    def reply(self, timeout_s: float) -> tuple[str, float] | None:
        """The reply to the query that waits and when its first byte left; None when it has not come in time."""
        end_s = time.monotonic() + timeout_s
        while True:
            while self._lines:
                line, time_s = self._lines.popleft()
                text = without_prompt(line)
                if text and text != self.waiting:  # a bare prompt, or the instrument's echo, is no reply
                    self.waiting = ""
                    return text, time_s
            left_s = end_s - time.monotonic()
            if left_s <= 0:
                return None
            self._receive(left_s)

    def query(self, query: str, timeout_s: float) -> str | None:
        """Ask and wait; None when no reply came in time."""
        self.ask(query)
        reply = self.reply(timeout_s)
        if reply is None:
            self.waiting = ""
        return reply[0] if reply else None

    def hush(self, quiet_s: float) -> None:
        """Throw away what is still coming from before: until nothing came for `quiet_s`."""
        end_s = time.monotonic() + MOST_QUIET_WAIT_S
        while time.monotonic() < end_s:
            chunk = self._link.read(quiet_s)
            if chunk is None:
                break
            self._traffic.bytes_discarded += len(chunk.data)
        self._rest = b""
        self._lines.clear()
        self.waiting = ""

    def errors(self, timeout_s: float) -> list[str]:
        """Drain the error queue: what `SYST:ERR?` answers until `0,"No error"`."""
        found = []
        for _ in range(MOST_ERRORS):
            reply = self.query("SYST:ERR?", timeout_s)
            error = error_of(reply) if reply is not None else None
            if error is None or error[0] == 0:
                break
            found.append(f"{error[0]}, {error[1]}")
        return found

    def _receive(self, timeout_s: float) -> None:
        try:
            chunk = self._link.read(timeout_s)
        except EOFError as error:
            raise LinkLost(f"{self._name} has ended", self._name) from error
        if chunk is None:
            return
        data = self._rest + chunk.data
        *lines, self._rest = data.replace(b"\r", b"\n").split(b"\n")
        sent = 0
        for line in lines:
            time_s = chunk.arrival_s - (len(data) - sent) * self._byte_time_s
            sent += len(line) + 1
            if line.strip():
                self._lines.append((line.decode("latin-1"), time_s))
        if len(self._rest) > LONGEST_REPLY:
            self._traffic.bytes_discarded += len(self._rest)
            self._rest = b""


class ScpiConnection:
    """An instrument that is being read."""

    def __init__(self, meter: ScpiMeter, link: Link, name: str, byte_time_s: float) -> None:
        self._meter, self._link, self._name = meter, link, name
        self._traffic = Traffic()
        self._dialog = Dialog(link, name, byte_time_s, self._traffic)
        self._refused = 0
        self._function_s = 0.0
        self._next_s = 0.0
        self._quantity = meter.quantity
        self._asks_function = True
        try:
            self._begin()
        except BaseException:
            link.close()
            raise

    @property
    def traffic(self) -> Traffic:
        """Replies with numbers, replies without, bytes thrown away."""
        return self._traffic

    def read(self, timeout_s: float) -> list[Reading] | None:
        """See `Connection.read`: asks when it is time, and waits for the reply over as many calls as it takes.

        Raises:
            LinkLost: no reply within the address's `timeout_s`, or three in a row that are no numbers; with what
                the instrument's error queue says.
        """
        now_s = time.monotonic()
        if not self._dialog.waiting:
            if now_s < self._next_s:
                pause_s = min(timeout_s, self._next_s - now_s)
                time.sleep(pause_s)
                return []
            if self._asks_function and now_s >= self._function_s + FUNCTION_EVERY_S:
                self._ask_function()
            self._dialog.ask(self._meter.query)
            self._next_s = self._dialog.asked_s + self._meter.interval_s
        reply = self._dialog.reply(timeout_s)
        if reply is None:
            if time.monotonic() - self._dialog.asked_s > self._meter.timeout_s:
                raise self._lost(f"no reply to {self._meter.query} within {self._meter.timeout_s:g} s")
            return []
        return self._readings(*reply)

    def close(self) -> None:
        """Give the panel back and let go of the port."""
        try:
            if self._meter.remote:
                self._dialog.send("SYST:LOC")
        except (LinkError, OSError):
            pass  # the port is gone: nothing to give back
        self._link.close()

    def _readings(self, text: str, time_s: float) -> list[Reading]:
        values = values_of(text)
        if values is None or self._quantity is None:
            self._traffic.frames_refused += 1
            self._refused += 1
            if self._refused >= MOST_BAD_REPLIES:
                raise self._lost(f"replies to {self._meter.query} that are not numbers, the last '{text[:60]}'")
            return []
        self._refused = 0
        self._traffic.frames_good += 1
        quantity, flags = self._quantity, implied(self._quantity)
        return [
            Reading(time_s, v.value, quantity, v.resolution, flags | v.flags, column) for column, v in enumerate(values)
        ]

    def _begin(self) -> None:
        meter, dialog = self._meter, self._dialog
        dialog.hush(QUIET_S)
        identity = None
        for terminator in meter.terminators:
            dialog.terminator = terminator
            identity = dialog.query("*IDN?", min(IDENTITY_S, meter.timeout_s))
            if identity is not None:
                break
            dialog.hush(QUIET_S)
        if identity is None:
            raise LinkAbsent(
                f"nothing at {self._name} answers *IDN?: check the port, its baud rate, and that the instrument's"
                " interface is switched on",
                self._name,
            )
        if meter.remote:
            dialog.send("SYST:REM")
        dialog.errors(meter.timeout_s)  # what is in the queue from before is not ours
        if meter.quantity is not None:
            command = f"CONF:{FUNCTIONS[meter.quantity]}{' ' + meter.range if meter.range else ''}"
            dialog.send(command)
            if errors := dialog.errors(meter.timeout_s):
                raise LinkError(f"{self._name} refuses {command}: {'; '.join(errors)}", self._name)
        self._ask_function()
        if self._quantity is None:
            raise LinkError(
                f"{self._name} does not say what it measures (FUNC?): set it in the address: quantity=dc_voltage",
                self._name,
            )

    def _ask_function(self) -> None:
        """Learn what is measured now; an instrument that cannot say is believed to do what it was set to."""
        reply = self._dialog.query("FUNC?", min(SMALL_QUERY_S, self._meter.timeout_s))
        self._function_s = time.monotonic()
        if reply is None:
            if self._meter.quantity is None and self._quantity is None:
                self._dialog.errors(self._meter.timeout_s)
                return
            self._asks_function = self._meter.quantity is None
            self._dialog.hush(QUIET_S)
            self._dialog.errors(self._meter.timeout_s)
        elif (quantity := quantity_of(reply)) is not None:
            self._quantity = quantity
        elif self._meter.quantity is None:
            self._quantity = None  # a function without a quantity here: its numbers would pass for the last one's

    def _lost(self, what: str) -> LinkLost:
        self._dialog.hush(QUIET_S)
        errors = self._dialog.errors(min(SMALL_QUERY_S, self._meter.timeout_s))
        return LinkLost(f"{self._name}: {what}" + (f"; it reports {'; '.join(errors)}" if errors else ""), self._name)
