"""The live view of `record` on a terminal: a line a channel, what happens above it, the keys below."""

from __future__ import annotations

import math
import sys
import time

from rich.console import Console
from rich.live import Live
from rich.text import Text

from meterlog.capture import Notice, Recorder
from meterlog.capture.channels import LiveChannel
from meterlog.cli.terminal.output_streams import LastingOutput, PlainOutput
from meterlog.cli.terminal.present_lines import Begun, channel_now
from meterlog.cli.terminal.record_keys import HELP
from meterlog.cli.terminal.record_lines import LineDisplay, said
from meterlog.cli.terminal.start_cautions import caution_line
from meterlog.cli.terminal.wrap import wrapped_at
from meterlog.kinds import KINDS
from meterlog.text.figures import displayed
from meterlog.text.safe import one_line
from meterlog.text.sparkline import sparkline

REFRESH_S = 0.5
"""Time between two pictures, s: a person reads no faster, and drawing makes the meters' threads wait (a guess)."""

_SPARK_READINGS = 30
"""Readings in the small picture of a channel: what fits beside its figures in 100 columns (a guess)."""


class ScreenDisplay:
    """Draws with rich."""

    def __init__(self, path: str, place: str, keys: bool, sound: bool) -> None:
        """Draw from now on.

        Args:
            path: the session's name, to show.
            place: all that was said about what is measured.
            keys: whether keys are read, to show what they do.
            sound: ring the terminal's bell on an alarm.
        """
        self._path, self._keys, self._sound = one_line(path), keys, sound
        terminal = sys.stdout.raw if isinstance(sys.stdout, PlainOutput | LastingOutput) else sys.stdout
        self._console = Console(file=terminal, highlight=False)
        self._cautions = LineDisplay(quiet=True, place=place)
        self._live = Live(console=self._console, auto_refresh=False, transient=True)
        self._live.start()
        self._drawn_s = 0.0
        self._begun = Begun()
        self._unseen: list[str] = []

    def notice(self, notice: Notice) -> None:
        """Show something that happened, above the picture."""
        for caution in self._cautions.new_cautions(notice):
            self._say(caution_line(caution), "yellow")
        alarm = notice.event is not None and KINDS[notice.event.kind].rings
        if notice.event is not None:
            self._unseen.append(f"{KINDS[notice.event.kind].words} at {notice.event.start_s:.1f} s")
        self._say(f"{notice.time_s:9.2f} s  {one_line(said(notice))}", "bold red" if alarm else "")
        if alarm and self._sound:
            self._console.bell()

    def _say(self, line: str, style: str) -> None:
        """Print a line that stays, broken at words."""
        self._console.print(Text(wrapped_at(line, self._console.width), style))

    def refresh(self, recorder: Recorder, typing: str | None) -> None:
        """Draw when it is time, or at once while a text is being typed; ring for what has just begun."""
        now_s = time.monotonic()
        if self._sound and any(True for _ in self._begun.news(recorder)):
            self._console.bell()
        if now_s - self._drawn_s < REFRESH_S and typing is None:
            return
        self._drawn_s = now_s
        self._live.update(self._picture(recorder, typing), refresh=True)

    def seen(self) -> None:
        """Take what happened until now for seen."""
        self._unseen.clear()

    def close(self) -> None:
        """Take the picture away and put the terminal back."""
        self._live.stop()

    def _picture(self, recorder: Recorder, typing: str | None) -> Text:
        rows = [[Text(word, "dim") for word in _HEADS]]
        rows += [self._row(channel, recorder) for channel in list(recorder.channels.values())]
        widths = [max(row[i].cell_len for row in rows if i < len(row)) for i in range(len(_HEADS))]
        if sum(widths) + 2 * len(widths) > self._console.width:
            return Text("\n").join([*self._narrow(rows), *self._foot(recorder, typing)])
        lines = []
        for row in rows:
            for i, cell in enumerate(row):
                cell.align("right" if i in _RIGHT else "left", widths[i])
            lines.append(Text("  ").join(row))
        # One text for all: a table of rich costs six times as much, and the meters' threads wait for it.
        return Text("\n", no_wrap=True, overflow="crop").join([*lines, *self._foot(recorder, typing)])

    def _narrow(self, rows: list[list[Text]]) -> list[Text]:
        """Give each channel two lines and more where it does not fit into one: nothing is cut."""
        lines = []
        for row in rows[1:]:
            lines.append(Text("  ").join(row[:2]))
            told = [(head, cell) for head, cell in zip(rows[0][3:], row[3:], strict=False) if cell.plain]
            lines.append(Text("  ").join([Text(""), *(Text(" ").join(pair) for pair in told)]))
            lines += [Text("  ").join([Text(""), row[2]])] if len(row) > 2 else []
        return lines

    def _row(self, channel: LiveChannel, recorder: Recorder) -> list[Text]:
        last = channel.last
        if last is None:
            return [Text(one_line(channel.label))]
        link, state = channel_now(channel, recorder)
        low, high = channel.range
        event = channel.last_event
        recent = list(channel.recent)[-_SPARK_READINGS:]
        return [
            Text(one_line(channel.label)),
            Text(link.word, "bold red") if link.sort == "lost" else Text(state.words, _STYLES.get(state.sort, "bold")),
            Text(sparkline([reading.value for reading in recent]), "cyan"),
            Text("" if math.isnan(channel.rate_hz) else f"{channel.rate_hz:.3g}/s"),
            Text(displayed(low, channel.quantity.unit, last.resolution)),
            Text(displayed(high, channel.quantity.unit, last.resolution)),
            Text(str(channel.gaps), "red" if channel.gaps else ""),
            Text(f"{KINDS[event.kind].words} at {event.start_s:.1f} s" if event else ""),
        ]

    def _foot(self, recorder: Recorder, typing: str | None) -> list[Text]:
        state = f"ARMED, waiting; {recorder.captures} caught" if recorder.waiting else "recording"
        keys = Text(HELP if self._keys else "Ctrl-C ends the recording and keeps the data", "dim")
        if typing is not None:
            keys = Text(f"marker: {typing}_   (Enter sets it, Esc cancels)", "bold")
        return [Text(f"{state} {recorder.elapsed_s:.0f} s to {self._path}", "dim"), *self._not_seen(), keys]

    def _not_seen(self) -> list[Text]:
        """Count what happened since the person last said so, in the page's words."""
        if not self._unseen or not self._keys:
            return []
        last = "last " if len(self._unseen) > 1 else ""
        return [Text(f"{len(self._unseen)} not seen: {last}{self._unseen[-1]}", "bold yellow")]


_STYLES = {"trouble": "bold red", "lost": "bold red", "doubt": "bold yellow"}
_HEADS = ("channel", "now", "last readings", "rate", "min", "max", "gaps", "last event")
_RIGHT = (3, 4, 5, 6)  # columns of figures
