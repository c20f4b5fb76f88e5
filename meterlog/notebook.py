"""A session as pandas frames, for a notebook."""

from __future__ import annotations

from pathlib import Path
from types import TracebackType

import pandas as pd

from meterlog.analysis import analyze
from meterlog.errors import UsageError
from meterlog.events.event import Event
from meterlog.reading import Flag
from meterlog.session.contents import Contents
from meterlog.session.model import Channel
from meterlog.session.reader import SessionReader, open_reader


class Session:
    """An open session; see `meterlog.open_session`.

    A channel is named by its number or, where only one channel bears it, by its label.
    """

    def __init__(self, path: Path | str) -> None:
        """Open it.

        Raises:
            SessionError: it cannot be read.
        """
        self._reader = open_reader(path)
        self.path, self.started_at = self._reader.path, self._reader.started_at

    def __repr__(self) -> str:
        labels = ", ".join(channel.label for channel in self.channels)
        started = f"{self.started_at:%Y-%m-%d %H:%M}"
        return f"<session {self.path.name}: {labels}; {self._reader.duration_s:.1f} s from {started}>"

    def __enter__(self) -> Session:
        return self

    def __exit__(self, _: type[BaseException] | None, __: BaseException | None, ___: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._reader.close()

    @property
    def reader(self) -> SessionReader:
        """Return what the rest of the package works on."""
        return self._reader

    @property
    def channels(self) -> list[Channel]:
        """The channels, by number."""
        return self._reader.channels

    @property
    def details(self) -> dict[str, str]:
        """Return what was entered about the case."""
        return self._reader.details

    def channel(self, channel: int | str = 1) -> Channel:
        """A channel by its number or label.

        Raises:
            UsageError: there is none, or more than one bears the label.
        """
        found = [c for c in self.channels if channel in (c.number, c.label)]
        if len(found) != 1:
            known = ", ".join(f"{c.number} '{c.label}'" for c in self.channels) or "none"
            problem = "there is no channel" if not found else "more than one channel is called"
            raise UsageError(f"{problem} '{channel}' in '{self.path}'; its channels are {known}")
        return found[0]

    def frame(self, channel: int | str = 1, start_s: float | None = None, end_s: float | None = None) -> pd.DataFrame:
        """A channel's readings: index `time_s`; columns `value` (inf is overload), `resolution`, `flags`, `overload`.

        `frame.attrs` holds the label, quantity, unit and point.

        Raises:
            UsageError: there is no such channel.
        """
        one = self.channel(channel)
        series = self._reader.series(one.number, start_s, end_s)
        frame = pd.DataFrame(
            {"value": series.value, "resolution": series.resolution, "flags": series.flags},
            index=pd.Index(series.time_s, name="time_s"),
            copy=False,
        )
        frame["overload"] = (series.flags & Flag.OVERLOAD) != 0
        frame.attrs = {"label": one.label, "quantity": str(one.quantity), "unit": one.quantity.unit, "point": one.point}
        return frame

    @property
    def markers(self) -> pd.DataFrame:
        """The markers: `time_s`, `name`, `note`, `by`."""
        columns = ["time_s", "name", "note", "by"]
        rows = [(m.time_s, m.name, m.note, m.by) for m in self._reader.markers]
        return pd.DataFrame(rows, columns=columns)

    def events(self) -> pd.DataFrame:
        """Return what the analysis finds, a row an event, with the fields of `meterlog analyze --json`."""
        found: list[Event] = list(analyze(Contents.of(self._reader)).events)
        return pd.DataFrame([event.as_json() for event in found], columns=list(Event.__dataclass_fields__))
