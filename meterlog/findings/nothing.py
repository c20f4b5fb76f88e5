"""States what was not seen, and what these readings could not have shown.

'Within' is a promise here: of the kinds that a detector looked for on this channel, over the time in which looks came.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from meterlog.events.watch import Watch
from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Finding
from meterlog.findings.stands_low import stands_low
from meterlog.kinds import KINDS
from meterlog.roles import Role
from meterlog.session.model import Channel
from meterlog.text.figures import count, seconds

_SOURCE = "the longest wait for a reading, what the times may be wrong, and what one reading averages (grade D)"
_ALL_ON = 0.98
"""A supply that was on for this share of the time watched was on all along, but for its edges: a choice."""


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each channel on which faults were looked for and none was seen; a dip of the starter is none."""
    found = []
    for channel in evidence.channels:
        watch = evidence.watches[channel.number]
        judged = channel.measurand.role is not Role.OTHER and len(evidence.series(channel))
        if judged and watch.faults and not evidence.faults_of(channel) and not _stands_low(evidence, channel):
            dips = [event for event in evidence.events_of(channel, *watch.faults) if evidence.is_crank(event)]
            hidden = [dip.start_s for dip in dips if watch.missed_some_of(dip) and not evidence.marked_crank(dip)]
            found.append(_nothing(channel, watch, len(dips), [*hidden, *watch.undecided]))
    return found


def _stands_low(evidence: Evidence, channel: Channel) -> bool:
    return channel.measurand.role is Role.SUPPLY and stands_low(evidence, channel) is not None


def _nothing(channel: Channel, watch: Watch, starts: int, undecided: Sequence[float]) -> Finding:
    """One finding, with `starts` dips of the starter seen, and what fell at the times `undecided`, s, left open."""
    looked_for = _alternatives([KINDS[kind].named for kind in watch.faults])
    shortest_s = watch.shortest_visible_s
    if math.isnan(shortest_s):
        text = f"{channel.label}: a single reading shows nothing about what comes and goes."
        return Finding(text, "", _SOURCE, "cannot tell", channel=channel.number)
    if watch.on_s is not None and not watch.on_s:
        text = f"{channel.label}: never on, so no {looked_for} could have shown."
        return Finding(text, "", "", "cannot tell", channel=channel.number)
    if watch.shortest_while_watched_s >= watch.watched_s:
        text = (
            f"{channel.label}: no {looked_for} could have shown for certain: the readings come up to "
            f"{seconds(watch.longest_s)} apart, and only {seconds(watch.watched_s)} were watched."
        )
        return Finding(text, "", _SOURCE, "cannot tell", channel=channel.number)
    if undecided:
        text = (
            f"{channel.label}: it fell at {undecided[0]:.1f} s, and the readings do not tell whether it failed, "
            "was switched off or settled lower: record a minute more before and after it. "
            f"But for that, no {looked_for} was seen."
        )
        return Finding(text, "", _SOURCE, "cannot tell", channel=channel.number)
    but = f"but for {count(starts, 'dip')} of the starter, " if starts else ""
    text = (
        f"{channel.label}: {but}no {looked_for} was seen in {_watched(watch)}. Anything shorter than "
        f"{seconds(watch.shortest_while_watched_s)} could have passed unseen between these readings."
    )
    text += "".join(
        f" A {KINDS[kind].named} must last for {seconds(watch.shortest_s(kind))} to be seen."
        for kind in watch.faults
        if KINDS[kind].looks > 1
    )
    text += f" {watch.breaks}".rstrip()
    limit = f"no {looked_for} longer than {seconds(shortest_s)}"
    return Finding(text, limit, _SOURCE, "within", channel=channel.number)


def _watched(watch: Watch) -> str:
    watched = seconds(watch.watched_s)
    if watch.on_s is None or watch.on_s >= _ALL_ON * watch.watched_s:
        return watched
    return f"the {seconds(watch.on_s)} of {watched} that it was on"


def _alternatives(words: list[str]) -> str:
    return " or ".join(filter(None, (", ".join(words[:-1]), words[-1])))
