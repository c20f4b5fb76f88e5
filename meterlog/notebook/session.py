"""A session as pandas frames and plotly figures."""

from __future__ import annotations

import html
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from meterlog.errors import UsageError
from meterlog.events.event import Event
from meterlog.loaded import Loaded
from meterlog.notebook.frames import frame_of
from meterlog.reading import Flag
from meterlog.report.figures import channel_figure
from meterlog.session.model import Channel
from meterlog.session.reader import SessionReader, open_reader
from meterlog.text.figures import shown
from meterlog.text.sparkline import sparkline

if TYPE_CHECKING:
    from plotly.graph_objects import Figure
    from rich.table import Table

_SMALL_PICTURE = 60
"""Characters of the small picture of a channel."""


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
        return f"<session {self.path.name}: {labels}; {self._when}>"

    def __rich__(self) -> Table:
        """The session as a table, for a terminal."""
        from rich.table import Table

        table = Table("channel", "quantity", "lowest", "highest", "", title=f"{self.path.name}: {self._when}")
        for row in self._overview:
            table.add_row(*row)
        return table

    def _repr_html_(self) -> str:
        """The session as a table, for a notebook."""
        rows = "".join(
            "<tr>" + "".join(f"<td>{html.escape(cell)}</td>" for cell in row) + "</tr>" for row in self._overview
        )
        heads = "".join(f"<th>{head}</th>" for head in ("channel", "quantity", "lowest", "highest", ""))
        title = html.escape(f"{self.path.name}: {self._when}")
        return f"<table><caption>{title}</caption><tr>{heads}</tr>{rows}</table>"

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
        """A channel's readings: index `time_s`; columns `value`, `resolution`, `flags`, `overload`.

        Where the meter showed overload, `value` is NaN and `overload` is true. `frame.attrs` holds the label,
        quantity, unit and point.

        Raises:
            UsageError: there is no such channel.
        """
        one = self.channel(channel)
        series = self._reader.series(one.number, start_s, end_s)
        overload = (series.flags & Flag.OVERLOAD) != 0
        frame = pd.DataFrame(
            {
                "value": np.where(np.isfinite(series.value), series.value, np.nan),
                "resolution": series.resolution,
                "flags": series.flags,
                "overload": overload,
            },
            index=pd.Index(series.time_s, name="time_s"),
        )
        frame.attrs = {"label": one.label, "quantity": str(one.quantity), "unit": one.quantity.unit, "point": one.point}
        return frame

    def wide(self, *channels: int | str) -> pd.DataFrame:
        """Channels side by side, a column each by its label (its number where two share one), on an index in UTC.

        Each reading keeps its own moment, so that a cell is NaN where that channel had no reading just then; overload
        is NaN too. `.resample("1s").mean()` makes one clock of them.

        Raises:
            UsageError: there is no such channel.
        """
        chosen = [self.channel(channel) for channel in channels or [one.number for one in self.channels]]
        labels = [one.label for one in chosen]
        columns: dict[int | str, pd.Series] = {}
        for one in chosen:
            value = self.frame(one.number)["value"]
            value.index = pd.DatetimeIndex(
                pd.Timestamp(self.started_at).tz_convert("UTC") + pd.to_timedelta(value.index, unit="s"), name="time"
            )
            columns[one.label if labels.count(one.label) == 1 else one.number] = value.groupby(level=0).last()
        return pd.DataFrame(columns)

    @property
    def markers(self) -> pd.DataFrame:
        """The markers: `time_s`, `name`, `note`, `by`."""
        columns = ["time_s", "name", "note", "by"]
        rows = [(m.time_s, m.name, m.note, m.by) for m in self._reader.markers]
        return pd.DataFrame(rows, columns=columns)

    def events(self) -> pd.DataFrame:
        """Return what the analysis finds, a row an event, with the fields of `meterlog analyze --json`."""
        found: list[Event] = list(self._loaded.analysis.events)
        return pd.DataFrame([event.as_json() for event in found], columns=list(Event.__dataclass_fields__))

    @property
    def findings(self) -> pd.DataFrame:
        """Return what is concluded, a row a finding: `verdict`, `text`, `limit`, `margin`, `channel` and more."""
        return frame_of(self._loaded.analysis.findings)

    def plot(self, channel: int | str = 1, start_s: float = 0.0, end_s: float | None = None) -> Figure:
        """Draw a channel with its limits, events and the session's markers, as the report does.

        Raises:
            UsageError: there is no such channel.
        """
        from plotly.graph_objects import Figure

        one, whole = self.channel(channel), self._loaded
        numbered = [(n, e) for n, e in enumerate(whole.analysis.events, 1) if e.channel == one.number]
        span = (start_s, max(whole.duration_s, 0.1) if end_s is None else end_s)
        return Figure(channel_figure(whole, one, numbered, span))

    @cached_property
    def _loaded(self) -> Loaded:
        return Loaded.of(self._reader)

    @property
    def _when(self) -> str:
        return f"{self._reader.duration_s:.1f} s from {self.started_at:%Y-%m-%d %H:%M}"

    @cached_property
    def _overview(self) -> list[tuple[str, ...]]:
        return [
            (one.label, one.quantity.words, *_seen(self.frame(one.number)["value"].to_numpy(), one.quantity.unit))
            for one in self.channels
        ]


def _seen(value: NDArray[np.float64], unit: str) -> tuple[str, str, str]:
    """The lowest and the highest of a channel's readings, and a small picture of them."""
    finite = value[np.isfinite(value)]
    if not len(finite):
        return "", "", ""
    places = np.unique(np.linspace(0, len(value) - 1, _SMALL_PICTURE).astype(int))
    return shown(finite.min(), unit), shown(finite.max(), unit), sparkline(value[places])
