"""Compares what the program says of a log with the log's truth."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np

from tests.bench.detection_world.product import Answer, Said
from tests.bench.detection_world.scene import Scene, Wire
from tests.bench.detection_world.trace import Truth

FALLS = ("dropout", "sag", "fade", "supply_lost", "interruption", "chatter", "missing_prime", "open_circuit")
"""Kinds beside which 'nothing seen' is wrong."""
NAMED_ONLY = {"overvoltage": "overvoltage", "resistance_step": "step"}
"""Kinds beside which it is wrong where it names them, and the word that does."""
NEVER = (r"\de\+\d", r"\b0 ?% of the time", r"\bevery 0(\.0*)? s\b", r"seen in (the )?0(\.0*)? s\b", r"\b(nan|inf)\b")
"""Says what no person can read, or means nothing."""
FREE = ("range_change",)
"""Kinds that say something about the meter only, and are right whenever its display tells them."""
TWIN = {"fade": ("sag",), "interruption": ("dropout",)}
"""Older names of new kinds."""
SLACK_S = 0.15
"""Says how far apart a true and a found event may lie beside what the readings leave open, s: arrival and latency."""
_NOTHING = re.compile(r"\b(no|nothing)\b.*\bseen\b|\bnothing seen\b", re.IGNORECASE)


@dataclass(slots=True)
class Judgement:
    """One log judged.

    Attributes:
        found: true events that were found.
        missed: true events that were not, though the readings show them.
        false: events that are not true.
        covered: for each stated duration, whether its stated error covers the truth.
        error: for each of them, the stated error in readings.
        outside: a healthy log is called 'outside'.
        silent: a faulty log has neither an event nor 'outside'.
        wrong: statements that the truth contradicts.
        complaints: all of these in words.
    """

    found: int = 0
    missed: int = 0
    false: int = 0
    covered: list[bool] = field(default_factory=list)
    error: list[float] = field(default_factory=list)
    outside: bool = False
    silent: bool = False
    wrong: int = 0
    complaints: list[str] = field(default_factory=list)


def judge(scene: Scene, answer: Answer) -> Judgement:
    """Judge one log."""
    judged = Judgement()
    for number, wire in enumerate(scene.wires, 1):
        _events(judged, scene, wire, [e for e in answer.events if e["channel"] == number])
    _statements(judged, scene, answer)
    return judged


def judge_statements(scene: Scene, answer: Answer) -> Judgement:
    """Judge only what is said in sentences: where a log hides most of what happens, events may be found or not."""
    judged = Judgement()
    _statements(judged, scene, answer)
    return judged


def _events(judged: Judgement, scene: Scene, wire: Wire, events: list[Said]) -> None:
    left = [event for event in events if event["kind"] not in (*FREE, *scene.neutral)]
    for truth in sorted(wire.trace.truth, key=lambda t: t.start_s):
        names = (truth.kind, *truth.accepted, *TWIN.get(truth.kind, ()))
        near = [event for event in events if _overlap(wire, event, truth)]
        match = next((event for event in near if event["kind"] in names), None)
        if match is not None:
            left = [event for event in left if event is not match]
        if not is_visible(wire, truth):
            left = [event for event in left if event not in near]
            continue
        if match is None:
            judged.missed += 1
            said = ", ".join(_brief(e) for e in near) or "nothing"
            judged.complaints.append(f"missed {_of(truth)}; said there: {said}")
            continue
        judged.found += 1
        _duration(judged, wire, truth, match)
    judged.false += len(left)
    judged.complaints += [f"false {_brief(event)}: {event['detail']}" for event in left]


def _duration(judged: Judgement, wire: Wire, truth: Truth, match: Said) -> None:
    duration, error = match["duration_s"], match["duration_error_s"]
    if not truth.timed or duration is None or error is None:
        return
    off = abs(duration - truth.duration_s)
    judged.covered.append(off <= error + 1e-9)
    judged.error.append(error / wire.meter.cadence_s)
    if off > error + 1e-9:
        judged.complaints.append(f"not covered: {_of(truth)}: stated {duration:.3f} +-{error:.3f} s")


def _statements(judged: Judgement, scene: Scene, answer: Answer) -> None:
    outside = [finding["text"] for finding in answer.findings if finding["verdict"] == "outside"]
    if scene.healthy and outside:
        judged.outside = True
        judged.complaints += [f"healthy, but outside: {text}" for text in outside]
    circuit = [e for e in answer.events if e["kind"] not in (*FREE, "gap", "held_display", "meter_battery_low")]
    if (scene.faulty and not outside and not circuit) or (scene.certain_fault and not outside):
        judged.silent = True
        judged.complaints.append(f"faulty, but nothing outside{'' if circuit else ' and no event'}")
    wrong = [*_wrong_nothing(scene, answer), *_wrong_words(scene, answer)]
    judged.wrong = len(wrong)
    judged.complaints += wrong


def nothing_seen(answer: Answer) -> list[tuple[float, str]]:
    """The statements 'within: nothing seen': the blind time of their channel, s, and their text."""
    found = []
    for finding in answer.findings:
        if finding["verdict"] == "within" and _NOTHING.search(finding["text"]):
            channel = next((c for c in answer.channels if c["label"] in finding["text"]), answer.channels[0])
            found.append((channel["shortest_visible_s"] or 0.0, finding["text"]))
    return found


def _wrong_nothing(scene: Scene, answer: Answer) -> list[str]:
    """'Within: nothing seen' beside a true fall that is longer than the blind time stated."""
    wrong = []
    for wire in scene.wires:
        for blind_s, text in nothing_seen(answer):
            denied = [truth for truth in wire.trace.truth if _denies(text, truth)]
            longest = max(denied, key=lambda truth: truth.duration_s, default=None)
            if wire.label in text and longest is not None and longest.duration_s > blind_s:
                wrong.append(f"within beside a {longest.kind} of {longest.duration_s:.2f} s: {text}")
    return wrong


def _denies(text: str, truth: Truth) -> bool:
    if truth.called and re.search(truth.called, text, re.IGNORECASE):
        return False
    return truth.kind in FALLS or NAMED_ONLY.get(truth.kind, "\n") in text


def _wrong_words(scene: Scene, answer: Answer) -> list[str]:
    said = answer.sentences
    wrong = [
        f"nowhere said: {pattern}"
        for pattern in scene.must_say
        if not any(re.search(pattern, text, re.IGNORECASE) for text in said)
    ]
    for pattern in (*scene.must_not_say, *NEVER):
        text = next((text for text in said if re.search(pattern, text, re.IGNORECASE)), "")
        wrong += [f"must not be said: {text}"] if text else []
    for wire, channel in zip(scene.wires, answer.channels, strict=True):
        wrong += _watched(wire, channel)
    if scene.cannot_tell:
        wrong += [f"outside, of what cannot be told: {f['text']}" for f in answer.findings if f["verdict"] == "outside"]
    if scene.no_within:
        within = [finding["text"] for finding in answer.findings if finding["verdict"] == "within"]
        wrong += [f"within, of what cannot be judged: {text}" for text in within]
    return wrong


def _watched(wire: Wire, channel: Said) -> list[str]:
    """Hold the time that a channel is said to have been watched against the looks that were taken."""
    if not wire.unwatched_s:
        return []
    most_s = float(wire.shown.time_s[-1] - wire.shown.time_s[0]) - 0.7 * wire.unwatched_s
    said = channel.get("watched_s")
    if said is None:
        return ["nowhere said for how long was watched"]
    return [f"said to be watched for {said:.0f} s, at most {most_s:.0f} s were"] if said > most_s else []


def is_visible(wire: Wire, truth: Truth) -> bool:
    """Tell whether the readings show an event: longer than the meter is blind, with a plain look wholly in it."""
    if truth.certain:
        return True
    looks, value = wire.shown.true_s, wire.shown.value
    inside = (looks - wire.meter.window_s >= truth.start_s) & (looks <= truth.end_s)
    inside &= (value < truth.below) | np.isinf(truth.below)
    inside &= value > truth.above
    return truth.duration_s > wire.blind_s and bool(np.any(inside))


def _overlap(wire: Wire, event: Said, truth: Truth) -> bool:
    slack = wire.blind_s + SLACK_S + wire.meter.stamp_s + wire.meter.bundle * wire.meter.display_s
    if wire.meter.autorange:
        slack += wire.meter.ranging_s
    return bool(event["start_s"] <= truth.end_s + slack and event["end_s"] >= truth.start_s - slack)


def _of(truth: Truth) -> str:
    return f"{truth.kind} {truth.start_s:.2f}-{truth.end_s:.2f} s"


def _brief(event: Said) -> str:
    return f"{event['kind']} {event['start_s']:.2f}-{event['end_s']:.2f} s"
