"""The transport contract: something to open, that gives a link, that gives chunks of bytes with arrival times."""

from __future__ import annotations

from typing import NamedTuple, Protocol


class Chunk(NamedTuple):
    """Bytes as they came.

    Attributes:
        data: at least one byte.
        arrival_s: when the read returned, on `time.monotonic()`, s.
    """

    data: bytes
    arrival_s: float


class LineSettings(NamedTuple):
    """The settings of a serial line: `9600 8N1` and the two control outputs (None: left as the system sets them)."""

    baud: int = 9600
    data_bits: int = 8
    parity: str = "N"
    stop_bits: int = 1
    dtr: bool | None = None
    rts: bool | None = None

    @property
    def byte_time_s(self) -> float:
        """The time of one character on the wire, s: start, data, parity and stop bits over the rate."""
        bits = 1 + self.data_bits + (self.parity != "N") + self.stop_bits
        return bits / self.baud

    def __str__(self) -> str:
        text = f"{self.baud} {self.data_bits}{self.parity}{self.stop_bits}"
        for name, state in (("DTR", self.dtr), ("RTS", self.rts)):
            if state is not None:
                text += f", {name} {'on' if state else 'off'}"
        return text


class Link(Protocol):
    """An open transport. Used by one thread at a time; `close` may come from any."""

    def read(self, timeout_s: float) -> Chunk | None:
        """Wait for bytes at most `timeout_s`.

        Returns:
            What is there, all of it; None when nothing came in time.

        Raises:
            LinkLost: the link died, however the system says it.
            EOFError: the source has ended (a replayed file); nothing will follow.
        """
        ...

    def write(self, data: bytes) -> None:
        """Send bytes.

        Raises:
            LinkLost: the link died.
        """
        ...

    def close(self) -> None:
        """Let go of the port. Safe to call twice."""
        ...


class Transport(Protocol):
    """A way to a meter that can be opened again and again."""

    @property
    def name(self) -> str:
        """The name that a person knows: the port, the peripheral's address, the file."""
        ...

    @property
    def byte_time_s(self) -> float:
        """The time of one byte on the wire, s; 0 where that is unknown or does not apply."""
        ...

    def open(self) -> Link:
        """Open it.

        Raises:
            LinkError: LinkAbsent, LinkBusy, LinkForbidden or LinkLost with one plain sentence.
        """
        ...
