"""The pump's supply at key-on: how high, how long, how regular, and what it means where it is missing."""

from __future__ import annotations

from meterlog.events.event import Event
from meterlog.findings.chance import unseen_share
from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Alternative, Finding, Verdict
from meterlog.findings.judgement import Judgement, judge, rank
from meterlog.findings.level import level_of, resolution_of
from meterlog.findings.line import around, limit_lines
from meterlog.findings.regulated import READS_LOWER
from meterlog.kinds import KINDS
from meterlog.roles import Role
from meterlog.session.model import Channel, Marker
from meterlog.text.figures import count, seconds, shown

_CRANK_LOOK_S = 5.0
"""Time after a `crank` marker in which the supply is looked for, s; default, unverified."""
_KEY_OFF_S = 10.0
"""Time for which the key must have been off for the next prime, s: makers' service manuals (grade A)."""
_WEAK_BATTERY = Alternative(
    "A weak battery reads as low, and so does a pump that is driven by pulses (PWM).",
    "Record the battery as a second channel to know.",
)
_CUT_SHORT = Alternative(
    "Some vehicles prime for less or for more, and turning the key ends a prime.",
    "What decides: the vehicle's service information, or a recording of the same model that is known to be good.",
)
_KEPT_WAITING = Alternative(
    "It comes at some and not at others; many control units want the key off for 10 s first, or do not prime again "
    "while there is pressure.",
    "What decides: another ten tries, each with a `key-off` marker and 10 s before the `key-on`.",
)
_KEYS = ("key-on", "key-off", "crank")
_NOT_WATCHED = Alternative(
    "Where one is missing the meter gave no readings that could show it (a gap, or its ranging).",
    "What decides: the same again with the meter's range held by hand.",
)
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
    limit = f"at most {figure.number():g} V below the battery, the pump running"
    battery = evidence.battery_span(pulse.start_s, pulse.end_s)[0]
    least = (battery[0] - figure.number(), battery[1] - figure.number())
    words = f"{figure.number():g} V below the battery"
    lines = limit_lines(channel.number, least, words, around(pulse.start_s, pulse.end_s))
    found = Finding(text, limit, figure.cite(), *verdict, channel.number, lines)
    if found.verdict == "within":
        return [found]
    if how.startswith("the battery was not"):
        return [found.unless(_WEAK_BATTERY)]
    return [found.unless(READS_LOWER) if found.verdict == "outside" else found]


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
    found = Finding(text, limit, f"{source} (grade {low.grade}, {high.grade})", *verdict, channel=channel.number)
    return [found.unless(_CUT_SHORT) if found.verdict == "outside" else found]


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
    verdict: Verdict = "outside" if missing else "within"
    if not missing:
        text += (
            f" A fault that shows in fewer than {unseen_share(expected):.0%} of key-ons may have escaped {expected}"
            " tries."
        )
    within = seconds(evidence.limits.detection.missing_prime_within_s)
    source = f"counted within {within} of the marker; what escapes 5 times in 100 by the binomial distribution"
    limit = "a prime at each key-on, where the first ones prime"
    found = Finding(text, limit, source, verdict, channel=channel.number)
    if not missing:
        return [found]
    blind = [event for event in missing if _blind_after(evidence, channel, event)]
    if blind:
        return [found.unless(_NOT_WATCHED)]
    waited = all(_waited(evidence, event) for event in missing)
    return [found if waited else found.unless(_KEPT_WAITING)]


def _blind_after(evidence: Evidence, channel: Channel, missing: Event) -> bool:
    """Tell whether readings are missing or doubtful where the prime should have begun."""
    end_s = missing.start_s + evidence.limits.detection.missing_prime_within_s
    doubts = evidence.events_of(channel, *(name for name, kind in KINDS.items() if not kind.about_circuit))
    return any(doubt.start_s <= end_s and doubt.end_s >= missing.start_s for doubt in doubts)


def _waited(evidence: Evidence, missing: Event) -> bool:
    """Tell whether markers say that the key had been off for long enough before a key-on without a prime."""
    before = [m for m in evidence.markers if m.time_s < missing.start_s and m.name.strip().casefold() in _KEYS]
    last = max(before, key=lambda m: m.time_s, default=None)
    off = last is not None and last.name.strip().casefold() == "key-off"
    return off and last is not None and missing.start_s - last.time_s >= _KEY_OFF_S
