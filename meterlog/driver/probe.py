"""Finds out which driver fits a port: listens with the line settings that drivers declare, and runs every decoder on
the same bytes. Never writes to a port unless asked to.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from meterlog.address import Address
from meterlog.driver.contract import FIRST_BYTES, Driver
from meterlog.driver.framing import Decoder, FramingDriver
from meterlog.driver.registry import driver_errors, driver_names, load_driver
from meterlog.errors import DriverError, LinkLost, MeterlogError, NoFrameFits, bytes_in_words
from meterlog.reading import Reading
from meterlog.transports import LineSettings, Transport

FIRST_CHOICE = 10
"""Weight of a driver's first line settings, each later one a point less, one at the least; a choice."""
SILENT = "nothing came: are the meter and its data output on? Bench meters speak only when asked"
"""The doubt about a port from which no byte came."""
LISTEN_S = 5.0
"""Time to listen to a port, all line settings together, s."""
FRAMES_WANTED = 3
"""Good frames, one after the other, that make a fit."""
FRAMES_AGREED = 10
"""The last frames whose quantity is compared."""
MOST_LOST = 0.1
"""The share of bytes and of frames, after the first good frame, that may be lost in a fit."""
OVERTIME_S = 3.0
"""Time to listen on where some frame was good but not yet enough of them."""
PIECE_BYTES = 8
"""Bytes are fed in pieces of this size, less than any frame, to see what came before the first good one."""
LOOK_S = 0.1
"""Interval between looks at the clock, s; a choice."""
HOPELESS_BYTES = 100
"""Bytes without any good frame after which the next line settings are tried: at least five frames' worth."""
KEPT_BYTES = 4096
"""Bytes kept for drafting a profile; a choice."""
LINES_KNOWN = 8
"""Lines of text that no driver knows, after which a profile is drafted: the first and the last are pieces; a choice."""
LEAST_LETTERS = 3
"""Letters of a line of text; less may be noise. A choice."""


@dataclass
class Candidate:
    """One driver with options, and how the bytes of a port suit it.

    Attributes:
        driver: the driver.
        options: what goes behind `?` in the address.
        good, refused, lost: frames read, frames that say what no meter says, bytes thrown away after the first
            good frame. Frames of which only a person can tell speak neither for a driver nor against it.
        bytes_seen: all bytes since the first good frame.
        last: the last readings.
        failure: what was wrong with the driver, in a sentence; '' while it works. Then it is left out.
    """

    driver: FramingDriver
    options: str
    decoder: Decoder
    good: int = 0
    refused: int = 0
    lost: int = 0
    bytes_seen: int = 0
    last: list[Reading] = field(default_factory=list)
    failure: str = ""
    _lead: tuple[int, int] | None = None

    def feed(self, data: bytes, arrival_s: float) -> None:
        """Take bytes from the port."""
        if self.failure:
            return
        try:
            with driver_errors(self.driver.name, "failed while listening and was left out"):
                for start in range(0, len(data), PIECE_BYTES):
                    self._feed(data[start : start + PIECE_BYTES], arrival_s)
                if self.fits:  # whoever shows the fit asks all that
                    typed = self.typed
                    _ = self.driver.unsaid(typed), self.driver.assumed(typed), self.driver.verification
                    _ = self.address("", None), self.evidence
        except DriverError as error:
            self.failure, self.good = str(error), 0

    @property
    def typed(self) -> Address:
        """The driver with its options, whatever the port."""
        return Address.parse(f"{self.driver.name}:x?{self.options}")

    def _feed(self, data: bytes, arrival_s: float) -> None:
        readings = self.decoder.feed(data, arrival_s)
        traffic = self.decoder.traffic
        self.good = traffic.frames_good
        if self._lead is None and self.good:
            self._lead = (traffic.bytes_discarded, traffic.frames_refused - traffic.frames_asked)
        if self._lead is not None:
            self.bytes_seen += len(data)
            self.lost = traffic.bytes_discarded - self._lead[0]
            self.refused = traffic.frames_refused - traffic.frames_asked - self._lead[1]
        self.last = (self.last + readings)[-FRAMES_AGREED:]

    @property
    def fits(self) -> bool:
        """True where the bytes are frames of this driver."""
        return (
            self.good >= FRAMES_WANTED
            and self.lost <= MOST_LOST * self.bytes_seen
            and self.refused <= MOST_LOST * self.good
        )

    @property
    def question(self) -> str:
        """Return what a person must tell before its frames can be read; '' for nothing, or where too few came."""
        traffic = self.decoder.traffic
        asked = traffic.question and traffic.frames_refused >= FRAMES_WANTED
        return f"the bytes are frames of {self.driver.name}, but: {traffic.question}" if asked else ""

    @property
    def evidence(self) -> str:
        """The counts in words."""
        text = f"{self.good} frames good, {self.refused} refused, {self.lost} of {self.bytes_seen} bytes discarded"
        if self.last:
            quantity, count = Counter(r.quantity for r in self.last).most_common(1)[0]
            text += f"; {count} of the last {len(self.last)} readings are {quantity.words}"
        return text

    def address(self, target: str, line: LineSettings | None) -> Address:
        """Give the address to type: with the line settings where they are not the driver's first."""
        typed = self.typed
        options = dict(typed.options)
        first = self.driver.lines_for(typed)[0]
        line = line or first
        if line.baud != first.baud:
            options["baud"] = str(line.baud)
        if line[1:4] != first[1:4]:
            options["line"] = f"{line.data_bits}{line.parity}{line.stop_bits}"
        return Address(self.driver.name, target, options)


