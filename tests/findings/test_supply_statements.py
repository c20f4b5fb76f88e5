"""Checks what is said of supplies that were switched, cranked, or stand too low."""

from __future__ import annotations

import numpy as np
import pytest

from meterlog.limits import load_limits
from meterlog.reading import Quantity
from tests.findings.conftest import Bench


def test_a_loss_that_came_back_is_not_said_to_have_stayed_away(bench: Bench) -> None:
    """Once: 'the supply went off at 220.6 s and did not come back', and 'outside', of a key that was turned."""
    number = bench.channel("ignition feed", 12.5, length_s=900.0)
    bench.event("supply_lost", number, 220.6, 320.6)
    found = bench.judge("went off")
    assert found.verdict == "cannot tell"
    assert "went off at 220.6 s, lasting 100.00 s +-0.25" in found.text
    assert "not back" not in found.text
    assert "a `key-off` marker says so" in found.text
    bench.event("supply_lost", number, 500.0, 899.0, ended=False)
    found = bench.judge("went off")
    assert "went off 2 times (at 220.6, 500.0 s), lasting 100.00 s +-0.25" in found.text
    assert "the last time it was not back 7 min later, in the last readings" in found.text


@pytest.mark.parametrize("kind", ["dropout", "chatter"])
def test_what_a_key_does_not_do_stays_outside(bench: Bench, kind: str) -> None:
    number = bench.channel("ignition feed", 12.5)
    bench.event(kind, number, 20.0, 21.0, extreme=0.0, reference=12.5)
    assert bench.judge("(at 20.0 s)").verdict == "outside"


class TestStarts:
    """Dips that are, or look like, an engine's starts."""

    SHAPE = "sagged to 9.10 V (73% of 12.50 V); perhaps cranking (it has that shape)"
    CHARGED = "sagged to 9.10 V (73% of 12.50 V); cranking, by the charging that began 3.4 s after it"

    @staticmethod
    def dip(bench: Bench, label: str, detail: str, start_s: float = 20.0) -> int:
        number = bench.channel(label, lambda t: np.where((t >= 20.0) & (t < 21.5), 9.1, 12.5))
        bench.event("sag", number, start_s, 21.5, extreme=9.1, reference=12.5, detail=detail)
        return number

    @pytest.mark.parametrize("detail", [SHAPE, CHARGED])
    def test_away_from_the_battery_no_start_is_outside_and_the_drop_is_said(self, bench: Bench, detail: str) -> None:
        """Once: '1 sag (at 21.0 s), lasting 2.0 s +-0.5, lowest reading 10.70 V', and 'outside'."""
        self.dip(bench, "ignition feed", detail)
        found = bench.judge("a drop of 3.40 V")
        assert found.verdict == "cannot tell"
        assert ("measure there" in found.text) == (detail == self.CHARGED)
        assert ("A `crank` marker at the next one decides" in found.text) == (detail == self.SHAPE)
        assert not [finding for finding in bench.all() if finding.verdict == "outside"]

    @pytest.mark.parametrize("detail", [SHAPE, CHARGED])
    def test_at_the_battery_post_both_are_held_to_the_floor(self, bench: Bench, detail: str) -> None:
        bench.details["temperature_c"] = "20"
        self.dip(bench, "battery", detail)
        found = bench.judge("the lowest reading was 9.10 V")
        assert found.verdict == "outside"
        assert found.limit == "not below 9.6 V at 20 degC"

    def test_what_only_looks_like_a_start_leaves_no_word_that_nothing_was_seen(self, bench: Bench) -> None:
        self.dip(bench, "ignition feed", self.SHAPE)
        assert not [finding for finding in bench.all() if "was seen in" in finding.text]

    def test_a_known_start_is_said_beside_what_was_not_seen(self, bench: Bench) -> None:
        self.dip(bench, "ignition feed", self.CHARGED)
        assert "but for 1 dip of the starter, no dropout" in bench.judge("was seen in").text

    @pytest.mark.parametrize(
        ("label", "quantity", "kind", "level"),
        [
            ("battery", Quantity.DC_VOLTAGE, "sag", None),
            ("starter solenoid feed", Quantity.DC_VOLTAGE, "prime_pulse", 10.5),
            ("battery clamp", Quantity.DC_CURRENT, "prime_pulse", 180.0),
        ],
    )
    def test_another_channel_tells_that_it_was_the_starter(
        self, bench: Bench, label: str, quantity: Quantity, kind: str, level: float | None
    ) -> None:
        self.dip(bench, "ignition feed", self.SHAPE)
        other = bench.channel(label, 12.5, quantity=quantity)
        bench.event(kind, other, 20.1, 21.6, level=level, extreme=9.8, reference=12.5, detail=self.CHARGED)
        assert "while cranking" in bench.judge("ignition feed: while").text


