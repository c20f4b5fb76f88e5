"""Checks what every framing promises: each reading it can show comes back, however the bytes are cut."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlog.driver.framing import Framing, framing_of
from meterlog.errors import EncodeError
from meterlog.reading import Flag, Quantity, Reading
from meterlog.testing import (
    comes_back,
    in_step_after,
    keeps_little,
    refuses_what_it_cannot_show,
    same_however_cut,
    timed_by_its_first_byte,
)


def test_every_reading_that_can_be_shown_comes_back(framing: Framing, shown: list[Reading]) -> None:
    assert len(shown) > 60
    if framing.driver.name == "text":  # a line of text shows no resolution of an overload
        shown = [one._replace(resolution=math.nan) if math.isinf(one.value) else one for one in shown]
    comes_back(framing, shown)


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
    same_however_cut(framing, stream, sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=10))))


@given(noise=st.binary(max_size=600))
@settings(max_examples=20, derandomize=True)
def test_any_bytes_neither_raise_nor_stop_what_comes_after(
    framing: Framing, shown: list[Reading], noise: bytes
) -> None:
    in_step_after(framing, shown[:3], noise)


def test_noise_without_end_does_not_grow_memory(framing: Framing, shown: list[Reading]) -> None:
    keeps_little(framing, shown, random.Random(7))


def test_a_readings_time_is_when_its_first_byte_left_the_meter(framing: Framing, shown: list[Reading]) -> None:
    timed_by_its_first_byte(framing, shown)


def test_what_a_framing_cannot_show_is_an_error_and_not_another_number(framing: Framing) -> None:
    refuses_what_it_cannot_show(framing)
    if framing.driver.name != "text":
        with pytest.raises(EncodeError):
            framing.encoder().encode([Reading(0.0, 1e12, Quantity.DC_VOLTAGE, 0.001, Flag.DC)])


@pytest.mark.parametrize("text", ["status14:x", "chars16:x", "segments14:x", "digits11:x", "digits14:x", "text:x"])
def test_a_value_that_was_computed_is_shown_as_a_display_rounds_it(text: str) -> None:
    encoder, decoder = framing_of(text).encoder(), framing_of(text).decoder()
    for count in range(1, 4000, 13):
        frame = encoder.encode([Reading(0.0, 0.01 * count, Quantity.DC_VOLTAGE, 0.01, Flag.DC)])
        (shown,) = decoder.feed(frame, 1.0 + count)
        assert shown.value == pytest.approx(count / 100, abs=1e-9)
