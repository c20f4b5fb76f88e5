"""Everything that is worth trying and is no reading: a part bridged, swapped, fed past or held against a good one, the
harness moved, all of it warmed up, the fuse's rating read; with the minutes each takes.

What may come of it is a trial or an observation as a person enters it: an attempt only lists them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from meterlog.circuit.faults.on_the_way import fuse_before
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.next_measurement.access import reach_min, unplug_min
from meterlog.circuit.probability.when_hot import FAILS_WHEN_WARM, only_when_hot
from meterlog.circuit.readings.from_rows import trial_from_row
from meterlog.circuit.readings.measurement import Measurement, unplugged_words
from meterlog.circuit.readings.observed import PART, UNKNOWN, Observed, observed_from_table, questions
from meterlog.circuit.readings.trial import Result, Told, Tried

LEAD_MIN, SWAP_MIN, TAKE_OUT_MIN, COMPARE_MIN, WIGGLE_MIN, READ_FUSE_MIN, WARM_MIN = 4.0, 2.0, 10.0, 4.0, 8.0, 1.0, 15.0
"""Minutes beyond getting at the place: making up a fused lead and clipping it on, swapping two relays or fuses, taking
out a part whose minutes nobody said, measuring it and its good twin, going along a harness, reading what is printed on
a fuse, driving until it is warm. Guesses."""
MOST_LEAD_A = 20.0
"""Up to this load current a person's fused lead carries it. A guess."""
MOVES, FUSE_RATING = "moves_with_harness", "fuse_rating"
_COMPARED = ("relay_contact", "switch", "motor", "load")
"""Kinds that come out whole and can be measured on the bench."""


@dataclass(frozen=True, slots=True)
class Attempt:
    """Something to try.

    Attributes:
        results: everything that may come of it, as it is entered; all of one trial, or of one question.
        minutes: what it takes.
    """

    results: tuple[Told, ...]
    minutes: float

    @property
    def row(self) -> dict[str, object]:
        """The row that enters it, without what came of it: `{bridged: relay}` or `{observed: fuse_rating}`."""
        first = self.results[0]
        if isinstance(first, Observed):
            return {"observed": first.key}
        return {key: value for key, value in first.as_row().items() if key != "result"}

    @property
    def answers(self) -> tuple[str, ...]:
        """The words for what may come of it."""
        return tuple(one.answer if isinstance(one, Observed) else one.result for one in self.results)

    @property
    def place(self) -> str:
        """It in a few words, the same each time: `bridged relay`, `replaced fuse, heater unplugged`, `fuse_rating`."""
        done = {key: value for key, value in self.row.items() if key != "unplugged"}
        words = " ".join(str(value) if key == "observed" else f"{key} {value}" for key, value in done.items())
        return words + unplugged_words(str(self.row.get("unplugged", "")))

    @property
    def at(self) -> str:
        """The part or point that it is done to; empty for the whole circuit."""
        first = self.results[0]
        if isinstance(first, Observed):
            return ""
        return first.into or first.bridged or first.replaced or first.compared

    def told(self, circuit: Circuit, answer: str) -> Told | None:
        """Return what a person's word for the result means; None where it is `unknown`.

        Raises:
            CircuitError: it is none of the answers.
        """
        word = answer.strip().casefold()
        if word == UNKNOWN:
            return None
        if "observed" in self.row:
            key = str(self.row["observed"])
            return next(iter(observed_from_table({key: word}, circuit, "your answer:")), None)
        return trial_from_row({**self.row, "result": word}, circuit, "your answer:")


def attempts(circuit: Circuit, measured: Sequence[Measurement], tried: Sequence[Told]) -> list[Attempt]:
    """Everything that can be tried on a circuit and was not tried yet."""
    every = [*_powered(circuit, measured), *_swapped(circuit, measured), *_compared(circuit, measured)]
    every += [moving_the_harness(circuit)]
    if only_when_hot(tried):
        every.append(warming_up(circuit))
    if circuit.fuse is not None:
        minutes = READ_FUSE_MIN + reach_min(circuit, circuit.parts[circuit.fuse].id, measured)
        every.append(Attempt(_answers(circuit, FUSE_RATING), minutes))
    done = {Attempt((one,), 0.0).place for one in tried}
    return [one for one in every if one.place not in done]


def moving_the_harness(circuit: Circuit) -> Attempt:
    """Going along the harness, until it shows where a contact comes and goes."""
    return Attempt(_answers(circuit, MOVES), WIGGLE_MIN)


def warming_up(circuit: Circuit) -> Attempt:
    """Driving or warming it until it fails."""
    return Attempt(_answers(circuit, FAILS_WHEN_WARM), WARM_MIN)


def needs_dead_load(attempt: Attempt) -> bool:
    """Tell whether it is only tried while the load does not work: whether that runs is then what comes of it."""
    return "runs" in attempt.answers


def _powered(circuit: Circuit, measured: Sequence[Measurement]) -> Iterator[Attempt]:
    """A fused lead past a contact, and from the battery to the load's feed; neither carries a second load."""
    if circuit.charges:
        return
    light = circuit.carried_a <= MOST_LEAD_A
    for k, part in enumerate(circuit.parts):
        on_the_way = k in circuit.serving and circuit.on_feed_side[k] and light[k]
        if part.kind in ("relay_contact", "switch") and on_the_way:
            yield _trial(LEAD_MIN + reach_min(circuit, part.id, measured), bridged=part.id)
    node = circuit.apart[0] if circuit.faces else circuit.before[circuit.load]
    point = next((point for point in circuit.points if circuit.node(point.id) == node), None)
    if point is not None and node > 0 and light[node]:
        yield _trial(LEAD_MIN + reach_min(circuit, point.id, measured), feed=circuit.parts[0].id, into=point.id)


def _swapped(circuit: Circuit, measured: Sequence[Measurement]) -> Iterator[Attempt]:
    for k, part in enumerate(circuit.parts):
        if part.kind in ("relay_contact", "fuse") and k in circuit.serving and not circuit.charges:
            minutes = SWAP_MIN + reach_min(circuit, part.id, measured)
            yield _trial(minutes, replaced=part.id)
            for load in circuit.loads[1:] if part.kind == "fuse" else ():
                if fuse_before(circuit, load) == k:
                    apart = circuit.parts[load].id
                    yield _trial(minutes + unplug_min(circuit, load), replaced=part.id, unplugged=apart)


def _compared(circuit: Circuit, measured: Sequence[Measurement]) -> Iterator[Attempt]:
    for k, part in enumerate(circuit.parts):
        if part.kind in _COMPARED and not (circuit.charges and k == circuit.load):
            out = TAKE_OUT_MIN if part.replace_min is None else part.replace_min
            minutes = COMPARE_MIN + out + reach_min(circuit, part.id, measured)
            yield Attempt((Tried("differs", compared=part.id), Tried("alike", compared=part.id)), minutes)


def _trial(
    minutes: float, *, feed: str = "", into: str = "", replaced: str = "", bridged: str = "", unplugged: str = ""
) -> Attempt:
    results: tuple[Result, ...] = ("runs", "dead", "blew")
    every = (Tried(result, feed, into, replaced, bridged, unplugged=unplugged) for result in results)
    return Attempt(tuple(every), minutes)


def _answers(circuit: Circuit, key: str) -> tuple[Observed, ...]:
    known = questions()[key].answers
    parts = [*circuit.part_index, *circuit.commands] if PART in known else []
    return tuple(Observed(key, word) for word in (*(word for word in known if word != PART), *parts))
