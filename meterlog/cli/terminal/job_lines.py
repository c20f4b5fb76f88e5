"""Says one measurement of a job in plain lines: for a pipe, and the base of what a terminal shows."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

from meterlog.cli.terminal.output_streams import FAILED, STILL_WAITING, ring
from meterlog.cli.terminal.readout import readout
from meterlog.errors import MeterlogError
from meterlog.job.taking import Said, Taken, Wish
from meterlog.reading import Reading
from meterlog.text.figures import seconds, shown
from meterlog.text.safe import one_line


class Lines:
    """Prints what happens; asks nothing."""

    def __init__(self, stream: TextIO) -> None:
        """Print on that stream."""
        self._stream = stream

    def shown(self, reading: Reading) -> None:
        """See `Attendant`."""
        self.say(f"  {readout(reading)}")

    def said(self, kind: Said, text: str) -> None:
        """See `Attendant`."""
        self.say(text)
        if kind in ("slip", "waiting"):
            ring(FAILED if kind == "slip" else STILL_WAITING)

    def wish(self) -> Wish:
        """See `Attendant`: nobody is there."""
        return ""

    def say(self, text: str) -> None:
        """Print a sentence."""
        print(one_line(text), file=self._stream, flush=True)


def caught_lines(folder: Path, taken: Sequence[Taken]) -> list[str]:
    """Return what was caught, with its error and the shortest event that its recording would have shown."""
    lines = []
    for k, one in enumerate(taken):
        m = one.measurement
        value = shown(m.value, _unit(one), m.error) if m.quantity != "resistance" or m.value < float("inf") else "open"
        words = f", {one.words}" if one.words else ""
        lines.append(f"{'Also' if k else 'Caught'}: {value} {m.place}{words}")
    visible = _shortest_visible(folder / taken[0].session) if taken else ""
    return lines + ([visible] if visible else [])


def _unit(one: Taken) -> str:
    from meterlog.circuit.readings.measurement import UNITS

    return UNITS[one.measurement.quantity]


def _shortest_visible(path: Path) -> str:
    from meterlog.analysis import analyze
    from meterlog.session import open_reader
    from meterlog.session.contents import Contents

    try:
        with open_reader(path) as reader:
            channels = analyze(Contents.of(reader)).channels
    except MeterlogError:
        return ""
    found = [one.watch.shortest_visible_s for one in channels if one.watch.shortest_visible_s > 0]
    return f"Shortest visible: {seconds(max(found))}" if found else ""
