"""replay: what was recorded once, as if the meter were there again.

`replay:FILE` is a recorded session (each channel is a column) or a raw capture as `record --raw` keeps it. A raw
capture names its meter's driver; `decoder=NAME` names another, or that of a file of plain bytes, which come at
the pace of that driver's line (`baud=` changes it). Any option of the decoder may be given too. `speed=10` replays
ten times as fast; the readings keep their recorded distances.
"""

from __future__ import annotations

import threading
import time
from pathlib import Path

import numpy as np

from meterlog.address import Address
from meterlog.driver import Connection, Driver, Meter, Traffic, load_driver
from meterlog.driver.framing import FramedMeter, FramingDriver
from meterlog.errors import AddressError, LinkAbsent
from meterlog.reading import Flag, Reading
from meterlog.session import open_reader
from meterlog.transports.raw_capture import RawCapture, read_raw_capture
from meterlog.transports.replay import ReplayTransport

_SQLITE = b"SQLite format 3\x00"


class Replay(Driver):
    """A recorded session or a raw capture."""

    name = "replay"
    summary = "a recorded session or a raw byte capture, at any speed"
    verification = "every reading and its distance in time compared with the recording"
    modes = ("whatever was recorded",)
    options = frozenset({"decoder", "speed", "baud"})
    silence_is_loss = False

    def check(self, address: Address) -> None:
        """As `Driver.check`, with the options of the decoder known too.

        Raises:
            AddressError, DriverError: an option or the decoder is not known.
        """
        if "decoder" not in address.options:
            super().check(address)
            return
        others = {k: v for k, v in address.options.items() if k not in self.options}
        decoder = _framing(address.options["decoder"], address)
        decoder.check(Address(decoder.name, address.target, others))

    def meter(self, address: Address) -> Meter:
        """The recording.

        Raises:
            AddressError: the options do not fit this file.
            LinkError, SessionError: the file cannot be read.
        """
        speed = address.number("speed", 1.0, least=0.001, most=1e6)
        path = Path(address.target)
        if not path.is_file():
            raise LinkAbsent(f"there is no file '{path}'", str(path))
        with path.open("rb") as file:
            is_session = file.read(len(_SQLITE)) == _SQLITE
        if not is_session:
            return self._raw_meter(address, path, speed)
        if "decoder" in address.options:
            raise AddressError(f"'{path}' is a recorded session: its readings need no decoder")
        return SessionMeter(path, speed)

    def _raw_meter(self, address: Address, path: Path, speed: float) -> Meter:
        capture = read_raw_capture(path)
        recorded = _recorded(capture)
        name = address.options.get("decoder") or recorded.options.get("decoder") or recorded.scheme
        if not name:
            raise AddressError(f"'{path}' does not say which meter sent it: add decoder=NAME to the address")
        decoder = _framing(name, address)
        from_capture = recorded.options if "decoder" not in address.options else {}
        options = {
            key: value
            for key, value in {**from_capture, **address.options}.items()
            if key in decoder.options or key not in self.options
        }
        line = decoder.lines[0]
        line = line._replace(baud=round(address.number("baud", line.baud, least=50, most=4_000_000)))
        transport = ReplayTransport(str(path), capture, line, speed)
        return FramedMeter(decoder, Address(decoder.name, str(path), options), transport)


def _recorded(capture: RawCapture) -> Address:
    return Address.parse(capture.address) if capture.address else Address("", "")


def _framing(name: str, address: Address) -> FramingDriver:
    driver = load_driver(name)
    if not isinstance(driver, FramingDriver):
        raise AddressError(f"in '{address}' the decoder must read frames of bytes; '{name}' does not")
    return driver


class SessionMeter:
    """A recorded session as a meter: each channel a column, in the order of their numbers."""

    def __init__(self, path: Path, speed: float) -> None:
        """Look at the session.

        Raises:
            SessionError: it is none, is empty, or is of a newer version.
        """
        self._path, self._speed = path, speed
        with open_reader(path) as reader:
            reader.need_readings()
            self._labels = tuple(channel.label for channel in reader.channels)

    @property
    def name(self) -> str:
        """The file."""
        return f"replay of {self._path}"

    @property
    def columns(self) -> int:
        """The number of recorded channels."""
        return len(self._labels)

    def column_label(self, column: int) -> str:
        """The recorded channel's label."""
        return self._labels[column]

    def open(self) -> Connection:
        """Begin at the first reading."""
        return _SessionConnection(self._path, self._speed)


class _SessionConnection:
    """Gives each reading when its time has come, anchored at the moment of opening."""

    def __init__(self, path: Path, speed: float) -> None:
        self.traffic = Traffic()
        with open_reader(path) as reader:
            channels = reader.channels
            series = [reader.series(channel.number) for channel in channels]
        self._quantities = [channel.quantity for channel in channels]
        column = np.repeat(np.arange(len(series)), [len(one) for one in series])
        time_s = np.concatenate([one.time_s for one in series])
        order = np.argsort(time_s, kind="stable")
        self._time_s = time_s[order] - time_s[order[0]]
        self._column = column[order]
        self._value = np.concatenate([one.value for one in series])[order]
        self._resolution = np.concatenate([one.resolution for one in series])[order]
        self._flags = np.concatenate([one.flags for one in series])[order]
        self._next = 0
        self._speed = speed
        self._closed = threading.Event()
        self._opened_s = time.monotonic()

    def read(self, timeout_s: float) -> list[Reading] | None:
        """See `Connection.read`."""
        if self._next >= len(self._time_s):
            return None
        due_s = self._opened_s + float(self._time_s[self._next]) / self._speed
        wait_s = due_s - time.monotonic()
        if wait_s > 0 and (self._closed.wait(min(wait_s, timeout_s)) or wait_s > timeout_s):
            return []
        now_s = (time.monotonic() - self._opened_s) * self._speed
        end = max(self._next + 1, int(np.searchsorted(self._time_s, now_s, "right")))
        end = min(end, self._next + 4096)
        readings = [self._reading(i) for i in range(self._next, end)]
        self._next = end
        self.traffic.frames_good += len(readings)
        return readings

    def _reading(self, i: int) -> Reading:
        column = int(self._column[i])
        return Reading(
            self._opened_s + float(self._time_s[i]),
            float(self._value[i]),
            self._quantities[column],
            float(self._resolution[i]),
            Flag(int(self._flags[i])),
            column,
        )

    def close(self) -> None:
        """Let go."""
        self._closed.set()
