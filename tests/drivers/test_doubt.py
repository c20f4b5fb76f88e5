"""One flipped bit among calm frames decides nothing: what it makes of a reading is doubtful, or is no reading."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from meterlog.analysis import analyze
from meterlog.driver.framing import Framing, framing_of
from meterlog.reading import Flag, Quantity, Reading
from meterlog_drivers.display.every_mode import nearest_shown
from tests.bench.bitflips import Verdicts, falling, healthy, judge_feed, primed, with_parity
from tests.conftest import write_capture

SIX = ("status14:x", "segments14:x", "digits11:x", "digits14:x", "chars16:x", "text:x")


def frame(framing: Framing, volts: float) -> bytes:
    """The frame that shows some volts."""
    shown = nearest_shown(framing.encoder(), Reading(0.0, volts, Quantity.DC_VOLTAGE, 0.01, Flag.DC))
    assert shown is not None
    return framing.encoder().encode([shown])


@pytest.fixture(params=SIX)
def six(request: pytest.FixtureRequest) -> Framing:
    """Each of the six framings."""
    return framing_of(request.param)


def test_no_single_flipped_bit_among_calm_frames_is_believed(six: Framing) -> None:
    right = frame(six, 12.34)
    for bit in range(8 * len(right)):
        damaged = bytearray(right)
        damaged[bit // 8] ^= 1 << bit % 8
        decoder = six.decoder()
        readings = decoder.feed(right * 10 + bytes(damaged) + right * 3, 0.0)
        other = [r for r in readings if r.value != 12.34 or r.quantity is not Quantity.DC_VOLTAGE]
        far = [r for r in other if r.quantity is not Quantity.DC_VOLTAGE or abs(r.value - 12.34) > 0.25]
        assert all(Flag.DOUBTFUL in r.flags for r in far), f"bit {bit}: {far}"
        assert Flag.DOUBTFUL not in readings[-1].flags


def test_a_display_that_truly_changed_is_not_doubted_twice(six: Framing) -> None:
    before = frame(six, 12.34)
    for bit in range(8 * len(before)):
        after = bytearray(before)
        after[bit // 8] ^= 1 << bit % 8
        readings = six.decoder().feed(before * 10 + bytes(after) * 4, 0.0)
        assert all(Flag.DOUBTFUL not in r.flags for r in readings[11:]), f"bit {bit}"


@pytest.mark.parametrize("volts", [0.0, 0.12, 5.87])
def test_a_true_dropout_of_one_reading_is_not_doubted(six: Framing, volts: float) -> None:
    on, fallen = frame(six, 12.34), frame(six, volts)
    readings = six.decoder().feed(on * 10 + fallen + on * 10, 0.0)
    assert [r.value for r in readings].count(volts) == 1
    assert not any(Flag.DOUBTFUL in r.flags for r in readings)


@pytest.mark.parametrize("make", [healthy, primed])
def test_a_feed_with_flipped_bits_gives_no_false_verdict(six: Framing, make: object) -> None:
    assert callable(make)
    verdicts = Verdicts()
    rng = random.Random(12)  # not 11: there two flips of one bit in a row are a display that changed
    judge_feed(six, make(rng, 3000), False, rng, verdicts)
    assert verdicts.wrong > 0, "flips that nobody sees would show nothing"
    assert not +verdicts.false


def test_true_dropouts_are_found_among_flipped_bits(six: Framing) -> None:
    verdicts = Verdicts()
    rng = random.Random(5)
    judge_feed(six, falling(rng, 3000, whole=True), False, rng, verdicts)
    assert verdicts.dropouts == 30
    assert verdicts.found >= 29  # a dropout's own frame may be the flipped one


@pytest.mark.parametrize("address", ["digits11:x", "digits14:x"])
def test_a_7o1_line_is_opened_so_that_its_parity_can_be_checked(address: str) -> None:
    framing = framing_of(address)
    assert all((line.data_bits, line.parity) == (8, "N") for line in framing.driver.lines)
    verdicts = Verdicts()
    rng = random.Random(3)
    judge_feed(framing, healthy(rng, 2000), True, rng, verdicts)
    assert verdicts.wrong == 0


@pytest.mark.parametrize(
    ("address", "data"),
    [
        ("digits11:x", b"24001;00<\r\n"),
        ("digits14:x", b"122001;00080\r\n"),
        ("chars16:x", b"\x02413402" + b"02001412" + b"\r"),
        ("status14:x", b"+5000 0\x30\x00\x00\x80\x00\r\n"),
    ],
)
def test_more_than_a_meter_can_show_is_refused(address: str, data: bytes) -> None:
    decoder = framing_of(address).decoder()
    assert decoder.feed(data, 0.0) == []
    assert decoder.traffic.frames_refused == 1


def test_a_display_of_more_counts_is_a_setting() -> None:
    data = b"24001;00<\r\n"
    (reading,) = framing_of("digits11:x?counts=6000").decoder().feed(data, 0.0)
    assert reading.value == 40.01


def test_blocks_that_come_twice_are_read_only_where_they_are_alike() -> None:
    framing = framing_of("digits11:x?blocks=twice")
    good, other = framing_of("digits11:x"), frame(framing_of("digits11:x"), 13.34)
    one = frame(good, 12.34)
    assert framing.encoder().encode([*good.decoder().feed(one, 0.0)]) == one * 2
    decoder = framing.decoder()
    readings = decoder.feed(one + one + one + other + one + one, 0.0)
    assert [r.value for r in readings] == [12.34, 12.34]
    assert decoder.traffic.frames_refused == 2


def test_rejected_frames_are_counted_in_the_session_and_said(tmp_path: Path) -> None:
    from meterlog.capture.meters import meter_setup
    from meterlog.capture.recorder import Recorder
    from meterlog.cli.analyze import as_text
    from meterlog.session import SessionWriter, open_reader
    from meterlog.session.contents import Contents

    right = with_parity(frame(framing_of("digits11:x"), 12.34))
    damaged = bytes([right[0] ^ 1]) + right[1:]
    chunks = [right] * 10 + [damaged] + [right] * 10 + [damaged] + [right]
    timed = ((n * 0.3, chunk) for n, chunk in enumerate(chunks))
    capture = write_capture(tmp_path / "pump.raw", timed, "digits11:x")
    path = tmp_path / "pump.sqlite"
    recorder = Recorder([meter_setup(f"replay:{capture}?speed=1000")], SessionWriter.create(path))
    recorder.start()
    assert recorder.wait(10.0)
    recorder.finish()
    with open_reader(path) as reader:
        assert [c.rejected for c in reader.channels] == [2]
        analysis = analyze(Contents.of(reader))
    assert "2 damaged frames thrown away" in as_text(analysis)
    assert analysis.as_json()["channels"][0]["rejected_frames"] == 2  # type: ignore[index]
