"""Says what each kind of event is, one row a kind: for all who name, ring, colour, count, judge or detect events."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Sort = Literal["trouble", "caught", "doubt"]
"""Sorts of news for a person: something is wrong, what was waited for came, or the readings cannot be trusted."""

ColourRole = Literal["fault", "deviation", "good", "doubt"]
"""Meanings of a colour; `meterlog.drawing.palette` turns one into a colour."""

_DIPS = (
    "IEC 61000-4-30: 90 % of a sliding reference, over again at 2 % above it; made for AC, its use on DC is our choice"
)
_HALF = (
    "own choice: half of the usual level, the mid level at which IEEE 181 times a pulse. IEEE 1159 calls a fall below "
    "90 % a sag and one below 10 % an interruption"
)
_CHATTER = (
    "own choice: {chatter_changes} changes or more across half of the usual level, each less than "
    "{chatter_spacing_s:g} s apart; no standard defines it"
)
_FLAGS = "the meter's own flags"
_TRUSTED = "readings that can be trusted"


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of event: its words, and what follows from it.

    `sentence` and `limit` make the finding about all events of the kind on one channel; `findings/faults.py` says which
    fields they may name. Without a sentence the kind has no finding of its own.

    Attributes:
        name: the spelling in `analyze --json`.
        word: in a list of events; capitals where it is about the circuit.
        noun: one of them, as it is counted.
        sort: what a person is told at once.
        role: what its colour says.
        fault: whether it counts as a fault of the circuit.
        detector: the module of `meterlog.events` with the machine that finds it; empty where `ChannelDetector` itself
            finds it, from what the meter says of its readings, from their times, or from the markers.
        sentence: the finding's text.
        limit: what it is held against.
        source: where that comes from: what is a standard's, and what is this project's own choice.
        line: what the level is called at which the kind begins; empty where it has no level.
        line_share: the setting that is this level's share of the event's reference; empty: it is the reference itself.
        looks: how many looks in a row must show it before it is told.
        otherwise: an explanation that is no fault, in a sentence, with which the verdict is 'cannot tell'; and
        decides: what tells which it was.
        by_design: whether a voltage that is moved up and down by design shows it too.
        finding: the module of `meterlog.findings` that tells of it, where a sentence is not enough.
        comes_back: whether a voltage or a current is lost in it and comes back.
    """

    name: str
    word: str
    noun: str
    sort: Sort
    role: ColourRole
    fault: bool = False
    detector: str = ""
    sentence: str = ""
    limit: str = ""
    source: str = ""
    line: str = ""
    line_share: str = ""
    looks: int = 1
    otherwise: str = ""
    decides: str = ""
    by_design: bool = False
    finding: str = ""
    comes_back: bool = False

    @property
    def words(self) -> str:
        """The name as a person reads it."""
        return self.name.replace("_", " ")

    @property
    def named(self) -> str:
        """Return what one of them is called in a sentence that says none was seen."""
        return self.words if self.noun == "time" else self.noun

    @property
    def about_circuit(self) -> bool:
        """Tell whether it says something about the circuit, and not about the meter or its link."""
        return self.sort != "doubt"

    @property
    def rings(self) -> bool:
        """Tell whether a person with both hands in the harness wants to hear it."""
        return self.sort == "trouble"


