"""Each kind of finding on a session made by hand whose truth is known."""

from __future__ import annotations

import json

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.limits import load_limits
from meterlog.reading import Accuracy, Flag, Quantity
from tests.findings.conftest import Bench

Array = NDArray[np.float64]


def test_a_finding_has_exactly_the_keys_of_the_contract(bench: Bench) -> None:
    bench.channel("battery", 12.6)
    found = bench.judge("at rest").as_json()
    assert list(found) == ["text", "limit", "source", "verdict", "margin", "margin_error"]
    json.dumps(found, allow_nan=False)


def test_what_is_outside_comes_first(bench: Bench) -> None:
    bench.channel("battery", 11.3)
    bench.channel("pump feed", 10.3)
    verdicts = [f.verdict for f in bench.all()]
    assert verdicts == sorted(verdicts, key=["outside", "cannot tell", "within"].index)
    assert len(set(verdicts)) == 3


class TestPrime:
    """The prime's level, length and regularity."""

    @staticmethod
    def prime(bench: Bench, level: float, length_s: float = 2.0) -> int:
        number = bench.channel("pump feed", lambda t: np.where((t >= 5) & (t < 5 + length_s), level, 0.0))
        bench.event("prime_pulse", number, 5.0, 5.0 + length_s, level=level)
        return number

    @pytest.mark.parametrize(("level", "verdict"), [(12.4, "within"), (11.6, "cannot tell"), (10.9, "cannot tell")])
    def test_level_against_a_recorded_battery(self, bench: Bench, level: float, verdict: str) -> None:
        bench.channel("battery", 12.6)
        self.prime(bench, level)
        found = bench.judge("reached")
        assert found.verdict == verdict
        assert found.margin == pytest.approx(1.0 - (12.6 - level), abs=0.02)
        assert found.margin_error == pytest.approx(0.005 * (12.6 + level) + 0.04, abs=0.01)
        assert ("driven by pulses" in found.text) == (level < 11.0)

    @pytest.mark.parametrize(("level", "verdict"), [(12.1, "within"), (11.3, "cannot tell"), (7.0, "cannot tell")])
    def test_level_without_the_battery_carries_the_whole_span_of_batteries_as_error(
        self, bench: Bench, level: float, verdict: str
    ) -> None:
        self.prime(bench, level)
        found = bench.judge("reached")
        assert found.verdict == verdict
        assert "the battery was not recorded" in found.text
        assert ("Record the battery" in found.text) == (verdict == "cannot tell")

    @pytest.mark.parametrize(("length_s", "verdict"), [(2.0, "within"), (1.0, "cannot tell"), (0.5, "cannot tell")])
    def test_length(self, bench: Bench, length_s: float, verdict: str) -> None:
        self.prime(bench, 12.5, length_s)
        assert bench.judge("lasted").verdict == verdict

    def test_no_prime_alone_is_no_fault(self, bench: Bench) -> None:
        number = bench.channel("pump feed", 0.0)
        bench.mark("key-on", 5.0)
        bench.event("missing_prime", number, 5.0, 5.0)
        found = bench.judge("no prime")
        assert found.verdict == "cannot tell"
        assert "repeat the measurement while cranking" in found.text
        assert "many cars never prime" in found.source

    def test_supply_while_cranking_explains_a_missing_prime(self, bench: Bench) -> None:
        number = bench.channel("pump feed", lambda t: np.where(t >= 20, 11.0, 0.0))
        bench.mark("key-on", 5.0)
        bench.mark("crank", 20.0)
        bench.event("missing_prime", number, 5.0, 5.0)
        assert bench.judge("no prime").verdict == "within"

    def test_no_supply_while_cranking_is_a_fault_once_the_probe_is_proven(self, bench: Bench) -> None:
        number = bench.channel("pump feed", lambda t: np.where(t > 50, 12.5, 0.0))
        bench.mark("key-on", 5.0)
        bench.mark("crank", 20.0)
        bench.event("missing_prime", number, 5.0, 5.0)
        assert bench.judge("no prime").verdict == "outside"

    def test_no_supply_ever_may_be_the_probe(self, bench: Bench) -> None:
        number = bench.channel("pump feed", 0.0)
        bench.mark("key-on", 5.0)
        bench.mark("crank", 20.0)
        bench.event("missing_prime", number, 5.0, 5.0)
        found = bench.judge("no prime")
        assert found.verdict == "cannot tell"
        assert "Prove the contact first" in found.text

    @pytest.mark.parametrize(("off_s", "verdict"), [(None, "cannot tell"), (40.0, "cannot tell"), (33.0, "outside")])
    def test_four_primes_of_five_key_ons_are_irregular(self, bench: Bench, off_s: float | None, verdict: str) -> None:
        """Once 'outside' in any case, beside 'was the key off for 10 s before each try?'."""
        number = bench.channel("pump feed", lambda t: np.where((t % 10 >= 5) & (t % 10 < 7) & (t < 40), 12.5, 0.0))
        bench.mark("key-on", 5.0, 15.0, 25.0, 30.0, 45.0)
        if off_s is not None:
            bench.mark("key-off", off_s)
        for start_s in (5.0, 15.0, 25.0, 35.0):
            bench.event("prime_pulse", number, start_s, start_s + 2, level=12.5)
        bench.event("missing_prime", number, 45.0, 45.0)
        found = bench.judge("4 of 5 key-ons")
        assert found.verdict == verdict
        assert ("want the key off for 10 s" in found.text) == (verdict == "cannot tell")

    def test_all_primes_seen_still_says_what_may_have_escaped(self, bench: Bench) -> None:
        number = bench.channel("pump feed", lambda t: np.where(t % 10 < 2, 12.5, 0.0))
        bench.mark("key-on", *np.arange(0.0, 50.0, 10.0))
        for start_s in range(0, 50, 10):
            bench.event("prime_pulse", number, start_s, start_s + 2, level=12.5)
        found = bench.judge("5 of 5 key-ons")
        assert found.verdict == "within"
        assert "fewer than 45%" in found.text  # 1 - 0.05 ** (1 / 5) = 0.451


