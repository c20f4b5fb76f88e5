"""Checks what every framing promises: each reading it can show comes back, however the bytes are cut."""

from __future__ import annotations

import math
import random
import tracemalloc

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlog.driver.framing import Framing, framing_of
from meterlog.errors import EncodeError
from meterlog.reading import Flag, Quantity, Reading


def same(got: list[Reading], wanted: list[Reading]) -> bool:
    """Equal, an unknown resolution being equal to another."""
    return [g._replace(resolution=-1.0) if math.isnan(g.resolution) else g for g in got] == [
        w._replace(resolution=-1.0) if math.isnan(w.resolution) else w for w in wanted
    ]


def test_every_reading_that_can_be_shown_comes_back(framing: Framing, shown: list[Reading]) -> None:
    assert len(shown) > 60
    encoder, decoder = framing.encoder(), framing.decoder()
    for reading in shown:
        wanted = reading
        if framing.driver.name == "text" and math.isinf(reading.value):
            wanted = reading._replace(resolution=math.nan)  # a line of text shows no resolution of an overload
        assert same(decoder.feed(encoder.encode([reading]), 0.0), [wanted])
    assert decoder.traffic.frames_good == len(shown)
    assert decoder.traffic.bytes_discarded == decoder.traffic.frames_refused == 0


def test_a_value_is_the_float_that_its_decimal_text_gives(shown: list[Reading]) -> None:
    for reading in shown:
        if math.isfinite(reading.value):
            exponent = round(math.log10(reading.resolution))
            counts = round(reading.value / reading.resolution)
            assert reading.value == float(f"{counts}e{exponent}")
            assert reading.resolution == float(f"1e{exponent}")


@given(data=st.data())
@settings(max_examples=20, derandomize=True)
def test_the_same_bytes_cut_anywhere_give_the_same_readings(
    framing: Framing, shown: list[Reading], data: st.DataObject
) -> None:
    parts = st.one_of(
        st.sampled_from(shown).map(lambda r: framing.encoder().encode([r])),
        st.binary(max_size=20),
    )
    stream = b"".join(data.draw(st.lists(parts, max_size=12)))
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=10)))
    whole, cut = framing.decoder(), framing.decoder()
    pieces: list[Reading] = []
    for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        pieces += cut.feed(stream[start:end], 5.0)
    assert same(pieces, whole.feed(stream, 5.0))
    assert cut.traffic == whole.traffic
    single = framing.decoder()
    assert same([r for n in range(len(stream)) for r in single.feed(stream[n : n + 1], 5.0)], pieces)


@given(noise=st.binary(max_size=600))
@settings(max_examples=20, derandomize=True)
def test_any_bytes_neither_raise_nor_stop_what_comes_after(
    framing: Framing, shown: list[Reading], noise: bytes
) -> None:
    shown = shown[:3]
    decoder = framing.decoder()
    decoder.feed(noise, 0.0)
    frames = [framing.encoder().encode([r]) for r in shown]
    got = decoder.feed(b"".join(frames[:1] * 2 + frames), 0.0)
    assert same(got[-len(shown) :], shown), "after two frames at most a decoder is in step again"


def test_noise_without_end_does_not_grow_memory(framing: Framing, shown: list[Reading]) -> None:
    rng = random.Random(7)
    decoder, encoder = framing.decoder(), framing.encoder()
    frames = [encoder.encode([r]) for r in shown]

    def feed() -> None:
        for _ in range(30):
            good = b"".join(rng.choices(frames, k=20))
            damaged = bytes(b ^ (1 << rng.randrange(8)) if rng.random() < 0.02 else b for b in good)
            decoder.feed(rng.randbytes(3000) + damaged, 0.0)

    feed()
    tracemalloc.start()
    try:
        for _ in range(3):
            feed()
        grown = tracemalloc.get_traced_memory()[0]
    finally:
        tracemalloc.stop()
    assert grown < 3_000_000, f"{framing.address} grew by {grown} bytes"


def test_a_readings_time_is_when_its_first_byte_left_the_meter(framing: Framing, shown: list[Reading]) -> None:
    byte_time_s = 0.001
    decoder = framing.decoder(byte_time_s)
    frame = framing.encoder().encode([shown[0]])
    end_s = 10.0 + len(2 * frame) * byte_time_s
    assert decoder.feed(frame[:5], 10.0 + 5 * byte_time_s) == []
    first, second = decoder.feed(frame[5:] + frame, end_s)
    last = decoder.traffic.frames_good
    assert last == 2
    assert first.time_s == pytest.approx(10.0, abs=0.0021)
    assert second.time_s == pytest.approx(end_s - len(frame) * byte_time_s, abs=0.0021)


def test_what_a_framing_cannot_show_is_an_error_and_not_another_number(framing: Framing) -> None:
    encoder = framing.encoder()
    with pytest.raises(EncodeError):
        encoder.encode([Reading(0.0, 1.0, Quantity.RESISTANCE, 1.0, Flag.NONE, column=9)])
    if framing.driver.name != "text":
        with pytest.raises(EncodeError):
            encoder.encode([Reading(0.0, 1e12, Quantity.DC_VOLTAGE, 0.001, Flag.DC)])


@pytest.mark.parametrize("text", ["status14:x", "chars16:x", "segments14:x", "digits11:x", "digits14:x", "text:x"])
def test_a_value_that_was_computed_is_shown_as_a_display_rounds_it(text: str) -> None:
    encoder, decoder = framing_of(text).encoder(), framing_of(text).decoder()
    for count in range(1, 4000, 13):
        frame = encoder.encode([Reading(0.0, 0.01 * count, Quantity.DC_VOLTAGE, 0.01, Flag.DC)])
        (shown,) = decoder.feed(frame, 1.0 + count)
        assert shown.value == pytest.approx(count / 100, abs=1e-9)
