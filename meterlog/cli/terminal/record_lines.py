"""The display of `record` without a terminal: plain lines, a few a minute."""

from __future__ import annotations

import time

from meterlog.capture import Notice, Recorder
from meterlog.cautions import applying, first_said
from meterlog.cli.terminal.present_lines import Begun
from meterlog.cli.terminal.readout import readout
from meterlog.cli.terminal.start_cautions import caution_line
from meterlog.cli.terminal.wrap import wrapped
from meterlog.kinds import KINDS
from meterlog.near_words import recording
from meterlog.text.figures import displayed
from meterlog.text.safe import one_line

STATUS_S = 10.0
"""Time between two lines of figures for a channel, s (a guess)."""


class LineDisplay:
    """Prints what happens as it happens, and the figures now and then."""

    def __init__(self, quiet: bool, place: str) -> None:
        """Begin.

        Args:
            quiet: print only what a person must know to act.
            place: all that was said about what is measured; its general cautions were said already.
        """
        self._quiet, self._place = quiet, place
        self._said = set(applying(recording(place)))
        self._status_s = time.monotonic() + STATUS_S
        self._seen: set[int] = set()
        self._begun = Begun()

    def notice(self, notice: Notice) -> None:
        """Show something that happened."""
        for caution in self.new_cautions(notice) if not self._quiet else ():
            print(wrapped(caution_line(caution)))
        if not self._quiet or notice.kind in ("link", "waiting"):
            print(wrapped(f"{notice.time_s:9.2f} s  {one_line(said(notice))}"))

    def new_cautions(self, notice: Notice) -> list[str]:
        """The cautions of a channel that begins which have not been shown yet: of its quantity, and of its label."""
        if notice.kind != "channel" or notice.quantity is None:
            return []
        return first_said(self._said, applying(recording(f"{self._place} {notice.text}", notice.quantity)))

    def refresh(self, recorder: Recorder, typing: str | None) -> None:  # noqa: ARG002
        """Print what has just begun, and the figures when it is time."""
        for label, present in self._begun.news(recorder):
            if not self._quiet and present.sort != "lost":  # a notice says that a link was lost, with the cause
                print(f"{recorder.elapsed_s:9.2f} s  {one_line(label)}: {present.words}")
        if self._quiet:
            return
        due = time.monotonic() >= self._status_s
        self._status_s += STATUS_S if due else 0.0
        channels = dict(recorder.channels)
        labels = [channel.label for channel in channels.values()]
        for number, channel in channels.items():
            if channel.last is not None and (due or number not in self._seen):
                self._seen.add(number)  # the first reading at once: it says that the meter is heard
                name = one_line(channel.label)
                if labels.count(channel.label) > 1:
                    name += f" ({channel.quantity.words})"
                low, high = (displayed(v, channel.quantity.unit, channel.last.resolution) for v in channel.range)
                spread = f", {low} to {high}, {channel.count} readings, {channel.rate_hz:.3g}/s" if due else ""
                print(wrapped(f"{recorder.elapsed_s:9.2f} s  {name}: {readout(channel.last)}{spread}"))

    def seen(self) -> None:
        """Nothing to do: every line stays."""

    def close(self) -> None:
        """Nothing to put back."""


def said(notice: Notice) -> str:
    """A notice in words."""
    if notice.kind == "event" and notice.event is not None:
        return f"{KINDS[notice.event.kind].words}: {notice.text}"
    if notice.kind in ("marker", "channel"):
        return f"{'marker' if notice.kind == 'marker' else 'measuring'} {notice.text}"
    return notice.text