class TestCrank:
    """The dip while cranking, against temperature."""

    @staticmethod
    def crank(bench: Bench, lowest: float, label: str = "battery") -> None:
        number = bench.channel(label, lambda t: np.where((t >= 10) & (t < 13), lowest, 12.5))
        bench.mark("crank", 10.0)
        bench.event("sag", number, 10.0, 13.0, extreme=lowest)

    @pytest.mark.parametrize(
        ("lowest", "temperature", "verdict"),
        [
            (10.2, "20", "within"),
            (9.3, "20", "outside"),
            (9.3, "-12", "within"),
            (9.6, "20", "cannot tell"),
            (9.3, None, "cannot tell"),
            (10.2, None, "within"),
            (8.9, None, "cannot tell"),
            (8.3, None, "outside"),
        ],
    )
    def test_dip(self, bench: Bench, lowest: float, temperature: str | None, verdict: str) -> None:
        if temperature is not None:
            bench.details["temperature_c"] = temperature
        self.crank(bench, lowest)
        found = bench.judge("while cranking")
        assert found.verdict == verdict
        assert ("none was entered" in found.limit) == (temperature is None)

    def test_a_dip_at_the_pump_does_not_condemn_the_battery(self, bench: Bench) -> None:
        self.crank(bench, 8.0, "pump feed")
        found = bench.judge("while cranking")
        assert found.verdict == "cannot tell"
        assert "measure there" in found.text

    def test_the_starters_dip_is_not_listed_as_a_fault(self, bench: Bench) -> None:
        self.crank(bench, 10.2)
        assert "1 sag" not in " ".join(f.text for f in bench.all())
        assert bench.judge("was seen in").verdict == "within"


