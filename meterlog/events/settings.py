"""Every threshold of the detectors, in one place."""

from __future__ import annotations

from dataclasses import dataclass, fields

SYSTEM_SPLIT_V = 18.0
"""Between a 12 V system at its highest and a 24 V system at rest: arithmetic."""
SYSTEM_HIGHEST_V = 33.0
"""Above what a 24 V system stands at, 29 V charging, with 10 % to spare: nothing known stands there (arithmetic)."""


@dataclass(frozen=True, slots=True)
class DetectionSettings:
    """Thresholds that decide what counts as an event. A limits file may override each figure by its name here.

    The defaults are this project's own choice unless a source is named; shares are of the sliding reference.

    Attributes:
        system_v: nominal voltage of the system: 6, 12 or 24; 0 to tell 12 from 24 by the readings.
        on_at_least_v: a supply is 'on' from this voltage up, and from twice its idle level up.
        on_at_least_a: a current is 'on' from this current up, and from twice its idle level up.
        prime_shortest_s: shortest pulse that is a prime.
        prime_longest_s: longest pulse that is a prime; an 'on' interval above it is a long one.
        missing_prime_within_s: a pulse must begin this soon after a `key-on` marker.
        marker_lag_s: how late a person may press the key for a marker of what they saw begin.
        off_share: at or below this share a supply is off (IEEE 181: the mid level).
        return_hysteresis: a dropout ends this much above `off_share`.
        dropout_longest_in_short_s: longest off time that is a dropout in an 'on' interval up to `prime_longest_s`.
        dropout_longest_s: the same after a longer 'on' interval.
        sag_share: below this share a sag begins (IEC 61000-4-30: 90 % of the sliding reference).
        sag_hysteresis: it ends this much above `sag_share` (IEC 61000-4-30: 2 %).
        sag_shallow_share: above this share a sag that lasts is a new level, for example a charger that stopped.
        sag_shallow_longest_s: how long it must last for that.
        fade_slow_s: a fall to the sag threshold that takes longer than about twice this, s, is a fade, no sag: a guess.
        fade_at_least_s: a shorter one is none, s: longer than most cranks (a guess).
        floor_share: no supply stands below this share of its system's nominal voltage: 1.75 V a cell of 2 V, where a
            lead-acid battery counts as empty under load (default, unverified).
        interruption_share: at or below this share of its level a current is interrupted (IEEE 1159: 0.1).
        interruption_at_least_a: smaller currents are taken for none, A: a clamp's zero drifts by as much (a guess).
        interruption_longest_s: a current that returns later was switched off and on, s (a guess).
        overvoltage_12v: limit on a 12 V system, V.
        overvoltage_24v: limit on a 24 V system, V.
        overvoltage_6v: limit on a 6 V system, V.
        overvoltage_hysteresis: an overvoltage ends this share below its limit.
        step_share: change of a steady resistance that is a step.
        open_ratio: a finite resistance this many times the steady one reads as open while the meter ranges up.
        open_at_least_ohm: and at the least this, ohm.
        chatter_changes: on/off changes that make chatter.
        chatter_spacing_s: each less than this apart.
        gap_intervals: a gap is longer than this many nominal intervals,
        gap_at_least_s: and longer than this, s.

    Raises:
        ValueError: a share outside 0 to 1, shares out of order, or another figure below 0.
    """

    system_v: float = 0.0
    on_at_least_v: float = 2.5
    on_at_least_a: float = 2.0
    prime_shortest_s: float = 0.5
    prime_longest_s: float = 10.0
    missing_prime_within_s: float = 3.0
    marker_lag_s: float = 1.0
    off_share: float = 0.5
    return_hysteresis: float = 0.02
    dropout_longest_in_short_s: float = 1.0
    dropout_longest_s: float = 30.0
    sag_share: float = 0.9
    sag_hysteresis: float = 0.02
    sag_shallow_share: float = 0.8
    sag_shallow_longest_s: float = 30.0
    fade_slow_s: float = 5.0
    fade_at_least_s: float = 10.0
    floor_share: float = 0.875
    interruption_share: float = 0.1
    interruption_at_least_a: float = 0.1
    interruption_longest_s: float = 30.0
    overvoltage_12v: float = 15.0
    overvoltage_24v: float = 30.0
    overvoltage_6v: float = 7.5
    overvoltage_hysteresis: float = 0.01
    step_share: float = 0.2
    open_ratio: float = 1000.0
    open_at_least_ohm: float = 1e5
    chatter_changes: int = 4
    chatter_spacing_s: float = 1.0
    gap_intervals: float = 4.0
    gap_at_least_s: float = 1.0

    def overvoltage(self, system_v: float) -> float:
        """The limit for a system voltage, V."""
        if system_v > SYSTEM_SPLIT_V:
            return self.overvoltage_24v
        return self.overvoltage_6v if 0.0 < system_v < 9.0 else self.overvoltage_12v

    def __post_init__(self) -> None:
        for field in fields(self):
            if getattr(self, field.name) < 0:
                raise ValueError(f"{field.name} must not be negative")
        if not 0 < self.off_share < self.sag_shallow_share <= self.sag_share < 1:
            raise ValueError("shares must run 0 < off_share < sag_shallow_share <= sag_share < 1")
        if not 0 < self.interruption_share < self.off_share:
            raise ValueError("interruption_share must be above 0 and below off_share")
        if self.prime_shortest_s >= self.prime_longest_s:
            raise ValueError("prime_shortest_s must be below prime_longest_s")
