"""Compares a driver with a meter's display, five readings, and remembers it for that meter."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime

from meterlog.address import Address
from meterlog.checks import read_checks, remember
from meterlog.display_check import check_words
from meterlog.driver import Connection, driver_errors, load_driver
from meterlog.errors import LinkError, NotLearned, TableError
from meterlog.reading import Reading
from meterlog.settings import meter_address
from meterlog_drivers.display.shown import Shown
from meterlog_drivers.profiles.try_profile import reading_text
from meterlog_drivers.teach.moments import Label, parse_label

READINGS = 5
BEFORE_S = 6.0
"""Says how long before it was typed a display may have been read, s: a number takes a person three to five (guess)."""
SHOW = (
    "volts DC, a battery for example",
    "the same with the leads swapped, so that it shows a minus",
    "ohms, or another quantity that you use",
    "the small current range, mA, in its own jack",
    "the large current range, A, in its own jack",
)
"""Says what to show: the places where sister chips' tables differ."""
FIRST_S = 10.0
"""Says how long a meter is waited for before the first question, s; some show one number in five seconds (guess)."""
_LOOK_S = 0.1
Ask = Callable[[str], str | None]


def check_meter(text: str, ask: Ask) -> Iterator[str]:
    """Compare, and yield what to show the person.

    Args:
        text: the meter's address or saved name.
        ask: shows a prompt and returns what was typed; None at the end of input.

    Raises:
        NotLearned: the display shows something else, or the person stopped before the end.
        LinkError, AddressError, DriverError: the meter cannot be read.
        SettingsError: the file of the checks cannot be understood.
    """
    read_checks()  # a damaged file is said before five readings are typed
    address = meter_address(text)
    driver = load_driver(address.scheme)
    with driver_errors(address.scheme):
        driver.check(address)
        meter = driver.meter(address)
    connection = meter.open()
    found = getattr(meter, "found", None)
    address = found if isinstance(found, Address) else address
    yield f"{meter.name}: compare {READINGS} readings with the display; leave each until it stands still."
    yield "Type what the display shows, with its unit: 12.34 V, -3.2 mA, OL kohm; both numbers: 230.1 V AC; 50.0 Hz."
    with _Heard(connection) as heard:
        if not heard.anything(FIRST_S):
            yield "Nothing has come that the driver reads: is the meter on, and its data output switched on?"
        for number in range(READINGS):
            yield f"\n{number + 1} of {READINGS}: show {SHOW[number]}, or anything else, and type it."
            yield f"   agrees: {_agreed(heard, ask)}"
    day = datetime.now().astimezone().date().isoformat()
    remember(address, day, READINGS)
    yield f"\n{check_words(day, READINGS)}; this is remembered for this meter, and its sessions say so"


def _agreed(heard: _Heard, ask: Ask) -> str:
    """Ask until the reading agrees, twice at the most; the second time it may have been a slip of the keyboard."""
    for _ in range(2):
        label = _typed(ask)
        near = heard.before(time.monotonic())
        matches = [_match(label, near)]
        if label.second is not None:
            matches.append(_match(label.second, [reading for reading in near if reading.column]))
        if (right := [one for one in matches if one is not None]) == matches:
            return "; ".join(map(reading_text, right))
        read = "; ".join(map(reading_text, _latest(near))) or "nothing"
        prompt = f"   the driver reads {read}; if '{label.typed}' was a slip, press Enter and type it again "
        ask(prompt)
    if not near and heard.question:
        raise NotLearned(f"the driver cannot read what the meter sends until a person tells: {heard.question}")
    raise NotLearned(
        f"the driver reads {read} where the display shows {label.typed}: do not record this meter with it;"
        " 'meterlog meters --teach PORT' learns the meter from its display"
    )


def _match(label: Label, near: Sequence[Reading]) -> Reading | None:
    return next((reading for reading in reversed(near) if label.shows(_shown(reading))), None)


def _latest(near: Sequence[Reading]) -> list[Reading]:
    """The last reading of each display."""
    return [latest for _, latest in sorted({reading.column: reading for reading in near}.items())]


def _typed(ask: Ask) -> Label:
    while True:
        typed = ask("   > ")
        if typed is None:
            raise NotLearned(f"ended before {READINGS} readings were compared: nothing is remembered")
        try:
            return parse_label(typed)
        except TableError as error:
            ask(f"   {error}; press Enter and type it again ")


def _shown(reading: Reading) -> Shown:
    return Shown(reading.value, reading.quantity, reading.resolution, reading.flags, reading.column)


class _Heard:
    """Reads a meter while a person is asked."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._readings: deque[Reading] = deque(maxlen=1000)
        self._over = threading.Event()
        self._error: LinkError | None = None
        self._thread = threading.Thread(target=self._read, name="check", daemon=True)

    def __enter__(self) -> _Heard:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join()
        self._connection.close()

    @property
    def question(self) -> str:
        """Return what a person must tell before frames like those that came can be read; '' for nothing."""
        return self._connection.traffic.question

    def anything(self, wait_s: float) -> bool:
        """Wait for a reading, or for a frame that only a person can tell; tell whether one came."""
        end_s = time.monotonic() + wait_s
        while not (self._readings or self.question or self._over.is_set()) and self._error is None:
            if time.monotonic() > end_s:
                return False
            time.sleep(_LOOK_S / 2)
        return True

    def before(self, time_s: float) -> list[Reading]:
        """The readings that a person may have typed at a time.

        Raises:
            LinkError: the link died.
        """
        if self._error is not None:
            raise self._error
        return [reading for reading in list(self._readings) if time_s - reading.time_s < BEFORE_S]

    def _read(self) -> None:
        while not self._over.is_set():
            try:
                came = self._connection.read(_LOOK_S)
            except LinkError as error:
                self._error = error
                return
            if came is None:
                return
            self._readings.extend(came)
