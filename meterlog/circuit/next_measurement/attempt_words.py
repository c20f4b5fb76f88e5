"""Says how something is tried, in words that a person under a vehicle can follow; and what each result is called."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from meterlog.cautions import Act, applying
from meterlog.circuit.acts import beginning, tried
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.part import Part
from meterlog.circuit.next_measurement.attempts import FUSE_RATING, MOVES, Attempt
from meterlog.circuit.next_measurement.instructions import Instruction, key_words, place_words, thing_words
from meterlog.circuit.probability.when_hot import FAILS_WHEN_WARM
from meterlog.circuit.readings.observed import Observed
from meterlog.circuit.readings.trial import Tried
from meterlog.text.figures import shown
from meterlog.text.ids import plain

_FUSES_A = (3.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0)
"""Usual blade fuses, A."""
_FUSE_OVER_LOAD = 1.3
"""A fuse is chosen so far above its load's current (trade practice, from memory). A guess."""
_NO_METER = "no meter"
_WORDS = {
    "runs": "{load} runs",
    "dead": "nothing runs",
    "blew": "a fuse blows",
    "differs": "it measures otherwise than the good one",
    "alike": "both measure alike",
    "right": "the right rating",
    "too_small": "too small a rating",
    "too_large": "too large a rating",
    "no": "nothing moves",
    "yes": "it comes and goes, no telling where",
}


def title(circuit: Circuit, attempt: Attempt) -> str:
    """It in a few words, as a heading: `Bridge relay (30-87)`."""
    first = attempt.results[0]
    if isinstance(first, Observed):
        return _TITLES[first.key]
    if first.into:
        return f"Feed {place_words(circuit, first.into)} straight from the battery"
    part = _part(circuit, first)
    if first.bridged:
        return f"Bridge {thing_words(part)}"
    if first.compared:
        return f"Measure {thing_words(part)} beside a known-good one"
    without = f", {plain(first.unplugged)} unplugged" if first.unplugged else ""
    return f"{'Put in a new' if part.kind == 'fuse' else 'Swap'} {thing_words(part)}{without}"


def result_words(circuit: Circuit, result: Tried | Observed) -> str:
    """Return what came of it, in words."""
    word = result.answer if isinstance(result, Observed) else result.result
    if isinstance(result, Observed) and result.key == FAILS_WHEN_WARM:
        return "it fails now" if word == "yes" else "it still works when warm"
    words = _WORDS.get(word, f"it comes and goes at {word}")
    return words.format(load=circuit.parts[circuit.load].id)


def how(circuit: Circuit, attempt: Attempt) -> Instruction:
    """Return how it is done."""
    first = attempt.results[0]
    if isinstance(first, Observed):
        return _OBSERVING[first.key](circuit)
    if first.into:
        return _feeding(circuit, first)
    part = _part(circuit, first)
    if first.bridged:
        return _bridging(circuit, part)
    return _comparing(part) if first.compared else _swapping(circuit, part, first.unplugged)


def cautions(circuit: Circuit, attempt: Attempt) -> tuple[str, ...]:
    """Give what to mind."""
    first = attempt.results[0]
    if isinstance(first, Tried):
        return applying(tried(circuit, first))
    if first.key == FUSE_RATING:
        return applying(tried(circuit, Tried("dead", replaced=_fuse(circuit).id)))
    whole = beginning(circuit)
    return applying(Act("record", state=_state(circuit), near=whole.near, parts=whole.parts))


def _bridging(circuit: Circuit, part: Part) -> Instruction:
    relay = part.kind == "relay_contact"
    ends = part.pins or ("30 and 87" if relay else "its two wires")
    out = f"key off; take {thing_words(part)} out of its socket" if relay else f"key off; unplug {thing_words(part)}"
    where = f"{ends} in the socket" if relay else f"{ends} in the plug"
    key = key_words(_state(circuit))
    lead = _lead(circuit)
    text = (
        f"{_sentence(out)} Join {where} with {lead}. Then {key}: does {_load(circuit)} run? Take the lead off again at"
        " once."
    )
    return Instruction(f"{_NO_METER}: {lead}", f"one end in {where}", "the other end in the other one", key, out, text)


def _feeding(circuit: Circuit, one: Tried) -> Instruction:
    where, lead = place_words(circuit, one.into), _lead(circuit)
    out = "key off; leave everything plugged in, the ground side as it is"
    text = (
        f"{_sentence(out)} With {lead}, first touch {where}, then battery plus: does {_load(circuit)} run? Take it off"
        " again at once."
    )
    return Instruction(f"{_NO_METER}: {lead}", f"from battery plus to {where}", "nowhere", "key off", out, text)


