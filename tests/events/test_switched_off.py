"""Checks that what was switched off is no fault, and what came back is not said to have stayed away."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest

from meterlog.events.event import Event

Found = Callable[..., list[Event]]
DAY = [step for _ in range(4) for step in ((12.6, 60.0), (0.0, 90.0))]


def test_a_day_of_key_offs_with_their_markers_has_no_loss(found: Found) -> None:
    marks = [(60.0 + 150.0 * k, "key-off") for k in range(4)]
    assert found([(0, 5), *DAY], *((5.0 + at, name) for at, name in marks)) == []
    assert [event.kind for event in found([(0, 5), *DAY])] == ["supply_lost"] * 4


@pytest.mark.parametrize("off_s", [3.0, 20.0, 60.0])
@pytest.mark.parametrize(("early_s", "switched"), [(2.5, True), (0.0, True), (-0.8, True), (4.0, False), (-2.0, False)])
def test_a_key_off_marker_near_the_fall_says_that_it_was_switched(
    found: Found, off_s: float, early_s: float, switched: bool
) -> None:
    steps: Sequence[tuple[float, float]] = [(12.6, 30), (0, off_s), (12.6, 40)]
    events = found(steps, (30.0 - early_s, "key-off"))
    assert [event.kind for event in events] == ([] if switched else ["supply_lost" if off_s > 30.0 else "dropout"])


def test_a_dropout_later_in_the_same_drive_is_told_all_the_same(found: Found) -> None:
    steps = [(12.6, 30), (0, 20), (12.6, 30), (0, 1), (12.6, 20)]
    (event,) = found(steps, (30.0, "key-off"))
    assert event.kind == "dropout"
    assert event.start_s == pytest.approx(80.0, abs=0.3)