@dataclass(frozen=True)
class Heard:
    """The result of listening to a port.

    Attributes:
        port: as the user wrote it.
        fits: the drivers that fit, best first; with the line settings that were set.
        line: the line settings under which they did; None where the port has no wire, so that they do not matter.
        bytes_seen: how many bytes came in all.
        first_bytes: the first of them.
        answered: what an instrument answered when asked, with its driver; None where nobody asked or nobody answered.
        failures: a sentence for each driver that failed while it listened or asked.
        question: what only a person can tell of the frames of a driver that would fit, with its name; '' for nothing.
        draft: a profile drafted from lines of text that no driver knows; '' where none could be.
    """

    port: str
    fits: tuple[Candidate, ...] = ()
    line: LineSettings | None = None
    bytes_seen: int = 0
    first_bytes: bytes = b""
    answered: tuple[Driver, str] | None = None
    failures: tuple[str, ...] = ()
    question: str = ""
    draft: str = ""

    @property
    def address(self) -> Address | None:
        """The address to type; None where it cannot be told."""
        if self.answered is not None:
            return Address(self.answered[0].name, self.port)
        if self.doubt:
            return None
        return self.fits[0].address(self.port, self.line)

    @property
    def doubt(self) -> str:
        """The reason why no driver can be named, in a sentence; '' where one can."""
        if self.answered is not None:
            return ""
        if not self.bytes_seen:
            return SILENT
        if not self.fits and self.question:
            return f"cannot tell: {self.question}"
        if not self.fits and self.draft:
            return (
                f"lines of text that no driver knows; 'meterlog meters {self.port} --out meter.toml' writes a profile"
                " drafted from them"
            )
        if not self.fits:
            shown = bytes_in_words(self.first_bytes)
            return f"cannot tell: {self.bytes_seen} bytes came that fit no driver; first bytes {shown}"
        names = list(dict.fromkeys(c.driver.name for c in self.fits))
        if len(names) > 1:
            alike = " and ".join(names)
            return f"cannot tell: the bytes fit {alike} equally well; look up the line settings in the meter's manual"
        best = self.fits[0]
        if unsaid := best.driver.unsaid(best.typed):
            return f"cannot tell: the bytes fit {best.driver.name} with {best.options}, but {unsaid}"
        return ""

    @property
    def assumed(self) -> tuple[str, ...]:
        """Assumptions made where chips' sister versions differ."""
        address = self.address
        return self.fits[0].driver.assumed(address) if address is not None and self.fits else ()


def probed_drivers() -> tuple[list[FramingDriver], list[str]]:
    """The drivers to try on unknown bytes, and a sentence for each that fails to load or to make a decoder."""
    drivers, failures = [], []
    for name in driver_names():
        try:
            driver = load_driver(name)
            with driver_errors(name):
                if isinstance(driver, FramingDriver) and candidates([driver]) and line_settings([driver]):
                    drivers.append(driver)
        except MeterlogError as error:
            failures.append(str(error))
    return drivers, failures


def candidates(drivers: list[FramingDriver]) -> list[Candidate]:
    """Fresh candidates: every driver with every variant."""
    return [
        Candidate(driver, options, driver.decoder(Address.parse(f"{driver.name}:x?{options}"), 0.0))
        for driver in drivers
        for options in driver.variants
    ]


def line_settings(drivers: list[FramingDriver]) -> list[LineSettings]:
    """The line settings to listen with: those that most drivers declare first, and first choices before others.

    Settings that differ only in the control outputs are one, with the outputs as the driver that cares wants them.
    """
    wanted: dict[tuple[object, ...], LineSettings] = {}
    rank: Counter[tuple[object, ...]] = Counter()
    for driver in drivers:
        for place, line in enumerate(driver.lines):
            key = line[:4]
            known = wanted.setdefault(key, line)
            wanted[key] = line if known.dtr is None and known.rts is None else known
            rank[key] += max(FIRST_CHOICE - place, 1)
    return [wanted[key] for key, _ in rank.most_common()]


