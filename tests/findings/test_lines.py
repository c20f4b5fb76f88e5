"""A finding carries the level that it was judged by, and no plot shows another."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from meterlog.analysis import analyze
from meterlog.reading import Quantity
from meterlog.session import open_reader
from meterlog.session.contents import Contents
from tests.findings.conftest import Bench

SAMPLES = sorted((Path(__file__).parents[2] / "recordings").glob("*.sqlite"))


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_each_line_lies_in_its_session_and_belongs_to_one_finding(path: Path) -> None:
    with open_reader(path) as reader:
        analysis = analyze(Contents.of(reader))
    numbers = {one.channel.number for one in analysis.channels}
    for finding in analysis.findings:
        for line in finding.lines:
            assert line.channel == finding.channel
            assert line.channel in numbers
            assert np.isfinite(line.level)
            assert line.words
            assert (line.start_s or 0.0) < (line.end_s or analysis.duration_s)
    assert len(set(analysis.lines(1))) == len(analysis.lines(1))


def test_no_sleep_limit_is_drawn_through_a_starters_current(bench: Bench) -> None:
    number = bench.channel("battery cable to starter", 150.0, quantity=Quantity.DC_CURRENT, resolution=0.1)
    assert [line for finding in bench.all() for line in finding.lines if line.channel == number] == []


def test_a_draw_at_rest_has_its_sleep_limit_at_its_end_on_the_side_it_reads(bench: Bench) -> None:
    bench.channel("parasitic draw", -0.3, quantity=Quantity.DC_CURRENT, length_s=600.0, resolution=0.001)
    (line,) = bench.judge("No sleep step").lines
    assert line.level == -bench.limits.value("draw_asleep_max_a")
    assert line.start_s == pytest.approx(540.0, abs=1.0)
    assert line.end_s is None


def test_a_prime_is_drawn_with_the_least_that_the_battery_allows(bench: Bench) -> None:
    number = bench.channel("pump feed", lambda t: np.where((t > 10) & (t < 12), 11.9, 0.0))
    bench.channel("battery", 12.6)
    bench.event("prime_pulse", number, 10.0, 12.0, level=11.9)
    lines = bench.judge("below the battery").lines
    allowed = bench.limits.value("feed_drop_max_v")
    assert [line.level for line in lines] == pytest.approx([12.6 - allowed] * 2, abs=0.2)
    assert all(line.start_s is not None and 8.0 < line.start_s < 10.0 for line in lines)


def test_a_limit_that_depends_on_an_unknown_temperature_is_drawn_twice(bench: Bench) -> None:
    number = bench.channel("battery", lambda t: np.where((t > 20) & (t < 24), 9.2, 12.6))
    bench.event("sag", number, 20.0, 24.0, extreme=9.2, reference=12.6)
    bench.mark("crank", 20.0)
    floor = bench.limits.figure("crank_min_v")
    low, high = (floor.at(bench.limits.value(name)) for name in ("temperature_min_c", "temperature_max_c"))
    assert [line.level for line in bench.judge("while cranking").lines] == [low, high]
    bench.details["temperature_c"] = "20"
    assert [line.level for line in bench.judge("while cranking").lines] == [floor.at(20.0)]


def test_the_charge_at_rest_is_drawn_as_the_voltage_that_stands_for_it(bench: Bench) -> None:
    bench.channel("battery", 12.3)
    (line,) = bench.judge("of charge").lines
    least = bench.limits.value("rest_charge_min")
    assert bench.limits.figure("rest_charge").at(line.level) == pytest.approx(least)


def test_a_dropouts_level_is_half_of_what_it_fell_from_round_its_own_time(bench: Bench) -> None:
    number = bench.channel("pump feed", 12.5)
    bench.event("dropout", number, 10.0, 10.5, reference=12.4)
    (line,) = bench.judge("1 dropout").lines
    assert line.level == pytest.approx(6.2)
    assert (line.start_s, line.end_s) == (9.0, 11.5)


def test_a_winding_is_drawn_as_the_meter_shows_it_with_its_leads(bench: Bench) -> None:
    bench.details["lead_ohm"] = "0.2"
    bench.channel("pump winding", 1.4, quantity=Quantity.RESISTANCE)
    least, most = bench.judge("after 0.2 ohm of leads").lines
    assert least.level == pytest.approx(bench.limits.value("winding_min_ohm") + 0.2)
    assert most.level == pytest.approx(bench.limits.value("winding_max_ohm") + 0.2)
