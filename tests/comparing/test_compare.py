"""Known-good against suspect: what differs is named, what does not is not."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from meterlog.comparing import Comparison, compare
from meterlog.comparing.align import Pass
from meterlog.comparing.comparison import Counted, Measure
from meterlog.comparing.comparison_text import as_text, headline, measure_words
from meterlog.comparing.counts import _rate
from meterlog.comparing.reference_band import Reference, band, excursions
from meterlog.errors import CompareError
from meterlog.limits import load_limits
from meterlog.reading import Accuracy, Quantity
from meterlog.series import Series
from meterlog.session import SessionWriter, open_reader
from meterlog.session.model import ARMED, CAPTURE
from meterlog.sides import BEFORE_AFTER, KNOWN_GOOD
from tests.comparing.conftest import Maker, Shape, prime

CAR = load_limits("car-12v")
RECORDINGS = Path(__file__).parents[2] / "recordings"
GOOD = [RECORDINGS / "key-on-good-1.sqlite", RECORDINGS / "key-on-good-2.sqlite"]
SUSPECT = RECORDINGS / "key-on-suspect.sqlite"


def rows(found: Comparison, channel: int = 0) -> dict[str, Measure]:
    """The table by the measures' names."""
    return {m.measure: m for m in found.channels[channel].measures}


def test_two_known_good_samples_are_the_same_and_the_suspect_differs_in_its_level_alone() -> None:
    assert compare(GOOD[:1], GOOD[1]).verdict == "same within error"
    found = compare(GOOD, SUSPECT)
    assert found.verdict == "different"
    verdicts = {name: row.verdict for name, row in rows(found).items()}
    assert verdicts["prime level"] == "different"
    assert verdicts["prime duration"] == "same within error"
    difference = rows(found)["prime level"]
    assert difference.difference is not None
    assert difference.difference < -2
    assert found.channels[0].excursions


@pytest.mark.parametrize(
    ("good", "suspect"),
    [("key-on-good-1", "key-on-suspect"), ("crank-good", "crank-weak-battery"), ("key-on-good-1", "key-on-no-command")],
)
def test_swapping_before_and_after_mirrors_everything(good: str, suspect: str) -> None:
    there = compare([RECORDINGS / f"{good}.sqlite"], RECORDINGS / f"{suspect}.sqlite")
    back = compare([RECORDINGS / f"{suspect}.sqlite"], RECORDINGS / f"{good}.sqlite")
    assert there.verdict == back.verdict
    assert set(rows(there)) == set(rows(back))
    for name, row in rows(there).items():
        mirrored = rows(back)[name]
        assert row.verdict == mirrored.verdict
        assert row.uncertainty == pytest.approx(mirrored.uncertainty)
        assert row.difference == pytest.approx(-mirrored.difference if mirrored.difference is not None else None)
    assert bool(there.channels[0].excursions) == bool(back.channels[0].excursions)


@settings(max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 10_000), interval=st.sampled_from([0.1, 0.25, 0.4]), window=st.sampled_from([0.0, 0.6, 1.0]))
def test_the_same_prime_read_twice_is_never_called_different(
    tmp_path_factory: pytest.TempPathFactory, seed: int, interval: float, window: float
) -> None:
    rng = np.random.default_rng(seed)
    make = Maker(tmp_path_factory.mktemp("same"))
    paths = [
        make(
            str(n),
            {"pump": prime(float(rng.uniform(3, 5)))},
            interval_s=interval,
            window_s=window * interval,
            seed=seed + n,
        )
        for n in range(3)
    ]
    found = compare(paths[:2], paths[2])
    assert not found.channels[0].excursions
    assert found.verdict == "same within error"


