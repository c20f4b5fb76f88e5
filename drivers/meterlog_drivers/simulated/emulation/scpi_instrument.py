"""A scripted SCPI instrument: a real TCP server (or anything that moves bytes) for tests, `emulate` and trying out.

`ScpiInstrument` is the dialog without a clock or a socket: bytes in, timed replies out. `ScpiServer` puts it on TCP:

    instrument = ScpiInstrument(lambda: [Reading(0.0, 12.34, Quantity.DC_VOLTAGE, 0.01)])
    with ScpiServer(instrument) as server:
        print(server.url)                   # socket://127.0.0.1:PORT, as in scpi:socket://127.0.0.1:PORT

The callback says what the display shows now, a reading a column; NaN is shown as 9.91E37. `Habits` makes it
misbehave: slow, silent, half replies, prompts, echo, errors, ignoring commands until `SYST:REM`.
"""

from __future__ import annotations

import math
import select
import socket
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import NamedTuple

from meterlog.errors import LinkBusy
from meterlog.reading import Quantity, Reading
from meterlog_drivers.display.scpi_words import FUNCTIONS, number_text, quantity_of, short_form

IDENTITY = "METERLOG,SCRIPTED,0,1"
QUEUE_LENGTH = 20
"""Errors that its queue holds; instruments have about so many (from memory, unverified)."""
LONGEST_COMMAND = 1024
"""Bytes of an unfinished command that are kept; a choice."""
MOST_RANGE = 1e9
"""Ranges above this are refused, as out of range in any unit; a choice."""
POLL_S = 0.05
"""Interval at which the server looks whether it is to end, s; a choice."""


@dataclass(frozen=True, slots=True)
class Habits:
    """The behaviour of an instrument, good or bad.

    Attributes:
        delay_s: how long it takes to answer `READ?` or `FETC?`.
        silent_after: readings after which it answers no more; None: never.
        half_s: a reading's reply comes in two halves with this pause between, s.
        cut_after: readings after which replies break off in the middle for good; None: never.
        prompt: what it sends before each reply, such as `=> `.
        echo: it sends every command back.
        error_every: every so many readings it answers with an empty word and puts -230 into its queue; 0: never.
        needs_remote: it ignores all but `*IDN?` and `SYST:REM` until that came.
        terminator: what it ends replies with.
        listens_for: the terminators that it takes as the end of a command.
    """

    delay_s: float = 0.0
    silent_after: int | None = None
    half_s: float = 0.0
    cut_after: int | None = None
    prompt: str = ""
    echo: bool = False
    error_every: int = 0
    needs_remote: bool = False
    terminator: bytes = b"\n"
    listens_for: bytes = b"\n"


class Reply(NamedTuple):
    """Bytes to send, so long after the command came (or after the reply part before), s."""

    after_s: float
    data: bytes


