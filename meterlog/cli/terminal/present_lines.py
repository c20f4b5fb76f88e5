"""Says what is so now in a recording's terminal: each channel's link and state, and which of them have just begun."""

from __future__ import annotations

import time
from collections.abc import Iterator

from meterlog.capture import Recorder
from meterlog.capture.channels import LiveChannel
from meterlog.capture.present import Present, link_now, state_now


def channel_now(channel: LiveChannel, recorder: Recorder) -> tuple[Present, Present]:
    """The link and the state of a channel, as the page says them too."""
    now_s = time.monotonic()
    last = channel.last
    up = channel.meter not in recorder.silent
    interval_s = 1.0 / channel.rate_hz if channel.rate_hz > 0.0 else None
    link = link_now(None if last is None else now_s - last.time_s, interval_s, up=up)
    start_s = now_s - recorder.elapsed_s
    last = None if last is None else last._replace(time_s=last.time_s - start_s)
    standing = None if recorder.waiting else channel.standing  # an armed capture shows its detectors nothing meanwhile
    return link, state_now(last, standing, recorder.elapsed_s, link)


class Begun:
    """Tells which states have just begun that a person wants to hear of; each is told once."""

    def __init__(self) -> None:
        self._known: dict[int, str] = {}

    def news(self, recorder: Recorder) -> Iterator[tuple[str, Present]]:
        """Each label with the state or the lost link that has begun since this was last asked."""
        for channel in list(recorder.channels.values()):
            link, state = channel_now(channel, recorder)
            present = link if link.sort == "lost" else state
            if self._known.get(channel.number) != present.since and present.sort != "calm":
                yield channel.label, present
            self._known[channel.number] = present.since