@pytest.mark.parametrize(("level", "verdict"), [(12.5, "cannot tell"), (11.0, "outside")])
def test_a_fall_from_charging_to_rest_may_be_charging_that_ended(bench: Bench, level: float, verdict: str) -> None:
    """Once 'outside: 1 sag (at 82.9 s), lasting 15.1 s +-0.5, lowest reading 12.46 V' of regulated charging."""
    number = bench.channel("ignition feed", lambda t: np.where((t >= 20.0) & (t < 35.0), level, 14.4))
    bench.event("sag", number, 20.0, 35.0, level=level, extreme=level, reference=14.4)
    found = bench.judge("(at 20.0 s)")
    assert found.verdict == verdict
    assert ("Charging stops and starts by design" in found.text) == (verdict == "cannot tell")
    assert not [finding for finding in bench.all() if "was seen in" in finding.text]


class TestLevels:
    """Supplies that stand where none of their system stands, and leads that are crossed."""

    @pytest.mark.parametrize(("label", "level"), [("battery", 9.0), ("battery", 5.0), ("ignition feed", 9.0)])
    def test_a_12_v_supply_that_stands_at_9_v_is_never_within(self, bench: Bench, label: str, level: float) -> None:
        """Once: 'no dropout, sag or loss of supply was seen in 116 s', and 'within'."""
        bench.channel(label, level)
        found = bench.judge("it stood at")
        assert found.verdict == "outside"
        assert found.margin == pytest.approx(level - 10.5)
        assert not [finding for finding in bench.all() if "was seen in" in finding.text]

    @pytest.mark.parametrize(("label", "level"), [("sensor supply", 5.02), ("power", 5.0), ("dimmed lamp feed", 8.0)])
    def test_what_is_lower_by_design_is_not_outside(self, bench: Bench, label: str, level: float) -> None:
        bench.channel(label, level)
        found = bench.judge("it stood at")
        assert found.verdict == "cannot tell"
        assert "lower by design" in found.text

    def test_a_pump_at_9_v_may_be_driven_by_pulses(self, bench: Bench) -> None:
        bench.channel("pump feed", 9.0)
        found = bench.judge("it stood at")
        assert found.verdict == "cannot tell"
        assert "duty cycle" in found.text

    def test_6_v_is_asked_about_where_nobody_stated_the_system(self, bench: Bench) -> None:
        bench.limits = load_limits()
        bench.channel("battery", 6.3)
        found = bench.judge("it stood at")
        assert found.verdict == "cannot tell"
        assert "--set system_v=" in found.text
        bench.limits = load_limits(system_v=6.0)
        assert not [finding for finding in bench.all() if "it stood at" in finding.text]

    @pytest.mark.parametrize("level", [10.8, 12.6, 14.2])
    def test_a_supply_above_the_floor_is_not_told_to_stand_low(self, bench: Bench, level: float) -> None:
        bench.channel("ignition feed", level)
        assert not [finding for finding in bench.all() if "it stood at" in finding.text]

    def test_a_prime_at_8_v_and_a_sag_that_is_told_are_no_stand(self, bench: Bench) -> None:
        bench.channel("pump feed", lambda t: np.where((t > 20) & (t < 24), 8.0, 0.0))
        number = bench.channel("ignition feed", lambda t: np.where(t > 20, 9.0, 12.5))
        bench.event("sag", number, 20.0, 60.0, level=9.0, extreme=9.0, reference=12.5, ended=False)
        assert not [finding for finding in bench.all() if "it stood at" in finding.text]

    def test_a_negative_supply_has_a_word_about_crossed_leads(self, bench: Bench) -> None:
        """Once -12.31 V at a feed passed without a word."""
        bench.channel("pump feed", -12.31)
        found = bench.judge("leads are crossed")
        assert "-12.31 V" in found.text
        assert found.verdict == "cannot tell"

    def test_a_negative_spike_is_no_crossed_lead(self, bench: Bench) -> None:
        bench.channel("pump feed", lambda t: np.where((t > 20) & (t < 21), -30.0, 12.5))
        assert not [finding for finding in bench.all() if "crossed" in finding.text]
