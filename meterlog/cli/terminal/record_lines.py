"""The display of `record` without a terminal: plain lines, a few a minute."""

from __future__ import annotations

import time

from meterlog.capture import Notice, Recorder
from meterlog.cautions import Act, applying, first_said
from meterlog.cli.terminal.present_lines import Begun
from meterlog.cli.terminal.readout import readout
from meterlog.kinds import KINDS
from meterlog.reading import Quantity
from meterlog.text.figures import displayed
from meterlog.text.safe import one_line

STATUS_S = 10.0
"""Time between two lines of figures for a channel, s (a guess)."""


class LineDisplay:
    """Prints what happens as it happens, and the figures now and then."""

    def __init__(self, quiet: bool) -> None:
        """With `quiet`, only the cautions and what a person must know to act."""
        self._quiet = quiet
        self._said = set(applying(Act("record")))  # when the recording began
        self._status_s = time.monotonic() + STATUS_S
        self._begun = Begun()

    def notice(self, notice: Notice) -> None:
        """Show something that happened."""
        if notice.kind == "channel" and notice.quantity is not None:
            for caution in self.new_cautions(notice.quantity):
                print(f"caution: {caution}")
        if not self._quiet or notice.kind in ("link", "waiting"):
            print(f"{notice.time_s:9.2f} s  {one_line(said(notice))}")

    def new_cautions(self, quantity: Quantity) -> list[str]:
        """The cautions of a quantity that have not been shown yet."""
        return first_said(self._said, applying(Act("record", quantity)))

    def refresh(self, recorder: Recorder, typing: str | None) -> None:  # noqa: ARG002
        """Print what has just begun, and the figures when it is time."""
        for label, present in self._begun.news(recorder):
            if not self._quiet and present.sort != "lost":  # a notice says that a link was lost, with the cause
                print(f"{recorder.elapsed_s:9.2f} s  {one_line(label)}: {present.words}")
        if self._quiet or time.monotonic() < self._status_s:
            return
        self._status_s += STATUS_S
        channels = list(recorder.channels.values())
        labels = [channel.label for channel in channels]
        for channel in channels:
            if channel.last is not None:
                name = one_line(channel.label)
                if labels.count(channel.label) > 1:
                    name += f" ({channel.quantity.words})"
                low, high = (displayed(v, channel.quantity.unit, channel.last.resolution) for v in channel.range)
                print(
                    f"{recorder.elapsed_s:9.2f} s  {name}: {readout(channel.last)}, {low} to {high},"
                    f" {channel.count} readings, {channel.rate_hz:.3g}/s"
                )

    def close(self) -> None:
        """Nothing to put back."""


def said(notice: Notice) -> str:
    """A notice in words."""
    if notice.kind == "event" and notice.event is not None:
        return f"{KINDS[notice.event.kind].words}: {notice.text}"
    if notice.kind in ("marker", "channel"):
        return f"{'marker' if notice.kind == 'marker' else 'measuring'} {notice.text}"
    return notice.text