class TestBattery:
    """Rest voltage and charging."""

    @pytest.mark.parametrize(
        ("level", "verdict"), [(12.6, "within"), (12.2, "cannot tell"), (11.8, "cannot tell"), (11.4, "outside")]
    )
    def test_rest_voltage_as_charge_with_its_error(self, bench: Bench, level: float, verdict: str) -> None:
        bench.channel("battery", level)
        assert bench.judge("of charge").verdict == verdict

    def test_a_battery_that_was_in_use_reads_lower_and_a_key_on_marker_says_that_it_was_not(self, bench: Bench) -> None:
        bench.channel("battery", 11.8)
        assert "With something switched on it reads lower" in bench.judge("of charge").text
        bench.mark("key-on", 50.0)
        assert bench.judge("of charge").verdict == "outside"

    def test_a_one_percent_meter_knows_charge_to_some_fifteen_percent(self, bench: Bench) -> None:
        bench.channel("battery", 12.2, accuracy=Accuracy(0.01, 0.0))
        found = bench.judge("of charge")
        assert found.margin_error == pytest.approx(15.25, abs=1.0)

    def test_a_battery_channel_that_begins_with_overload_is_no_rest(self, bench: Bench) -> None:
        bench.channel("battery", lambda t: np.where(t < 2.0, np.inf, 12.6))
        assert not [finding for finding in bench.all() if "at rest" in finding.text]

    def test_an_overload_ends_the_rest(self, bench: Bench) -> None:
        bench.channel("battery", lambda t: np.where(t > 20.0, np.inf, 12.6))
        assert "at rest 12.60 V" in bench.judge("at rest").text

    def test_an_agm_battery_is_judged_by_its_own_curve(self, bench: Bench) -> None:
        bench.details["battery"] = "AGM 70 Ah"
        bench.channel("battery", 12.6)
        found = bench.judge("of charge")
        assert "is 75 % of charge" in found.text
        assert "an AGM battery" in found.text

    @pytest.mark.parametrize(
        ("level", "temperature", "verdict"),
        [
            (14.2, "20", "within"),
            (13.4, "20", "cannot tell"),
            (15.4, "20", "cannot tell"),
            (14.55, "20", "cannot tell"),
        ],
    )
    def test_charging_voltage(self, bench: Bench, level: float, temperature: str, verdict: str) -> None:
        bench.details["temperature_c"] = temperature
        bench.channel("battery", lambda t: np.where(t > 20, level, 12.5))
        assert bench.judge("charged at").verdict == verdict

    def test_without_temperature_the_limits_themselves_are_a_span(self, bench: Bench) -> None:
        bench.channel("battery", lambda t: np.where(t > 20, 14.6, 12.5))
        assert bench.judge("charged at").verdict == "cannot tell"

    def test_no_charging_after_a_start_says_what_it_may_be(self, bench: Bench) -> None:
        number = bench.channel("battery", lambda t: np.where((t >= 10) & (t < 12), 10.5, 12.4))
        bench.mark("crank", 10.0)
        bench.event("sag", number, 10.0, 12.0, extreme=10.5)
        found = bench.judge("not charging")
        assert found.verdict == "cannot tell"

    @pytest.mark.parametrize(("ripple", "verdict"), [(0.02, "within"), (0.2, "cannot tell"), (0.8, "outside")])
    def test_ripple(self, bench: Bench, ripple: float, verdict: str) -> None:
        bench.channel("battery ripple", ripple, quantity=Quantity.AC_VOLTAGE, resolution=0.001)
        assert bench.judge("ripple").verdict == verdict


