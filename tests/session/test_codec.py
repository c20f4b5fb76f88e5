"""Columns come back bit for bit, are small for what displays show, and say so when they are damaged."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from meterlog.session.codec import pack, pack_times, unpack, unpack_times


def _bits(items: np.ndarray[Any, Any]) -> bytes:
    return items.tobytes()


@given(hnp.arrays(np.float64, st.integers(0, 600), elements=st.floats(allow_nan=True, allow_infinity=True)))
def test_any_floats_come_back_bit_for_bit(items: np.ndarray[Any, Any]) -> None:
    assert _bits(unpack(pack(items), "f", len(items))) == _bits(items)


@pytest.mark.parametrize("kinds", [1, 2, 256, 257, 1024, 1025, 4096])
def test_every_layout_comes_back(kinds: int) -> None:
    items = (np.arange(4096) % kinds) * 0.01
    assert _bits(unpack(pack(items), "f", 4096)) == _bits(items)
    small = items.astype("<f4")
    assert _bits(unpack(pack(small), "f", 4096)) == _bits(small)


@given(hnp.arrays(np.uint16, st.integers(1, 600)))
def test_flags_come_back(items: np.ndarray[Any, Any]) -> None:
    assert _bits(unpack(pack(items), "u", len(items))) == _bits(items)


@given(st.lists(st.integers(-(10**12), 10**15), min_size=1, max_size=300))
def test_times_come_back_to_the_microsecond_over_any_gap(times: list[int]) -> None:
    time_us = np.array(sorted(times), np.int64)
    assert unpack_times(pack_times(time_us), int(time_us[0]), len(time_us)).tolist() == time_us.tolist()


@given(st.data())
def test_damage_is_a_value_error_and_never_the_wrong_length(data: st.DataObject) -> None:
    items = np.round(np.sin(np.arange(500)), 2)
    packed = bytearray(pack(items))
    place = data.draw(st.integers(0, len(packed) - 1))
    packed[place] ^= data.draw(st.integers(1, 255))
    try:
        found = unpack(bytes(packed[: data.draw(st.integers(0, len(packed)))]), "f", 500)
    except ValueError:
        return
    assert len(found) == 500
