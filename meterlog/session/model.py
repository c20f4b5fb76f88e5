"""Holds what a session has beside its readings: channels, markers, link changes, and the overview of a channel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.reading import Accuracy, Quantity
from meterlog.roles import Measurand, measurand
from meterlog.text.ids import plain

if TYPE_CHECKING:  # a recording begins before it needs arrays: importing them is a third of its start
    import numpy as np
    from numpy.typing import NDArray

IMPORT = "import"
"""The driver's name of a channel that came from a table from elsewhere."""

USUAL_ACCURACY = Accuracy()
"""Used where nothing is stated; see `Accuracy`."""


@dataclass(frozen=True, slots=True)
class Channel:
    """One meter's column at one test point, for one quantity.

    Attributes:
        number: from 1, in the order they were added.
        label: what the person calls it.
        quantity: what is measured; the unit follows from it.
        point: the test point, as typed.
        address: the meter's address; the file's name for imported tables.
        driver: the driver's name; `IMPORT` for imported tables.
        accuracy: the meter's stated accuracy.
        interval_s: the meter's declared display interval, s; None where it is not known.
        role: the role that a person entered (see `meterlog.roles.Role`); empty where none was.
        rejected: frames of its meter that were thrown away because they contradicted themselves.
        checked: that its meter was compared with its display, and when; empty where it was not.
        converted: what was done to its meter's readings before they were kept: scale, sign, offset; empty for nothing.
        foreign: why no limits apply to it, in words, where it is of no known system (see `meterlog.limits.foreign`);
            not kept in the file.
    """

    number: int
    label: str
    quantity: Quantity
    point: str = ""
    address: str = ""
    driver: str = ""
    accuracy: Accuracy = USUAL_ACCURACY
    interval_s: float | None = None
    role: str = ""
    rejected: int = 0
    checked: str = ""
    converted: str = ""
    foreign: str = ""

    @property
    def meter_notes(self) -> str:
        """Say what is known of its meter: compared with the display, scaled, nulled; empty for nothing."""
        return ", ".join(filter(None, (self.checked, self.converted)))

    @property
    def name(self) -> str:
        """Return what it is called: its label as it was typed, else its number."""
        return self.label or f"channel {self.number}"

    @property
    def place(self) -> str:
        """Return its test point as a person reads it: a circuit's `plug_feed` is `plug feed`."""
        return plain(self.point)

    @property
    def imported(self) -> bool:
        """Tell whether it comes from a table from elsewhere: nothing is known of its link then."""
        return self.driver == IMPORT

    @property
    def measurand(self) -> Measurand:
        """Return what its readings stand for: the one place that decides it is `meterlog.roles`."""
        return measurand(self.quantity, self.label, self.point, self.role, foreign=bool(self.foreign))


HARD_END = "The recording ended without being closed (power, crash or a full disk); all that was saved is here."
"""The sentence about a session that ended `hard`."""

ARMED, TRIGGERED = "armed", "triggered"
"""The names of the markers that an armed capture sets: it waits from here on; its condition came true."""

CAPTURE = "capture"
"""Who set them: `Marker.by`."""


@dataclass(frozen=True, slots=True)
class Marker:
    """A moment that a person, or the tool, named.

    Attributes:
        number: its identity in the session; never given twice.
        time_s: s from the session's start.
        name: `key-on`, `crank`, `wiggle`, `key-off`, or free text as typed.
        note: anything more.
        by: `person` or what part of the tool set it.
    """

    number: int
    time_s: float
    name: str
    note: str = ""
    by: str = "person"

    @property
    def ends_recording(self) -> bool:
        """Tell whether an armed capture began to wait here: what is missing from here on was not wanted."""
        return (self.name, self.by) == (ARMED, CAPTURE)


@dataclass(frozen=True, slots=True)
class LinkChange:
    """The way to a meter came up or went down.

    Attributes:
        time_s: s from the session's start.
        channel: the channel concerned; None where the meter has none yet.
        meter: the meter's name.
        up: whether it is up from now on.
        cause: one plain sentence.
    """

    time_s: float
    channel: int | None
    meter: str
    up: bool
    cause: str


@dataclass(frozen=True, slots=True)
class Overview:
    """A channel in equal buckets of time; n buckets, n + 1 edges.

    Attributes:
        edge_s: float64 (n + 1,), the buckets' edges, s from the session's start; a bucket holds its left edge, the
            last one both.
        minimum: float64 (n,), the least finite value; NaN where there is none.
        maximum: float64 (n,), the greatest finite value; NaN where there is none.
        flags: uint16 (n,), every `Flag` bit that occurs in the bucket; overload shows here.
        count: int64 (n,), the number of readings; 0 is a gap.
    """

    edge_s: NDArray[np.float64]
    minimum: NDArray[np.float64]
    maximum: NDArray[np.float64]
    flags: NDArray[np.uint16]
    count: NDArray[np.int64]
