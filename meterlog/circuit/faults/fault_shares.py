"""Levels and shares of the faults: the voltages of good and bad sources, and the ways in which each kind of part fails.

Shares are of a part's own fault rate (see `fault_rates`). Unless a source is given they are guesses: nobody publishes
such splits. Voltages are pairs of middle and standard deviation, V, in a 12 V system.
"""

from __future__ import annotations

Level = tuple[float, float]
Source = tuple[Level, Level, Level]
Coil = tuple[float, float, float, float]

REST_V, CRANK_V, RUN_V = (12.4, 0.3), (10.8, 0.8), (13.95, 0.4)
"""Source voltage at rest or key-on, cranking and running. Rest: 12.2 V is half charged, 12.6 full (anonymous table);
cranking: 9.6 V is the load-test floor at 20 C; running: 13.2-14.7 V between warm and cold (makers' manuals)."""

CHARGER_V, OVERCHARGING_V = (14.4, 0.45), (16.5, 1.0)
"""An alternator's own voltage while it charges, and with a regulator that does not regulate. Makers' manuals hold
13.7-14.6 V at 20 C good at the battery, behind what its cables lose; the second is a guess."""

NOT_CHARGED: Source = ((12.0, 0.4), (9.8, 0.9), (12.1, 0.7))
DISCHARGED: Source = ((11.3, 0.6), (8.2, 0.9), (13.6, 0.4))
LAZY: tuple[Source, ...] = tuple(((12.6, 0.3), (crank_v, 1.5), (14.0, 0.4)) for crank_v in (6.4, 3.2))
"""Source voltage at rest, cranking and running of a battery that is not being charged (it does not rise with the
engine), is discharged or worn, or is full and gives way under the starter (12.7 V at rest, 6 V cranking: a
practitioner's case), the further the worse a joint between its cells is. Guesses."""
DEEP_SHARE, DEEP_REST_V, DEEP_SPREAD_V = 0.35, (9.8, 8.0, 6.2, 4.4, 2.6, 1.0), 1.2
"""Share of bad batteries with dead cells or none alive, and their voltages at rest: as likely at each, close enough
together that none between them is less likely: a battery is not believed the less the worse it reads. Guesses."""
DEEP_CRANK_SHARE, DEEP_RUN_V = 0.6, (13.2, 0.7)
"""Says what is left of it while cranking, and the voltage while it is charged, if it is (as often as not). Guesses."""


def _deep(rest_v: float, *, charged: bool) -> Source:
    rest, crank = (rest_v, DEEP_SPREAD_V), (DEEP_CRANK_SHARE * rest_v, DEEP_SPREAD_V)
    return rest, crank, DEEP_RUN_V if charged else rest


BATTERY_FAULTS: tuple[tuple[float, Source], ...] = (
    (0.30, DISCHARGED),
    (0.17, NOT_CHARGED),
    (0.14, LAZY[0]),
    (0.04, LAZY[1]),
    *((DEEP_SHARE / 2 / len(DEEP_REST_V), _deep(v, charged=charged)) for v in DEEP_REST_V for charged in (True, False)),
)
CHARGER_FAULTS: tuple[tuple[float, Source], ...] = (
    (0.8, NOT_CHARGED),
    (0.2, (REST_V, CRANK_V, OVERCHARGING_V)),
)
"""Shares of the ways in which a battery, or a source that charges one, is weak. Guesses."""

SERIES_SHARE = {"motor": 0.6, "load": 0.9, "wire": 0.9}
"""Share of a part's faults that is in series: open, or too much resistance; 1 for kinds that fail in no other way."""
CHARGED_BATTERY_SERIES_SHARE = 0.2
"""The same for a battery as the load: a worn one shows under load, seldom while it is charged. A guess."""
BY_DESIGN_SHARE, BY_DESIGN_PAIR_SHARE = 0.2, 0.1
"""By how much rarer a part whose loss is meant has too much resistance, alone and in a pair. Guesses."""
WET_SHARE, GREEN_SHARE = 0.12, 0.7
"""Share of the faults of a connector that may leak in which it is wet, and of those the share that loses voltage too:
a contact that stands in water turns green. Guesses."""
LEAK_OHM: tuple[tuple[float, float], ...] = ((0.3, 40.0), (0.4, 200.0), (0.3, 1000.0))
"""Share and resistance, ohm, of what water with salt and dirt in it makes between two contacts. Guesses."""
LEAK_SPREAD = 0.8
"""Standard deviation of the log of each, so that none between them is less likely. A guess."""
CHAFED_WIRE_SHARE, SHORTED_LOAD_SHARE = 0.1, 0.04
"""Share of the faults that are shorts to ground behind a fuse. Guesses."""
STALLED_SHARE = 0.18
"""Share of a motor's faults in which it is stuck. A guess."""

