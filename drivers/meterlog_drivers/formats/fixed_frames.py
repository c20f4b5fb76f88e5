"""Framings whose frames all have one length: the decoder, the encoder and the driver around a frame format.

A frame format is a pure description (`FrameFormat`): it tells a frame from a piece of garbage, says what a frame
shows, and builds the frame that shows a reading. Everything else, finding frames in a stream, counting what was
thrown away, timing, is here once.
"""

from __future__ import annotations

import re
from abc import abstractmethod
from typing import Protocol, runtime_checkable

from meterlog.address import Address
from meterlog.driver import Traffic
from meterlog.driver.framing import Decoder, Encoder, FramingDriver
from meterlog.reading import Flag, Reading
from meterlog.timing.pauses import Pauses
from meterlog_drivers.display.doubt import Doubt
from meterlog_drivers.display.shown import Shown

KNOWN_FRAMES = 4096
"""Frames whose meaning a decoder remembers: a display shows the same few over and over. About 1 MB at most."""
KNOWN_MODES = 512
"""Modes whose scale a format remembers: a meter has some tens; noise that looks like frames has many."""

HAND_HELD_MODES = ("V, mV DC/AC", "A, mA, uA DC/AC", "ohm to Mohm", "continuity", "diode")
"""Quantities that every hand-held meter here reads, for `Driver.modes`."""
COUNTED_MODES = (*HAND_HELD_MODES, "Hz to MHz", "duty cycle", "nF to mF")
"""Those of a display with a symbol for each unit and prefix."""
SYMBOL_MODES = (*COUNTED_MODES, "deg C, deg F", "hold, relative, auto, min/max, low battery, overload")
"""Those of a display that sends every symbol it has."""


class FrameFormat(Protocol):
    """A framing whose frames all have the same length."""

    @property
    def length(self) -> int:
        """Bytes in a frame."""
        ...

    @property
    def ending(self) -> re.Pattern[bytes] | None:
        """The end of every frame, two bytes at most, where that is how frames are told apart: a frame then begins
        where the last one ended, so that the tail of a longer frame is not taken for a short one. None where a frame
        is known by how it begins."""
        ...

    @property
    def unmarked(self) -> bool:
        """True where no bytes mark a beginning or an end: then only what it must hold tells a frame from its shift."""
        ...

    def next_start(self, data: bytes, start: int) -> int:
        """The first place at or after `start` where a frame may begin, as far as the bytes that are there tell.

        At most `len(data)`; a place is passed over only where it cannot begin a frame whatever follows. Not asked
        where there is an `ending`: a frame then begins behind the last one, whatever is there.
        """
        ...

    def parse(self, frame: bytes) -> tuple[Shown, ...] | None:
        """Read `length` bytes: () for a whole frame that says what no meter says, None for no frame."""
        ...

    def build(self, reading: Reading) -> bytes:
        """The frame that shows a reading.

        Raises:
            EncodeError: the framing has no way to say that.
        """
        ...


@runtime_checkable
class AsksAPerson(Protocol):
    """A format with frames that it does not decode until a person has said which of two chips sends them."""

    def question(self, frame: bytes) -> str:
        """Return what a whole frame that was refused leaves open, with the option that answers it; '' for nothing."""
        ...


