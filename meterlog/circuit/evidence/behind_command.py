"""Names what may be behind a command that does not come, how likely each is, and which wire to go to next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.readings.observed import Observed
from meterlog.circuit.readings.trial import Told

_WORDS: Mapping[str, str] = {
    "coil feed": "the coil's own feed is missing (its fuse, the ignition feed, the wire between)",
    "driver": "the control module's driver, or its wire to the coil",
    "immobiliser": "the immobiliser holds it back",
    "crank signal": "the module sees no crank signal, so it takes the engine to stand",
    "start contact": "the key switch gives nothing in START (its contact, the wire of terminal 50)",
    "switch": "the switch that commands it, or its wire",
}
_NEXT: Mapping[str, str] = {
    "coil feed": "volts from the coil's feed terminal (86 or 1) to battery minus in that position of the key: the"
    " battery's belong there",
    "driver": "volts from battery plus to the coil's switched terminal (85 or 2), the relay in: the battery's while the"
    " module switches, next to nothing while it does not; then the same at the module's own pin, never with a lamp",
    "immobiliser": "the lamp with the key or padlock: blinking or lit says so; another key, then the module's fault"
    " memory",
    "crank signal": "the tachometer while cranking; then AC volts between the two wires of the crank sensor, or its"
    " supply and signal where it has three",
    "start contact": "volts at the START wire (50) of the key switch while cranking",
    "switch": "volts on both sides of the switch that commands it, while it is pressed",
}
"""Each cause in words, and where to go on."""
_SHARES: Mapping[str, Mapping[str, float]] = {
    "not_commanded": {"coil feed": 0.3, "driver": 0.3, "immobiliser": 0.15, "crank signal": 0.25},
    "half_commanded": {"start contact": 0.4, "coil feed": 0.3, "crank signal": 0.2, "driver": 0.1},
    "weakly_commanded": {"coil feed": 0.55, "driver": 0.45},
    "intermittent": {"coil feed": 0.5, "driver": 0.3, "crank signal": 0.2},
}
"""Says how often each is behind a command that fails in some way. Guesses: nobody publishes a split."""
_NO_ENGINE: Mapping[str, float] = {"switch": 0.5, "coil feed": 0.5}
"""The same where the circuit has nothing to do with starting the engine. A guess."""
_SEEN: Mapping[tuple[str, str], Mapping[str, float]] = {
    ("tachometer_moves", "no"): {"crank signal": 5.0},
    ("tachometer_moves", "yes"): {"crank signal": 0.15},
    ("key_lamp_blinks", "yes"): {"immobiliser": 17.0},
    ("key_lamp_blinks", "no"): {"immobiliser": 0.15},
    ("engine_lamp_lit", "no"): {"coil feed": 3.0},
}
"""Says how many times as likely an observation makes a cause. Guesses."""


@dataclass(frozen=True, slots=True)
class Behind:
    """Holds what may be behind a missing command.

    Attributes:
        cause: its name.
        probability: among the causes.
        words: it as a person says it.
        next: which wire, or what, to look at next.
    """

    cause: str
    probability: float
    words: str
    next: str

    def as_json(self) -> dict[str, object]:
        """The object of `diagnose --json`."""
        return {"cause": self.cause, "probability": round(self.probability, 4), "text": self.words, "next": self.next}


def behind_command(circuit: Circuit, fault: str, told: Sequence[Told]) -> tuple[Behind, ...]:
    """Return what may be behind a command's fault, the likeliest first; empty where it is no command's fault."""
    shares = _SHARES.get(fault)
    if shares is None:
        return ()
    if not {"key_on", "crank"} <= set(circuit.active) and not circuit.turns_engine:
        shares = _NO_ENGINE
    weight = {cause: share for cause, share in shares.items() if not (circuit.turns_engine and cause == "crank signal")}
    for one in told:
        if isinstance(one, Observed):
            for cause, times in _SEEN.get((one.key, one.answer), {}).items():
                weight[cause] = weight.get(cause, 0.0) * times
    whole = sum(weight.values())
    ranked = sorted(((share / whole, cause) for cause, share in weight.items() if share > 0), reverse=True)
    return tuple(Behind(cause, share, _WORDS[cause], _NEXT[cause]) for share, cause in ranked)
