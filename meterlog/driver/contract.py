"""The driver contract: what a driver, its meters and their connections do.

A driver turns an address into a `Meter`; a meter opens into a `Connection`; a connection gives readings. Most
drivers are a `FramingDriver` (see `framing.py`): a pure decoder and encoder over any transport.
"""

from __future__ import annotations

import time
from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar, Protocol

from meterlog.address import Address
from meterlog.errors import AddressError, did_you_mean
from meterlog.reading import Reading

COMMON_OPTIONS = frozenset(
    {"label", "point", "accuracy", "interval_s", "watchdog_s", "scale", "offset", "invert"},
)
"""Options that every address takes: the channel's label and test point, the meter's accuracy (`0.5%+2`, with
the `%` and `+` written `%25` and `%2B`, or `0.5pct+2`), its nominal interval, the data watchdog's time, and what
sits between the meter and the wire (see `conversion.py`)."""


FIRST_BYTES = 32
"""Number of the first bytes kept to show a person: about two frames; a choice."""


@dataclass(slots=True)
class Traffic:
    """The traffic of a connection so far. Counted by decoders, shown by `record` and `meters`.

    Attributes:
        frames_good: frames that gave readings.
        frames_refused: whole frames that say what no meter says, or of which a person must tell.
        frames_asked: how many of those only want a person's word.
        frames_broken: runs of bytes behind a frame that were no frame, however long.
        bytes_discarded: bytes that belonged to no frame.
        never_taught: the last frame that shows something which a taught profile was never taught, or which a person
            must tell; empty before it.
        question: what the person must tell of that frame, with the option that says it; empty for nothing.
        first_bytes: what came first, at most `FIRST_BYTES`, until a frame fits: for telling a wrong driver.
    """

    frames_good: int = 0
    frames_refused: int = 0
    frames_asked: int = 0
    frames_broken: int = 0
    bytes_discarded: int = 0
    first_bytes: bytes = b""
    never_taught: bytes = b""
    question: str = ""

    @property
    def frames_rejected(self) -> int:
        """Frames that came damaged, as far as can be told: those refused, unless they only want a word, and broken."""
        return self.frames_refused - self.frames_asked + self.frames_broken


class Connection(Protocol):
    """An open meter: readings as they come."""

    @property
    def traffic(self) -> Traffic:
        """The traffic so far."""
        ...

    def read(self, timeout_s: float) -> list[Reading] | None:
        """Wait for readings at most `timeout_s`.

        Returns:
            Those that came, possibly none; None when the source has ended.

        Raises:
            LinkLost: the link died; the meter may be opened again.
            NoFrameFits: many bytes came and not one frame.
        """
        ...

    def close(self) -> None:
        """Let go of the port. Safe to call twice."""
        ...


def readings_of(connection: Connection, wait_s: float) -> Iterator[Reading]:
    """Give readings as they come, until the time is over or the source has ended.

    Raises:
        LinkLost, NoFrameFits: see `Connection.read`.
    """
    end_s = time.monotonic() + wait_s
    while (left_s := end_s - time.monotonic()) > 0:
        readings = connection.read(left_s)
        if readings is None:
            return
        yield from readings


class Meter(Protocol):
    """An instrument that can be opened again and again."""

    @property
    def name(self) -> str:
        """The name that a person knows: the driver and the port."""
        ...

    def open(self) -> Connection:
        """Open it.

        Raises:
            LinkError: with one plain sentence.
        """
        ...


class Driver(ABC):
    """Turns an address into a meter. Registered as a class in the entry-point group `meterlog.drivers`.

    Attributes:
        name: the scheme of its addresses; equal to the entry point's name.
        summary: one line for the driver list.
        verification: how it was checked, for the driver list; says 'unverified against hardware' where so.
        modes: what it can read, in words, for the driver list.
        options: the address options it knows beside `COMMON_OPTIONS`.
        silence_is_loss: whether a meter of its that falls silent is taken for a lost link and opened again; False
            where the source only repeats what was recorded, and a new opening would begin it again.
        least_silence_s: the least silence that is taken for a lost link, s.
    """

    name: ClassVar[str]
    summary: ClassVar[str]
    verification: ClassVar[str]
    modes: ClassVar[tuple[str, ...]] = ()
    options: ClassVar[frozenset[str]] = frozenset()
    silence_is_loss: ClassVar[bool] = True
    least_silence_s: ClassVar[float] = 5.0

    @abstractmethod
    def meter(self, address: Address) -> Meter:
        """The meter behind an address; opens nothing yet.

        Raises:
            AddressError: the address does not fit this driver.
        """

    def one_column(self, address: Address) -> bool:
        """Tell whether the meter has one column only, so that a comma in its label or test point separates nothing.

        False where it has several, or may have.
        """
        del address
        return False

    def moves(self, address: Address) -> bool:
        """Tell whether options of the address move the probes: a simulated vehicle, which nobody has to clip on to."""
        del address
        return False

    def ask(self, target: str) -> str | None:
        """Write to a port to find out whether such a meter is there; its answer, None for none.

        Only drivers whose meters must be asked do this, and only when a person allowed it.

        Raises:
            LinkError: the port cannot be opened.
        """
        del target
        return None

    def known_options(self) -> frozenset[str]:
        """Every option that its addresses may have."""
        return COMMON_OPTIONS | self.options

    def check(self, address: Address) -> None:
        """Refuse options that this driver does not know.

        Raises:
            AddressError: with the known ones and the nearest.
        """
        known = self.known_options()
        for option in address.options:
            if option not in known:
                raise AddressError(
                    f"{self.name} has no option '{option}'{did_you_mean(option, known)};"
                    f" it has {', '.join(sorted(known))}"
                )