class TestDraw:
    """Parasitic draw with its sleep step."""

    @staticmethod
    def draw(bench: Bench, end_a: float, length_s: float, sleep_s: float) -> None:
        bench.channel(
            "battery current",
            lambda t: np.where(t < sleep_s, 3.5, end_a),
            length_s=length_s,
            interval_s=1.0,
            quantity=Quantity.DC_CURRENT,
            resolution=0.0001,
        )

    @pytest.mark.parametrize(
        ("end_a", "length_s", "verdict"),
        [(0.03, 5000, "within"), (0.2, 5000, "outside"), (0.2, 900, "cannot tell"), (0.03, 900, "within")],
    )
    def test_draw(self, bench: Bench, end_a: float, length_s: float, verdict: str) -> None:
        self.draw(bench, end_a, length_s, 600.0)
        bench.mark("key-off", 1.0)
        found = bench.judge("at the end")
        assert found.verdict == verdict
        assert "It fell from 3.5 A after 10 min (sleep step)" in found.text

    def test_a_draw_without_a_key_off_may_be_of_a_vehicle_in_use(self, bench: Bench) -> None:
        self.draw(bench, 0.2, 5000, 600.0)
        assert "Nothing says that all was switched off" in bench.judge("at the end").text

    def test_a_current_that_nothing_calls_a_draw_is_not_judged_as_one(self, bench: Bench) -> None:
        """Once any current of five minutes was held to the limit of a sleeping car."""
        bench.channel("usb load", 0.4, length_s=400.0, interval_s=1.0, quantity=Quantity.DC_CURRENT)
        assert not [found for found in bench.all() if "sleep" in found.text]

    def test_a_key_off_after_the_last_reading_starts_no_wait(self, bench: Bench) -> None:
        self.draw(bench, 0.03, 900, 600.0)
        bench.mark("key-off", 950.0)
        assert "15 min after the start" in bench.judge("at the end").text

    def test_without_a_step_it_says_so(self, bench: Bench) -> None:
        self.draw(bench, 0.03, 900, 0.0)
        assert "No sleep step was seen" in bench.judge("at the end").text


class TestDrop:
    """Voltage drop between channels, across a part, and over current."""

    def test_two_channels_that_read_at_different_moments(self, bench: Bench) -> None:
        def rising(t: Array) -> Array:
            return 12.6 - 0.02 * t

        bench.channel("battery", rising, interval_s=0.33)
        bench.channel("pump feed", lambda t: rising(t) - 0.4, interval_s=0.27, start_s=0.1)
        found = bench.judge("From battery to pump feed")
        assert found.margin == pytest.approx(0.6, abs=0.02)
        assert found.margin_error == pytest.approx(0.005 * 24.0 + 0.04, abs=0.02)
        assert found.verdict == "within"

    def test_edges_are_left_out_so_two_clocks_do_not_look_like_a_drop(self, bench: Bench) -> None:
        def switched(t: Array) -> Array:
            return np.where(t % 4 < 2, 12.5, 0.0)

        bench.channel("battery", 12.5, interval_s=0.25)
        bench.channel("pump feed", switched, interval_s=0.25, start_s=0.12)
        assert bench.judge("From battery to pump feed").margin == pytest.approx(1.0, abs=0.02)

    def test_a_difference_of_two_meters_that_cannot_settle_it_recommends_one_meter(self, bench: Bench) -> None:
        bench.channel("battery", 12.6)
        bench.channel("pump feed", 11.6)
        found = bench.judge("From battery to pump feed")
        assert found.verdict == "cannot tell"
        assert "one meter across the part" in found.text

    @pytest.mark.parametrize(
        ("label", "drop", "verdict"),
        [
            ("pump ground drop", 0.05, "within"),
            ("pump ground drop", 0.30, "outside"),
            ("relay contact drop", 0.25, "within"),
            ("drop across cable", 0.25, "outside"),
            ("starter drop", 0.45, "within"),
            ("starter ground drop", 0.45, "outside"),
            ("drop to the lamp", 0.8, "within"),
            ("pump ground drop", 0.0, "cannot tell"),
        ],
    )
    def test_across_a_part_by_its_words(self, bench: Bench, label: str, drop: float, verdict: str) -> None:
        bench.channel(label, drop, resolution=0.001)
        found = bench.judge("voltage drop" if drop else "exactly 0 V")
        assert found.verdict == verdict

    @pytest.mark.parametrize(
        ("drop", "shown", "verdict"),
        [(0.05, "50.0 mV", "within"), (0.30, "0.300 V", "cannot tell"), (2.1, "2.10", "outside")],
    )
    def test_over_a_relay_the_drop_is_what_it_reads_while_closed(
        self, bench: Bench, drop: float, shown: str, verdict: str
    ) -> None:
        bench.channel("relay drop", lambda t: np.where((t > 10) & (t < 12), drop, 12.4), resolution=0.001)
        found = bench.judge("while it is closed")
        assert found.verdict == verdict
        assert f"voltage drop {shown}" in found.text
        assert "12.4" in found.text
        assert "no current: no drop" in found.text

    def test_the_whole_supply_and_else_nothing_is_an_opening_not_a_drop(self, bench: Bench) -> None:
        bench.channel("across the fuse", lambda t: np.where(t > 10, 12.4, 0.0))
        assert bench.judge("nearly the whole supply").verdict == "outside"

    def test_drop_over_current_is_a_resistance_with_its_error(self, bench: Bench) -> None:
        bench.channel("pump ground drop", lambda t: np.where(t > 10, 0.5, 0.0), resolution=0.001)
        bench.channel("pump current", lambda t: np.where(t > 10, 5.0, 0.0), quantity=Quantity.DC_CURRENT)
        found = bench.judge("is a resistance of")
        assert "100.0 mohm" in found.text or "0.1000 ohm" in found.text or "0.100 ohm" in found.text
        assert found.margin == pytest.approx(0.1 / 5 - 0.1, abs=1e-4)
        assert found.margin_error == pytest.approx(0.0045 / 5 + 0.5 * 0.045 / 25, rel=0.05)
        assert found.verdict == "outside"

    def test_two_channels_and_a_current_give_the_resistance_between(self, bench: Bench) -> None:
        bench.channel("battery", 12.6)
        bench.channel("pump feed", 10.1)
        bench.channel("pump current", 5.0, quantity=Quantity.DC_CURRENT)
        found = bench.judge("is a resistance of")
        assert found.margin == pytest.approx(0.2 - 0.5, abs=0.01)