def _swapping(circuit: Circuit, part: Part, unplugged: str) -> Instruction:
    key = key_words(_state(circuit))
    if part.kind == "fuse":
        rating = f"of {shown(part.rating_a, 'A')}" if part.rating_a else "of the rating that the cover says"
        out = f"key off; pull {thing_words(part)}"
        out += f" and unplug {plain(unplugged)}" if unplugged else ""
        text = (
            f"{_sentence(out)} Put in a new one {rating}, never a bigger one. Then {key}: does {_load(circuit)} run, or"
            " does it blow again?"
        )
        return Instruction(_NO_METER, f"a new fuse {rating}", "nowhere", key, out, text)
    out = f"key off; pull {thing_words(part)} and a same one that works something else"
    text = (
        f"{_sentence(out)} They are the same only if number and terminals agree. Swap them. Then {key}: does"
        f" {_load(circuit)} run? Put both back as they were."
    )
    return Instruction(_NO_METER, "the other relay in its socket", "nowhere", key, out, text)


def _comparing(part: Part) -> Instruction:
    between = "its two coil terminals, then its two contacts" if part.kind == "relay_contact" else "its two terminals"
    out = f"key off; take {thing_words(part)} out"
    text = (
        f"{_sentence(out)} Dial on ohms: read between {between}, move what moves in it, and read the same on a"
        " known-good one of the same number. Do they differ?"
    )
    return Instruction("ohms", f"on one of {between}", "on the other", "key off", out, text)


def _wiggling(circuit: Circuit) -> Instruction:
    key = key_words(_state(circuit))
    text = (
        f"{_sentence(key)} Leave the meter on the load's supply and watch its lowest value, or a test lamp and watch it"
        f" flicker, or listen to {_load(circuit)}. Bend the harness every 15 cm, push and pull each connector, tap the"
        " relay. Where does it come and go?"
    )
    return Instruction("volts DC", "where the load is fed", "on battery minus", key, "", text)


def _warming(circuit: Circuit) -> Instruction:
    key = key_words(_state(circuit))
    text = (
        f"Warm it up as where it failed: drive until it fails, or let {_load(circuit)} run and warm the relay and the"
        " connectors with a hair dryer, no hotter than a hand bears. While it fails, leave it as it is and take the"
        " readings at once: cold, they tell nothing."
    )
    return Instruction(_NO_METER, "nowhere", "nowhere", key, "", text)


def _reading_fuse(circuit: Circuit) -> Instruction:
    fuse = _fuse(circuit)
    ought = (
        f"{shown(fuse.rating_a, 'A')} by the circuit's file" if fuse.rating_a else "as the cover or the diagram says"
    )
    out = f"key off; pull {thing_words(fuse)}"
    text = f"{_sentence(out)} Read the number printed on it; it should be {ought}."
    return Instruction(_NO_METER, "nowhere", "nowhere", "key off", out, text)


def _fuse(circuit: Circuit) -> Part:
    assert circuit.fuse is not None, "its rating is read only where there is one"
    return circuit.parts[circuit.fuse]


_TITLES = {
    FUSE_RATING: "Read the fuse's rating",
    MOVES: "Move the harness and watch",
    FAILS_WHEN_WARM: "Warm it up until it fails",
}
_OBSERVING: Mapping[str, Callable[[Circuit], Instruction]] = {
    FUSE_RATING: _reading_fuse,
    MOVES: _wiggling,
    FAILS_WHEN_WARM: _warming,
}


def _lead(circuit: Circuit) -> str:
    """A lead with a fuse no larger than the circuit's own."""
    own = [amps for k in circuit.upstream[circuit.load] if (amps := circuit.parts[k].rating_a)]
    least = min(own) if own else next((a for a in _FUSES_A if a >= _FUSE_OVER_LOAD * circuit.load_a), _FUSES_A[-1])
    return f"a lead that has its own fuse, {shown(least, 'A')} at the most"


def _part(circuit: Circuit, one: Tried) -> Part:
    return circuit.parts[circuit.part_index[one.bridged or one.replaced or one.compared]]


def _load(circuit: Circuit) -> str:
    return thing_words(circuit.parts[circuit.load])


def _state(circuit: Circuit) -> str:
    """The position of the key in which the circuit is meant to be on."""
    return next((state for state in ("key_on", "run", "crank") if state in circuit.active), "off")


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."
