"""A page that follows a growing session is told all that came, once, with the gaps and what was found."""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from meterlog.reading import Flag, Quantity, Reading
from meterlog.session import SessionWriter
from meterlog.session.markers import add_marker
from meterlog_dashboard.live.feed import LiveFeed
from meterlog_dashboard.live.followed import KEPT

V = Quantity.DC_VOLTAGE


class Growing:
    """A session that is being recorded; its readings' times run ahead of the clock."""

    def __init__(self, path: Path) -> None:
        self.writer = SessionWriter.create(path)
        self.channel = self.writer.add_channel("feed", V, interval_s=0.1, address="status14:x")

    def read(self, *values: float, begin_s: float) -> None:
        start_s = self.writer.monotonic_start_s + begin_s
        flags = {value: Flag.OVERLOAD if math.isinf(value) else Flag.NONE for value in values}
        readings = [Reading(start_s + 0.1 * i, v, V, 0.01, flags[v]) for i, v in enumerate(values)]
        self.writer.append(self.channel, readings)
        self.writer.flush()


@pytest.fixture
def growing(tmp_path: Path) -> Iterator[Growing]:
    session = Growing(tmp_path / "live.sqlite")
    yield session
    session.writer.close()


def look(follower: LiveFeed, told: dict[str, Any] | None = None) -> dict[str, Any]:
    time.sleep(0.04)  # two looks within less are one
    return follower.since(told["epoch"], told["sequence"]) if told else follower.since("", 0)


def values(told: dict[str, Any]) -> list[float | None]:
    found: list[float | None] = told["points"][1][1]
    return found


def test_each_reading_is_told_once_to_each_page(growing: Growing) -> None:
    follower = LiveFeed(growing.writer.path)
    growing.read(1.0, 2.0, begin_s=0)
    first = look(follower)
    growing.read(3.0, begin_s=0.2)
    assert values(first) == [1.0, 2.0]
    assert values(look(follower, first)) == [3.0]
    assert values(look(follower, first)) == [3.0]
    assert values(look(follower)) == [1.0, 2.0, 3.0]


def test_a_page_from_before_the_server_was_started_again_gets_all_anew(growing: Growing) -> None:
    growing.read(1.0, 2.0, begin_s=0)
    before = look(LiveFeed(growing.writer.path))
    told = look(LiveFeed(growing.writer.path), before)
    assert told["reset"]
    assert values(told) == [1.0, 2.0]


def test_a_gap_breaks_the_line_and_overload_is_no_number(growing: Growing) -> None:
    growing.read(12.0, 12.0, 12.0, begin_s=0)
    growing.read(12.0, math.inf, begin_s=5.0)
    told = look(LiveFeed(growing.writer.path))
    assert values(told) == [12.0, 12.0, 12.0, None, 12.0, None]
    assert told["points"][1][2] == [0, 0, 0, 0, 0, 1]


def test_what_a_page_is_given_is_bounded(growing: Growing) -> None:
    growing.read(*[12.0] * (3 * KEPT), begin_s=0)
    assert len(values(look(LiveFeed(growing.writer.path)))) == KEPT


def test_a_prime_is_announced_once_it_is_decided(growing: Growing) -> None:
    follower = LiveFeed(growing.writer.path)
    growing.read(*[0.0] * 30, *[12.0] * 15, begin_s=0)
    before = look(follower)
    assert before["events"] == []
    growing.read(*[12.0] * 5, *[0.0] * 60, begin_s=4.5)
    (event,) = look(follower, before)["events"]
    assert (event["kind"], event["sort"], event["label"]) == ("prime pulse", "caught", "feed")
    assert event["start_s"] == pytest.approx(3.0, abs=0.1)


def test_a_missing_prime_after_a_marker_from_the_page_is_trouble(growing: Growing) -> None:
    follower = LiveFeed(growing.writer.path)
    growing.read(*[0.0] * 20, begin_s=0)
    look(follower)
    add_marker(growing.writer.path, "key-on", time_s=1.0)
    growing.read(*[0.0] * 60, begin_s=2.0)
    told = look(follower)
    (event,) = told["events"]
    assert (event["kind"], event["sort"]) == ("missing prime", "trouble")
    assert told["markers"] == [[1.0, "key-on", "", False]]


def test_the_link_state_and_its_cause_are_told(growing: Growing) -> None:
    growing.read(12.0, begin_s=0)
    growing.writer.add_link_change(0.5, "feed", False, "the port is gone", growing.channel)
    growing.writer.flush()
    (channel,) = look(LiveFeed(growing.writer.path))["channels"]
    assert (channel["up"], channel["cause"], channel["shown"]) == (False, "the port is gone", "12.00 V")


def test_what_a_channel_stands_for_is_told_where_its_quantity_does_not_say_it(growing: Growing) -> None:
    growing.read(12.0, begin_s=0)
    (feed,) = look(LiveFeed(growing.writer.path))["channels"]
    assert feed["role"] == "supply (by its words)"
    growing.writer.add_channel("load", Quantity.DC_CURRENT, address="status14:y")
    growing.writer.flush()
    assert [one["role"] for one in look(LiveFeed(growing.writer.path))["channels"]] == ["supply (by its words)", ""]


def test_where_the_dial_was_turned_only_the_new_quantity_is_shown(growing: Growing) -> None:
    growing.read(12.0, begin_s=0)
    ohms = growing.writer.add_channel("feed", Quantity.RESISTANCE, address="status14:x")
    start_s = growing.writer.monotonic_start_s
    growing.writer.append(ohms, [Reading(start_s + 1.0, 4.0, Quantity.RESISTANCE, 0.1)])
    growing.writer.flush()
    (channel,) = look(LiveFeed(growing.writer.path))["channels"]
    assert channel["quantity"] == "resistance"


def test_the_end_is_told_and_the_file_is_left_alone(growing: Growing) -> None:
    follower = LiveFeed(growing.writer.path)
    growing.read(12.0, begin_s=0)
    assert look(follower)["state"] == "growing"
    growing.writer.close()
    assert look(follower)["state"] == "clean"
    assert [path.name for path in growing.writer.path.parent.iterdir()] == ["live.sqlite"]


def test_a_dead_supply_is_drawn_flat_and_channels_of_a_kind_share_a_scale(growing: Growing) -> None:
    follower = LiveFeed(growing.writer.path)
    growing.writer.add_channel("pump supply", V, interval_s=0.1, address="status14:y")
    growing.writer.add_channel("current", Quantity.DC_CURRENT, interval_s=0.1, address="status14:z")
    growing.read(0.0, -0.01, 0.01, 0.0, begin_s=0)
    feed, supply, current = (one["scale"] for one in look(follower)["channels"])
    assert feed == supply
    assert feed[0] < -0.5
    assert feed[1] > 16.0
    assert current != feed
    growing.read(26.0, begin_s=0.4)
    assert look(follower)["channels"][0]["scale"][1] > 32.0, "of a 24 V system"
