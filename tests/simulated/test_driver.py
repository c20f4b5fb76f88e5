"""sim: addresses give the scenario's readings at their moments."""

from __future__ import annotations

import time
from itertools import pairwise

import pytest

from meterlog.driver import Connection, load_driver, open_address
from meterlog.errors import AddressError
from meterlog.reading import Reading
from meterlog_drivers.simulated.scenarios import SCENARIOS


def all_of(connection: Connection, timeout_s: float = 60.0) -> list[Reading]:
    readings: list[Reading] = []
    until = time.monotonic() + timeout_s
    while time.monotonic() < until and (some := connection.read(0.1)) is not None:
        readings += some
    connection.close()
    return readings


def test_the_address_of_the_docs_gives_every_reading_of_the_run() -> None:
    _, meter = open_address("sim:healthy-prime?seed=7&interval_s=0.33&speed=100")
    opened_s = time.monotonic()
    readings = all_of(meter.open())
    expected = SCENARIOS["healthy-prime"].run(7, interval_s=0.33).readings[0]
    assert [r.value for r in readings] == expected.value.tolist()
    spacing = [r.time_s - readings[0].time_s for r in readings]
    assert spacing == pytest.approx((expected.time_s - expected.time_s[0]).tolist()), "the scenario's own distances"
    assert time.monotonic() - opened_s < spacing[-1], "not at its own speed"


def test_at_its_own_speed_readings_come_when_they_are_due() -> None:
    _, meter = open_address("sim:healthy-prime?seed=7&interval_s=0.05")
    connection = meter.open()
    late = []
    for _ in range(10):
        some = connection.read(1.0)
        assert some
        late.append(time.monotonic() - some[-1].time_s)
    connection.close()
    assert min(late) >= 0.0
    assert min(late) < 0.05


def test_several_test_points_are_columns_with_labels() -> None:
    meter = load_driver("sim").meter(open_address("sim:drop-test?speed=200")[0])
    readings = all_of(meter.open())
    assert {r.column for r in readings} == {0, 1, 2}
    assert getattr(meter, "column_label")(2) == "pump current"  # noqa: B009  # not part of the contract


def test_loop_begins_again_without_a_gap() -> None:
    _, meter = open_address("sim:healthy-prime?speed=100&loop=yes")
    connection = meter.open()
    readings: list[Reading] = []
    while len(readings) < 70:
        readings += connection.read(1.0) or []
    connection.close()
    gaps = [b.time_s - a.time_s for a, b in pairwise(readings)]
    assert max(gaps) < 0.36
    assert readings[30].value == readings[0].value


def test_reading_waits_no_longer_than_asked() -> None:
    _, meter = open_address("sim:healthy-prime?interval_s=5")
    connection = meter.open()
    began = time.monotonic()
    assert connection.read(0.05) == []
    assert time.monotonic() - began < 5.0


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("sim:healty-prime", "did you mean 'healthy-prime'"),
        ("sim:", "there is no scenario"),
        ("sim:healthy-prime?seed=x", "seed must be a number"),
        ("sim:healthy-prime?seed=-1", "seed must be a number"),
        ("sim:healthy-prime?interval_s=0", "interval_s must be a number"),
        ("sim:healthy-prime?sped=2", "did you mean 'speed'"),
        ("sim:healthy-prime?loop=maybe", "loop must be one of"),
    ],
)
def test_a_wrong_address_is_one_clear_sentence(address: str, words: str) -> None:
    with pytest.raises(AddressError, match=words):
        open_address(address)
