"""A frame is contiguous: two halves with a pause between them show nothing, in any framing, on any link."""

from __future__ import annotations

import pytest

from meterlog.driver.framing import Framing
from meterlog.reading import Reading
from meterlog.timing.pauses import BUNDLED_S, longest_pause_s

WIRE_2400_S = 10 / 2400
LINKS = [0.0, WIRE_2400_S]


def frames(framing: Framing, shown: list[Reading]) -> tuple[bytes, bytes]:
    """Two frames of the same length with different values."""
    encoder = framing.encoder()
    one = next(r for r in shown if abs(r.value) / r.resolution > 3000)
    other = one._replace(value=one.value - 2268 * one.resolution)
    first, second = encoder.encode([one]), encoder.encode([other])
    assert len(first) == len(second)
    assert first != second
    return first, second


@pytest.mark.parametrize("byte_time_s", LINKS)
def test_half_a_frame_a_pause_and_another_half_show_nothing(
    framing: Framing, shown: list[Reading], byte_time_s: float
) -> None:
    first, second = frames(framing, shown)
    whole = {r.value for frame in (first, second) for r in framing.decoder().feed(frame, 0.0)}
    ends_early = framing.driver.name == "text"  # CR alone ends a line too
    for cut in range(1, len(first) - ends_early):
        decoder = framing.decoder(byte_time_s)
        readings = decoder.feed(first, 1.0)
        readings += decoder.feed(first[:cut], 2.0)
        readings += decoder.feed(second[cut:], 2.0 + longest_pause_s(byte_time_s) + len(second[cut:]) * byte_time_s)
        readings += decoder.feed(second + second, 3.0)
        readings += decoder.feed(second, 4.0)
        values = [r.value for r in readings]
        assert set(values) == whole, f"cut after byte {cut}"
        assert 3 <= len(values) <= 4, f"cut after byte {cut}: at most one whole frame is lost with the two halves"
        traffic = decoder.traffic
        assert traffic.bytes_discarded >= cut
        assert traffic.frames_rejected >= 1


@pytest.mark.parametrize("byte_time_s", LINKS)
def test_a_frame_that_an_adapter_or_a_bundle_cuts_is_read_whole(
    framing: Framing, shown: list[Reading], byte_time_s: float
) -> None:
    first, second = frames(framing, shown)
    stream = (first + second) * 5
    wire_s = byte_time_s or 0.001
    decoder = framing.decoder(byte_time_s)
    step = max(1, round(0.016 / wire_s)) if byte_time_s else 20
    late_s = 0.016 if byte_time_s else 0.05
    readings = []
    for n in range(0, len(stream), step):
        piece = stream[n : n + step]
        readings += decoder.feed(piece, 1.0 + (n + len(piece)) * wire_s + late_s * (n // step))
    assert len(readings) == 10
    assert decoder.traffic.bytes_discarded == 0


def test_a_pause_between_two_frames_costs_nothing(framing: Framing, shown: list[Reading]) -> None:
    first, second = frames(framing, shown)
    decoder = framing.decoder()
    readings = [r for n, frame in enumerate((first, second) * 3) for r in decoder.feed(frame, n * 10 * BUNDLED_S)]
    assert len(readings) == 6
    assert decoder.traffic.bytes_discarded == decoder.traffic.frames_rejected == 0


def test_a_meter_that_sends_byte_by_byte_too_slowly_gives_no_reading(framing: Framing, shown: list[Reading]) -> None:
    first, _ = frames(framing, shown)
    decoder = framing.decoder()
    assert [r for n in range(3 * len(first)) for r in decoder.feed((first * 3)[n : n + 1], n * BUNDLED_S)] == []
    assert decoder.traffic.frames_good == 0