def probe(
    target: str,
    listen_s: float = LISTEN_S,
    ask: bool = False,
    enough: int = FRAMES_WANTED,
    transport: Callable[[LineSettings], Transport] | None = None,
    lines: Sequence[LineSettings] | None = None,
) -> Heard:
    """Listen to a port, and say which driver fits.

    Args:
        target: the port, as in an address.
        listen_s: how long at most, s; a little longer where frames come but too few yet.
        ask: when nothing fits, let drivers whose meters must be asked write to the port.
        enough: good frames after which to stop early.
        transport: the port under given line settings; a serial line by default.
        lines: the line settings to listen with; those of the drivers by default.

    Raises:
        LinkError: the port cannot be opened, or died.
    """
    drivers, _ = probed_drivers()
    lines = lines or line_settings(drivers)
    opened = transport or (lambda line: _serial(target, line))
    end_s = time.monotonic() + listen_s
    total, first = 0, b""
    failures: dict[str, None] = {}  # each once, in order
    question = draft = ""
    for number, line in enumerate(lines):
        share_s = (end_s - time.monotonic()) / (len(lines) - number)
        tried = candidates(drivers)
        port = opened(line)
        count, start = _listen(port, tried, share_s, end_s, enough)
        total, first = total + count, first or start[:FIRST_BYTES]
        question = question or next((c.question for c in tried if c.question), "")
        failures.update(dict.fromkeys(c.failure for c in tried if c.failure))
        fits = _strongest(sorted((c for c in tried if c.fits), key=lambda c: (c.refused - c.good, c.lost)))
        if fits and not (question and fits[0].driver.unsaid(fits[0].typed)):
            at = line if port.byte_time_s else None
            return Heard(target, fits, at, total, first, failures=tuple(failures))
        draft = draft or _drafted(drivers, start, line, failures)
        if draft or time.monotonic() >= end_s:
            break
    answered = _ask(target, failures) if ask else None
    return Heard(target, (), None, total, first, answered, tuple(failures), question, draft)


def _drafted(drivers: list[FramingDriver], data: bytes, line: LineSettings, failures: dict[str, None]) -> str:
    """The first profile that a driver drafts from lines of text; '' for none."""
    if not _lines_of_text(data):
        return ""
    for driver in drivers:
        try:
            with driver_errors(driver.name, "failed while drafting a profile and was left out"):
                if draft := driver.drafted(data, line):
                    return draft
        except DriverError as error:
            failures[str(error)] = None
    return ""


def _lines_of_text(data: bytes) -> int:
    """Count the lines that have come, where all is text so far; 0 where it is not."""
    lines = data.replace(b"\r", b"\n").split(b"\n")[:-1]
    text = b"".join(lines).decode("utf-8", "replace")
    alien = sum(not (c.isprintable() or c == "\t") or c == "\ufffd" for c in text)
    return 0 if alien else sum(len(line) >= LEAST_LETTERS for line in lines)


def _ask(target: str, failures: dict[str, None]) -> tuple[Driver, str] | None:
    """Let each driver whose meters must be asked write to the port; the one that was answered, and the answer."""
    for name in driver_names():
        try:
            driver = load_driver(name)
            with driver_errors(name, "failed while asking and was left out"):
                answer = driver.ask(target)
        except DriverError as error:
            failures[str(error)] = None
            continue
        if answer:
            return driver, answer
    return None


def found_address(heard: Heard) -> Address:
    """The address that was heard.

    Raises:
        NoFrameFits: it cannot be told.
    """
    address = heard.address
    if address is None:
        said = "; ".join((f"{heard.port}: {heard.doubt}", *heard.failures))
        raise NoFrameFits(said, heard.port, heard.first_bytes)
    return address


def _serial(target: str, line: LineSettings) -> Transport:
    from meterlog.transports.serial_line import serial_transport

    return serial_transport(Address("auto", target), line)


def _listen(
    transport: Transport, tried: list[Candidate], share_s: float, end_s: float, enough: int
) -> tuple[int, bytes]:
    """Feed all candidates from the port until one fits well enough, none can, or the time is over.

    Returns:
        How many bytes came, and the first of them, at most `KEPT_BYTES`.
    """
    link = transport.open()
    count, first = 0, b""
    start_s = time.monotonic()
    try:
        while True:
            now_s = time.monotonic()
            hopeful, fits = any(c.good for c in tried), any(c.fits for c in tried)
            lines = 0 if hopeful else _lines_of_text(first)
            limit_s = start_s + share_s
            if hopeful or lines:
                limit_s = max(end_s, limit_s) + (0.0 if fits else OVERTIME_S)
            if now_s >= limit_s or (fits and max(c.good for c in tried) >= enough):
                return count, first
            if lines >= LINES_KNOWN or (count >= HOPELESS_BYTES and not hopeful and not lines):
                return count, first
            try:
                chunk = link.read(min(LOOK_S, limit_s - now_s))
            except EOFError:
                return count, first
            if chunk is None:
                continue
            count, first = count + len(chunk.data), (first + chunk.data)[:KEPT_BYTES]
            for candidate in tried:
                candidate.feed(chunk.data, chunk.arrival_s)
    except LinkLost:
        if not count:
            raise
        return count, first
    finally:
        link.close()


def _strongest(fits: list[Candidate]) -> tuple[Candidate, ...]:
    """Leave out what fits anything: a driver with something unsaid gives way to one without (and to one that asks)."""
    said = [c for c in fits if not c.driver.unsaid(c.typed)]
    return tuple(said or fits)
