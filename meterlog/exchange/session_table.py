"""The columns of an exported table, and how it carries everything that is not a reading."""

from __future__ import annotations

import json
from datetime import datetime
from typing import NamedTuple

import numpy as np

from meterlog.errors import TableError
from meterlog.reading import Accuracy, Flag, Quantity
from meterlog.series import Series
from meterlog.session.model import Channel, LinkChange
from meterlog.session.reader import SessionReader
from meterlog.session.writer import SessionWriter

COLUMNS = ("time_s", "channel", "label", "value", "unit", "resolution", "flags", "marker", "note", "by", "session")
"""A row is a reading, or a marker, or both when they are of the same moment. The first row's last cell is the session:
a JSON object with what `SessionFacts` holds, so that an import gives the same session back; the last row's is what
`TableEnd` holds, so that a table which broke off is no shorter session."""

_SAYS_ITS_END = "says_its_end"
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def guard(text: str) -> str:
    """A text for a spreadsheet: an apostrophe before what it would take for a formula (and before an apostrophe)."""
    return f"'{text}" if text.startswith((*_FORMULA_STARTS, "'")) else text


def unguard(text: str) -> str:
    """The text that `guard` was given."""
    return text.removeprefix("'")


class SessionFacts(NamedTuple):
    """A session without its readings and markers."""

    started_at: datetime
    details: dict[str, str]
    channels: list[Channel]
    link_changes: list[LinkChange]

    @classmethod
    def of(cls, reader: SessionReader) -> SessionFacts:
        """Those of an open session."""
        return cls(reader.started_at, reader.details, reader.channels, reader.link_changes)

    def as_json(self) -> str:
        """One line of JSON."""
        return json.dumps(
            {
                "started_at": self.started_at.isoformat(),
                "details": self.details,
                "channels": [
                    {
                        "channel": c.number,
                        "label": c.label,
                        "quantity": str(c.quantity),
                        "unit": c.quantity.unit,
                        "point": c.point,
                        "address": c.address,
                        "driver": c.driver,
                        "accuracy": list(c.accuracy),
                        "interval_s": c.interval_s,
                    }
                    for c in self.channels
                ],
                "link_changes": [[x.time_s, x.channel, x.meter, x.up, x.cause] for x in self.link_changes],
                _SAYS_ITS_END: True,
            },
            ensure_ascii=False,
        )

    def begin_channels(self, writer: SessionWriter) -> None:
        """Add the channels and link changes to a new session.

        Raises:
            TableError: the channels are not numbered from 1.
        """
        for number, channel in enumerate(self.channels, 1):
            if channel.number != number:
                raise TableError("the session's description in the exported table numbers its channels wrongly")
            writer.add_channel(
                channel.label,
                channel.quantity,
                point=channel.point,
                address=channel.address,
                driver=channel.driver,
                accuracy=channel.accuracy,
                interval_s=channel.interval_s,
            )
        for change in self.link_changes:
            writer.add_link_change(change.time_s, change.meter, change.up, change.cause, change.channel)

    @classmethod
    def from_json(cls, text: str) -> SessionFacts:
        """Read back the line that `as_json` gave.

        Raises:
            TableError: it is something else.
        """
        try:
            facts = json.loads(text)
            started_at = datetime.fromisoformat(facts["started_at"])
            if started_at.utcoffset() is None:
                raise ValueError("started_at has no offset from UTC")
            return cls(
                started_at,
                {str(key): str(value) for key, value in facts["details"].items()},
                [
                    Channel(
                        int(c["channel"]),
                        str(c["label"]),
                        Quantity(c["quantity"]),
                        str(c["point"]),
                        str(c["address"]),
                        str(c["driver"]),
                        Accuracy(*map(float, c["accuracy"])),
                        None if c["interval_s"] is None else float(c["interval_s"]),
                    )
                    for c in facts["channels"]
                ],
                [
                    LinkChange(float(t), n, str(meter), bool(up), str(cause))
                    for t, n, meter, up, cause in facts["link_changes"]
                ],
            )
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise TableError(f"the session's description in the exported table is damaged ({error})") from error


class TableEnd(NamedTuple):
    """Holds how much an exported table has, as its last row says it."""

    readings: int
    markers: int

    def as_json(self, session: str) -> str:
        """One line of JSON, with the session's facts where the last row is the first one too."""
        return json.dumps((json.loads(session) if session else {}) | {"end": self._asdict()}, ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str) -> TableEnd:
        """Read back the line that `as_json` gave.

        Raises:
            TableError: it is something else, so that the last row is missing.
        """
        try:
            end = json.loads(text)["end"]
            return cls(int(end["readings"]), int(end["markers"]))
        except (ValueError, KeyError, TypeError) as error:
            raise TableError(
                "the exported table breaks off before its last row: export or download the session again"
            ) from error


def says_its_end(text: str) -> bool:
    """Tell from the first row's last cell whether the last row has a `TableEnd`; tables of earlier versions have none.

    The text is one that `SessionFacts.from_json` took.
    """
    return bool(json.loads(text).get(_SAYS_ITS_END))


class InOrder:
    """Refuses readings that no session may hold, which a table has after it was sorted or edited by hand."""

    def __init__(self) -> None:
        self._last_s: dict[int, float] = {}

    def check(self, channel: int, series: Series) -> None:
        """Look at the next readings of a channel.

        Raises:
            TableError: a time goes back or is none, or a value is none.
        """
        if not len(series):
            return
        times = np.append(self._last_s.get(channel, -np.inf), series.time_s)
        if not (np.isfinite(series.time_s).all() and (np.diff(times) >= 0).all()):
            raise TableError(
                f"the readings of channel {channel} in the exported table are not in the order of their times:"
                " sort its rows by time_s"
            )
        if np.isnan(series.value).any():
            raise TableError(f"the exported table has a reading of channel {channel} without a value")
        self._last_s[channel] = float(series.time_s[-1])


_FLAG_NAMES = {flag: (flag.name or "").lower().replace("_", "-") for flag in Flag if flag}
_FLAGS_BY_NAME = {name: flag for flag, name in _FLAG_NAMES.items()}


def flag_words(flags: int) -> str:
    """Flags as words, for example `autorange dc`."""
    return " ".join(name for flag, name in _FLAG_NAMES.items() if flags & flag)


def flags_from_words(words: str) -> int:
    """The flags that `flag_words` named.

    Raises:
        ValueError: an unknown word.
    """
    flags = 0
    for word in words.split():
        if word not in _FLAGS_BY_NAME:
            raise ValueError(f"unknown flag '{word}'")
        flags |= _FLAGS_BY_NAME[word]
    return flags