WEAK_MOTOR = ((0.05, 0.6, 0.12), (0.05, 0.42, 0.2), (0.08, 1.7, 0.15), (0.02, 3.5, 0.6))
WEAK_LOAD = ((0.05, 0.5, 0.25), (0.05, 2.5, 0.5))
"""Loads that draw too little or too much: share, current relative to a good one's, log spread of that, close enough
together that none between is less likely; a motor's last one is what turns of its winding that touch draw. Guesses."""

CHARGING_SPREAD = 0.7
"""Standard deviation of the log of what a good battery takes: two of three between half and twice as much. Guess."""
CURRENT_SPREAD, RESISTANCE_SPREAD, UNSTATED_SPREAD = 0.2, 0.15, 0.5
"""Standard deviation of the log of a good load's current: a motor's as stated, that of a stated resistance, and where
the circuit states neither. Guesses."""

CLOSES_ONLY_CRANKING = 0.10
"""Share of good vehicles that by design do not close the relay before the engine turns (makers' manuals tell of them;
one in ten is a round guess)."""
ENGINE_STANDS = 0.12
"""Share of good starter circuits whose engine stands all the same: the motor, its cable. A guess."""
BRIDGED_WHILE_CRANKING = 0.2
"""Share of vehicles that bridge a resistor of an intended loss while cranking, as ignition ballasts are. A guess."""

FED: Coil = (1.0, 1.0, 1.0, 1.0)
NOT_FED: Coil = (0.0, 0.0, 0.0, 0.0)
NOT_AT_KEY_ON: Coil = (1.0, 0.0, 1.0, 1.0)
WEAKLY_FED: Coil = (0.38, 0.38, 0.38, 0.38)
NO_START_CONTACT: Coil = (1.0, 1.0, 0.0, 1.0)
NO_RUN_CONTACT: Coil = (0.0, 0.0, 1.0, 0.0)
"""Of the source's voltage, what reaches a coil with the key off, at key-on, cranking and running. A coil that gets 5 of
12 V does not pull in."""
WEAK_COIL_SPREAD = 0.12
"""Standard deviation of what reaches a weakly fed coil, as a share of the system voltage. A guess."""
WEAKLY_COMMANDED = 0.12
HALF_COMMANDED = ((0.25, NO_START_CONTACT), (0.15, NO_RUN_CONTACT))
"""Commands that are too weak, or miss in one position of the key, relative to those that miss altogether. Guesses."""
STUCK_CONTACT, FED_WIRE_SHARE = 0.15, 0.12
"""Contacts that weld, and wires that touch another one with a feed, as shares of their own fault rates. Guesses."""
FEEDS = ((0.45, 0.08), *((0.06, ohm) for ohm in (0.2, 0.4, 0.7, 1.0, 1.3, 1.7, 2.6)), (0.08, 5.0), (0.05, 25.0))
"""Resistance of such a feed: share, ohm; close enough together that no level of volts falls between two. Guesses."""
SMALL_FUSE_SHARE, SHORTED_BRANCH_SHARE = 0.02, 0.1
"""Share of blown fuses that were of too small a size; and, beside those that blow by themselves, how often something
else blows them that the file does not list: most fuses feed more than one thing. Guesses."""
NEIGHBOURS = ((1.5, 0.04), (5.0, 0.04))
"""Other loads that return through a bad ground: resistance, ohm on 12 V, and share of bad grounds. Guesses."""