def test_a_dip_within_the_prime_is_an_excursion_with_its_time_and_size(make: Maker) -> None:
    def dipped(t: np.ndarray) -> np.ndarray:
        return np.where((t >= 5.0) & (t < 5.4), 9.0, prime(4.0, length_s=3.0)(t))

    good = [make(f"good{n}", {"pump": prime(4.0, length_s=3.0)}, interval_s=0.1, seed=n) for n in range(3)]
    found = compare(good, make("suspect", {"pump": dipped}, interval_s=0.1, seed=9)).channels[0]
    assert len(found.excursions) == 1
    one = found.excursions[0]
    assert one.start_s == pytest.approx(5.0, abs=0.15)
    assert one.end_s == pytest.approx(5.4, abs=0.15)
    assert one.difference == pytest.approx(9.0 - 12.4, abs=0.05)
    assert one.beyond == pytest.approx(3.4 - 0.13, abs=0.1)


def test_the_band_of_several_holds_each_of_them_with_the_median_inside(make: Maker) -> None:
    good = [make(f"good{n}", {"pump": prime(4.0, level)}, seed=n) for n, level in enumerate((12.0, 12.4, 12.3))]
    found = compare(good, make("suspect", {"pump": prime(4.0, 12.2)}, seed=7))
    band = found.channels[0].bands[0]
    middle = np.argmin(np.abs(band.time_s - 5.0))
    assert (band.low[middle], band.high[middle]) == (pytest.approx(12.0, abs=0.02), pytest.approx(12.4, abs=0.02))
    assert band.middle[middle] == pytest.approx(12.3, abs=0.02)
    assert found.verdict == "same within error"


def test_the_error_of_the_band_is_that_of_the_least_accurate_known_good_meter() -> None:
    def read(level: float, accuracy: Accuracy) -> Reference:
        times = np.arange(0.0, 2.0, 0.25)
        counts, flags = np.full(len(times), 0.01, np.float32), np.zeros(len(times), np.uint16)
        return Reference(Pass(0.0, 0.0, 0.0, 2.0), Series(times, np.full(len(times), level), counts, flags), accuracy)

    fine, suspect = read(12.4, Accuracy(0.001)), read(11.9, Accuracy(0.001))
    assert excursions(band(None, suspect, [fine]))
    for coarse in (read(12.2, Accuracy(0.05)), read(12.2, Accuracy(0.001, 0.0, 0.6))):
        for good in ([fine, coarse], [coarse, fine]):
            assert not excursions(band(None, suspect, good))