_ROWS = (
    Kind("prime_pulse", "PRIME", "prime", "caught", "good", detector="supply"),
    Kind("missing_prime", "NO PRIME", "missing prime", "trouble", "fault"),
    Kind(
        "dropout",
        "DROPOUT",
        "dropout",
        "trouble",
        "fault",
        fault=True,
        comes_back=True,
        detector="supply",
        sentence="{times} while it should be on{lasting}{lowest}",
        limit="no fall to {off_share:.0%} of the usual level or less while on, the probe's contact held",
        source=_HALF,
        line="dropout below, {off_share:.0%} of usual",
        line_share="off_share",
    ),
    Kind(
        "supply_lost",
        "SUPPLY LOST",
        "loss of supply",
        "trouble",
        "fault",
        fault=True,
        detector="supply",
        sentence="{label}: the supply went off {how_often}{lasting}{to_the_end}.",
        otherwise="If it was switched off, that is no fault: a `key-off` marker says so.",
        decides="If nobody switched it off, it was lost.",
        limit="on until switched off, or back within {dropout_longest_s:g} s",
        source="by definition of the kind",
    ),
    Kind(
        "sag",
        "SAG",
        "sag",
        "trouble",
        "deviation",
        fault=True,
        detector="supply",
        sentence="{times}{lasting}{lowest}",
        limit="no fall below {sag_share:.0%} of the usual level",
        source=_DIPS,
        line="sag below, {sag_share:.0%} of usual",
        line_share="sag_share",
        by_design=True,
    ),
    Kind(
        "fade",
        "FADE",
        "fade",
        "trouble",
        "deviation",
        fault=True,
        detector="supply",
        sentence="{times}: it sank below what it stood at before and stayed there{lasting}{lowest}",
        limit="no slow fall below {sag_share:.0%} of the level before, or {floor_share:.1%} of the nominal voltage",
        source="own choice: a slow reference beside the sliding one of IEC 61000-4-30",
        line="fade below, {sag_share:.0%} of usual",
        line_share="sag_share",
        by_design=True,
    ),
    Kind(
        "overvoltage",
        "OVERVOLTAGE",
        "overvoltage",
        "trouble",
        "deviation",
        fault=True,
        detector="overvoltage",
        sentence="{times}{lasting}, highest reading {highest}.",
        limit="at most {highest_allowed} V",
        source="default, unverified (grade M); in the cold the highest charging voltage of these limits",
        line="highest voltage",
    ),
    Kind(
        "open_circuit",
        "OPEN",
        "opening",
        "trouble",
        "fault",
        fault=True,
        detector="resistance",
        sentence="{times}{lasting}.",
        limit="no opening once contact is made, and held by a clip: a probe that slips is no opening of the part",
        source="a maker's service manual (grade A)",
    ),
    Kind(
        "resistance_step",
        "STEP",
        "step",
        "trouble",
        "fault",
        fault=True,
        detector="resistance",
        sentence="{times} of resistance.{from_to}",
        limit="no lasting change of more than {step_share:.0%} and the meter's error",
        source="bridging a closed suspect connector: any spread is an intermittent resistance (grade A)",
        looks=4,
    ),
    Kind(
        "chatter",
        "CHATTER",
        "time",
        "trouble",
        "fault",
        fault=True,
        comes_back=True,
        detector="supply",
        sentence="{times} on and off in quick succession{lasting}{lowest}",
        limit="steady while on, the probe's contact held",
        source=_CHATTER,
    ),
    Kind(
        "interruption",
        "INTERRUPTED",
        "interruption",
        "trouble",
        "deviation",
        fault=True,
        comes_back=True,
        detector="current",
        finding="interruption",
    ),
    Kind(
        "gap",
        "no readings",
        "gap",
        "doubt",
        "doubt",
        sentence="{times}, {missing} without readings: {gaps_by}. What happened there is not known.",
        limit="readings all along",
        source="counted",
    ),
    Kind(
        "held_display",
        "held display",
        "time",
        "doubt",
        "doubt",
        sentence="{times} the display was held or stood still: those readings did not follow the circuit.",
        limit=_TRUSTED,
        source=_FLAGS,
    ),
    Kind(
        "meter_battery_low",
        "meter battery",
        "time",
        "doubt",
        "doubt",
        sentence="{times} the meter reported its own battery low: its readings may be wrong.",
        limit=_TRUSTED,
        source=_FLAGS,
    ),
    Kind("range_change", "range change", "range change", "doubt", "doubt"),
)
"""In the order in which they are listed where two begin together."""

KINDS = {kind.name: kind for kind in _ROWS}
"""Every kind by its name."""


def faults() -> tuple[str, ...]:
    """Name the kinds that count as faults of the circuit."""
    return tuple(name for name, kind in KINDS.items() if kind.fault)


def place(name: str) -> int:
    """Return where a kind stands in the list, from 0."""
    return list(KINDS).index(name)


def found_by(detector: str, *, faults: bool = True) -> tuple[str, ...]:
    """Name the kinds that a module of `meterlog.events` finds; without `faults` those alone that are none."""
    return tuple(name for name, kind in KINDS.items() if kind.detector == detector and (faults or not kind.fault))


def detectors() -> Iterable[str]:
    """Name the modules of `meterlog.events` that find events, each once."""
    return dict.fromkeys(kind.detector for kind in KINDS.values() if kind.detector)
