"""The pump's supply at key-on: how high, how long, how regular, and what it means where it is missing."""

from __future__ import annotations

from meterlog.events.event import Event
from meterlog.findings.chance import unseen_share
from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Finding
from meterlog.findings.judgement import Judgement, judge, rank
from meterlog.findings.level import level_of, resolution_of
from meterlog.findings.line import around, limit_lines
from meterlog.findings.regulated import DECIDES, READS_LOWER
from meterlog.roles import Role
from meterlog.session.model import Channel, Marker
from meterlog.text.figures import count, seconds, shown

_CRANK_LOOK_S = 5.0
"""Time after a `crank` marker in which the supply is looked for, s; default, unverified."""
_STEADY_SHARE = 0.9
"""Readings of a prime above this share of its level are its steady part; default, unverified."""


def findings(evidence: Evidence) -> list[Finding]:
    """All findings about primes, channel by channel."""
    found: list[Finding] = []
    for channel in evidence.playing(Role.SUPPLY):
        pulses = evidence.events_of(channel, "prime_pulse")
        missing = evidence.events_of(channel, "missing_prime")
        if pulses:
            found += _level(evidence, channel, pulses)
            found += _duration(evidence, channel, pulses)
        found += _missing(evidence, channel, missing, pulses)
        found += _regularity(evidence, channel, pulses, missing)
    return found


def _level(evidence: Evidence, channel: Channel, pulses: list[Event]) -> list[Finding]:
    """The prime's level against the battery: the pulse that decides."""
    figure = evidence.limits.figure("feed_drop_max_v")
    judged: list[tuple[Judgement, Event, float, str]] = []
    for pulse in pulses:
        if pulse.level is None or (evidence.battery is None and evidence.marked_crank(pulse)):
            continue  # while cranking, only the battery's own reading says what a feed can reach
        error = _level_error(evidence, channel, pulse)
        span, how = evidence.battery_span(pulse.start_s, pulse.end_s)
        drop = (sum(span) / 2) - pulse.level
        verdict = judge(drop, error + (span[1] - span[0]) / 2, high=figure.span())
        judged.append((verdict, pulse, error, how))
    if not judged:
        return []
    verdict, pulse, error, how = min(judged, key=lambda entry: rank(entry[0]))
    which = "the prime" if len(judged) == 1 else f"of {len(judged)} primes the one nearest to its limit"
    drop = figure.number() - verdict.margin
    text = (
        f"{channel.label}: {which} (at {pulse.start_s:.1f} s) reached {shown(pulse.level or 0.0, 'V', error)}, "
        f"{shown(max(drop, 0.0), 'V', verdict.margin_error)} below the battery ({how})."
    )
    decided = verdict.verdict
    if decided == "outside":
        decided = "cannot tell"
        text += f" {READS_LOWER} {DECIDES}"
    elif decided == "cannot tell" and how.startswith("the battery was not"):
        text += " Record the battery as a second channel to know."
    limit = f"at most {figure.number():g} V below the battery, the pump running"
    battery = evidence.battery_span(pulse.start_s, pulse.end_s)[0]
    least = (battery[0] - figure.number(), battery[1] - figure.number())
    words = f"{figure.number():g} V below the battery"
    lines = limit_lines(channel.number, least, words, around(pulse.start_s, pulse.end_s))
    return [Finding(text, limit, figure.cite(), decided, verdict.margin, verdict.margin_error, channel.number, lines)]


def _level_error(evidence: Evidence, channel: Channel, pulse: Event) -> float:
    inside = evidence.series(channel).between(pulse.start_s, pulse.end_s)
    steady = level_of(inside, channel.accuracy, inside.value >= _STEADY_SHARE * (pulse.level or 0.0))
    own = channel.accuracy.error(pulse.level or 0.0, resolution_of(inside))
    return max(own, steady.error) if steady else own