def test_time_without_readings_is_no_time_without_faults(make: Maker, tmp_path: Path) -> None:
    def failing(t: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.where(t % 20.0 < 0.6, 0.0, 12.5)

    whole = make("whole", {"feed": failing}, length_s=900.0)
    holed = tmp_path / "holed.sqlite"
    with SessionWriter.create(holed, details={"system_v": "12"}) as writer, open_reader(whole) as reader:
        writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.append_series(1, reader.series(1, 0.0, 305.0))
        writer.append_series(1, reader.series(1, 605.0, 900.0))
    row = rows(compare([whole], holed))["dropout per hour"]
    assert row.good is not None
    assert row.suspect == pytest.approx(row.good, rel=0.05)


def test_a_prime_that_never_comes_differs(make: Maker) -> None:
    good = make("good", {"pump": prime(4.0)})
    found = compare([good], make("suspect", {"pump": 0.0}))
    assert found.verdict == "different"
    assert rows(found)["primes seen"].verdict == "different"


def test_resistance_and_overload(make: Maker) -> None:
    good = make("good", {"winding": 1.2}, quantity=Quantity.RESISTANCE)
    alike = make("alike", {"winding": 1.21}, quantity=Quantity.RESISTANCE, seed=1)
    higher = make("higher", {"winding": 2.4}, quantity=Quantity.RESISTANCE)
    opened = make("open", {"winding": np.inf}, quantity=Quantity.RESISTANCE)
    assert compare([good], alike).verdict == "same within error"
    assert compare([good], higher).verdict == "different"
    found = compare([good], opened)
    assert found.verdict == "different"
    assert rows(found)["resistance"].note == "overload throughout on one side"
    json.dumps(found.as_json(), allow_nan=False)


def test_rates_of_faults_are_held_against_each_other_exactly(make: Maker) -> None:
    def failing(every_s: float) -> Shape:
        return lambda t: np.where(t % every_s < 0.6, 0.0, 12.5)

    often = make("often", {"feed": failing(20.0)}, length_s=900.0)
    seldom = make("seldom", {"feed": failing(300.0)}, length_s=900.0)
    row = rows(compare([often], seldom))["dropout per hour"]
    assert row.verdict == "different"
    assert row.good == pytest.approx(180, rel=0.05)
    assert row.suspect == pytest.approx(12, rel=0.5)
    name, good, *_ = measure_words(row)
    assert name == "dropout per hour"
    assert float(good.split()[0]) == pytest.approx(180, rel=0.05)
    assert "1/h" not in good, "the name says it"


def test_the_figures_of_a_row_have_one_unit() -> None:
    row = Measure("prime droop", None, "V", -0.010, 0.068, -0.018, 0.060, -0.008, 0.11, "same within error", "")
    assert measure_words(row)[1:4] == ("-0.01 V +-0.07", "-0.02 V +-0.06", "-0.01 V +-0.11")


def test_a_faster_meter_that_sees_deeper_proves_nothing(make: Maker) -> None:
    def inrush(t: np.ndarray) -> np.ndarray:
        return np.where((t >= 4.0) & (t < 4.08), 10.8, prime(4.0)(t))

    slow = make("slow", {"pump": inrush}, interval_s=0.4)
    fast = make("fast", {"pump": inrush}, interval_s=0.04)
    for good, suspect in ((slow, fast), (fast, slow)):
        found = compare([good], suspect)
        assert rows(found)["prime lowest"].verdict == "cannot tell"
        assert any("reading intervals differ" in note for note in found.channels[0].notes)


def failing_at(*times_s: float) -> Shape:
    """A feed that is away for 0.6 s at these times."""
    return lambda t: np.where(np.any([(t >= at) & (t < at + 0.6) for at in times_s], axis=0), 0.0, 12.5)


def test_half_a_quiet_minute_proves_nothing_against_two_dropouts_in_ten(make: Maker) -> None:
    faulty = make("faulty", {"pump feed": failing_at(100.0, 400.0)}, length_s=600.0)
    quiet = make("quiet", {"pump feed": 12.5}, length_s=30.0, seed=1)
    for good, suspect in ((quiet, faulty), (faulty, quiet)):
        found = compare([good], suspect)
        row = rows(found)["dropout per hour"]
        assert (row.verdict, found.verdict) == ("cannot tell", "cannot tell")
        assert row.uncertainty is not None
        assert row.uncertainty > 100, "in half a minute nothing is known of a rate per hour"
        assert "53 min without one" in row.note
    assert rows(compare([faulty], quiet))["dropout per hour"].counted == pytest.approx((2, 597.0, 0, 30.0, 1), abs=3)


def test_the_quiet_time_that_is_asked_for_is_the_one_that_tells(make: Maker) -> None:
    faulty = make("faulty", {"pump feed": failing_at(100.0, 400.0)}, length_s=600.0)
    for minutes, verdict in ((50, "cannot tell"), (56, "different")):
        quiet = make(f"quiet{minutes}", {"pump feed": 12.5}, length_s=60.0 * minutes, interval_s=0.5, seed=1)
        assert rows(compare([faulty], quiet))["dropout per hour"].verdict == verdict


def test_the_time_that_an_armed_capture_waited_counts_though_it_kept_none_of_it(make: Maker, tmp_path: Path) -> None:
    whole = make("whole", {"pump feed": failing_at(600.0, 1800.0, 3000.0)}, length_s=3600.0, interval_s=0.5)
    armed = tmp_path / "armed.sqlite"
    with SessionWriter.create(armed, details={"system_v": "12"}) as writer, open_reader(whole) as reader:
        writer.add_channel("pump feed", Quantity.DC_VOLTAGE)
        kept = ((0.0, 10.0), (595.0, 605.0), (1795.0, 1805.0), (2995.0, 3005.0), (3590.0, 3600.0))
        for start_s, end_s in kept:
            writer.append_series(1, reader.series(1, start_s, end_s))
            if end_s < 3600.0:
                writer.add_marker(end_s, ARMED, "waiting for fall 9V", CAPTURE)
    found = rows(compare([whole], armed))["dropout per hour"].counted
    assert found is not None
    assert (found.good, found.suspect) == (3, 3)
    assert found.suspect_of == pytest.approx(found.good_of, rel=0.02)


def test_a_burst_counts_once(make: Maker) -> None:
    burst = failing_at(*np.arange(100.0, 112.0, 1.7))
    quiet = make("quiet", {"pump feed": 12.5}, length_s=600.0, seed=1)
    row = rows(compare([make("burst", {"pump feed": burst}, length_s=600.0)], quiet))["dropout per hour"]
    assert row.counted is not None
    assert row.counted.good == 1
    assert row.verdict == "cannot tell", "one burst in ten minutes against none"


def test_two_feeds_of_one_rate_are_called_different_one_time_in_twenty() -> None:
    rng = np.random.default_rng(8)
    for mean, share in ((3.0, 0.5), (8.0, 0.2), (20.0, 0.5)):
        seen, often = np.unique(rng.poisson([mean * (1 - share), mean * share], (5000, 2)), axis=0, return_counts=True)
        seen, often = seen[seen.any(axis=1)], often[seen.any(axis=1)]
        rows_of = [
            _rate("", Counted(int(good), 3600 * (1 - share), int(suspect), 3600 * share), CAR, KNOWN_GOOD)
            for good, suspect in seen
        ]
        different = [row.verdict == "different" for row in rows_of]
        covered = [abs(row.difference or 0.0) <= (row.uncertainty or 0.0) for row in rows_of]
        assert np.average(different, weights=often) <= 0.05
        assert np.average(covered, weights=often) >= 0.95


def test_a_session_against_itself_is_said(make: Maker, tmp_path: Path) -> None:
    one = make("one", {"pump feed": prime(4.0)})
    copied = shutil.copy(one, tmp_path / "other.sqlite")
    for suspect in (one, copied):
        found = compare([one], suspect)
        assert found.verdict == "cannot tell"
        assert "stands on both sides" in headline(found)
        assert "stands on both sides" in str(found.as_json()["notes"])


def test_hundreds_of_excursions_are_summed_up(make: Maker) -> None:
    step = (0.0, "heater on")
    good = make("good", {"pump feed": 12.5}, length_s=55.0, interval_s=0.05, markers=[step])
    restless = make(
        "restless",
        {"pump feed": lambda t: np.where(t % 0.4 < 0.2, 11.6, 12.5)},
        length_s=55.0,
        interval_s=0.05,
        markers=[step],
    )
    found = compare([good], restless)
    text = as_text(found)
    assert len(found.channels[0].excursions) > 100
    assert f"{len(found.channels[0].excursions)} of them from " in text
    assert text.count("excursion: ") == 11
    assert len(found.as_json()["channels"][0]["excursions"]) > 100  # type: ignore[index]


def test_parts_of_one_circuit_in_sessions_of_their_own_make_one_verdict(make: Maker) -> None:
    before = [make("feed-1", {"pump feed": 10.1}), make("ground-1", {"pump ground": 1.9})]
    after = [make("feed-2", {"pump feed": 12.4}, seed=1), make("ground-2", {"pump ground": 1.9}, seed=2)]
    found = compare(before, *after, sides=BEFORE_AFTER)
    assert [(c.label, c.verdict) for c in found.channels] == [
        ("pump feed", "different"),
        ("pump ground", "same within error"),
    ]
    assert (found.verdict, found.unpaired) == ("different", ())
    assert "pump ground in ground-2.sqlite" in as_text(found)


def test_before_and_after_are_called_so_and_nothing_is_good_or_suspected(make: Maker) -> None:
    before = make("broken", {"pump feed": prime(4.0, 9.4)}, markers=[(3.9, "key-on")])
    after = make("repaired", {"pump feed": prime(4.0)}, markers=[(3.9, "key-on")], seed=1)
    found = compare([before], after, sides=BEFORE_AFTER)
    told = as_text(found) + json.dumps(found.as_json())
    assert "known-good" not in told
    assert "suspect" not in told
    assert "good" not in told
    assert "The session after differs from the session before by more than the errors explain." in told
    same = found.as_json()
    assert (same["before"], same["after"]) == ([str(before)], str(after))
    channel = same["channels"][0]  # type: ignore[index]
    assert {"after_channel", "before_channels"} <= set(channel)
    assert {"before", "before_error", "after", "after_error"} <= set(channel["measures"][0])


class TestPairing:
    """Tells which channels belong together, and which captures do not."""

    def test_by_label_whatever_the_order_and_the_rest_is_said(self, make: Maker) -> None:
        good = make("good", {"battery": 12.5, "pump": prime(4.0), "ground": 0.05})
        suspect = make("suspect", {"Pump": prime(4.0), "battery": 12.5, "lamp": 12.0})
        found = compare([good], suspect)
        assert [c.label for c in found.channels] == ["Pump", "battery"]
        assert len(found.unpaired) == 2
        assert "'lamp' (DC voltage)" in found.unpaired[0]
        assert "'ground' (DC voltage)" in found.unpaired[1]
        assert found.verdict == "cannot tell", "nobody looked at the ground"
        assert "Not compared: 'ground' (DC voltage) of good.sqlite is not in suspect.sqlite." in headline(found)

    def test_as_told(self, make: Maker) -> None:
        good = make("good", {"before": prime(4.0), "battery": 12.5})
        suspect = make("suspect", {"after": prime(4.0), "battery": 12.5})
        found = compare([good], suspect, pairs={"before": "after"})
        assert [c.label for c in found.channels] == ["after", "battery"]
        with pytest.raises(CompareError, match="no channel is labelled 'befor'; the labels are 'battery', 'before'"):
            compare([good], suspect, pairs={"befor": "after"})

    def test_the_only_ones_of_a_quantity_pair_and_it_is_said(self, make: Maker) -> None:
        found = compare([make("good", {"one": prime(4.0)})], make("suspect", {"two": prime(4.0)}))
        assert any("labels differ" in note for note in found.channels[0].notes)

    def test_nothing_in_common_is_refused(self, make: Maker) -> None:
        volts = make("volts", {"pump": 12.0})
        with pytest.raises(CompareError, match="no channel is on both sides"):
            compare([volts], make("ohms", {"pump": 1.0}, quantity=Quantity.RESISTANCE))

    @pytest.mark.parametrize("volts", [("12", "24"), ("6", "12"), ("24", "6")])
    def test_stated_systems_that_differ_are_refused(self, make: Maker, volts: tuple[str, str]) -> None:
        paths = [make(f"v{v}", {"pump": prime(4.0, float(v))}, details={"system_v": v}) for v in volts]
        with pytest.raises(CompareError, match="different system voltages"):
            compare(paths[:1], paths[1])

    def test_levels_that_prove_two_systems_are_refused_unless_told(self, make: Maker) -> None:
        paths = [make(f"v{v}", {"pump": 1.04 * v}, details={}) for v in (12, 24)]
        for good, suspect in (paths, paths[::-1]):
            with pytest.raises(CompareError, match="a 24 V and a 12 V system"):
                compare([good], suspect)
        assert compare(paths[:1], paths[1], one_system=True).verdict == "different"

    def test_seven_volts_all_along_on_a_12_v_car_is_compared(self, make: Maker) -> None:
        paths = [make(f"v{v:.0f}", {"pump": v}, details={}) for v in (12.5, 7.0)]
        assert compare(paths[:1], paths[1]).verdict == "different"