class FixedFrameDecoder:
    """Finds the frames of one format in a stream of bytes. See `meterlog.driver.framing.Decoder`.

    Args:
        frame_format: the format.
        byte_time_s: of a byte on the wire, s.
        taught: a frame that is refused shows what was never taught, and is kept.
    """

    def __init__(self, frame_format: FrameFormat, byte_time_s: float, *, taught: bool = False) -> None:
        self.traffic = Traffic()
        self._taught = taught
        self._asks = frame_format.question if isinstance(frame_format, AsksAPerson) else None
        self._format = frame_format
        self._byte_time_s = byte_time_s
        self._rest = b""
        self._out_of_step = False  # an ending must come before the next frame
        self._known: dict[bytes, tuple[Shown, ...]] = {}
        self._pauses = Pauses(byte_time_s)
        self._doubt = Doubt(frame_format.parse)
        self._last = b""  # the frame before, unless it was doubted
        self._stepped = False  # what comes next is right behind a good frame
        self._broken_after = 0  # the frames before the last bytes that were thrown away

    def feed(self, data: bytes, arrival_s: float) -> list[Reading]:
        """Take bytes, give the readings they complete."""
        if self._pauses.before(data, arrival_s) and self._rest:
            self._discard(len(self._rest), 0)
            self._rest = b""
        data = self._rest + data if self._rest else bytes(data)
        length, end, byte_time_s, known, traffic = (
            self._format.length,
            len(data),
            self._byte_time_s,
            self._known,
            self.traffic,
        )
        readings: list[Reading] = []
        make = tuple.__new__  # what Reading(...) does, at half its cost
        start = self._in_step(data, 0, 0) if self._out_of_step else 0
        refused = good = 0
        last, stepped = self._last, self._stepped
        while end - start >= length:
            frame = data[start : start + length]
            shown = known.get(frame)
            if shown is None:
                shown = self._learn(frame)
                if shown is None:
                    start = self._after_failure(data, start, good + refused, stepped)
                    stepped = False
                    continue
            if shown:
                good += 1
                if frame != last:
                    last = frame
                    judged = self._doubt.judged(frame, shown, traffic.frames_good + good)
                    if judged is not shown:
                        shown, last = judged, b""
                for one in shown:
                    readings.append(make(Reading, (arrival_s - (end - start) * byte_time_s, *one, 0.0)))
            else:
                refused += 1
                if self._taught:
                    traffic.never_taught = frame
                elif self._asks is not None and (question := self._asks(frame)):
                    traffic.never_taught, traffic.question = frame, question
                    traffic.frames_asked += 1
            start, stepped = start + length, True
        self._last, self._stepped = last, stepped
        traffic.frames_good += good
        traffic.frames_refused += refused
        if self._format.ending is None:
            waiting = self._format.next_start(data, start)  # what cannot begin a frame need not be kept
            self._discard(waiting - start, 0)
            start = waiting
        self._rest = data[start:]
        return readings

    def _discard(self, count: int, fresh: int) -> None:
        """Count bytes that belong to no frame, and as one broken frame all between two frames.

        Args:
            count: how many bytes.
            fresh: frames of this chunk before them.
        """
        if count:
            frames = self.traffic.frames_good + self.traffic.frames_refused + fresh
            self.traffic.bytes_discarded += count
            self.traffic.frames_broken += frames != self._broken_after
            self._broken_after = frames

    def _after_failure(self, data: bytes, start: int, fresh: int, stepped: bool) -> int:
        """Find where to go on after the bytes at `start`, right behind a good frame or not, turned out to be none.

        Where nothing marks a frame, one that is damaged has the length of the others: the next one begins behind it.
        """
        if self._format.ending is not None:
            return self._in_step(data, start, fresh)
        skip = self._format.length if stepped and self._format.unmarked else 1
        after = self._format.next_start(data, start + skip)
        self._discard(after - start, fresh)
        return after

    def _in_step(self, data: bytes, start: int, fresh: int) -> int:
        """The place after the next ending; where none has come, all but a last byte that may be half of one is
        thrown away, and the search goes on with the next bytes."""
        ending = self._format.ending
        found = ending.search(data, start) if ending is not None else None
        self._out_of_step = found is None
        after = found.end() if found else max(start, len(data) - 1)
        self._discard(after - start, fresh)
        return after

    def _learn(self, frame: bytes) -> tuple[Shown, ...] | None:
        shown = self._format.parse(frame)
        if shown is not None:
            if len(self._known) >= KNOWN_FRAMES:
                self._known.clear()
            self._known[frame] = shown
        return shown


class TwiceDecoder:
    """Frames of a meter that sends each of them twice: only what came twice alike is read, the rest is refused."""

    def __init__(self, frame_format: FrameFormat, byte_time_s: float) -> None:
        self._frames = FixedFrameDecoder(frame_format, byte_time_s)
        self.traffic = self._frames.traffic  # each frame counts
        self._first: Reading | None = None  # it waits for its like

    def feed(self, data: bytes, arrival_s: float) -> list[Reading]:
        """See `meterlog.driver.framing.Decoder`; a reading has the time of the first of its two frames."""
        readings: list[Reading] = []
        for reading in self._frames.feed(data, arrival_s):
            reading = reading._replace(flags=reading.flags & ~Flag.DOUBTFUL)
            if self._first is None:
                self._first = reading
            elif self._first[1:] == reading[1:]:
                readings.append(self._first)
                self._first = None
            else:
                self.traffic.frames_refused += 1
                self._first = reading
        return readings


class FixedFrameEncoder:
    """Builds frames of one format. See `meterlog.driver.framing.Encoder`.

    Args:
        frame_format: how they are built.
        times: how often each is sent.
    """

    def __init__(self, frame_format: FrameFormat, times: int = 1) -> None:
        self._format, self._times = frame_format, times

    def encode(self, readings: list[Reading]) -> bytes:
        """The frames that show these readings, one after the other."""
        return b"".join(self._format.build(reading) * self._times for reading in readings)


class FixedFrameDriver(FramingDriver):
    """A driver that is a frame format."""

    @abstractmethod
    def frame_format(self, address: Address) -> FrameFormat:
        """The format with the address's options."""

    def decoder(self, address: Address, byte_time_s: float) -> Decoder:
        """See `FramingDriver.decoder`."""
        return FixedFrameDecoder(self.frame_format(address), byte_time_s)

    def encoder(self, address: Address) -> Encoder:
        """See `FramingDriver.encoder`."""
        return FixedFrameEncoder(self.frame_format(address))

    def one_column(self, address: Address) -> bool:
        """See `Driver.one_column`: nearly all such frames show one display."""
        del address
        return True


def spare_ignored(address: Address) -> bool:
    """The option `spare`: whether bits without a meaning may be anything (`ignored`), or refuse the frame.

    Raises:
        AddressError: it is neither `refused` nor `ignored`.
    """
    return address.choice("spare", ("refused", "ignored"), "refused") == "ignored"