class TestCurrentAndOhms:
    """The pump's current and winding."""

    @pytest.mark.parametrize(("amperes", "verdict"), [(4.5, "within"), (19.0, "outside"), (9.98, "cannot tell")])
    def test_running_current(self, bench: Bench, amperes: float, verdict: str) -> None:
        bench.channel("pump current", amperes, quantity=Quantity.DC_CURRENT)
        assert bench.judge("runs at").verdict == verdict

    def test_a_clamp_the_other_way_round_reads_the_same_current(self, bench: Bench) -> None:
        bench.channel("pump current", -4.5, quantity=Quantity.DC_CURRENT)
        found = bench.judge("runs at")
        assert found.verdict == "within"
        assert "not fed" not in found.text

    @pytest.mark.parametrize(("now_and_then", "verdict"), [(0.0, "cannot tell"), (4.5, "outside")])
    def test_voltage_right_and_no_current_is_an_open_motor(
        self, bench: Bench, now_and_then: float, verdict: str
    ) -> None:
        """Once 'outside' beside 'unless the meter's fuse is blown': a current at another time shows that it is not."""
        fed = bench.channel("pump feed", lambda t: np.where((t > 5) & (t < 7), 12.5, 0.0))
        bench.event("prime_pulse", fed, 5.0, 7.0, level=12.5)
        bench.event("prime_pulse", fed, 25.0, 27.0, level=12.5)
        bench.channel("pump current", lambda t: np.where(t > 20, now_and_then, 0.0), quantity=Quantity.DC_CURRENT)
        found = bench.judge("open motor")
        assert found.verdict == verdict
        assert ("A blown fuse in the meter" in found.text) == (verdict == "cannot tell")

    @pytest.mark.parametrize(
        ("ohms", "verdict"),
        [
            (1.4, "within"),
            (0.9, "within"),
            (0.4, "cannot tell"),
            (9.0, "cannot tell"),
            (80.0, "cannot tell"),
        ],
    )
    def test_winding_with_leads_not_nulled(self, bench: Bench, ohms: float, verdict: str) -> None:
        bench.channel("pump winding", ohms, quantity=Quantity.RESISTANCE, resolution=0.01)
        found = bench.judge("leads, which were")
        assert found.verdict == verdict
        assert "not nulled" in found.text
        assert ("level sender" in found.text) == (3 < ohms < 205)

    def test_leads_entered_or_nulled_shrink_the_error(self, bench: Bench) -> None:
        bench.details["lead_ohm"] = "0.3"
        bench.channel("pump winding", 0.6, quantity=Quantity.RESISTANCE, resolution=0.01)
        assert bench.judge("as entered").verdict == "within"

    def test_relative_mode_counts_as_nulled(self, bench: Bench) -> None:
        bench.channel("pump winding", 0.4, quantity=Quantity.RESISTANCE, flags=Flag.RELATIVE)
        found = bench.judge("nulled on the meter")
        assert found.verdict == "within"

    def test_open_all_along_may_be_the_probe(self, bench: Bench) -> None:
        bench.channel("pump winding", np.inf, quantity=Quantity.RESISTANCE)
        assert bench.judge("prove the contact first").verdict == "cannot tell"