class ScpiInstrument:
    """The instrument's side of the dialog."""

    def __init__(self, display: Callable[[], Sequence[Reading]], habits: Habits | None = None) -> None:
        self._display = display
        self._habits = habits or Habits()
        self._errors: deque[str] = deque(maxlen=QUEUE_LENGTH)
        self._rest = b""
        self._remote = False
        self._readings = 0
        self.set_to: Quantity | None = None
        """Return what the last `CONF:` set; None before one. A display that shows something else answers 9.91E37."""
        self.set_range: float | None = None

    def hung_up(self) -> None:
        """Forget a half command: the controller has gone."""
        self._rest = b""

    def interrupted(self) -> None:
        """Note that a command came before the reply to the last query was read."""
        self._errors.append('-410,"Query INTERRUPTED"')

    def receive(self, data: bytes) -> list[Reply]:
        """Take bytes from the controller; what to answer."""
        end = self._habits.listens_for
        *commands, self._rest = (self._rest + data).split(end)
        self._rest = self._rest[-LONGEST_COMMAND:]
        replies: list[Reply] = []
        for command in commands:
            if text := command.decode("latin-1").strip():
                if self._habits.echo:
                    replies.append(Reply(0.0, command + end))
                replies += self._answer(text)
        return replies

    def _answer(self, text: str) -> list[Reply]:
        header, _, rest = text.partition(" ")
        header = short_form(header)
        if header == "*IDN?":
            return self._line(IDENTITY)
        if header == "SYST:REM":
            self._remote = True
            return []
        if self._habits.needs_remote and not self._remote:
            return []
        if header == "SYST:LOC":
            self._remote = False
        elif header in ("*CLS", "*RST"):
            self._errors.clear()
        elif header == "SYST:ERR?":
            return self._line(self._errors.popleft() if self._errors else '0,"No error"')
        elif header in ("FUNC?", "SENS:FUNC?", "CONF?"):
            return self._line(f'"{FUNCTIONS.get(self._quantity(), "NONE")}"')
        elif header.startswith("CONF:") and (quantity := quantity_of(header[5:])) is not None:
            self._configure(quantity, rest.strip())
        elif header in ("READ?", "FETC?"):
            return self._reading()
        else:
            self._errors.append(f'-113,"Undefined header;{header[:40]}"')
        return []

    def _quantity(self) -> Quantity:
        return self._display()[0].quantity

    def _configure(self, quantity: Quantity, argument: str) -> None:
        if quantity is not self._quantity():
            self._errors.append(f'-221,"Settings conflict;this display shows {FUNCTIONS.get(self._quantity())}"')
            return
        try:
            self.set_range = float(argument) if argument not in ("", "DEF", "AUTO") else None
        except ValueError:
            self._errors.append('-104,"Data type error"')
            return
        if self.set_range is not None and not 0 < self.set_range <= MOST_RANGE:
            self._errors.append('-222,"Data out of range"')
        self.set_to = quantity

    def _reading(self) -> list[Reply]:
        habits = self._habits
        self._readings += 1
        if habits.silent_after is not None and self._readings > habits.silent_after:
            return []
        if habits.error_every and self._readings % habits.error_every == 0:
            self._errors.append('-230,"Data corrupt or stale"')
            return self._line("FAIL", habits.delay_s)
        shown = self._display()
        quantity = self.set_to or shown[0].quantity
        text = ",".join(number_text(r.value if r.quantity is quantity else math.nan, r.resolution) for r in shown)
        (line,) = self._line(text, habits.delay_s)
        half = len(line.data) // 2
        if habits.cut_after is not None and self._readings > habits.cut_after:
            return [Reply(habits.delay_s, line.data[:half])]
        if habits.half_s:
            return [Reply(habits.delay_s, line.data[:half]), Reply(habits.half_s, line.data[half:])]
        return [line]

    def _line(self, text: str, after_s: float = 0.0) -> list[Reply]:
        return [Reply(after_s, self._habits.prompt.encode("ascii") + text.encode("ascii") + self._habits.terminator)]


class ScpiServer:
    """An instrument on a TCP port of this machine, one controller at a time. A context manager.

    Raises:
        LinkBusy: the port is taken.
    """

    def __init__(self, instrument: ScpiInstrument, port: int = 0) -> None:
        self._instrument = instrument
        self._ending = threading.Event()
        try:
            self._listener = socket.create_server(("127.0.0.1", port))
        except (OSError, OverflowError) as error:
            raise LinkBusy(f"TCP port {port} is not available: {error}", str(port)) from error
        self._thread = threading.Thread(target=self._serve, name="scpi instrument", daemon=True)
        self._thread.start()

    @property
    def port(self) -> int:
        """The TCP port that it has."""
        return int(self._listener.getsockname()[1])

    @property
    def url(self) -> str:
        """The URL that a controller opens."""
        return f"socket://127.0.0.1:{self.port}"

    def close(self) -> None:
        """Hang up and free the port."""
        self._ending.set()
        self._thread.join()
        self._listener.close()

    def __enter__(self) -> ScpiServer:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _serve(self) -> None:
        while not self._ending.is_set():
            if not select.select([self._listener], [], [], POLL_S)[0]:
                continue
            controller, _ = self._listener.accept()
            with controller:
                controller.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                try:
                    self._talk(controller)
                except OSError:
                    pass  # the controller has hung up
            self._instrument.hung_up()

    def _talk(self, controller: socket.socket) -> None:
        while not self._ending.is_set():
            if not select.select([controller], [], [], POLL_S)[0]:
                continue
            data = controller.recv(4096)
            if not data:
                return
            for reply in self._instrument.receive(data):
                if not self._wait(controller, reply.after_s):
                    break
                controller.sendall(reply.data)

    def _wait(self, controller: socket.socket, wait_s: float) -> bool:
        """Wait before a reply; False when the controller speaks meanwhile: the reply is dropped (IEEE 488.2)."""
        end_s = time.monotonic() + wait_s
        while (left_s := end_s - time.monotonic()) > 0 and not self._ending.is_set():
            if select.select([controller], [], [], min(left_s, POLL_S))[0]:
                self._instrument.interrupted()
                return False
        return not self._ending.is_set()
