"""Ohms are taken once the leads' own are known, and an open only where the probes were seen to touch."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from meterlog.job.taking.level import Level
from meterlog.job.taking.ohms_level import OhmsLevel
from meterlog.reading import Accuracy, Flag, Quantity, Reading

OPEN = math.inf
TOUCH = [OPEN] * 4 + [0.3] * 5 + [OPEN] * 6


def fed(values: Sequence[float], flags: Flag = Flag.NONE) -> tuple[OhmsLevel, Level | None]:
    watch = OhmsLevel(Accuracy())
    for k, value in enumerate(values):
        level = watch.feed(Reading(0.33 * k, value, Quantity.RESISTANCE, 0.1, flags))
        if level is not None:
            return watch, level
    return watch, None


def test_the_leads_are_taken_off() -> None:
    watch, level = fed(TOUCH)
    assert level is None
    assert watch.ready == "The leads have 0.3 ohm: now on the two places."
    _, level = fed([*TOUCH, *[0.8] * 4])
    assert level is not None
    assert level.value == pytest.approx(0.5)
    assert level.words == "less 0.3 ohm of the leads"
    assert level.nulled


def test_without_touching_the_tips_a_small_reading_waits_and_says_so() -> None:
    assert fed([OPEN, *[0.5] * 5])[1] is None
    _, level = fed([OPEN, *[0.5] * 20])
    assert level is not None
    assert level.value == pytest.approx(0.5)
    assert level.words == "with the leads, which were not nulled"
    assert not level.nulled


def test_a_large_reading_needs_no_nulling() -> None:
    _, level = fed([OPEN, OPEN, 84.0, 84.1, 84.0])
    assert level is not None
    assert level.value == pytest.approx(84.0)
    assert level.words == ""


def test_a_meter_that_nulled_itself_is_believed() -> None:
    _, level = fed([OPEN, 0.4, 0.4, 0.4], Flag.RELATIVE)
    assert level is not None
    assert level.value == pytest.approx(0.4)
    assert level.nulled


@pytest.mark.parametrize(("flags", "tips"), [(Flag.NONE, 0.3), (Flag.RELATIVE, 0.0)])
def test_tips_that_are_put_together_again_are_no_reading_but_prove_an_open(flags: Flag, tips: float) -> None:
    once, again = [OPEN] * 4 + [tips] * 5, [OPEN] * 10 + [tips] * 6
    watch, level = fed([*once, *again, OPEN, OPEN, OPEN], flags)
    assert level is None
    assert watch.counts == "soon"
    assert watch.standing is not None
    assert math.isinf(watch.standing.value)
    _, level = fed([*once, *[OPEN] * 10, *[tips] * 20], flags)  # nobody holds them together for so long
    assert level is not None
    assert level.value == pytest.approx(0.0)


def test_an_open_counts_only_after_the_probes_were_seen_to_touch() -> None:
    watch, level = fed([OPEN] * 30)
    assert level is None
    assert watch.counts == "never"
    assert "do both probes touch" in watch.waiting_for
    watch, _ = fed(TOUCH)
    assert watch.counts == "late"
    assert watch.standing is not None
    assert math.isinf(watch.standing.value)