def _duration(evidence: Evidence, channel: Channel, pulses: list[Event]) -> list[Finding]:
    low, high = evidence.limits.figure("prime_duration_min_s"), evidence.limits.figure("prime_duration_max_s")
    timed = [p for p in pulses if p.duration_s is not None and p.duration_error_s is not None]
    if not timed:
        return []
    judged = [
        (judge(p.duration_s or 0.0, p.duration_error_s or 0.0, low=low.span(), high=high.span()), p) for p in timed
    ]
    verdict, pulse = min(judged, key=lambda entry: rank(entry[0]))
    which = "the prime" if len(timed) == 1 else f"of {len(timed)} primes the one nearest to a limit"
    lasted = shown(pulse.duration_s or 0.0, "s", pulse.duration_error_s)
    text = f"{channel.label}: {which} (at {pulse.start_s:.1f} s) lasted {lasted}."
    limit = f"usually {low.number():g} to {high.number():g} s; 2 s is commonest"
    source = low.source if verdict.margin < (high.number() - low.number()) / 2 else high.source
    return [Finding(text, limit, f"{source} (grade {low.grade}, {high.grade})", *verdict, channel=channel.number)]


def _missing(evidence: Evidence, channel: Channel, missing: list[Event], pulses: list[Event]) -> list[Finding]:
    """No prime: by itself no fault, so what happened while cranking decides where it was recorded."""
    if not missing:
        return []
    when = ", ".join(f"{e.start_s:.1f} s" for e in missing[:5]) + (" ..." if len(missing) > 5 else "")
    text = f"{channel.label}: no prime after {count(len(missing), 'key-on marker')} ({when})."
    source = (
        "makers' service manuals (grade A): many cars never prime, their pump runs only with the starter signal; "
        "some want about 10 s of key-off before the next try"
    )
    if pulses:
        return [
            Finding(
                f"{text} Other key-ons did prime.",
                "a prime at each key-on",
                source,
                "cannot tell",
                channel=channel.number,
            )
        ]
    cranks = evidence.marked("crank")
    limit = "supply at key-on or while cranking"
    if not cranks:
        text += " Many cars never prime: repeat the measurement while cranking before judging."
        return [Finding(text, limit, source, "cannot tell", channel=channel.number)]
    if any(_supplied(evidence, channel, crank) for crank in cranks):
        text += " The supply did come while cranking, as on the many cars that prime only then."
        return [Finding(text, limit, source, "within", channel=channel.number)]
    text += " Nor did any supply come while cranking: the feed or its command is open"
    if _ever_on(evidence, channel):
        return [
            Finding(
                f"{text} (the probe's contact is proven by what it read at other times).",
                limit,
                source,
                "outside",
                channel=channel.number,
            )
        ]
    text += ", or the probe makes no contact. Prove the contact first: never judge from one back-probed point."
    return [Finding(text, limit, source, "cannot tell", channel=channel.number)]


def _supplied(evidence: Evidence, channel: Channel, crank: Marker) -> bool:
    """Tell whether the supply was at half of the system voltage or more, soon after a crank marker."""
    after = evidence.series(channel).between(crank.time_s, crank.time_s + _CRANK_LOOK_S)
    return bool((after.value >= evidence.limits.system_v / 2).any())


def _ever_on(evidence: Evidence, channel: Channel) -> bool:
    return bool((evidence.series(channel).value >= evidence.limits.system_v / 2).any())


def _regularity(evidence: Evidence, channel: Channel, pulses: list[Event], missing: list[Event]) -> list[Finding]:
    """Primes seen of key-ons, once there are several."""
    expected = len(evidence.marked("key-on"))
    seen = expected - len(missing)
    if expected < 2 or not pulses or seen < 0:
        return []
    text = f"{channel.label}: a prime at {seen} of {expected} key-ons."
    if missing:
        text += " It comes at some and not at others; was the key off for 10 s before each try?"
        verdict = Judgement("outside", float(-len(missing)), 0.0)
    else:
        verdict = Judgement("within", 0.0, 0.0)
        text += (
            f" A fault that shows in fewer than {unseen_share(expected):.0%} of key-ons may have escaped {expected}"
            " tries."
        )
    within = seconds(evidence.limits.detection.missing_prime_within_s)
    source = f"counted within {within} of the marker; what escapes 5 times in 100 by the binomial distribution"
    return [
        Finding(
            text, "a prime at each key-on, where the first ones prime", source, verdict.verdict, channel=channel.number
        )
    ]