class TestNothingAndFaults:
    """Says what was seen, and what could not be."""

    def test_nothing_found_states_the_shortest_event_that_could_have_been_seen(self, bench: Bench) -> None:
        bench.channel("pump feed", 12.5, interval_s=0.33)
        found = bench.judge("no dropout")
        assert found.verdict == "within"
        assert "shorter than 0.66 s" in found.text

    def test_a_dropout_is_stated_and_a_short_one_may_have_been_deeper(self, bench: Bench) -> None:
        number = bench.channel("pump feed", lambda t: np.where(np.abs(t - 30) < 0.1, 6.0, 12.5))
        bench.event("dropout", number, 29.9, 30.1, extreme=6.0, reference=12.5)
        found = bench.judge("1 dropout")
        assert found.verdict == "outside"
        assert "true lowest value may be lower" in found.text
        assert not [f for f in bench.all() if "was seen in" in f.text]

    def test_a_gap_is_the_link_and_never_a_fault_of_the_circuit(self, bench: Bench) -> None:
        number = bench.channel("pump feed", 12.5)
        bench.retime(number, np.where(bench.series(number).time_s < 10.0, 0.0, 5.0) + bench.series(number).time_s)
        bench.event("gap", number, 9.75, 15.0)
        found = bench.judge("the link to the meter")
        assert found.verdict == "cannot tell"
        found = bench.judge("was seen in")
        assert found.verdict == "within"
        assert "was seen in 60 s" in found.text  # of 65: nobody looked during the gap
        assert "shorter than 0.50 s could have passed unseen between these readings. In 1 break (5.25 s" in found.text
        assert found.limit == "no dropout, loss of supply, sag, fade, chatter or overvoltage longer than 5.50 s"

    def test_every_kind_of_event_has_its_statement(self, bench: Bench) -> None:
        number = bench.channel("pump feed", 12.5)
        kinds = ["dropout", "supply_lost", "sag", "overvoltage", "open_circuit"]
        kinds += ["resistance_step", "chatter", "gap", "held_display", "meter_battery_low"]
        for kind in kinds:
            bench.event(kind, number, 10.0, 11.0, level=16.0, extreme=16.0)
        silent = len(bench.all())
        bench.events.clear()
        assert silent == len(bench.all()) - 1 + len(kinds)

    def test_overvoltage_near_its_limit_cannot_be_told(self, bench: Bench) -> None:
        number = bench.channel("alternator", 15.05)
        bench.event("overvoltage", number, 0.0, 59.0, extreme=15.05)
        assert bench.judge("overvoltage").verdict == "cannot tell"

    def test_a_coarse_unsigned_source_says_so(self, bench: Bench) -> None:
        bench.channel("pump feed", 12.5, driver="gatt", resolution=1 / 64)
        assert "15.6 mV" in bench.judge("no sign").text

    def test_a_coarse_source_says_so_when_replayed_too(self, bench: Bench) -> None:
        bench.channel("pump feed", 12.5, driver="replay", resolution=1 / 64)
        assert "15.6 mV" in bench.judge("no sign").text

    def test_a_finer_signed_characteristic_is_not_called_coarse(self, bench: Bench) -> None:
        bench.channel("pump feed", -0.012, driver="gatt", resolution=0.001)
        assert not [finding for finding in bench.all() if "no sign" in finding.text]

    def test_24_v_limits_judge_a_24_v_system(self, bench: Bench) -> None:
        bench.limits = load_limits(system_v=24.0)
        bench.channel("battery", lambda t: np.where(t > 20, 28.0, 25.2))
        assert bench.judge("charged at").verdict == "within"
        assert bench.judge("of charge").verdict == "within"
